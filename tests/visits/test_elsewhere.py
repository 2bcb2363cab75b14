"""A whole visit on macOS and on Windows, played: the real visit, engine and report over injected calls.

It shows that the parts for these systems fit the rest; it does not show that the systems do as they document.
"""

from __future__ import annotations

import json
import os
import threading
import time
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from types import SimpleNamespace

import jsonschema
import pytest

from copytime.attached import Platform
from copytime.engine.system import System
from copytime.engine.system.macos import Calls, MacOS
from copytime.engine.system.windows import Windows
from copytime.errors import DriveFault, NoSpace
from copytime.logbook import Logbook
from copytime.records import Access, Direction, Witness, Workload
from copytime.report.documents import qualification_document
from copytime.report.text import qualification_text
from copytime.visits.options import Options
from copytime.visits.plan import Plan, make_plan
from copytime.visits.qualify import Outcome, measure
from copytime.visits.watching import drive_to_watch, watch
from tests.support.macos_answers import LOCAL, Answers, Library, statfs_answer
from tests.support.windows_kernel import WindowsKernel
from tests.support.windows_parts import READ, WRITE, Volume
from tests.support.windows_volumes import REMOVABLE, Drive, WindowsVolumes

OPTIONS = Options(large=16_777_216, small=300, repeats=2, block=1 << 20, depth=3, workers=3)


def check_document(outcome: Outcome) -> None:
    schema = json.loads((resources.files("copytime") / "report/schemas/qualification.json").read_text("utf-8"))
    jsonschema.validate(qualification_document(outcome.qualification), schema)
    assert any("have never run on it" in said for said in outcome.qualification.warnings)
    assert "Ferrybox Quayside One" in qualification_text(outcome.qualification)


class Quayside:
    """A Windows machine with one USB drive at E:, whose counters count what the kernel moves."""

    def __init__(self, folder: Path) -> None:
        self.root = folder / "e"
        (self.root / "games").mkdir(parents=True)
        self.kernel = WindowsKernel(drives={"E": Volume(self.root, 0xCAFE0001)})
        self.system: System = Windows(self.kernel.calls())
        self.volumes = WindowsVolumes({"E:\\": Drive(2, "exFAT", kind=REMOVABLE)})

    def platform(self) -> Platform:
        made = self.volumes.windows()
        made._counters = lambda: {
            "PhysicalDrive1": SimpleNamespace(
                read_bytes=self.kernel.moved[READ], write_bytes=self.kernel.moved[WRITE], read_count=1, write_count=1
            )
        }
        return made

    def plan(self, monkeypatch: pytest.MonkeyPatch) -> Plan:
        monkeypatch.setattr(os, "access", lambda path, _: path == "E:\\games")
        return make_plan(self.platform().target("E:\\games"), OPTIONS)


@pytest.fixture
def quayside(tmp_path: Path) -> Quayside:
    return Quayside(tmp_path)


def test_a_whole_visit_on_windows(quayside: Quayside, monkeypatch: pytest.MonkeyPatch, logbook_path: Path) -> None:
    plan = quayside.plan(monkeypatch)
    with Logbook.open(logbook_path) as book:
        outcome = measure(plan, logbook=book, platform=quayside.platform(), system=quayside.system)
        assert book.scratches() == []
    assert outcome.failure is None
    passes = outcome.qualification.passes
    assert [(one.workload, one.direction) for one in passes] == 2 * [
        (workload, direction) for workload in (Workload.LARGE, Workload.SMALL) for direction in Direction
    ]
    for one in passes:
        large, writing = one.workload is Workload.LARGE, one.direction is Direction.TO_DRIVE
        assert one.witness is Witness.DEVICE
        assert one.access is (Access.UNBUFFERED if large else Access.BUFFERED)
        assert ("access-unchecked" in one.marks) == large  # Windows does not tell what is in its cache
        assert ("metadata-warm" in one.marks) == (not large and not writing)
        assert one.verified == ("every byte" if writing and one.repeat == 2 else None if writing else "spot check")
        method = "FlushFileBuffers" if large else "FlushFileBuffers of each file"
        assert (one.durability.method if one.durability else None) == (method if writing else None)
    assert outcome.qualification.mismatches == ()
    assert list((quayside.root / "games").iterdir()) == []
    assert quayside.kernel.handles == {}
    check_document(outcome)


@pytest.mark.parametrize(
    ("harm", "kind"),
    [
        (lambda kernel: setattr(kernel.drives["E"], "gone", True), DriveFault),
        (lambda kernel: setattr(kernel.drives["E"], "room", 0), NoSpace),
        (lambda kernel: kernel.fail.update(FlushFileBuffers=[1117]), DriveFault),
        (lambda kernel: kernel.fail.update(GetOverlappedResult=[0, 0, 23]), DriveFault),
    ],
    ids=["gone", "full", "flush", "broken sector"],
)
def test_a_drive_that_fails_on_windows(
    quayside: Quayside,
    monkeypatch: pytest.MonkeyPatch,
    logbook_path: Path,
    harm: Callable[[WindowsKernel], None],
    kind: type,
) -> None:
    plan = quayside.plan(monkeypatch)
    seen = 0

    def follow(progress: object) -> None:
        nonlocal seen
        if getattr(progress, "finished", None) is not None:
            seen += 1
            if seen == 4:
                harm(quayside.kernel)

    with Logbook.open(logbook_path) as book:
        outcome = measure(plan, logbook=book, progress=follow, platform=quayside.platform(), system=quayside.system)
        left = book.scratches()
    assert isinstance(outcome.failure, kind)
    assert (outcome.qualification.state, len(outcome.qualification.passes)) == ("failed", 4)
    gone = quayside.kernel.drives["E"].gone
    assert len(left) == int(gone)
    assert bool(list((quayside.root / "games").iterdir())) == gone


def test_another_programs_copy_is_watched_on_windows(quayside: Quayside, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "access", lambda path, _: path == "E:\\games")
    platform = quayside.platform()
    target = drive_to_watch("E:\\games", platform)

    def other() -> None:
        for _ in range(20):
            time.sleep(0.05)  # reason: this is the other program's copy
            quayside.kernel.moved[WRITE] += 10_000_000

    copying = threading.Thread(target=other)
    copying.start()
    found = watch(target, quiet_s=1.0, platform=platform)
    copying.join()
    (way,) = found.ways
    assert (way.direction, way.moved_bytes) == (Direction.TO_DRIVE, 200_000_000)
    assert found.failure is None


def test_a_whole_visit_on_macos(tmp_path: Path, logbook_path: Path) -> None:
    folder = tmp_path / "games"
    folder.mkdir()
    answers = Answers({folder: statfs_answer("apfs", "/dev/disk4s1", "/Volumes/quayside", flags=LOCAL)})
    answers.counted = {}  # what this machine moves is not what those disks would count
    library = Library(getattrlist=lambda *_: -1)
    system = MacOS(Calls(lambda *_: 0, library, clock={4: 2, 8: 1}.__getitem__))  # type: ignore[arg-type]  # reason: played
    plan = make_plan(answers.macos().target(str(folder)), OPTIONS)
    with Logbook.open(logbook_path) as book:
        outcome = measure(plan, logbook=book, platform=answers.macos(), system=system)
        assert book.scratches() == []
    assert outcome.failure is None
    assert outcome.qualification.mismatches == ()
    assert len(outcome.qualification.passes) == 8
    for one in outcome.qualification.passes:
        assert one.witness is Witness.NONE
        assert one.access is Access.BUFFERED  # this kernel took F_NOCACHE for nothing, and residency showed it
        assert "access-unchecked" not in one.marks
        if one.durability is not None:
            small = one.workload is Workload.SMALL
            method = "fsync of each file and folder, then F_FULLFSYNC" if small else "F_FULLFSYNC"
            assert str(one.durability) == method
    assert outcome.qualification.conditions["errors_start"] == 3
    assert list(folder.iterdir()) == []
    check_document(outcome)
