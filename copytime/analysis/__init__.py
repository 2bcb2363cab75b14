"""What figures mean: spread, margins, comparison, fast phase, cost model, pace-setter.

Works on plain records and numbers; knows nothing of files, drives or terminals.
"""
