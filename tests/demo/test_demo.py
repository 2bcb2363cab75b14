"""The invented bench: what is found in it is what was put in, it is the same every time, and it passes for nothing real."""

from __future__ import annotations

import hashlib
import itertools
import json
import re
import shlex
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest

from copytime.analysis.capping import Model
from copytime.analysis.reconciled import Reconciliation
from copytime.cli.app import _COMMANDS
from copytime.cli.demo import FILE, TRY
from copytime.demo import CAMPAIGN, write_demo
from copytime.demo.bench import BLOCK, DEPTH, LARGE, SMALL_BYTES, SMALL_FILES, SMALL_RECIPE, WORKERS
from copytime.demo.noted import SLIP, WORN
from copytime.demo.truth import BRIDGES, CONSOLES, DRIVES, REFERENCE
from copytime.engine.recipe import usual
from copytime.errors import InputError
from copytime.logbook import Logbook
from copytime.logbook.kit import items
from copytime.logbook.merge import check as look_through
from copytime.logbook.merge import merge
from copytime.logbook.notes import notes
from copytime.notes import KitKind, NoteKind
from copytime.records import Access, Direction, Qualification, Witness, Workload
from copytime.report.sustain import streams_of
from copytime.visits import options
from copytime.visits.again import with_results
from copytime.visits.judging import known_observations
from copytime.visits.reconciling import reconcile
from tests.conftest import Cli
from tests.report.test_documents import check

WRITE, READ = Direction.TO_DRIVE, Direction.FROM_DRIVE


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented logbook."""
    path = tmp_path_factory.mktemp("demo") / FILE
    write_demo(path)
    return path


@pytest.fixture
def book(demo: Path) -> Iterator[Logbook]:
    """The same, open to read."""
    opened = Logbook.read(demo)
    assert opened is not None
    with opened:
        yield opened


@pytest.fixture
def found(book: Logbook) -> Reconciliation:
    """What reconcile makes of it."""
    return reconcile(list(notes(book)), items(book), known_observations(book, ""))


def visits(book: Logbook) -> list[Qualification]:
    return [with_results(book.qualification(one["id"])) for one in book.qualifications()]


def contents(path: Path) -> list[tuple[object, ...]]:
    book = Logbook.read(path)
    assert book is not None
    with book, book.reading() as connection:
        tables = [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
        return [tuple(row) for table in tables for row in connection.execute(f"SELECT * FROM {table} ORDER BY 1, 2")]  # noqa: S608 - reason: names out of the file's own list


def test_the_same_every_time(demo: Path, tmp_path: Path) -> None:
    again = tmp_path / FILE
    write_demo(again)
    assert contents(again) == contents(demo)
    assert hashlib.sha256(again.read_bytes()).digest() == hashlib.sha256(demo.read_bytes()).digest()


def test_it_says_of_itself_that_it_is_invented(book: Logbook, tmp_path: Path) -> None:
    assert book.invented
    assert look_through(book) == []
    with Logbook.open(tmp_path / "own.sqlite") as own:
        assert not own.invented


def test_the_host_cap_is_found_within_its_margin(found: Reconciliation) -> None:
    truth = CONSOLES["Harbour 4"].read_cap
    caps = [one for one in found.shared if one.part.name == "Harbour 4"]
    assert [one.direction for one in caps if one.shown] == [READ], "in one direction only"
    (cap,) = [one for one in caps if one.shown]
    assert truth is not None
    assert cap.low is not None
    assert cap.high is not None
    assert cap.low <= truth <= cap.high
    assert cap.high / cap.low < 1.1
    named = [one for one in found.results if one.judgement.pace_setter and one.judgement.pace_setter.name == "Harbour 4"]
    assert {one.note.drive for one in named if one.judgement.certainty == "by-elimination"} == set(DRIVES) - {"Slipway 2T"}


def test_the_weak_bridge_is_found_within_its_margin(found: Reconciliation) -> None:
    truth = BRIDGES["Coble"].cap
    (cap,) = [one for one in found.shared if one.part.name == "Coble"]
    assert truth is not None
    assert cap.shown
    assert cap.low is not None
    assert cap.high is not None
    assert cap.low <= truth <= cap.high


def test_the_time_that_a_console_adds_is_found_within_its_margin(found: Reconciliation) -> None:
    (adding,) = [one for one in found.shared if one.part.name == "Lantern 2" and one.shown]
    assert adding.direction is WRITE
    assert adding.shared is not None
    assert adding.shared.model is Model.ADDS
    assert adding.shared.low is not None
    assert adding.shared.high is not None
    assert adding.shared.low <= CONSOLES["Lantern 2"].write_adds <= adding.shared.high


def test_the_slip_alone_is_doubted(found: Reconciliation) -> None:
    (doubted,) = [one for one in found.results if one.doubts]
    assert doubted.note.made == SLIP.made
    assert doubted.note.times[0].text == SLIP.typed
    assert SLIP.seconds == pytest.approx(671, abs=15), "what the stopwatch showed"


def test_the_worn_cable_is_flagged_at_the_console_and_seen_on_the_pc(found: Reconciliation, book: Logbook) -> None:
    (worn,) = [one for one in found.results if one.note.cable == WORN.cable]
    assert "may-have-fallen-back" in worn.judgement.flags
    (visit,) = [one for one in visits(book) if any(part.possible for part in one.chain)]
    (link,) = [part for part in visit.chain if part.possible]
    assert (link.negotiated, link.possible) == ("usb2.0-uas", "usb3.2-gen1x1")
    assert all("fell-back" in one.flags for one in visit.verdicts if one.workload is Workload.LARGE)


@pytest.mark.parametrize("seed", ["another", "and another", "a third"])
def test_what_is_found_does_not_hang_on_the_seed(seed: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("copytime.demo.chance.SEED", seed)
    write_demo(tmp_path / FILE)
    book = Logbook.read(tmp_path / FILE)
    assert book is not None
    with book:
        found = reconcile(list(notes(book)), items(book), known_observations(book, ""))
    shown = {one.part.name: one for one in found.shared if one.shown}
    assert set(shown) == {"Harbour 4", "Coble", "Lantern 2"}
    for name, truth in (("Harbour 4", CONSOLES["Harbour 4"].read_cap), ("Coble", BRIDGES["Coble"].cap)):
        low, high = shown[name].low, shown[name].high
        assert truth is not None
        assert low is not None
        assert high is not None
        assert low <= truth <= high, name


def test_the_reference_is_first_and_last_on_every_day(book: Logbook) -> None:
    days: dict[str, list[str]] = {}
    for one in book.qualifications():
        days.setdefault(one["created"][:10], []).append(one["drive"])
    assert len(days) == 3
    assert all((drives[0], drives[-1]) == (REFERENCE, REFERENCE) for drives in days.values())
    assert [one.name for one in items(book) if one.reference] == [REFERENCE]


def test_long_writes_show_a_drop_a_decline_and_a_level(book: Logbook) -> None:
    shown = {one.drive: streams_of(one)[0].found for one in visits(book) if streams_of(one)}
    drop = shown["Tidemark 500"].drop
    truth = DRIVES["Tidemark 500"]
    assert drop is not None
    assert truth.fast_bytes is not None
    assert truth.slow_write is not None
    assert abs(drop.after_bytes - truth.fast_bytes) <= 2 * shown["Tidemark 500"].chunk_bytes
    assert drop.before == pytest.approx(truth.write, rel=0.03)
    assert drop.after == pytest.approx(truth.slow_write, rel=0.03)
    assert shown["Slipway 2T"].declines
    assert shown["Slipway 2T"].drop is None
    level = shown["Breakwater 2T"]
    assert (level.drop, level.oscillation, level.declines, len(level.phases)) == (None, None, False, 1)


def test_passes_are_as_real_ones(book: Logbook) -> None:
    for one in visits(book):
        assert one.results
        for each in one.passes:
            assert each.witness is Witness.DEVICE
            assert each.device_bytes is not None
            assert each.device_bytes % 4096 == 0
            if each.trace is not None:
                assert len(each.trace.end_ns) == -(-each.payload_bytes // each.trace.chunk_bytes)
                assert list(each.trace.end_ns) == sorted(each.trace.end_ns)
                assert each.trace.end_ns[-1] == pytest.approx(each.elapsed_ns - each.flush_ns, abs=2)
        starts = [each.started for each in one.passes]
        assert starts == sorted(starts)
        assert not [said for said in one.warnings if "wrong" in said or "shared" in said or "server" in said]


def test_a_pass_is_over_before_the_next_visit_begins(book: Logbook) -> None:
    several = visits(book)
    for one, following in itertools.pairwise(several):
        assert max(each.started for each in one.passes) < following.created


def test_the_payload_is_the_usual_one() -> None:
    recipe = usual(options.SMALL)
    assert (recipe.payload_bytes, recipe.files, recipe.name) == (SMALL_BYTES, SMALL_FILES, SMALL_RECIPE)
    assert (LARGE, BLOCK, DEPTH, WORKERS) == (options.LARGE, options.BLOCK, options.DEPTH, options.WORKERS)


def test_kit_and_notes_are_there_and_tagged(book: Logbook) -> None:
    kit, noted = items(book), list(notes(book))
    counts = {kind: sum(one.kind is kind for one in kit) for kind in KitKind}
    assert counts == {KitKind.DRIVE: 5, KitKind.BRIDGE: 3, KitKind.CABLE: 3, KitKind.HOST: 3}
    assert {one.kind for one in noted} == set(NoteKind)
    assert {one.campaign for one in noted} == {CAMPAIGN}
    assert {one.campaign for one in visits(book)} == {CAMPAIGN}
    assert len({one.id for one in noted}) == len(noted)
    assert all(str(uuid.UUID(one.id)) == one.id for one in noted)
    assert {(one.host, one.direction) for one in noted if one.kind is NoteKind.COPY} == {
        (host, direction) for host in CONSOLES for direction in (WRITE, READ)
    }


def test_measured_and_invented_are_never_put_together(book: Logbook, tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "own.sqlite") as own, pytest.raises(InputError, match="invented"):
        merge(own, book)


def test_the_command(cli: Cli, tmp_path: Path, logbook_path: Path) -> None:
    made = cli("demo", tmp_path / "new" / "place")
    assert made.returncode == 0, made.stderr
    path, empty, *lines = made.stdout.splitlines()
    reasons, lines = lines[::2], lines[1::2]
    assert all(reason.startswith("# ") for reason in reasons)
    assert Path(path) == tmp_path / "new" / "place" / FILE
    assert empty == ""
    assert len(lines) == len(TRY) == 5
    assert not logbook_path.exists(), "the user's own logbook is not touched"
    for line in lines:
        words = shlex.split(line, comments=True)
        assert words[:3] == ["copytime", "--logbook", path]
        assert words[3] in _COMMANDS
    again = cli("demo", tmp_path / "new" / "place")
    assert again.returncode == 2
    assert "not overwritten" in again.stderr


def test_a_temporary_place(cli: Cli, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    path = Path(cli("demo").stdout.splitlines()[0])
    assert path.is_file()
    assert path.parent.parent == tmp_path
    assert path.parent.stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("arguments", [("--logbook", "mine.sqlite"), ("file",), ("file/below",)])
def test_places_that_will_not_do(
    cli: Cli, tmp_path: Path, arguments: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "file").write_text("")
    done = cli("demo", *arguments)
    assert done.returncode == 2
    assert "error:" in done.stderr
    assert sorted(one.name for one in tmp_path.iterdir()) == ["file"]


LISTINGS = (
    ("reconcile",),
    ("compare", "--scene", "town square", "--host", "Harbour 4"),
    ("log",),
    ("kit", "list"),
)


@pytest.mark.parametrize("words", LISTINGS)
def test_listings_say_that_they_are_invented(cli: Cli, demo: Path, words: tuple[str, ...]) -> None:
    text = cli("--logbook", demo, *words, "-q")
    assert text.returncode == 0, text.stderr
    assert "invented data" in text.stderr
    assert check(cli("--logbook", demo, *words, "--json").stdout)["invented"] is True
    own = json.loads(cli(*words[:1], *(("list",) if words[0] == "kit" else ()), "--json").stdout or "{}")
    assert "invented" not in own


def test_an_entry_and_an_export_say_so_too(cli: Cli, demo: Path, book: Logbook, tmp_path: Path) -> None:
    for one in (next(iter(notes(book))).id, book.qualifications()[0]["id"], book.qualifications()[5]["id"]):
        assert check(cli("--logbook", demo, "log", "show", one, "--json").stdout)["invented"] is True
    export = tmp_path / "export.json"
    assert cli("--logbook", demo, "export", "--json", "-o", export).returncode == 0
    assert json.loads(export.read_text())["invented"] is True
    refused = cli("import", export)
    assert refused.returncode == 2
    assert "invented" in refused.stderr
    assert cli("import", demo).returncode == 2


def test_nothing_that_was_measured_gets_in(cli: Cli, demo: Path, tmp_path: Path) -> None:
    before = contents(demo)
    done = cli("--logbook", demo, "qualify", tmp_path, "--small", "0", "--large", "16MB", "--repeats", "1", "--json")
    assert "takes nothing that was measured" in done.stderr
    assert "invented" not in json.loads(done.stdout)
    assert contents(demo) == before


def test_no_name_of_it_is_a_word_of_the_trade() -> None:
    names = [*DRIVES, *BRIDGES, *CONSOLES]
    assert all(re.fullmatch(r"[A-Z][a-z]+( [A-Z][a-z]+| \d+T?)?", name) for name in names)
    assert len({name.split()[0] for name in names}) == len(names)


def test_a_cap_is_told_with_what_the_drives_do_by_themselves(cli: Cli, tmp_path: Path) -> None:
    """Not with what they do through the very part that caps them."""
    write_demo(tmp_path / "book.sqlite")
    said = cli("--logbook", tmp_path / "book.sqlite", "reconcile").stdout
    factors = [float(found) for found in re.findall(r"these\s+drives\s+differ\s+by\s+a\s+factor\s+of\s+([0-9.]+)\.", said)]
    assert len(factors) >= 2
    assert all(1.5 <= factor < 3 for factor in factors)


def test_small_files_go_through_memory_as_those_of_a_real_run_do(book: Logbook) -> None:
    passes = [one for row in book.qualifications() for one in book.qualification(row["id"]).passes]
    assert {(one.workload, one.access) for one in passes} == {
        (Workload.LARGE, Access.UNBUFFERED),
        (Workload.SMALL, Access.BUFFERED),
        (Workload.SUSTAIN, Access.UNBUFFERED),
    }
