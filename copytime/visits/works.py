"""The workloads of a qualification, each made of parts of the engine; what a visit asks of them stands in visits.work."""

from __future__ import annotations

from dataclasses import replace

from copytime.attached import Backing, Target
from copytime.engine.blocks import Stop
from copytime.engine.large import LargeFiles, Layout
from copytime.engine.movement import Movement
from copytime.engine.payload import Payload
from copytime.engine.small import SmallFiles
from copytime.engine.system import Folder, System
from copytime.records import Direction, Pass, Workload
from copytime.visits.plan import Plan
from copytime.visits.work import Look, Work

__all__ = ["LargeWork", "SmallWork", "answered_elsewhere", "least_unit", "works_of"]


def works_of(plan: Plan, system: System, folder: Folder, *, run: int) -> list[Work]:
    """Make the workloads of a plan in a scratch folder; ``run`` is stamped into all of them."""
    options = plan.options
    made: list[Work] = []
    if plan.payloads.large_bytes:
        large = LargeWork(
            folder,
            Layout(plan.payloads.large_bytes, options.block, plan.target.file_limit),
            run=run,
            depth=options.depth,
            flush_method=system.flush_method,
            unbuffered=not options.buffered,
            laid_out=options.laid_out,
        )
        made.append(large)
    if plan.payloads.small.files:
        each = system.flush_each or answered_elsewhere(plan.target)
        files = SmallFiles(
            system,
            folder,
            plan.payloads.small,
            run=run,
            workers=options.workers,
            each=each,
            unit=least_unit(plan.target),
        )
        made.append(SmallWork(files, flush_method=system.each_flush_method if each else system.small_flush_method))
    return made


def answered_elsewhere(target: Target) -> bool:
    """Tell whether another program or machine answers for the drive, so that no call for a whole file system reaches it."""
    return target.backing in (Backing.NETWORK, Backing.PROGRAM) or target.file_system.startswith("fuse")


def least_unit(target: Target) -> int:
    """Return what the drive moves of a small file at the least, in bytes; 1 where that is not known.

    Some file systems keep very small files among their own data (btrfs documentation, 'max_inline'; NTFS, 'resident').
    """
    return target.unit_bytes if target.file_system in ("ext2", "ext3", "ext4", "xfs", "vfat", "exfat", "msdos") else 1


class LargeWork:
    """Large files; see Work."""

    workload = Workload.LARGE
    flush_each = True
    #: Whether a pass that an error ends is kept as far as it came.
    keeps = False

    def __init__(
        self,
        folder: Folder,
        layout: Layout,
        *,
        run: int,
        depth: int,
        flush_method: str,
        unbuffered: bool = True,
        laid_out: bool = False,
    ) -> None:
        self.flush_method = flush_method
        self._depth = depth
        self._files = LargeFiles(folder, layout, depth=depth, unbuffered=unbuffered)
        self._payload = Payload(run=run, block_bytes=layout.block_bytes, depth=depth)
        self._laid_out = laid_out
        self._turn = 0

    @property
    def payload_bytes(self) -> int:
        """See Work."""
        return self._files.layout.payload_bytes

    def create(self, *, stop: Stop, look: Look) -> None:
        """See Work; a laid-out file is written once here, so that the passes need not extend it."""
        self._files.create()
        if self._laid_out:
            self._files.write(self._payload, turn=0, stop=stop, look=look)

    def prepare(self, direction: Direction) -> tuple[str, ...]:
        """See Work."""
        if direction is Direction.FROM_DRIVE or self._laid_out:
            self._files.settle()
        else:
            self._files.empty()
        return ()

    def move(self, direction: Direction, *, stop: Stop, look: Look) -> Movement:
        """See Work; every writing pass stamps its own number, so that what an earlier one left is recognised."""
        if direction is Direction.TO_DRIVE:
            self._turn += 1
            return self._files.write(self._payload, turn=self._turn, stop=stop, look=look, keep=self.keeps)
        return self._files.read(self._payload, turn=self._turn, stop=stop, look=look, keep=self.keeps)

    def shorten(self, payload_bytes: int) -> None:
        """See Work."""
        self._files.shorten(payload_bytes)

    def check(self, *, stop: Stop, look: Look) -> Movement:
        """See Work."""
        self._files.settle()
        return self._files.check(self._payload, turn=self._turn, stop=stop, look=look)

    def placement(self) -> tuple[int, int] | None:
        """See Work."""
        return self._files.placement()

    def describe(self, one: Pass, depth_bytes: float | None) -> Pass:
        """See Work."""
        block = self._files.layout.block_bytes
        reached = None if depth_bytes is None else round(depth_bytes / block, 3)
        return replace(one, block_bytes=block, depth=self._depth, depth_reached=reached, laid_out=self._laid_out)

    def close(self) -> None:
        """See Work."""
        self._files.close()


class SmallWork:
    """Many small files; see Work."""

    workload = Workload.SMALL

    def __init__(self, files: SmallFiles, *, flush_method: str) -> None:
        self.flush_method = flush_method
        self.flush_each = files.each
        self._files = files
        self._turn = 0

    @property
    def payload_bytes(self) -> int:
        """See Work."""
        return self._files.recipe.payload_bytes

    def create(self, *, stop: Stop, look: Look) -> None:
        """See Work; the files themselves are made anew in every writing pass."""
        del stop, look
        self._files.create()

    def prepare(self, direction: Direction) -> tuple[str, ...]:
        """See Work."""
        marks = () if self._files.why_threads is None else ("by-threads",)
        if direction is Direction.TO_DRIVE:
            self._files.clear()
            return marks
        return marks if self._files.cool() else (*marks, "metadata-warm")

    def move(self, direction: Direction, *, stop: Stop, look: Look) -> Movement:
        """See Work."""
        if direction is Direction.TO_DRIVE:
            self._turn += 1
            return self._files.write(turn=self._turn, stop=stop, look=look)
        return self._files.read(stop=stop, look=look)

    def shorten(self, payload_bytes: int) -> None:
        """See Work."""
        self._files.shorten(payload_bytes)

    def check(self, *, stop: Stop, look: Look) -> Movement:
        """See Work."""
        self._files.cool()
        return self._files.check(stop=stop, look=look)

    def placement(self) -> tuple[int, int] | None:
        """See Work; thousands of files have no one place."""
        return None

    def describe(self, one: Pass, depth_bytes: float | None) -> Pass:
        """See Work."""
        del depth_bytes  # requests of the page cache, which say nothing of files
        return replace(one, workers=self._files.workers, recipe=self._files.recipe.name)

    def close(self) -> None:
        """See Work."""
        self._files.close()
