"""Where this is: machine, program, drive and file system, so that what was shown elsewhere does not vouch for it."""

from __future__ import annotations

import contextlib
import platform as python_platform

from copytime._version import __version__
from copytime.attached import Target
from copytime.engine.system import System
from copytime.logbook import Logbook
from copytime.safetext import plain
from copytime.visits.journal import entries, still_running

__all__ = ["about_here", "others_at_work"]


def about_here(target: Target, system: System) -> dict[str, str]:
    """Name what must be the same for a self-check to vouch for a measurement; what is not known is empty."""
    identity = ""
    with contextlib.suppress(OSError):
        folder = system.open_folder(target.path)
        identity = folder.identity()
        folder.close()
    return {
        "host": python_platform.node(),
        "system": f"{python_platform.system()} {python_platform.release()}",
        "copytime": __version__,
        "serial": target.serial or "",
        "file_system_identity": identity,
    }


def others_at_work(book: Logbook, here: dict[str, str]) -> tuple[str, ...]:
    """Say who else measures on the same file system just now."""
    identity = here["file_system_identity"]
    return tuple(
        f"process {one.process} measures on this drive at the same time, in {plain(one.parent)}: both figures are too low"
        for one in entries(book)
        if identity and one.file_system == identity and still_running(one.process, one.process_started)
    )
