"""The measuring engine: payload, unbuffered files, scratch, witness, the workloads and their trace.

It knows folders and files, not drives, logbooks or terminals.
"""
