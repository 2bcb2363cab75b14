"""The logbook: one SQLite file in which every pass stands as soon as it has ended."""

from copytime.logbook.place import default_path
from copytime.logbook.store import Logbook

__all__ = ["Logbook", "default_path"]
