"""Platform code of the engine behind one interface, and the one place that chooses."""

from __future__ import annotations

import sys

from copytime.engine.system.interface import ALIGNMENT, Cached, Closeable, DataFile, Folder, System
from copytime.errors import CopytimeError

__all__ = ["ALIGNMENT", "Cached", "Closeable", "DataFile", "Folder", "System", "system"]


def system() -> System:
    """Return the interface of the system that this runs on; raises CopytimeError on an unknown one."""
    if sys.platform.startswith("linux"):
        from copytime.engine.system.linux import Linux

        return Linux()
    raise CopytimeError(f"copytime cannot measure on this system ({sys.platform}) yet")
