"""Speed, as ratios against plain tools in the same run. ``python -m tests.bench`` prints a table; nothing here is a test.

Absolute times of a shared machine say little; pairs taken in turn do. Every ratio is copytime's rate over the other's, so
that 1.00 means equally fast and more means faster.
"""
