"""What a copy will do, worked out before anything is changed."""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass

from copytime.attached import Platform, Target
from copytime.attached import platform as this_platform
from copytime.engine.blocks import Stop, never
from copytime.engine.copying import SMALL_BELOW
from copytime.engine.tree import Tree, walk
from copytime.errors import CopytimeError, InputError, NoSpace
from copytime.looking import is_folder, is_there
from copytime.records import Direction, Part
from copytime.safetext import plain
from copytime.units import size_text
from copytime.visits.copy_records import remarks_of
from copytime.visits.options import Options
from copytime.visits.plan import check_target
from copytime.visits.way import Way, way_to

__all__ = ["CopyPlan", "beside_source", "check_room", "plan_copy"]

#: Room that is left over on the destination, in bytes, beside what the files take.
_RESERVE = 16 * 1024 * 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class CopyPlan:
    """A copy that is possible and not begun.

    ``direction`` is seen from the drive under test: the destination, unless that is the system's own drive and the source
    is not. ``name`` is what the copy will be called in ``destination``. ``source_parts`` and ``destination_parts`` are the
    chains of both sides, from the port to the drive.
    """

    tree: Tree
    source: Target
    destination: Target
    name: str
    direction: Direction
    verify: bool
    back: bool
    remarks: tuple[str, ...]
    source_parts: tuple[Part, ...] = ()
    destination_parts: tuple[Part, ...] = ()

    @property
    def under_test(self) -> Target:
        """The drive that the figures are about."""
        return self.destination if self.direction is Direction.TO_DRIVE else self.source

    @property
    def large_files(self) -> int:
        """Files that go through the pipeline."""
        return sum(one.size >= SMALL_BELOW for one in self.tree.files)

    @property
    def path(self) -> str:
        """Where the copy will stand."""
        return os.path.join(self.destination.path, self.name)


def plan_copy(
    source: str,
    destination: str,
    *,
    verify: bool = True,
    back: bool = False,
    stop: Stop = never,
    platform: Platform | None = None,
) -> CopyPlan:
    """Look at everything that is to be copied; nothing is changed.

    A destination that is a folder takes the copy under the source's name; else it is the copy's own new name. Raises
    InputError, AccessRefused, NoSpace or DriveFault.
    """
    if not sys.platform.startswith("linux"):
        called = {"win32": "Windows", "darwin": "macOS"}.get(sys.platform, sys.platform)
        raise CopytimeError(
            f"'copytime copy' copies on Linux alone: what keeps your files safe meanwhile is not built for {called}",
            hint="'copytime qualify' measures the drive with files of its own, 'copytime note copy' takes what you timed.",
        )
    here = platform or this_platform()
    real = os.path.realpath(source)
    if not source or "\0" in source + destination or not is_there(real):
        raise InputError(f"there is no '{plain(source)}'", hint="Name a file or folder to copy.")
    if not os.path.basename(real):
        raise InputError("the root of all file systems cannot be copied", hint="Name a folder or file in it.")
    into, name = _place(source, destination)
    origin, target = here.target(os.path.dirname(real)), here.target(into)
    if is_folder(real):
        origin = here.target(real)
    check_target(target)
    if is_there(os.path.join(target.path, name)):
        raise InputError(
            f"{plain(os.path.join(target.path, name))} exists already and is not overwritten",
            hint="Name a folder that holds nothing of this name, or a new name.",
        )
    found = os.stat(target.path)
    tree = walk(real, never_enter=(found.st_dev, found.st_ino), stop=stop)
    check_room(tree, target)
    if back:
        beside = here.target(beside_source(tree))
        check_target(beside)
        check_room(tree, beside)
    system_drive = _drive(here.target(os.sep))
    outwards = _drive(target) != system_drive or _drive(origin) == system_drive
    ways = {side.path: way_to(side, Options()) for side in (origin, target)}
    warnings = [said for way in ways.values() for said in way.warnings]
    return CopyPlan(
        tree=tree,
        source=origin,
        destination=target,
        name=name,
        direction=Direction.TO_DRIVE if outwards else Direction.FROM_DRIVE,
        verify=verify,
        back=back,
        remarks=tuple(dict.fromkeys([*origin.remarks, *target.remarks, *remarks_of(tree), *warnings])),
        source_parts=_parts(ways[origin.path]),
        destination_parts=_parts(ways[target.path]),
    )


def _parts(way: Way) -> tuple[Part, ...]:
    """Return the parts of a way without the machine itself, which both sides share, and without the file system."""
    return tuple(part for part in way.parts if part.kind not in ("host", "file system"))


def _place(source: str, destination: str) -> tuple[str, str]:
    """Return (folder, name) of the copy."""
    if is_folder(destination):
        name = os.path.basename(os.path.abspath(source))
        return destination, name
    if destination.endswith(os.sep) or not destination:
        raise InputError(f"there is no folder '{plain(destination)}'", hint="Make it first, or name one that exists.")
    folder, name = os.path.split(os.path.abspath(destination))
    if is_there(destination):
        raise InputError(
            f"{plain(destination)} exists already and is not overwritten", hint="Name a folder, or a name that is new."
        )
    if not is_folder(folder):
        raise InputError(f"there is no folder {plain(folder)}", hint="Make it first, or name one that exists.")
    return folder, name


def check_room(tree: Tree, target: Target) -> None:
    """Raise NoSpace or InputError if the file system cannot hold the tree."""
    unit = max(512, target.unit_bytes)
    needed = sum(-(-one.size // unit) * unit for one in tree.files) + unit * (len(tree.folders) + len(tree.files) // 32)
    if needed + _RESERVE > target.free_bytes:
        raise NoSpace(
            f"the copy needs {size_text(needed)}; {size_text(target.free_bytes)} are free in {plain(target.path)}",
            hint="Free some space, or name another destination.",
        )
    entries = len(tree.files) + len(tree.folders) + len(tree.links)
    if target.free_files is not None and entries > target.free_files:
        raise NoSpace(
            f"the copy has {entries} files and folders; the file system has entries for {target.free_files} more",
            hint="Name another destination.",
        )
    limit = target.file_limit
    long = [one for one in tree.files if limit is not None and one.size > limit]
    if long:
        raise InputError(
            f"{plain(tree.path(long[0]))} has {size_text(long[0].size)}, more than {plain(target.file_system)} can hold"
            + (f" (and {len(long) - 1} more)" if len(long) > 1 else ""),
            hint="Copy to a drive with another file system.",
        )


def beside_source(tree: Tree) -> str:
    """Name where a scratch folder on the source's drive goes: beside the source, or in it where it is a mount point."""
    if len(tree.folders) > 1:
        root = os.path.join(tree.anchor, tree.folders[1].name)
        if os.path.ismount(root):
            return root
    return tree.anchor


def _drive(target: Target) -> tuple[str, ...]:
    """Tell drives apart; a loop device is one of its own."""
    loops = tuple(layer.name for layer in target.layers if layer.kind == "loop")
    return loops or tuple(disk.number for disk in target.disks) or (str(target.device),)
