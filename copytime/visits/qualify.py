"""The main job: measure a drive through a folder on it, in repeats, both directions, and write down every pass."""

from __future__ import annotations

import secrets
import time
import uuid
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from copytime.analysis.results import Between, results_of
from copytime.analysis.visits import between_visits
from copytime.attached import Platform
from copytime.attached import platform as this_platform
from copytime.engine.awake import kept_awake
from copytime.engine.blocks import Stop, never
from copytime.engine.scratch import Scratch
from copytime.engine.system import System
from copytime.engine.waking import waker
from copytime.errors import CopytimeError, Stopped, from_os_error
from copytime.logbook import Logbook
from copytime.records import Direction, Progress, ProgressCallback, Qualification, Result, Verdict, Witness, Workload
from copytime.records import Pass as PassRecord
from copytime.safetext import plain, storable
from copytime.units import duration_text, size_text
from copytime.visits.advice import advice
from copytime.visits.conditions import Moment, conditions_of
from copytime.visits.earlier import known_between, to_conditions
from copytime.visits.here import about_here, others_at_work
from copytime.visits.judging import known_besides, observations_of, verdicts_of
from copytime.visits.leaving import enter, leave
from copytime.visits.means import Means, means
from copytime.visits.notes import Notes
from copytime.visits.options import Options
from copytime.visits.outcome import Outcome
from copytime.visits.plan import LONGEST_PASS_S, Plan, make_plan
from copytime.visits.timed import Settings, Station, now
from copytime.visits.work import Look, Work
from copytime.visits.works import works_of

__all__ = ["Outcome", "Visit", "logged_in", "measure", "qualify"]

#: Length of the idle moment before and after each pass, in seconds.
_IDLE_S, _IDLE_BRIEF_S = 0.2, 0.1


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

    Raises InputError, AccessRefused, NoSpace or LogbookError before anything is written; DriveFault, NoSpace, AccessRefused
    or Stopped during the work, with what was finished in the error's ``finished``. The scratch folder is removed in
    any case, also where ``progress`` raises or an interrupt comes; those are passed on.
    """
    plan = make_plan(this_platform().target(str(target)), options or Options())
    return logged_in(logbook, lambda book: measure(plan, logbook=book, progress=progress, stop=stop))


def logged_in(logbook: Path | None, work: Callable[[Logbook | None], Outcome]) -> Qualification:
    """Do some work with the logbook open, and raise what ended it early, with what was finished in the error."""
    opened = Logbook.open(logbook) if logbook is not None else None
    try:
        outcome = work(opened)
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
    return Visit(plan, means(logbook, progress, stop, platform, system)).run()


class Visit:
    """One run of one plan. Visits of another kind derive from it and put their own works and passes in."""

    def __init__(self, plan: Plan, given: Means) -> None:
        self.plan = plan
        self.options = plan.options
        self.target = plan.target
        self.notes = Notes(given.logbook)
        self._callers = given.progress
        self._callers_error: BaseException | None = None
        self.stop = given.stop
        self.platform = given.platform
        self.system = given.system
        self.passes: list[PassRecord] = []
        self.remarks: list[str] = []
        self._written: dict[int, int] = {}  # which pass each workload was written last in
        self.conditions = conditions_of(plan)
        self.begun = Qualification(
            id=str(uuid.uuid4()),
            created=now(),
            state="running",
            drive=storable(plan.options.drive or self.target.drive_label),
            target=storable(self.target.path),
            chain=plan.way.parts,
            conditions=self.conditions,
            campaign=plan.options.campaign,
        )

    def run(self) -> Outcome:
        """Do everything from the first entry in the logbook to the last."""
        before = Moment.now(self.platform, self.target)
        self.conditions.update(before.known())  # what is known of the attachment stands there from the first moment
        here = about_here(self.target, self.system)
        checked = self.notes.read(lambda book: book.last_selfcheck(self.target.drive_label, self.target.file_system, here))
        if checked is not None:
            self.conditions["selfchecked"] = f"self-check of {checked.created}: {checked.summary}"
        self.remarks += self.notes.read(lambda book: others_at_work(book, here)) or ()
        self.notes.write(lambda book: book.begin(self.begun))
        failure: CopytimeError | None = None
        try:
            with kept_awake() as awake:
                self.conditions["sleep_held_off"] = awake
                self._in_scratch()
        except CopytimeError as error:
            failure = error
        except BaseException as error:
            # an interrupt or an error in the caller's own callback: it is the caller's, but the entry is closed all the same
            if isinstance(error, OSError) and error is not self._callers_error:
                failure = from_os_error(error, f"measuring in {plain(self.target.path)}")
                return self._outcome(before, "failed", failure)
            self._finish(before, "stopped" if isinstance(error, KeyboardInterrupt) else "failed")
            raise
        state = "finished" if failure is None else "stopped" if isinstance(failure, Stopped) else "failed"
        return self._outcome(before, state, failure)

    def _in_scratch(self) -> None:
        """Make the scratch folder, measure in it, and remove it whatever happens."""
        self._say("prepare")
        scratch = enter(self.system, self.target, self.notes)
        try:
            self._measure(scratch)
        finally:
            try:
                self._say("clean-up")
            finally:
                keep = self.options.keep and bool(self.passes)
                self.remarks += leave(scratch, self.notes, keep=keep)

    def progress(self, progress: Progress) -> None:
        """Tell the caller where the visit stands, and know an error of theirs from one of the drive's."""
        if self._callers is None:
            return
        try:
            self._callers(progress)
        except BaseException as error:
            self._callers_error = error
            raise

    def _measure(self, scratch: Scratch) -> None:
        """Make the payload, run the passes over it, and let go of it."""
        works = self._works(scratch)
        try:
            for work in works:
                work.create(stop=self.stop, look=self._shower(work, "prepare"))
            options = self.options
            settings = Settings(verify=options.verify, idle_s=_IDLE_BRIEF_S if options.brief else _IDLE_S)
            with waker(scratch.folder) as wake:
                self._passes(Station(self.platform, self.system, self.target, scratch, wake, settings), works)
        finally:
            for work in works:
                work.close()

    def _works(self, scratch: Scratch) -> list[Work]:
        """Make what is to be moved."""
        return works_of(self.plan, self.system, scratch.folder, run=secrets.randbits(64))

    def _passes(self, station: Station, works: list[Work]) -> None:
        """Time the passes in their order, and check what they left."""
        repeat = 0
        while repeat < self.plan.repeats or self._want_more(repeat):
            repeat += 1
            for work in works:
                for direction in (Direction.TO_DRIVE, Direction.FROM_DRIVE):
                    self._one(station, work, direction, repeat)
        if self.options.verify:
            for work in works:
                self._check(station, work)

    def _one(self, station: Station, work: Work, direction: Direction, repeat: int) -> None:
        """Time one pass and write it down."""
        stage = "write" if direction is Direction.TO_DRIVE else "read"
        self._stop_here()
        self._say("wait", work, direction, repeat)
        may_cut = self.plan.may_shorten(work.workload) and direction is Direction.TO_DRIVE and repeat == 1
        one = station.timed(
            work,
            direction,
            repeat,
            stop=self.stop,
            look=lambda: self._shower(work, stage, direction, repeat, may_cut=may_cut),
            unfinished=self._add,
        )
        one = self._kept(one)
        if one.payload_bytes < work.payload_bytes:
            self._shorten(work, one)
        if direction is Direction.TO_DRIVE:
            self._written[id(work)] = len(self.passes)
        self._add(one)
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

    def _kept(self, one: PassRecord) -> PassRecord:
        """Return a pass as it is to be written down."""
        return one

    def _add(self, one: PassRecord) -> None:
        """Write a pass down, finished or not."""
        self.passes.append(one)
        self.notes.write(lambda book: book.add_pass(self.begun.id, one))

    def _want_more(self, repeat: int) -> bool:
        """Tell whether repeats go on because a margin is still wider than was asked for."""
        until = self.options.until
        if until is None or repeat >= self.plan.at_most:
            return False
        kinds: dict[tuple[Workload, Direction], Result] = {}
        for one in results_of(self.passes, adaptive=True):
            # of passes that turned out differently, those that most repeats are of; what memory answered settles nothing
            known = kinds.get((one.workload, one.direction))
            if one.witness is not Witness.CACHED and (known is None or one.repeats > known.repeats):
                kinds[one.workload, one.direction] = one
        for one in kinds.values():
            if one.low is None or one.high is None or max(one.high / one.rate - 1, 1 - one.low / one.rate) > until:
                return True
        return False

    def _shorten(self, work: Work, one: PassRecord) -> None:
        """Go on with the payload at which the first pass was cut."""
        wanted = work.payload_bytes
        work.shorten(one.payload_bytes)
        self.remarks.append(
            f"the {work.workload} payload is {size_text(one.payload_bytes)} instead of {size_text(wanted)}, because the "
            f"first pass would have lasted over {duration_text(LONGEST_PASS_S)}; compare it with the same size only"
        )

    def _check(self, station: Station, work: Work) -> None:
        """Compare every byte of what the last writing pass left on the drive."""
        self._say("check", work, Direction.FROM_DRIVE)
        found = station.checked(work, stop=self.stop, look=self._shower(work, "check", Direction.FROM_DRIVE))
        moved = found.moved
        at = self._written[id(work)]
        one = self.passes[at] = replace(
            self.passes[at], verified=found.how, mismatches=moved.mismatches, wrong_cells=moved.wrong_cells
        )
        self.notes.write(lambda book: book.add_verification(one))
        late = station.changes()
        if late:
            self.remarks.append(
                f"while every byte of the {work.workload} payload was checked the drive changed: {', '.join(late)}"
            )

    def _finish(self, before: Moment, state: str) -> Qualification:
        """Work out the results and close the entry."""
        written = sum(one.payload_bytes for one in self.passes if one.direction is Direction.TO_DRIVE)
        self.conditions["written_bytes"] = written + (self.plan.payloads.large_bytes if self.options.laid_out else 0)
        self.conditions.update(before.until(Moment.now(self.platform, self.target)))
        adaptive = self.options.until is not None
        between = self._between()
        self.conditions["between_visits"] = to_conditions(between)
        results = results_of(self.passes, self.plan.way.ceiling, adaptive=adaptive, between=between)
        verdicts = self._verdicts(results, between)
        said = advice(self.passes, results, self.conditions)
        warnings = tuple(dict.fromkeys([*self.plan.remarks, *self.remarks, *said]))
        return self.notes.close(
            replace(
                self.begun,
                state=state,
                passes=tuple(self.passes),
                results=results,
                verdicts=verdicts,
                warnings=warnings,
                conditions=self.conditions,
            )
        )

    def _outcome(self, before: Moment, state: str, failure: CopytimeError | None) -> Outcome:
        """Close the entry, and gather what must be told in any case."""
        one = self._finish(before, state)
        return Outcome(qualification=one, failure=failure, notices=self.notes.notices(one.warnings, self.remarks))

    def _between(self) -> Between:
        """Ask the logbook how much visits differ, this one included; nothing where there is none."""
        kinds = dict.fromkeys((one.workload, one.direction) for one in self.passes)
        known = self.notes.read(known_between) or {}
        return {kind: known.get(kind) or between_visits(()) for kind in kinds}

    def _verdicts(self, results: tuple[Result, ...], between: Between) -> tuple[Verdict, ...]:
        """Judge the results by each other, by what the logbook knows of the same parts, and by what makers state."""
        begun = self.begun
        own = observations_of(begun.id, begun.created, begun.chain, self.conditions, results, between)
        serial = self.conditions.get("serial")
        return verdicts_of(own, self.notes.read(lambda book: known_besides(book, own, begun.id, serial)) or [])

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
        tell = self._teller(work, stage, direction, repeat)

        def look(done: int) -> bool:
            elapsed = tell(done)
            return may_cut and elapsed > LONGEST_PASS_S

        return look

    def _teller(self, work: Work, stage: str, direction: Direction | None, repeat: int) -> Callable[[int], float]:
        """Make the call that tells how many bytes of a pass are done, and returns for how many seconds it has run."""
        begun = time.monotonic()
        total = work.payload_bytes

        def tell(done: int) -> float:
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
            return elapsed

        return tell
