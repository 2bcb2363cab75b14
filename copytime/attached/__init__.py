"""What is plugged in and what stands behind a path, with one module per system and one place that chooses."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from copytime.attached.model import Backing, Disk, DiskState, Layer, Platform, Target
from copytime.errors import CopytimeError

if TYPE_CHECKING:
    from copytime.attached.facts import DriveFacts
    from copytime.attached.listing import AttachedDrive
    from copytime.links import Link

__all__ = ["Backing", "Disk", "DiskState", "Layer", "Platform", "Target", "drives", "platform"]


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


def drives(*, link: Link | None = None, inner: Link | None = None) -> tuple[AttachedDrive, ...]:
    """List every attached drive, mounted or not; on Linux a silent one is listed as such within five seconds.

    ``link`` and ``inner`` are declared modes of the link to the host and of the one behind a bridge, used where the system
    shows none. Raises CopytimeError on a system that this is not written for.
    """
    from copytime.attached.interpret import interpret

    return interpret(_facts(sys.platform), link=link, inner=inner)


def _facts(name: str) -> tuple[DriveFacts, ...]:
    """Read what the system called ``name`` tells about its drives."""
    if name.startswith("linux"):
        from copytime.attached.linux_listing import linux_drives

        return linux_drives()
    if name == "darwin":
        from copytime.attached.macos_listing import macos_drives

        return macos_drives()
    if name == "win32":
        from copytime.attached.windows_listing import windows_drives

        return windows_drives()
    raise CopytimeError(f"copytime does not know how to list drives on this system ({name}) yet")
