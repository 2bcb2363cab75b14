"""What happens to the drives of both sides during a copy is looked for, told, and written down, as for any visit."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from copytime.attached import Disk, DiskState, Platform, Target
from copytime.attached import platform as this_platform
from copytime.engine.comparing import Compared, compare
from copytime.logbook import Logbook
from copytime.records import Counts, Progress, Qualification
from copytime.report.copies import copy_document, copy_text
from copytime.visits import copying
from copytime.visits.copy_plan import CopyPlan, plan_copy
from copytime.visits.copying import CopyResult, carry_out
from copytime.visits.options import Options
from copytime.visits.plan import make_plan
from copytime.visits.qualify import measure
from copytime.visits.sustain import Sustain, make_sustain_plan, stream

CALM = DiskState(attachment="7/1/4", link_mode="5000 Mb/s", errors=3, temperature_c=31.0, size_bytes=10**12)
ANEW = replace(CALM, attachment="8/1/5", link_mode="480 Mb/s")
SLOWER = replace(CALM, link_mode="480 Mb/s")
FAILED = replace(CALM, errors=5, temperature_c=44.0)
SHRUNK = replace(CALM, size_bytes=0)


class TwoDrives:
    """This machine, with folders that stand for drives of their own whose state a test decides."""

    def __init__(self, *folders: Path) -> None:
        self._real = this_platform()
        self._numbers = {str(folder): f"99:{number}" for number, folder in enumerate(folders)}
        self.states_of = dict.fromkeys(self._numbers.values(), CALM)
        self.written = 0

    def __getattr__(self, name: str) -> Any:
        return getattr(self._real, name)

    def target(self, path: str) -> Target:
        number = next((one for folder, one in self._numbers.items() if path.startswith(folder)), "99:9")
        return replace(self._real.target(path), disks=(Disk(name=f"sd{number[-1]}", number=number),))

    def states(self, target: Target) -> tuple[DiskState, ...]:
        return (self.states_of.get(target.disks[0].number, CALM),)

    def counts(self, target: Target) -> Counts:
        del target
        self.written += 1000
        return Counts(read_bytes=0, written_bytes=self.written)

    def happens(self, folder: Path, state: DiskState) -> None:
        self.states_of[self._numbers[str(folder)]] = state


class Bench:
    """A source, a destination, a logbook, and a copy between them in which something happens at a stage."""

    def __init__(self, place: Path) -> None:
        self.source, self.destination, self.book = place / "one", place / "two", place / "book.sqlite"
        for folder in (self.source, self.destination):
            folder.mkdir()
        (self.source / "games").mkdir()
        (self.source / "games" / "big").write_bytes(bytes(range(256)) * 80_000)
        self.drives = TwoDrives(self.source, self.destination)
        self.platform: Platform = self.drives

    def at(self, stage: str, happens: Callable[[], None]) -> Callable[[Progress], None]:
        def told(progress: Progress) -> None:
            if progress.stage == stage:
                happens()

        return told

    def copy(self, stage: str, folder: str, state: DiskState, *, back: bool = False) -> CopyResult:
        where = self.source if folder == "source" else self.destination
        plan: CopyPlan = plan_copy(str(self.source / "games"), str(self.destination), back=back, platform=self.platform)
        with Logbook.open(self.book) as book:
            found = carry_out(
                plan,
                logbook=book,
                platform=self.platform,
                progress=self.at(stage, lambda: self.drives.happens(where, state)),
            )
        assert found.failure is None
        return found

    def logged(self, found: CopyResult) -> Qualification:
        book = Logbook.read(self.book)
        assert book is not None
        with book:
            return book.qualification(found.qualification.id)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def document(found: CopyResult) -> dict[str, Any]:
    made = copy_document(found.qualification, source="one", destination="two", left=(), not_compared=(), special=())
    jsonschema.validate(made, json.loads((resources.files("copytime") / "report/schemas/copy.json").read_text("utf-8")))
    return json.loads(json.dumps(made))  # type: ignore[no-any-return]  # reason: it is what a reader gets


def answer(found: CopyResult) -> str:
    return copy_text(found.qualification, source="one", destination="two", left=(), not_compared=(), special=())


EVENTS = pytest.mark.parametrize(
    ("state", "mark", "warned", "shown"),
    [
        (ANEW, "reconnected", "reconnected during the", "RECONNECTED"),
        (SLOWER, "link-mode-changed", "changed its mode during the", "CHANGED ITS MODE"),
        (FAILED, "errors-rose", "the system counted failed requests", "requests to it FAILED"),
        (SHRUNK, "size-changed", "another size than before", "ANOTHER SIZE"),
    ],
)


@EVENTS
@pytest.mark.parametrize("side", ["source", "destination"])
def test_what_happens_to_either_drive_during_the_copy(
    bench: Bench, side: str, state: DiskState, mark: str, warned: str, shown: str
) -> None:
    found = bench.copy("write", side, state)
    other = "destination" if side == "source" else "source"
    (told,) = [said for said in found.qualification.warnings if warned in said]
    assert ("the drive of the source" in told) == (side == "source")
    line = next(line for line in answer(found).splitlines() if shown in line)
    assert line.startswith("from " if side == "source" else "onto ")
    made = document(found)
    assert made["copies"][0][f"{side}_changed"] == [mark]
    assert made["copies"][0][f"{other}_changed"] == []
    assert made[f"{side}_conditions"]["changed"] == [mark]
    assert "changed" not in made[f"{other}_conditions"]
    assert made[f"{side}_conditions"]["errors_start"] == 3
    assert made[f"{side}_conditions"]["errors_end"] == state.errors
    assert ("device_written_bytes" in made[f"{side}_conditions"]) == (mark != "reconnected")  # its counters began again
    entry = bench.logged(found)
    assert entry.passes[0].marks.count(mark) == (side == "destination")  # the drive that the figures are of
    assert entry.conditions.get("changed") == ([mark] if side == "destination" else None)
    assert entry.conditions["sides"] == found.qualification.conditions["sides"]
    assert entry.conditions["link_mode"] == "5000 Mb/s"


@pytest.mark.parametrize("side", ["source", "destination"])
def test_what_happens_while_it_is_compared_is_no_part_of_the_time(
    bench: Bench, side: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(*given: Any, **more: Any) -> Compared:
        bench.drives.happens(bench.source if side == "source" else bench.destination, FAILED)
        return compare(*given, **more)

    monkeypatch.setattr(copying, "compare", failing)
    found = bench.copy("never", side, CALM)
    (told,) = [said for said in found.qualification.warnings if "failed requests" in said]
    assert "outside the timed" in told
    assert ("of the source" in told) == (side == "source")
    assert found.qualification.passes[0].marks.count("errors-rose") == 0
    assert "FAILED" not in answer(found)
    assert document(found)[f"{side}_conditions"]["changed"] == ["errors-rose"]


def test_on_the_way_back_it_belongs_to_the_same_drives(bench: Bench) -> None:
    found = bench.copy("read", "source", ANEW, back=True)
    forth, back = document(found)["copies"]
    assert (forth["source_changed"], forth["destination_changed"]) == ([], [])
    # what was the source takes the bytes now
    assert (back["source_changed"], back["destination_changed"]) == ([], ["reconnected"])
    (told,) = [said for said in found.qualification.warnings if "reconnected" in said]
    assert "the drive of the source reconnected" in told


def test_where_nothing_happens_nothing_is_said_and_the_warmth_stands_there(bench: Bench) -> None:
    found = bench.copy("write", "destination", replace(CALM, temperature_c=44.0))
    assert not [said for said in found.qualification.warnings if "reconnect" in said or "failed" in said]
    entry = bench.logged(found)
    assert entry.passes[0].temperature_c == (31.0, 44.0)
    assert (entry.conditions["temperature_start_c"], entry.conditions["temperature_end_c"]) == (31.0, 44.0)
    assert "changed" not in entry.conditions


@EVENTS
def test_qualify_and_sustain_do_the_same(bench: Bench, state: DiskState, mark: str, warned: str, shown: str) -> None:
    del warned, shown
    target = bench.platform.target(str(bench.destination))
    happens = bench.at("wait", lambda: bench.drives.happens(bench.destination, state))  # told once before each pass
    plan = make_plan(target, Options(large=16_777_216, small=0, repeats=1))
    qualified = measure(plan, platform=bench.platform, progress=happens)
    bench.drives.happens(bench.destination, CALM)
    sustained = stream(make_sustain_plan(target, Sustain(size=64 << 20)), platform=bench.platform, progress=happens)
    for found in (qualified, sustained):
        assert found.failure is None
        assert found.qualification.conditions["changed"] == [mark]
        assert mark in found.qualification.passes[0].marks
        assert ("device_written_bytes" in found.qualification.conditions) == (mark != "reconnected")
