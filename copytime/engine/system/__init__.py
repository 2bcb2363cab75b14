"""Platform code of the engine behind one interface, and the one place that chooses."""

from __future__ import annotations

import sys

from copytime.engine.system.interface import ALIGNMENT, Cached, Closeable, DataFile, Folder, System
from copytime.errors import CopytimeError

__all__ = ["ALIGNMENT", "Cached", "Closeable", "DataFile", "Folder", "System", "system"]


def system(name: str = sys.platform) -> System:
    """Return the interface of the system that this runs on; raises CopytimeError on an unknown one."""
    if name.startswith("linux"):
        from copytime.engine.system.linux import Linux

        return Linux()
    if name == "darwin":
        from copytime.engine.system.macos import MacOS

        return MacOS()
    if name == "win32":
        from copytime.engine.system.windows import Windows

        return Windows()
    raise CopytimeError(f"copytime cannot measure on this system ({name}) yet")
