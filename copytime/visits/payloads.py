"""How much is moved: what was asked for, or the usual, or what fits."""

from __future__ import annotations

from dataclasses import dataclass

from copytime.attached import Target
from copytime.engine.recipe import FOLDER_FILES, Recipe
from copytime.engine.system import ALIGNMENT
from copytime.errors import NoSpace
from copytime.records import Workload
from copytime.safetext import plain
from copytime.units import size_text
from copytime.visits.options import LARGE_LEAST, SMALL_LEAST, Options

__all__ = ["RESERVE", "Payloads", "payloads"]

#: Room that is always left free: journals and maps of the file system need it, and so does everybody else.
RESERVE = 64 * 1024 * 1024

#: Shares of the room that the usual payloads are cut to where they do not fit.
_SHARE, _SHARE_SMALL = 0.75, 0.2

#: Entries of folders and files that are left free.
_RESERVE_FILES = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Payloads:
    """What one repeat moves in one direction: ``large_bytes`` in large files (0: none) and the files of ``small``.

    ``room_bytes`` is what both take on the drive; ``remarks`` say where it is less than the usual.
    """

    large_bytes: int
    small: Recipe
    room_bytes: int
    remarks: tuple[str, ...] = ()

    @property
    def total_bytes(self) -> int:
        """Bytes moved in all."""
        return self.large_bytes + self.small.payload_bytes

    @property
    def workloads(self) -> tuple[Workload, ...]:
        """What is measured, in order."""
        found = ((Workload.LARGE, self.large_bytes), (Workload.SMALL, self.small.files))
        return tuple(workload for workload, amount in found if amount)


def payloads(target: Target, options: Options) -> Payloads:
    """Choose the payloads. Raises NoSpace where what was asked for does not fit, InputError for unreadable sizes."""
    room = target.free_bytes - RESERVE
    unit = max(ALIGNMENT, target.unit_bytes)
    large, small = options.large_bytes, _entries(target, options, options.recipe())
    needed = large + small.on_drive(unit)
    if needed <= room:
        return Payloads(large_bytes=large, small=small, room_bytes=needed)
    large_fixed, small_fixed = options.large is not None, options.small is not None
    wanted_large, wanted_small = large, small
    if not small_fixed:
        left = room - large if large_fixed else int(room * _SHARE_SMALL)
        small = _fitting(small, max(0, left), unit)
    if not large_fixed:
        large = min(large, int(room * _SHARE) - small.on_drive(unit))
        large -= large % ALIGNMENT
    needed = large + small.on_drive(unit)
    least_large = 0 if wanted_large == 0 else LARGE_LEAST - LARGE_LEAST % ALIGNMENT
    least_small = min(SMALL_LEAST, wanted_small.files)
    if needed > room or large < least_large or small.files < least_small:
        raise _no_space(target, options, wanted_large + wanted_small.on_drive(unit), room)
    remarks = []
    if large < wanted_large:
        remarks.append(_less(size_text(large), size_text(wanted_large), "large payload", target))
    if small.files < wanted_small.files:
        remarks.append(_less(str(small.files), str(wanted_small.files), "number of small files", target))
    return Payloads(large_bytes=large, small=small, room_bytes=needed, remarks=tuple(remarks))


def _entries(target: Target, options: Options, recipe: Recipe) -> Recipe:
    """Refuse or cut a number of files that the file system has no entries for."""
    if target.free_files is None:
        return recipe
    fitting = max(0, target.free_files - _RESERVE_FILES - recipe.files // FOLDER_FILES)
    if recipe.files <= fitting:
        return recipe
    if options.small is not None or fitting < SMALL_LEAST:
        raise NoSpace(
            f"{plain(target.path)} can hold only {target.free_files} more files",
            hint="Ask for fewer small files, or for none with --small 0.",
        )
    return recipe.first(fitting)


def _fitting(recipe: Recipe, room: int, unit: int) -> Recipe:
    """Cut a recipe to the files that fit into ``room`` bytes."""
    files = recipe.files
    while files and recipe.first(files).on_drive(unit) > room:
        files = files * 9 // 10
    return recipe.first(files)


def _less(found: str, wanted: str, what: str, target: Target) -> str:
    return (
        f"the {what} is {found} instead of {wanted}, because only {size_text(target.free_bytes)} are free; compare it with "
        "results of the same size only"
    )


def _no_space(target: Target, options: Options, wanted: int, room: int) -> NoSpace:
    least = LARGE_LEAST + (16 << 20)
    hint = "Free some space."
    if options.large not in (None, 0) and room >= least:
        beside = 1.0 if options.small == 0 else _SHARE  # what the small files leave
        hint = f"Free some space, or ask for --large {_round(int(room * beside))}."
    elif options.small not in (None, 0):
        hint = "Free some space, or ask for fewer small files."
    return NoSpace(
        f"{plain(target.path)} has {size_text(max(0, target.free_bytes))} free; {size_text(wanted)} of payload and "
        f"{size_text(RESERVE)} to spare do not fit",
        hint=hint,
    )


def _round(room: int) -> str:
    """Name a round size that fits into ``room`` bytes, as it would be typed."""
    millions = room // 1_000_000
    return f"{millions // 1000}GB" if millions >= 2000 else f"{millions}MB"
