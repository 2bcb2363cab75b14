"""What the logbook's commands take at 1,000, 10,000 and 100,000 notes, and by which power of the number that grows."""

from __future__ import annotations

import math
import sys
import tempfile
from pathlib import Path

from tests.bench.pairs import show, timed
from tests.bench.reconcile import many

__all__ = ["bench"]

SHEET = "kind,date,drive,bridge,host,direction,size,time,remark\n"


def bench(counts: tuple[int, ...] = (1_000, 10_000, 100_000)) -> None:
    """Print seconds of each command at each number of notes, and the exponent of the last step (1: in proportion)."""
    took: dict[str, list[float]] = {}
    for count in counts:
        with tempfile.TemporaryDirectory(prefix="copytime-bench-") as home:
            for name, seconds in _commands(Path(home), count):
                took.setdefault(name, []).append(seconds)
    rows = []
    for name, several in took.items():
        step = math.log(counts[-1] / counts[-2])
        exponent = math.log(several[-1] / several[-2]) / step
        rows.append([name, *(f"{seconds:.2f}" for seconds in several), f"{exponent:.2f}"])
    show("commands by number of notes, seconds", ["command", *map(str, counts), "exponent"], rows)


def _commands(home: Path, count: int) -> list[tuple[str, float]]:
    """Import so many notes and run each command on them once."""
    sheet = home / "many.csv"
    with sheet.open("w", encoding="utf-8") as file:
        file.write(SHEET)
        for number, note in enumerate(many(count)):
            time = note.times[0].text
            file.write(f"copy,{note.made},{note.drive},{note.bridge},{note.host},{note.direction},102 GB,{time},r{number}\n")
    program = [sys.executable, "-m", "copytime", "-q", "--logbook", str(home / "book.sqlite")]
    commands = {
        "import": ["import", str(sheet)],
        "note copy": ["note", "copy", "to-drive", "88GB", "21:07", "--drive", "Drive 1"],
        "log": ["log"],
        "log --drive": ["log", "--drive", "Drive 7"],
        "compare": ["compare", "--by", "drive", "--host", "Harbour 1", "--direction", "to-drive"],
        "reconcile": ["reconcile"],
        "report": ["report", "--format", "markdown"],
        "export": ["export", "--json"],
        "logbook check": ["logbook", "check"],
    }
    return [(name, timed([*program, *arguments]).wall) for name, arguments in commands.items()]
