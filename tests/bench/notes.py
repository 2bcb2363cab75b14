"""How long a large sheet takes to come in, and how quickly ``rate`` answers: figures for people, never a test."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.bench.pairs import timed

__all__ = ["bench"]


def bench(rows: int = 100_000, rounds: int = 15) -> None:
    """Print seconds for an import of ``rows`` notes, and the start of ``rate`` as a ratio to importing click."""
    with tempfile.TemporaryDirectory(prefix="copytime-bench-") as home:
        sheet = Path(home) / "many.csv"
        with sheet.open("w", encoding="utf-8") as file:
            file.write("date,drive,host,direction,size,time,remark\n")
            for number in range(rows):
                file.write(
                    f"2026-01-{1 + number % 28:02d},Drive {number % 50},Harbour {number % 4},to-drive,"
                    f"{50 + number % 60} GB,{10 + number % 40}:{number % 60:02d},r{number}\n"
                )
        program = [sys.executable, "-m", "copytime", "--logbook", str(Path(home) / "book.sqlite")]
        took = timed([*program, "-q", "import", str(sheet)])
        print(f"import    {rows} rows in {took.wall:.1f} s, {took.cpu:.1f} s of the processor")
    times = [
        [_took([sys.executable, "-c", "import click"]), _took([sys.executable, "-m", "copytime", "rate", "88GB", "21:07"])]
        for _ in range(rounds)
    ]
    base, ours = (sorted(each)[rounds // 2] for each in zip(*times, strict=True))
    print(
        f"rate      {ours * 1000:.0f} ms, {ours / base:.2f} times 'import click' ({base * 1000:.0f} ms), medians of {rounds}"
    )


def _took(command: list[str]) -> float:
    begun = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - begun
