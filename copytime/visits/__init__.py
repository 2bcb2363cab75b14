"""One visit from target to verdict: what stands behind it, the passes, the logbook, what they come to."""
