"""What is plugged in and what stands behind a path, with one module per system and one place that chooses."""

from __future__ import annotations

import sys

from copytime.attached.model import Backing, Disk, DiskState, Layer, Platform, Target
from copytime.errors import CopytimeError

__all__ = ["Backing", "Disk", "DiskState", "Layer", "Platform", "Target", "platform"]


def platform(name: str = sys.platform) -> Platform:
    """Return the account of drives for the system that this runs on; raises CopytimeError on an unknown one."""
    if name.startswith("linux"):
        from copytime.attached.linux import Linux

        return Linux()
    if name == "darwin":
        from copytime.attached.macos import MacOS

        return MacOS()
    if name == "win32":
        from copytime.attached.windows import Windows

        return Windows()
    raise CopytimeError(f"copytime does not know how to find drives on this system ({name}) yet")
