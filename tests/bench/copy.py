"""Copies between two drives: copytime against ``cp -a`` then ``sync -f``, in turn, one large file and many small ones.

Before every copy memory forgets what it holds, of both drives. In the first round, which is not counted, both copies are
compared with their original by ``find`` and ``sha256sum``.
"""

from __future__ import annotations

import json
import os
import shutil
import statistics
import subprocess
import sys
from pathlib import Path

import numpy as np

from copytime.engine.recipe import FOLDER_FILES, usual
from copytime.engine.system import system
from tests.bench.pairs import Run, ratio, show, timed
from tests.support.file_trees import fingerprint


def bench(source: Path, destination: Path, size: int, files: int, rounds: int) -> None:
    """Print rate ratios for one large file of ``size`` bytes and for a tree of ``files`` small ones."""
    (source / "large").mkdir()
    noise = np.random.Generator(np.random.SFC64(5)).bytes(2**24)
    with (source / "large" / "file").open("wb") as file:
        for _ in range(size // len(noise)):
            file.write(noise)
    for number, length in enumerate(usual(files).sizes):
        folder = source / "small" / f"d{number // FOLDER_FILES:04d}"
        if number % FOLDER_FILES == 0:
            folder.mkdir(parents=True)
        (folder / f"f{number:06d}").write_bytes(noise[:length])
    rows = [_row(source / name, destination, name, rounds) for name in ("large", "small")]
    headers = ["what", "MB/s", "files/s", "against cp", "whole program against cp", "CPU of ours/cp"]
    show(f"copies from drive to drive, {rounds} rounds in turn: rate ratios", headers, rows)


def _row(source: Path, destination: Path, name: str, rounds: int) -> list[str]:
    engine, ours, theirs = [], [], []
    for turn in range(rounds + 1):  # the first one warms up and is not counted
        found, run = _ours(source, destination, compare=not turn)
        cp = _cp(source, destination, compare=not turn)
        if turn:
            engine.append(found["seconds"])
            ours.append(run)
            theirs.append(cp)
    size, files = found["bytes"], found["files"]
    middle = statistics.median(engine)
    walls = [one.wall for one in theirs]
    return [
        name,
        f"{size / middle / 1e6:.0f}",
        f"{files / middle:.0f}",
        str(ratio(walls, engine)),
        str(ratio(walls, [one.wall for one in ours])),
        str(ratio([one.cpu for one in ours], [one.cpu for one in theirs])),
    ]


def _ours(source: Path, destination: Path, *, compare: bool) -> tuple[dict[str, float], Run]:
    """Copy with copytime; return what it says and how long the whole program took, start-up and idle moments included."""
    _forget(source, destination)
    out = destination / "out.json"
    book = str(destination / "book.sqlite")
    command = [sys.executable, "-m", "copytime", "-q", "--logbook", book, "copy", str(source), str(destination / "ours")]
    run = timed([*command, "--no-verify", "--json", "-o", str(out)])
    found = json.loads(out.read_text(encoding="utf-8"))["copies"][0]
    out.unlink()
    _leave(source, destination / "ours", compare=compare)
    return found, run


def _cp(source: Path, destination: Path, *, compare: bool) -> Run:
    _forget(source, destination)
    there = destination / "cp"
    run = timed(["sh", "-c", 'cp -a "$0" "$1" && sync -f "$1"', str(source), str(there)])
    _leave(source, there, compare=compare)
    return run


def _leave(source: Path, there: Path, *, compare: bool) -> None:
    """Remove a copy, and end the bench if it is not what its original is."""
    if compare and fingerprint(there) != fingerprint(source):
        raise SystemExit(f"{there} is not the same as {source}")
    shutil.rmtree(there)


def _forget(*folders: Path) -> None:
    """Bring both drives to where every copy starts."""
    for folder in folders:
        opened = system().open_folder(os.fspath(folder))
        opened.drain()
        opened.close()
    if not system().drop_folder_data():
        raise SystemExit("the bench needs root, to make memory forget")
    subprocess.run(["sync"], check=True)
