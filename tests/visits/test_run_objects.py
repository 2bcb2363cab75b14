"""What was measured, out of one logbook and into another, with and without what is personal."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from copytime.errors import InputError
from copytime.logbook import Logbook
from copytime.logbook.entries import add_entries, chains, entries
from copytime.records import (
    Access,
    Direction,
    Durability,
    Mismatch,
    Part,
    Pass,
    Qualification,
    Trace,
    Verdict,
    Witness,
    Workload,
)
from copytime.report.frame import document
from copytime.report.passes import pass_headers, pass_rows
from copytime.visits.importing import bring_in
from copytime.visits.left_out import impersonal, machines
from copytime.visits.run_objects import run_from_object, run_object
from tests.report.test_documents import check

NOW = "2026-11-25T10:00:00+00:00"
TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
NUMBERS = st.integers(0, 2**63 - 1)
TIMES = st.lists(st.integers(-(2**63), 2**63 - 1), min_size=1, max_size=5).map(tuple)
PARTS = st.builds(
    Part,
    kind=TEXT,
    name=TEXT,
    link=st.none() | TEXT,
    negotiated=st.none() | TEXT,
    possible=st.none() | TEXT,
    source=st.sampled_from(["seen", "declared", "not visible"]),
)
FINITE = st.floats(-1e6, 1e6, allow_nan=False)
PASSES = st.builds(
    Pass,
    id=st.uuids().map(str),
    workload=st.sampled_from(Workload),
    direction=st.sampled_from(Direction),
    repeat=NUMBERS,
    started=st.just(NOW),
    payload_bytes=st.integers(1, 2**63 - 1),
    files=NUMBERS,
    elapsed_ns=st.integers(2**40, 2**63 - 1),
    flush_ns=st.integers(0, 2**40),
    device_bytes=st.none() | NUMBERS,
    other_bytes=st.none() | NUMBERS,
    idle_bytes=NUMBERS,
    other_idle_bytes=NUMBERS,
    witness=st.sampled_from(Witness),
    access=st.sampled_from(Access),
    durability=st.none() | st.builds(Durability, method=TEXT),
    verified=st.none() | TEXT,
    wrong_cells=NUMBERS,
    mismatches=st.lists(st.builds(Mismatch, file=TEXT, offset=NUMBERS, length=NUMBERS, found=TEXT), max_size=2).map(tuple),
    workers=st.none() | NUMBERS,
    recipe=st.none() | TEXT,
    latencies_ns=st.just(()) | TIMES,
    block_bytes=st.none() | NUMBERS,
    depth=st.none() | NUMBERS,
    depth_reached=st.none() | FINITE,
    laid_out=st.booleans(),
    trace=st.none() | st.builds(Trace, chunk_bytes=st.integers(1, 2**40), end_ns=TIMES),
    temperature_c=st.tuples(st.none() | FINITE, st.none() | FINITE),
    first_extent=st.none() | NUMBERS,
    extents=st.none() | NUMBERS,
    cpu_ns=st.none() | NUMBERS,
    marks=st.lists(TEXT, max_size=2).map(tuple),
)
VERDICTS = st.builds(
    Verdict,
    workload=st.sampled_from(Workload),
    direction=st.sampled_from(Direction),
    certainty=TEXT,
    pace_setter=st.none() | PARTS,
    suspects=st.lists(PARTS, max_size=2).map(tuple),
    provisional=st.lists(PARTS, max_size=2).map(tuple),
    cap=st.none() | FINITE,
    next_test=st.none() | TEXT,
    flags=st.lists(TEXT, max_size=2).map(tuple),
    sentences=st.lists(TEXT, max_size=2).map(tuple),
)
RUNS = st.builds(
    Qualification,
    id=st.uuids().map(str),
    created=st.just(NOW),
    state=st.sampled_from(["running", "finished", "stopped", "failed"]),
    drive=TEXT,
    target=TEXT,
    chain=st.lists(PARTS, max_size=3).map(tuple),
    passes=st.lists(PASSES, max_size=2).map(tuple),
    verdicts=st.lists(VERDICTS, max_size=2).map(tuple),
    warnings=st.lists(TEXT, max_size=2).map(tuple),
    conditions=st.dictionaries(TEXT, st.none() | TEXT | NUMBERS | FINITE | st.lists(TEXT, max_size=2), max_size=3),
    campaign=st.none() | st.just("Autumn drives"),
    struck=st.none() | TEXT,
    changed=st.none() | st.just(NOW),
)


@given(RUNS)
def test_a_run_comes_back_exactly(one: Qualification) -> None:
    found = json.loads(json.dumps(run_object(one), allow_nan=False))
    assert run_from_object(found, 1) == one


def a_run(**more: Any) -> Qualification:
    """One run that says everything about its machine, in every place."""
    values: dict[str, Any] = {
        "id": "0123abcd-0000-4000-8000-000000000001",
        "created": NOW,
        "state": "finished",
        "drive": "Quayside One",
        "target": "/home/someone/quay side",
        "chain": (Part(kind="host", name="lantern"), Part(kind="drive", name="Quayside One")),
        "passes": (
            Pass(
                id="0123abcd-0000-4000-8000-00000000000a",
                workload=Workload.COPY,
                direction=Direction.TO_DRIVE,
                repeat=1,
                started=NOW,
                payload_bytes=10**9,
                files=1,
                elapsed_ns=10**10,
                mismatches=(Mismatch(file="diary.txt", offset=0, length=4096, found="zeros"),),
                trace=Trace(chunk_bytes=8 << 20, end_ns=(1, 2, 3)),
                latencies_ns=(5, 6),
            ),
        ),
        "verdicts": (
            Verdict(
                workload=Workload.COPY,
                direction=Direction.TO_DRIVE,
                certainty="undecided",
                suspects=(Part(kind="host", name="lantern"),),
                next_test="another drive on lantern",
                sentences=("100 MB/s: undecided between lantern and the drive; lanterns are others",),
            ),
        ),
        "warnings": ("something was left in /home/someone/quay side/x; drive SN-77 is warm, see /var/log/other", "100 MB/s"),
        "conditions": {
            "serial": "SN-77",
            "mount_point": "/home/someone",
            "layers": ["disk sda"],
            "selfchecked": "on lantern: 6 of 7 hold",
            "free_bytes": 10,
        },
        "campaign": "Autumn",
        **more,
    }
    return Qualification(**values)


def test_without_what_is_personal(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "book.sqlite") as book:
        with book.writing() as connection:
            assert add_entries(connection, [a_run()]) == 1
        called = machines(chains(book))
        (one,) = entries(book)
    assert one == a_run()
    bare = impersonal(one, called)
    said = json.dumps(run_object(bare))
    for secret in ("lantern ", 'lantern"', "someone", "SN-77", "diary", "quay side", "/var", "sda"):
        assert secret not in said, secret
    assert "lanterns are others" in said
    assert "100 MB/s" in said
    assert bare.chain[0].name == "PC 0123abcd"
    assert bare.conditions == {"free_bytes": 10, "selfchecked": "on PC 0123abcd: 6 of 7 hold"}
    assert impersonal(bare, called) == bare
    assert bare.passes[0].elapsed_ns == 10**10
    headers = pass_headers(personal=False)
    (row,) = pass_rows([bare], personal=False)
    assert len(row) == len(headers)
    assert dict(zip(headers, row, strict=True))["rate_mb_per_s"] == "100.0"
    assert dict(zip(pass_headers(personal=True), pass_rows([one], personal=True)[0], strict=True))["serial"] == "SN-77"


def test_a_host_that_the_user_named_keeps_its_name() -> None:
    chain = (Part(kind="host", name="Bench PC", source="declared"),)
    assert machines([("0123abcd", chain)]) == {}


def exported(*runs: Qualification) -> dict[str, Any]:
    return {**document("export", NOW, kit=[], notes=[]), "qualifications": [run_object(one) for one in runs]}


def test_twice_adds_nothing(tmp_path: Path) -> None:
    data = json.dumps(exported(a_run())).encode()
    check(data.decode())
    with Logbook.open(tmp_path / "book.sqlite") as book:
        assert bring_in(book, data, now=NOW, dry_run=True).runs == 1
        assert list(entries(book)) == []
        first, second = bring_in(book, data, now=NOW), bring_in(book, data, now=NOW)
        assert (first.runs, first.known_runs, second.runs, second.known_runs) == (1, 0, 0, 1)
        assert list(entries(book)) == [a_run()]


def test_a_document_from_before_there_were_runs_in_it(tmp_path: Path) -> None:
    with Logbook.open(tmp_path / "book.sqlite") as book:
        assert bring_in(book, json.dumps(document("export", NOW, kit=[], notes=[])).encode(), now=NOW).runs == 0


@pytest.mark.parametrize(
    ("place", "value", "words"),
    [
        (("id",), "x", "qualification 2, id: 'x' stands there, expected a UUID"),
        (("id",), None, "id: nothing stands there"),
        (("state",), "eating", "expected such as finished"),
        (("created",), "2026-11-25", "expected a moment"),
        (("drive",), 7, "expected text"),
        (("campaign",), " ", "no name for a campaign"),
        (("chain",), {}, "expected a list"),
        (("chain", 0), "host", "part 1, is no object"),
        (("warnings",), [1], "a list of texts"),
        (("conditions",), [], "an object"),
        (("passes", 0, "elapsed_ns"), 0, "pass 1, elapsed_ns: '0' stands there, expected a whole number from 1 on"),
        (("passes", 0, "elapsed_ns"), 2**63, "whole number"),
        (("passes", 0, "elapsed_ns"), True, "whole number"),
        (("passes", 0, "flush_ns"), 10**11, "longer"),
        (("passes", 0, "payload_bytes"), 1.5, "whole number"),
        (("passes", 0, "workload"), "huge", "one of large, small, copy, sustain"),
        (("passes", 0, "witness"), [], "one of device"),
        (("passes", 0, "depth_reached"), "4", "a number"),
        (("passes", 0, "laid_out"), "yes", "true or false"),
        (("passes", 0, "trace", "end_ns_base64"), "AAAA", "64-bit integers in base64"),
        (("passes", 0, "latencies_ns_base64"), "\u00e4", "64-bit integers in base64"),
        (("passes", 0, "mismatches", 0, "offset_bytes"), -1, "place 1, offset_bytes"),
        (("verdicts", 0, "cap_bytes_per_s"), "much", "a number"),
        (("passes", 0, "id"), "99999999-0000-4000-8000-00000000000a", "known already"),
    ],
)
def test_wrong_documents_change_nothing(tmp_path: Path, place: tuple[Any, ...], value: Any, words: str) -> None:
    """The run before the wrong one is not taken over either."""
    first = a_run(
        id="99999999-0000-4000-8000-000000000001",
        passes=(Pass(**{**_values(a_run().passes[0]), "id": "99999999-0000-4000-8000-00000000000a"}),),
    )
    found = exported(first, a_run())
    inner: Any = found["qualifications"][1]
    for step in place[:-1]:
        inner = inner[step]
    inner[place[-1]] = value
    with Logbook.open(tmp_path / "book.sqlite") as book:
        with pytest.raises(InputError, match=words):
            bring_in(book, json.dumps(found).encode(), now=NOW)
        assert list(entries(book)) == []


def _values(one: Pass) -> dict[str, Any]:
    return {name: getattr(one, name) for name in Pass.__slots__}


@pytest.mark.parametrize("text", ["NaN", "-Infinity", '"\\ud800"', "1" * 5000, "[" * 100_000])
def test_what_json_does_not_know_is_refused(tmp_path: Path, text: str) -> None:
    data = json.dumps(exported(a_run())).replace('"free_bytes": 10', f'"free_bytes": {text}')
    with Logbook.open(tmp_path / "book.sqlite") as book:
        with pytest.raises(InputError, match="this is no JSON"):
            bring_in(book, data.encode(), now=NOW)
        assert list(entries(book)) == []
