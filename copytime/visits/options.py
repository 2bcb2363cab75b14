"""What may be asked of a qualification, the usual values, and what makes no sense."""

from __future__ import annotations

from dataclasses import dataclass

from copytime.engine.recipe import LARGEST, Recipe, described, usual
from copytime.engine.system import ALIGNMENT
from copytime.errors import InputError
from copytime.links import Link
from copytime.units import size_text

__all__ = ["BLOCK", "DEPTH", "LARGE", "LARGE_BRIEF", "LARGE_LEAST", "REPEATS", "SMALL", "SMALL_BRIEF", "WORKERS", "Options"]

#: Payload of one large pass, in bytes: the same for every drive, so that results can be set side by side.
LARGE = 8_000_000_000

#: Payload of one large pass of a brief look.
LARGE_BRIEF = 256_000_000

#: Smallest payload that is worth timing; below it the clock would measure calls, not a drive.
LARGE_LEAST = 16_000_000

#: Files of one small pass, of a brief look's, and the bounds of what can be asked for.
SMALL = 5_000
SMALL_BRIEF = 500
SMALL_LEAST, SMALL_MOST = 50, 100_000

REPEATS = 5
REPEATS_BRIEF = 2

#: Size of one request, and how many are in hand at once. Beyond 4 MiB a drive gains nothing; 8 MiB halve what the
#: program itself costs per byte. A few in hand keep NVMe drives and queueing bridges busy and cost a slow drive nothing.
BLOCK = 8 * 1024 * 1024
DEPTH = 4

#: Small files handled at once: by measurement (DEVELOPERS, 'Choices that rest on measurements'); beyond four, writing
#: gains nothing.
WORKERS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """What may be asked of a qualification. None means: the usual.

    ``large`` is the payload of a large pass in bytes, ``small`` the number of files of a small one; 0 leaves the workload
    out. ``small_sizes`` describes the small files' sizes (see engine.recipe). ``until`` is the margin, as a share, at which
    repeats may end; ``at_most`` bounds them. ``depth`` counts blocks, ``workers`` small files in hand at once.
    ``link``, ``inner_link``, ``drive``, ``bridge``, ``cable`` and ``host`` declare what the way to the drive consists
    of, where the system does not show it or names it otherwise.
    ``kit_drive`` is the name by which the drive is registered, ``endurance`` the bytes written that its maker rates it for.
    ``campaign`` names the round of tests that it belongs to.
    """

    large: int | None = None
    small: int | None = None
    small_sizes: str | None = None
    repeats: int | None = None
    until: float | None = None
    at_most: int | None = None
    brief: bool = False
    depth: int = DEPTH
    block: int = BLOCK
    workers: int = WORKERS
    buffered: bool = False
    laid_out: bool = False
    verify: bool = True
    keep: bool = False
    link: Link | None = None
    inner_link: Link | None = None
    drive: str | None = None
    bridge: str | None = None
    cable: str | None = None
    host: str | None = None
    kit_drive: str | None = None
    campaign: str | None = None
    endurance: int | None = None

    @property
    def first_repeats(self) -> int:
        """Repeats that are made in any case."""
        asked = self.repeats or (REPEATS_BRIEF if self.brief else REPEATS)
        return max(asked, REPEATS) if self.until is not None else asked

    @property
    def raised(self) -> bool:
        """Whether fewer repeats were asked for than a stop by a margin takes in any case."""
        return self.until is not None and self.repeats is not None and self.repeats < REPEATS

    @property
    def most_repeats(self) -> int:
        """Repeats that are made at most."""
        usual_most = 4 * self.first_repeats if self.until is not None else self.first_repeats
        return max(self.first_repeats, self.at_most or usual_most)

    @property
    def large_bytes(self) -> int:
        """Payload of a large pass that is wanted, in whole units."""
        wanted = (LARGE_BRIEF if self.brief else LARGE) if self.large is None else self.large
        return wanted - wanted % ALIGNMENT

    def recipe(self) -> Recipe:
        """Return the small files that are wanted. Raises InputError."""
        count = (SMALL_BRIEF if self.brief else SMALL) if self.small is None else self.small
        return usual(count) if self.small_sizes is None else described(self.small_sizes, count)

    def check(self) -> None:
        """Raise InputError for what makes no sense."""
        self._check_payloads()
        if self.block < 64 * 1024 or self.block % ALIGNMENT or self.block > 256 * 1024 * 1024:
            raise InputError(
                f"a block of {self.block} bytes cannot be used",
                hint=f"It must be a multiple of {ALIGNMENT} bytes between 64KiB and 256MiB, such as 4MiB.",
            )
        if not 1 <= self.depth <= 64:
            raise InputError(f"a depth of {self.depth} cannot be used", hint="Ask for 1 to 64 blocks in hand.")
        if not 1 <= self.workers <= 64:
            raise InputError(f"{self.workers} workers cannot be used", hint="Ask for 1 to 64 files in hand.")
        if self.repeats is not None and not 1 <= self.repeats <= 1000:
            raise InputError(f"{self.repeats} repeats cannot be made", hint="Ask for 1 to 1000.")
        self._check_until()

    def _check_payloads(self) -> None:
        if self.large is not None and 0 != self.large < LARGE_LEAST:
            raise InputError(
                f"a large payload of {size_text(self.large)} is too small to time",
                hint=f"Ask for {size_text(LARGE_LEAST)} or more (8GB is the usual), or for 0 to leave it out.",
            )
        if self.small is not None and self.small != 0 and not SMALL_LEAST <= self.small <= SMALL_MOST:
            raise InputError(
                f"{self.small} small files cannot be timed",
                hint=f"Ask for {SMALL_LEAST} to {SMALL_MOST} ({SMALL} is the usual), or for 0 to leave them out.",
            )
        if self.large == 0 and self.small == 0:
            raise InputError("nothing is left to measure", hint="Leave out --large 0 or --small 0.")
        if self.small == 0 and self.small_sizes is not None:
            raise InputError("--small-sizes without small files", hint="Leave out --small 0.")
        if self.laid_out and self.large == 0:
            raise InputError("--laid-out is about the large file", hint="Leave out --large 0.")
        self._check_unused()

    def _check_unused(self) -> None:
        """Refuse what would be accepted and change nothing."""
        if self.large == 0:
            given = {"--depth": self.depth != DEPTH, "--block": self.block != BLOCK, "--buffered": self.buffered}
            for name in (name for name, asked in given.items() if asked):
                raise InputError(f"{name} is about the large file", hint=f"Leave out --large 0 or {name}.")
        if self.small == 0 and self.workers != WORKERS:
            raise InputError("--workers is about the small files", hint="Leave out --small 0 or --workers.")

    def _check_until(self) -> None:
        if self.until is not None and not 0 < self.until < 1:
            raise InputError("the margin to stop at must lie between 0 and 100 percent", hint="Such as --until 2.")
        if self.at_most is None:
            return
        if self.until is None:
            raise InputError("--at-most bounds the repeats of --until", hint="Such as --until 2 --at-most 12.")
        if self.repeats is not None and self.at_most < self.repeats:
            raise InputError(
                f"at most {self.at_most} repeats are fewer than the {self.repeats} asked for",
                hint=f"Ask for --at-most {max(REPEATS, self.repeats)} or more, or leave out --repeats.",
            )
        if not REPEATS <= self.at_most <= 10_000:
            raise InputError(
                f"at most {self.at_most} repeats cannot be used to stop by a margin",
                hint=f"Ask for --at-most {REPEATS} to 10000, or for --repeats {self.at_most} without --until.",
            )

    def memory_bytes(self, recipe: Recipe) -> int:
        """Memory that the buffers take, about."""
        large = (2 * self.depth + 1) * self.block if self.large_bytes else 0
        longest = max(recipe.sizes, default=0)
        return large + min(self.workers, max(1, recipe.files)) * 2 * min(LARGEST, longest + (8 << 20))
