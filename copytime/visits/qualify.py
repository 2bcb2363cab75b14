"""The main job: measure a drive through a folder on it, in repeats, both directions, and write down every pass."""

from __future__ import annotations

import secrets
import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import psutil

from copytime.analysis.results import results_of
from copytime.attached import DiskState, Platform
from copytime.attached import platform as this_platform
from copytime.engine.awake import kept_awake
from copytime.engine.blocks import Stop, never
from copytime.engine.large import Layout
from copytime.engine.scratch import Scratch
from copytime.engine.system import ALIGNMENT, System
from copytime.engine.system import system as this_system
from copytime.engine.waking import waker
from copytime.errors import CopytimeError, LogbookError, Stopped, from_os_error
from copytime.logbook import Logbook
from copytime.records import Access, Direction, Progress, ProgressCallback, Qualification
from copytime.records import Pass as PassRecord
from copytime.safetext import plain, storable
from copytime.units import duration_text, size_text
from copytime.visits.advice import advice
from copytime.visits.conditions import chain_of, changed, conditions_of, temperature
from copytime.visits.journal import journal_in
from copytime.visits.plan import LONGEST_PASS_S, Options, Plan, make_plan
from copytime.visits.timed import Settings, Station, now
from copytime.visits.work import LargeWork, Look, Work

__all__ = ["Outcome", "measure", "qualify"]

#: Length of the idle moment before and after each pass, in seconds.
_IDLE_S, _IDLE_BRIEF_S = 0.2, 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a measurement came to: everything that was finished, and what ended it early, if anything did."""

    qualification: Qualification
    failure: CopytimeError | None = None


def qualify(
    target: str | Path,
    options: Options | None = None,
    *,
    logbook: Path | None = None,
    progress: ProgressCallback | None = None,
    stop: Stop = never,
) -> Qualification:
    """Measure the drive behind the folder ``target``.

    Nothing is printed and nothing is asked: a plan that a person should confirm is carried out as it is. ``logbook`` is
    the file to write passes to, None for none. ``progress`` is called with a Progress record several times a second and
    after each pass, from the calling thread. ``stop`` is asked now and then; when it returns True the work ends.

    Raises InputError, AccessRefused or NoSpace before anything is written; DriveFault, NoSpace, AccessRefused or Stopped
    during the work, with what was finished in the error's ``finished``. The scratch folder is removed in any case.
    """
    plan = make_plan(this_platform().target(str(target)), options or Options())
    opened = Logbook.open(logbook) if logbook is not None else None
    try:
        outcome = measure(plan, logbook=opened, progress=progress, stop=stop)
    finally:
        if opened is not None:
            opened.close()
    if outcome.failure is not None:
        outcome.failure.finished = outcome.qualification
        raise outcome.failure
    return outcome.qualification


def measure(
    plan: Plan,
    *,
    logbook: Logbook | None = None,
    progress: ProgressCallback | None = None,
    stop: Stop = never,
    platform: Platform | None = None,
    system: System | None = None,
) -> Outcome:
    """Carry out a plan. Every pass stands in ``logbook`` as soon as it has ended.

    Errors of the drive end the work and are returned in the outcome beside everything that was finished; an error of the
    logbook is a warning, because the measurement goes on without it.
    """
    return _Visit(plan, logbook, progress, stop, platform or this_platform(), system or this_system()).run()


class _Visit:
    """One run of one plan."""

    def __init__(
        self,
        plan: Plan,
        logbook: Logbook | None,
        progress: ProgressCallback | None,
        stop: Stop,
        platform: Platform,
        system: System,
    ) -> None:
        self.plan = plan
        self.options = plan.options
        self.target = plan.target
        self.logbook = logbook
        self.progress = progress or (lambda _: None)
        self.stop = stop
        self.platform = platform
        self.system = system
        self.passes: list[PassRecord] = []
        self.remarks: list[str] = []
        self.conditions = conditions_of(plan)
        self.id = str(uuid.uuid4())

    def run(self) -> Outcome:
        """Do everything from the first entry in the logbook to the last."""
        begun = Qualification(
            id=self.id,
            created=now(),
            state="running",
            drive=storable(self.target.drive_label),
            target=storable(self.target.path),
            chain=chain_of(self.plan),
            conditions=self.conditions,
        )
        self._note(lambda book: book.begin(begun))
        before = self.platform.states(self.target)
        failure: CopytimeError | None = None
        with kept_awake() as awake:
            self.conditions["sleep_held_off"] = awake
            try:
                self._in_scratch()
            except CopytimeError as error:
                failure = error
            except OSError as error:
                failure = from_os_error(error, f"measuring in {plain(self.target.path)}")
        return Outcome(qualification=self._finish(begun, before, failure), failure=failure)

    def _in_scratch(self) -> None:
        """Make the scratch folder, measure in it, and remove it whatever happens."""
        self._say("prepare")
        scratch = Scratch.make(
            self.system,
            self.target.path,
            journal=journal_in(self._note),
            created=now(),
            process_started=psutil.Process().create_time(),
        )
        try:
            self._measure(scratch)
        finally:
            self._say("clean-up")
            if self.options.keep and self.passes:
                scratch.close()
                self.remarks.append(f"kept as asked: {plain(scratch.path)}; 'copytime tidy --yes' removes it")
            else:
                self._clear(scratch)

    def _measure(self, scratch: Scratch) -> None:
        """Run the passes, alternating directions, then check every byte."""
        options = self.options
        settings = Settings(
            depth=options.depth,
            block_bytes=options.block,
            laid_out=options.laid_out,
            verify=options.verify,
            idle_s=_IDLE_BRIEF_S if options.brief else _IDLE_S,
        )
        work = LargeWork(
            scratch.folder,
            Layout(self.plan.payload_bytes, options.block, self.target.file_limit),
            run=secrets.randbits(64),
            depth=options.depth,
            unbuffered=not options.buffered,
            laid_out=options.laid_out,
        )
        try:
            work.create(stop=self.stop, look=self._shower(work, "prepare"))
            with waker(scratch.folder) as wake:
                station = Station(self.platform, self.system, self.target, scratch, wake, settings)
                repeat = 0
                while repeat < self.plan.repeats or self._want_more(repeat):
                    repeat += 1
                    for direction in (Direction.TO_DRIVE, Direction.FROM_DRIVE):
                        self._one(station, work, direction, repeat)
            if options.verify:
                self._check(work)
        finally:
            work.close()

    def _one(self, station: Station, work: Work, direction: Direction, repeat: int) -> None:
        """Time one pass and write it down."""
        stage = "write" if direction is Direction.TO_DRIVE else "read"
        self._stop_here()
        self._say("wait", work, direction, repeat)
        may_cut = self.plan.may_shorten and direction is Direction.TO_DRIVE and repeat == 1
        one = station.timed(
            work,
            direction,
            repeat,
            stop=self.stop,
            look=lambda: self._shower(work, stage, direction, repeat, may_cut=may_cut),
        )
        if one.payload_bytes < work.payload_bytes:
            self._shorten(work, one.payload_bytes)
        self.passes.append(one)
        self._note(lambda book: book.add_pass(self.id, one))
        self.progress(
            Progress(
                stage=stage,
                workload=work.workload,
                direction=direction,
                repeat=repeat,
                repeats=self.plan.repeats,
                done_bytes=one.payload_bytes,
                total_bytes=one.payload_bytes,
                elapsed_s=one.elapsed_ns / 1e9,
                finished=one,
            )
        )

    def _want_more(self, repeat: int) -> bool:
        """Tell whether repeats go on because a margin is still wider than was asked for."""
        until = self.options.until
        if until is None or repeat >= self.plan.at_most:
            return False
        for one in results_of(self.passes):
            if one.low is None or one.high is None or max(one.high / one.rate - 1, 1 - one.low / one.rate) > until:
                return True
        return False

    def _shorten(self, work: Work, payload_bytes: int) -> None:
        """Go on with the payload at which the first pass was cut."""
        wanted = work.payload_bytes
        work.shorten(payload_bytes)
        self.conditions["payload_bytes"] = payload_bytes
        self.remarks.append(
            f"the payload is {size_text(payload_bytes)} instead of {size_text(wanted)}, because the first pass would have "
            f"lasted over {duration_text(LONGEST_PASS_S)}; compare it with results of the same size only"
        )

    def _check(self, work: Work) -> None:
        """Compare every byte of what the last writing pass left on the drive."""
        found = work.check(stop=self.stop, look=self._shower(work, "check", Direction.FROM_DRIVE))
        how = "every byte" if found.access is Access.UNBUFFERED else "every byte, buffered"
        at = max(index for index, one in enumerate(self.passes) if one.direction is Direction.TO_DRIVE)
        one = self.passes[at] = replace(self.passes[at], verified=how, mismatches=found.mismatches)
        self._note(lambda book: book.add_verification(one.id, how, found.mismatches))
        if found.wrong_cells:
            cells = found.payload_bytes // ALIGNMENT
            self.remarks.append(f"{found.wrong_cells} of {cells} blocks of {ALIGNMENT} bytes came back wrong")

    def _clear(self, scratch: Scratch) -> None:
        """Remove the scratch folder; what cannot be removed now is told and stays in the journal."""
        try:
            left = scratch.clear()
        except CopytimeError as error:
            self.remarks.append(f"{error.message}; once the drive is back, 'copytime tidy --yes' removes what is left")
            return
        if left:
            self.remarks.append(
                f"{plain(scratch.path)} was left in place, because somebody put something there: {plain(', '.join(left))}"
            )

    def _finish(self, begun: Qualification, before: tuple[DiskState, ...], failure: CopytimeError | None) -> Qualification:
        """Work out the results and close the entry."""
        self._conditions_at_end(before)
        state = "finished" if failure is None else "stopped" if isinstance(failure, Stopped) else "failed"
        results = results_of(self.passes, self.options.link.ceiling if self.options.link else None)
        capacity = self.target.disks[0].size_bytes if self.target.disks else None
        said = advice(self.passes, results, capacity_bytes=capacity, trims=self.target.discards)
        warnings = tuple(dict.fromkeys([*self.plan.remarks, *self.remarks, *said]))
        self._note(lambda book: book.finish(self.id, state=state, warnings=warnings, conditions=self.conditions))
        return replace(
            begun,
            state=state,
            passes=tuple(self.passes),
            results=results,
            warnings=tuple(dict.fromkeys([*warnings, *self.remarks])),
            conditions=self.conditions,
        )

    def _conditions_at_end(self, before: tuple[DiskState, ...]) -> None:
        """Note what the visit did to the drive, and what changed meanwhile."""
        after = self.platform.states(self.target)
        self.conditions["written_bytes"] = sum(
            one.payload_bytes for one in self.passes if one.direction is Direction.TO_DRIVE
        )
        for key, states in (("temperature_start_c", before), ("temperature_end_c", after)):
            found = temperature(states)
            if found is not None:
                self.conditions[key] = found
        if before and before[0].link_mode:
            self.conditions["link_mode"] = before[0].link_mode
        if changed(before, after):
            self.conditions["changed"] = list(changed(before, after))

    def _note(self, write: Callable[[Logbook], None]) -> None:
        """Write to the logbook if there is one; a logbook that fails is told once and then left alone."""
        if self.logbook is None:
            return
        try:
            write(self.logbook)
        except LogbookError as error:
            self.logbook = None
            self.remarks.append(f"not logged: {error.message}")

    def _stop_here(self) -> None:
        if self.stop():
            raise Stopped("stopped on request")

    def _say(self, stage: str, work: Work | None = None, direction: Direction | None = None, repeat: int = 0) -> None:
        self.progress(
            Progress(
                stage=stage,
                workload=work.workload if work else None,
                direction=direction,
                repeat=repeat,
                repeats=self.plan.repeats,
            )
        )

    def _shower(
        self, work: Work, stage: str, direction: Direction | None = None, repeat: int = 0, *, may_cut: bool = False
    ) -> Look:
        """Make the call that tells progress during a pass, and that ends a first pass at two minutes if it may."""
        begun = time.monotonic()
        total = work.payload_bytes

        def look(done: int) -> bool:
            elapsed = time.monotonic() - begun
            self.progress(
                Progress(
                    stage=stage,
                    workload=work.workload,
                    direction=direction,
                    repeat=repeat,
                    repeats=self.plan.repeats,
                    done_bytes=done,
                    total_bytes=total,
                    elapsed_s=elapsed,
                )
            )
            return may_cut and elapsed > LONGEST_PASS_S

        return look
