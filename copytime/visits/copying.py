"""A copy of the user's own files, timed, witnessed on both sides, compared and written down."""

from __future__ import annotations

import time
import uuid
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import psutil

from copytime.attached import Platform, Target
from copytime.engine.awake import kept_awake
from copytime.engine.blocks import Stop, never
from copytime.engine.comparing import Compared, compare
from copytime.engine.copying import Copier, Names, Stretch
from copytime.engine.drafts import copy_entry
from copytime.engine.system import System
from copytime.engine.tree import Left, walk
from copytime.engine.witness import Observation, Observer, judge
from copytime.errors import CopytimeError, Stopped, from_os_error
from copytime.logbook import Logbook
from copytime.records import Direction, Durability, Pass, Progress, ProgressCallback, Qualification, Witness, Workload
from copytime.safetext import plain, storable
from copytime.visits.advice import happened
from copytime.visits.conditions import about_target
from copytime.visits.copy_plan import CopyPlan, beside_source, check_room
from copytime.visits.copy_records import chains_of, copy_pass, finished
from copytime.visits.copy_sides import Sides
from copytime.visits.journal import journal_in
from copytime.visits.leaving import enter, leave
from copytime.visits.means import Means, means, observer_of
from copytime.visits.notes import Notes
from copytime.visits.timed import drain, durability_of, how_sure, now
from copytime.visits.works import answered_elsewhere

__all__ = ["CopyResult", "Leg", "carry_out"]

_IDLE_S = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """One copy as it went; ``source`` and ``destination`` are what the counters of each side say.

    ``source_changed`` and ``destination_changed`` name what changed about each side's drive meanwhile (conditions.changed);
    ``timed`` is its pass.
    """

    direction: Direction
    large: Stretch
    small: Stretch
    elapsed_ns: int
    flush_ns: int
    links: int
    folders: int
    source: Witness
    destination: Witness
    source_bytes: int | None
    destination_bytes: int | None
    source_changed: tuple[str, ...]
    destination_changed: tuple[str, ...]
    durability: Durability
    timed: Pass | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CopyResult:
    """What a copy came to: its legs, what was left out and why, and what ended it early, if anything did.

    ``notices`` are those of its warnings that nobody may miss, as in qualify.Outcome. ``drafts_left`` tells that something
    unfinished could not be removed from the drive.
    """

    plan: CopyPlan
    qualification: Qualification
    legs: tuple[Leg, ...]
    left: tuple[Left, ...]
    not_compared: tuple[Left, ...]
    failure: CopytimeError | None = None
    notices: tuple[str, ...] = ()
    drafts_left: bool = False


def carry_out(
    plan: CopyPlan,
    *,
    campaign: str | None = None,
    logbook: Logbook | None = None,
    progress: ProgressCallback | None = None,
    stop: Stop = never,
    platform: Platform | None = None,
    system: System | None = None,
) -> CopyResult:
    """Copy, compare, copy back if asked to, and write the passes down.

    Errors that end the work come back in the result beside everything that was finished; complete files stay, drafts are
    removed. What a single file's error left out is listed in ``left``. ``campaign`` names the round of tests.
    """
    return _Visit(plan, campaign, means(logbook, progress, stop, platform, system)).run()


class _Visit:
    """One run of one plan."""

    def __init__(self, plan: CopyPlan, campaign: str | None, given: Means) -> None:
        self.plan = plan
        self.notes = Notes(given.logbook)
        self.progress = given.progress or (lambda _: None)
        self.stop = given.stop
        self.platform = given.platform
        self.system = given.system
        self.legs: list[Leg] = []
        self.left: list[Left] = list(plan.tree.unread)
        self.not_compared: list[Left] = []
        self.remarks = list(plan.remarks)
        self.left_behind: tuple[str, ...] = ()
        self.drafts_left = False
        self.sides = Sides(self.platform, plan.source, plan.destination)
        both = ("destination", "source")
        self.under_test, self.other = both if plan.direction is Direction.TO_DRIVE else both[::-1]
        self.told: set[str] = set()  # what is said already of the drive that is not under test
        self.begun = Qualification(
            id=str(uuid.uuid4()),
            created=now(),
            state="running",
            drive=storable(plan.under_test.drive_label),
            target=storable(plan.under_test.path),
            conditions={
                **about_target(plan.under_test),
                "chains": chains_of(plan),
                **self.sides.known(self.under_test),
            },
            campaign=campaign,
        )

    def run(self) -> CopyResult:
        """Do everything from the first entry in the logbook to the last."""
        self.notes.write(lambda book: book.begin(self.begun))
        failure: CopytimeError | None = None
        state = "failed"
        try:
            with kept_awake():
                self._forth()
                if self.plan.back and self.legs and self.plan.tree.total_bytes:
                    self._back()
            state = "finished"
        except CopytimeError as error:
            failure = error
            state = "stopped" if isinstance(error, Stopped) else "failed"
        except OSError as error:
            failure = from_os_error(error, f"copying to {plain(self.plan.path)}")
        finally:
            self._tell_other(self.sides.changed(self.other), "outside the timed copy")
            begun = replace(self.begun, conditions={**self.begun.conditions, **self.sides.conditions(self.under_test)})
            done = finished(begun, self.legs, self.remarks, self.notes, state)
        return CopyResult(
            plan=self.plan,
            qualification=done,
            legs=tuple(self.legs),
            left=tuple(self.left),
            not_compared=tuple(self.not_compared),
            failure=failure,
            notices=self.notes.notices(done.warnings, self.left_behind),
            drafts_left=self.drafts_left,
        )

    def _forth(self) -> None:
        """Copy what the user asked for, and compare it."""
        plan = self.plan
        names = Names(plan.tree, plan.name)
        copier = Copier(self.system, plan.tree, plan.destination.path, names, each=answered_elsewhere(plan.destination))
        try:
            journal = journal_in(self.notes.write)
            entry = copy_entry(
                self.system, plan.path, copier.token, created=now(), process_started=psutil.Process().create_time()
            )
            journal.opened(entry)  # a run that is killed leaves drafts, which 'tidy' must find
            try:
                leg = self._timed(copier, plan.source, plan.destination, plan.direction)
            except Stopped:
                raise
            except CopytimeError:
                copier.settle()
                raise
            finally:
                if copier.drafts_left:
                    self.drafts_left = True
                    self.left_behind = ("an unfinished file could not be removed; 'copytime tidy --yes' does it later",)
                    self.remarks += self.left_behind
                else:
                    journal.closed(entry.token)
                self.left += copier.failed
                if copier.keeping.lost:
                    self.remarks.append(
                        f"this file system keeps not every file's {' and '.join(sorted(copier.keeping.lost))}"
                    )
            if plan.verify and copier.done_bytes:
                leg = self._compared(copier, leg)
            self.legs[-1] = leg
        finally:
            copier.close()

    def _back(self) -> None:
        """Copy the copy into a scratch folder of the source's drive, which is then removed."""
        plan = self.plan
        target = self.platform.target(beside_source(plan.tree))
        tree = walk(plan.path, stop=self.stop)
        check_room(tree, target)
        scratch = enter(self.system, target, self.notes)
        try:
            other = Direction.FROM_DRIVE if plan.direction is Direction.TO_DRIVE else Direction.TO_DRIVE
            names = Names(tree, "back", numbered=True)
            copier = Copier(self.system, tree, scratch.path, names, each=answered_elsewhere(target))
            try:
                self._timed(copier, plan.destination, target, other)
            finally:
                self.not_compared += copier.failed
                copier.close()
        finally:
            left = leave(scratch, self.notes)
            self.left_behind += left
            self.remarks += left

    def _timed(self, copier: Copier, origin: Target, target: Target, direction: Direction) -> Leg:
        """Run one copier between counters on both sides."""
        self._drain(origin, target)
        readers = [self._observer(origin), self._observer(target)]
        readers[0].watch_idle()
        readers[1].watch_idle()
        self.sides.look()  # what happened before belongs to no copy
        started = now()
        look = self._shower("write" if direction is Direction.TO_DRIVE else "read", direction, copier.tree.total_bytes)
        for reader in readers:
            reader.start()
        try:
            copier.run(stop=self.stop, look=look)
        finally:
            seen = [
                reader.finish(way, copier.elapsed_ns or 1)
                for reader, way in zip(readers, (Direction.FROM_DRIVE, Direction.TO_DRIVE), strict=True)
            ]
            leg = self._leg(copier, origin, target, direction, seen, started)
            self.legs.append(leg)
        one = leg.timed
        if one is not None:
            self.notes.write(lambda book: book.add_pass(self.begun.id, one))
            self.progress(
                Progress(stage="write", workload=Workload.COPY, direction=direction, repeat=1, repeats=1, finished=one)
            )
        return leg

    def _leg(
        self, copier: Copier, origin: Target, target: Target, direction: Direction, seen: list[Observation], started: str
    ) -> Leg:
        shared = set(_disks(origin)) & set(_disks(target))
        if shared:  # each side's counters show the other side's traffic as well, which is ours
            seen = [replace(one, other_bytes=0, other_idle_bytes=0) for one in seen]
        # a folder entry and an i-node for each file, and the journal's copy of them (common practice, no source)
        slack = 2 * 1024 * 1024 + 8 * 1024 * (copier.small.files + len(copier.tree.folders))
        moved = copier.done_bytes
        # what takes no room on the source's drive cannot be read from it either, and is written out all the same
        there = max(0, moved - copier.tree.absent_bytes)
        words = [
            judge(size, one, slack=slack) if size else Witness.NONE for size, one in zip((there, moved), seen, strict=True)
        ]
        method = self.system.each_flush_method if copier.each else self.system.small_flush_method
        durability = durability_of(target, method)
        under = 1 if direction is Direction.TO_DRIVE else 0
        names = ("source", "destination") if origin is self.plan.source else ("destination", "source")
        looked = self.sides.look()
        became = [looked[name] for name in names]
        self._tell_other(looked[self.other].marks, "during the copy")
        complete = copier.finished and copier.done_bytes > 0
        return Leg(
            direction=direction,
            large=copier.large,
            small=copier.small,
            elapsed_ns=copier.elapsed_ns,
            flush_ns=copier.flush_ns,
            links=copier.links_made,
            folders=len(copier.tree.folders) - 1,
            source=words[0],
            destination=words[1],
            source_bytes=seen[0].device_bytes,
            destination_bytes=seen[1].device_bytes,
            source_changed=became[0].marks,
            destination_changed=became[1].marks,
            durability=durability,
            timed=copy_pass(copier, direction, started, seen[under], words[under], durability, became[under])
            if complete
            else None,
        )

    def _compared(self, copier: Copier, leg: Leg) -> Leg:
        """Compare every byte, untimed, and let the counters say where the copy's bytes came from."""
        observer = self._observer(self.plan.destination)
        observer.start()
        begun = time.perf_counter_ns()
        look = self._shower("check", None, copier.done_bytes)
        found: Compared = compare(copier, stop=self.stop, look=look)
        seen = observer.finish(Direction.FROM_DRIVE, time.perf_counter_ns() - begun)
        self.not_compared += found.left
        witness = judge(max(1, copier.done_bytes), seen)
        how = how_sure(witness)
        if found.left:
            how = "not every file" + how.removeprefix("every byte")
        if leg.timed is None:
            return leg
        one = replace(leg.timed, verified=how, wrong_cells=found.wrong_cells, mismatches=tuple(found.mismatches))
        self.notes.write(lambda book: book.add_verification(one))
        return replace(leg, timed=one)

    def _tell_other(self, marks: Iterable[str], when: str) -> None:
        """Say what happened to the drive that the figures are not about, each thing once."""
        if set(_disks(self.plan.source)) & set(_disks(self.plan.destination)):
            return  # one drive: said of that under test
        new = [mark for mark in marks if mark not in self.told]
        self.told.update(new)
        self.remarks += happened(new, f"the drive of the {self.other}", when)

    def _observer(self, target: Target) -> Observer:
        return observer_of(self.platform, self.system, target, _IDLE_S)

    def _drain(self, *targets: Target) -> None:
        """Wait for what others wrote, on both sides; dirty originals could not be dropped from memory."""
        self.progress(Progress(stage="wait", workload=Workload.COPY))
        for path in (one.path for one in targets):
            folder = self.system.open_folder(path)
            try:
                drain(folder, path)
            finally:
                folder.close()

    def _shower(self, stage: str, direction: Direction | None, total: int) -> Callable[[int], object]:
        begun = time.monotonic()

        def look(done: int) -> None:
            self.progress(
                Progress(
                    stage=stage,
                    workload=Workload.COPY,
                    direction=direction,
                    done_bytes=done,
                    total_bytes=total,
                    elapsed_s=time.monotonic() - begun,
                )
            )

        return look


def _disks(target: Target) -> tuple[str, ...]:
    return tuple(disk.number for disk in target.disks)
