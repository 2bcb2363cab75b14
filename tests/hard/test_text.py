"""Hostile text, quickly; ``python -m tests.hard text`` plants it into one field after the other and types it everywhere."""

from __future__ import annotations

import dataclasses
import os
import pty
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import pytest

from copytime.attached.facts import DriveFacts
from copytime.attached.interpret import interpret
from copytime.attached.linux_facts import LinuxFacts
from copytime.attached.telling import drive_object
from copytime.cli.app import app
from copytime.cli.common import json_text
from copytime.logbook.fields import FIELDS
from copytime.notes import Note
from copytime.records import Check, Durability, Mismatch, Part, Pass, Qualification, SelfCheck, Verdict
from copytime.report.drives import drives_csv, drives_document, drives_text
from copytime.safetext import FORMULA_STARTS, cell, in_json
from tests.cli.test_help import every
from tests.hard.asked import ASKED, filled
from tests.hard.inside import ask
from tests.hard.judges import JUDGES, steers
from tests.hard.planting import HARMFUL, places, plant
from tests.hard.text import TYPED, TextBench, free, of_fields, of_options
from tests.report.test_browser import Browser, browser
from tests.support.drives import run
from tests.support.file_trees import make_tree
from tests.support.trees import TREES, lay_out

__all__ = ["browser"]


@pytest.fixture
def bench() -> Iterator[TextBench]:
    """In memory where there is such a place: every call writes a logbook through to its disk."""
    with tempfile.TemporaryDirectory(dir="/dev/shm" if os.path.isdir("/dev/shm") else None) as home:
        yield TextBench(Path(home))


def test_every_command_is_asked() -> None:
    known = set()
    for path, command in every(app):
        if len(path) > 1 and (not isinstance(command, click.Group) or command.invoke_without_command):
            known.add(" ".join(path[1:]))
    assert set(ASKED) == known
    assert all(ASKED.values())


def texts_of(record: type, *, without: tuple[str, ...] = ()) -> set[str]:
    """Name the fields of a record that hold text."""
    return {one.name for one in dataclasses.fields(record) if "str" in str(one.type)} - set(without)


def test_every_field_of_text_is_planted(bench: TextBench) -> None:
    known = {(one.table, word) for one in places(bench.book) for word in (one.column, *one.way)}
    wanted = {("note", name) for name in texts_of(Note)}
    wanted |= {("kit", one.name) for several in FIELDS.values() for one in several}
    wanted -= {("kit", name) for name in ("capacity", "endurance", "rated_read", "rated_write", "length_m")}  # numbers
    wanted -= {("kit", name) for name in ("needs_from", "needs_to", "needs_write")}
    wanted |= {("qualification", name) for name in (*texts_of(Qualification), *texts_of(Part), *texts_of(Verdict))}
    wanted |= {("pass", name) for name in (*texts_of(Pass), *texts_of(Mismatch), *texts_of(Durability))}
    wanted |= {("selfcheck", name) for name in (*texts_of(SelfCheck), *texts_of(Check, without=("values",)))}
    assert wanted - known == set()


def test_in_all_fields_that_take_any_text(bench: TextBench) -> None:
    group = free(bench)
    assert len(group) > 60
    (tally,) = of_fields(bench, [group])
    assert tally.complaints == []
    assert tally.cases["errors"] < 32  # of some 70 calls: the names of kit that are asked for have been replaced as well
    assert all(tally.cases[f"answers ({form})"] for form in ("text", "json", "csv", "markdown", "html", "toml"))


def test_in_some_fields_alone(bench: TextBench) -> None:
    groups = [[one] for one in places(bench.book)[3::17]]
    *_, tally = of_fields(bench, groups, every_call=False)
    assert tally.complaints == []


def test_in_every_option_and_argument(bench: TextBench) -> None:
    *_, tally = of_options(bench, TYPED, in_turn=True)
    assert tally.complaints == []
    assert tally.total > 250


def replaced(value: Any, text: str) -> Iterator[Any]:
    """Go through copies of a record in which one text is hostile."""
    if isinstance(value, str):
        yield text
    elif dataclasses.is_dataclass(value) and not isinstance(value, type):
        for one in dataclasses.fields(value):
            for new in replaced(getattr(value, one.name), text):
                yield dataclasses.replace(value, **{one.name: new})
    elif isinstance(value, dict):
        for key, inner in value.items():
            for new in replaced(inner, text):
                yield {**value, key: new}
            yield {**{other: each for other, each in value.items() if other != key}, f"{key}{text}": inner}
    elif isinstance(value, tuple):
        for number, inner in enumerate(value):
            for new in replaced(inner, text):
                yield (*value[:number], new, *value[number + 1 :])


@pytest.mark.parametrize("name", ["hub-between", "luks-on-lvm", "console-format"])
def test_in_everything_that_a_drive_tells_of_itself(name: str, tmp_path: Path) -> None:
    assert name in TREES
    where = lay_out(name, tmp_path)
    here = LinuxFacts(where / "sys", where / "proc", where / "run/udev/data")
    count = 0
    text = "".join(HARMFUL[key] for key in ("colour", "eight bit", "bidi", "equals")) + "\udcff"
    for facts in map(here.drive, here.names()):
        for hostile in replaced(facts, text):
            assert isinstance(hostile, DriveFacts)
            count += 1
            told = [drive_object(one) for one in interpret((hostile,))]
            said = steers(drives_text(told, details=True)) + JUDGES["csv"](drives_csv(told))
            with click.Context(app).scope():
                said += JUDGES["json"](json_text(drives_document("2026-11-25T12:00:00+01:00", told)))
            assert said == []
    assert count > 40


def test_a_browser_runs_nothing_of_a_report_or_a_picture(bench: TextBench, browser: Browser, tmp_path: Path) -> None:
    assert plant(bench.book, free(bench), [HARMFUL["script"], HARMFUL["attribute"], HARMFUL["markdown"]])
    names = bench.names(tmp_path)
    pages: list[Path] = []
    for asked in (*ASKED["report"], *ASKED["chart"]):
        if asked.form not in ("html", "svg"):
            continue
        done = ask(*filled(asked, names), logbook=bench.book)
        if done.code == 2 and "nothing is logged that makes a picture" in done.err:
            continue  # what tells drives apart was planted as well, as it came: none may have been met twice
        assert done.code == 0, done.err
        pages.append(tmp_path / f"page {len(pages)}.{asked.form}")
        made = Path(f"{names['made']}.svg")
        pages[-1].write_text(done.out if asked.form == "html" else made.read_text("utf-8"), "utf-8")
        made.unlink(missing_ok=True)
    assert len(pages) >= 3
    for page in pages:
        text = page.read_text("utf-8").replace("Content-Security-Policy", "x")  # nothing but the text itself is to hold
        page.write_text(text, "utf-8")
        seen = browser.run(page, "--dump-dom")
        assert "owned" in seen.stdout or page.suffix == ".svg"  # it is shown
        assert "<title>owned" not in seen.stdout
        assert browser.console(seen) == []
        assert browser.asked_for() <= {page.as_uri()}


def on_a_terminal(*arguments: str | Path) -> tuple[int, bytes]:
    """Run the program on a terminal of its own; returns its exit code and every byte that it wrote there."""
    child, terminal = pty.fork()
    if child == 0:
        words = [os.fsencode(one) for one in (sys.executable, "-m", "copytime", *arguments)]
        os.execv(sys.executable, words)  # noqa: S606 - reason: of the arguments of a test
    said = b""
    while True:
        try:
            part = os.read(terminal, 65536)
        except OSError:  # Linux says so when the other side has gone
            break
        if not part:
            break
        said += part
    os.close(terminal)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), said


#: Bytes of hostile names that must not arrive: colour, title, controls of eight bits as UTF-8, turned direction, no UTF-8.
_MARKS = (b"\x1b[45m", b"\x1b[31mred", b"\x1b]0;", b"\xc2\x9b", b"\xe2\x80\xae", b"\xff", b"\x07", b"\x08")


@pytest.mark.root
def test_names_of_files_and_mounts_on_a_terminal(tmp_path: Path) -> None:
    """The drive is mounted at a hostile path, and hostile names are copied to it: bars, lines, tables, errors."""
    mount = tmp_path / "m\x1b[45m\x1b]0;owned\x07\x9b2J\u202e\udcff\x08 <b>"
    mount.mkdir()
    run("mount", "-t", "tmpfs", "-o", "size=300m", "hostile\x1b[45m\x07", str(mount))
    try:
        tree = mount / "t\x1b[45mree\u202e\udcff"
        make_tree(tree, large=2, small=20)
        (mount / "to\x1b[45m").mkdir()
        asked: list[tuple[tuple[str | Path, ...], int]] = [
            (("qualify", mount, "--large", "16MB", "--small", "50", "--small-sizes", "4KiB", "--repeats", "2"), 0),
            (("qualify", mount / "none\x1b[45m"), 2),
            (("sustain", mount, "--size", "64MB"), 0),
            (("copy", tree, mount / "to\x1b[45m", "--back"), 0),
            (("copy", tree, mount / "to\x1b[45m"), 2),
            (("copy", tree, tree), 2),
            (("copy", tree, mount, "--predict"), 2),
            (("selfcheck", mount, "--dry-run"), 0),
            (("watch", mount / "none\x1b[45m"), 2),
            (("log",), 0),
            (("tidy",), 0),
            (("report", "--personal"), 0),
            (("report", "-o", mount / "none\x1b[45m" / "x.md"), 2),
            (("logbook", "path", "--logbook", mount / "b\x1b[45m\udcff"), 0),
            (("logbook", "check", "--logbook", mount / "b\x1b[45m\udcff"), 2),
            (("note", "copy", "to-drive", "88GB", "21:07", "--logbook", mount / "b\x1b[45m\udcff"), 0),
            (("log", "--logbook", mount / "b\x1b[45m\udcff"), 0),
        ]
        for arguments, code in asked:
            ended, said = on_a_terminal(*arguments)
            shown = said.decode("utf-8", "backslashreplace")
            for mark in _MARKS:
                assert mark not in said, (arguments, mark, shown[-2000:])
            assert "This is a fault" not in shown, shown[-2000:]
            assert ended == code or (code == 2 and ended == 1), (arguments, ended, shown[-2000:])
    finally:
        subprocess.run(["umount", "-l", os.fspath(mount)], check=False)


def test_json_says_the_same_and_is_harmless() -> None:
    import json

    for text in (*HARMFUL.values(), "\U000e0041 \U0001f3ae é", "x" * 50):
        written = in_json(json.dumps({"a": text}, ensure_ascii=False))
        assert json.loads(written) == {"a": text}
        assert steers(written) == []
    assert "é" in in_json('"é"')


def test_no_cell_begins_with_what_a_spreadsheet_runs() -> None:
    for text in HARMFUL.values():
        assert not cell(text).startswith(FORMULA_STARTS)
