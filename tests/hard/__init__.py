"""Long and hostile runs: what is quick runs as tests, what is long by ``python -m tests.hard``."""
