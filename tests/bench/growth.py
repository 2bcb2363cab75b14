"""What the logbook's commands take at 1,000, 10,000 and 100,000 notes, and by which power of the number that grows.

The same again for more and more drives that no PC has measured, two notes of each, half of them registered: what looks at
each of them for each of them shows there and nowhere else. Processor time is the figure: a busy machine's clock says little.
"""

from __future__ import annotations

import math
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from tests.bench.pairs import show, timed
from tests.bench.reconcile import many

__all__ = ["bench"]

SHEET = "kind,date,drive,bridge,host,direction,size,time,remark\n"


def bench(counts: tuple[int, ...] = (1_000, 10_000, 100_000), drives: tuple[int, ...] = (500, 1_000, 2_000)) -> None:
    """Print seconds of each command at each number, and the exponent of the last step (1: in proportion)."""
    _table("notes", [(count, 50) for count in counts], counts)
    _table("drives", [(2 * count, count) for count in drives], drives)


def _table(what: str, benches: Sequence[tuple[int, int]], counts: Sequence[int]) -> None:
    """Print one table: ``benches`` are numbers of notes and of drives, ``counts`` the numbers that grow."""
    took: dict[str, list[float]] = {}
    for notes, drives in benches:
        with tempfile.TemporaryDirectory(prefix="copytime-bench-") as home:
            for name, seconds in _commands(Path(home), notes, drives, registered=what == "drives"):
                took.setdefault(name, []).append(seconds)
    rows = []
    for name, several in took.items():
        exponent = math.log(several[-1] / several[-2]) / math.log(counts[-1] / counts[-2])
        rows.append([name, *(f"{seconds:.2f}" for seconds in several), f"{exponent:.2f}"])
    show(f"commands by number of {what}, processor seconds", ["command", *map(str, counts), "exponent"], rows)


def _commands(home: Path, count: int, drives: int, *, registered: bool) -> list[tuple[str, float]]:
    """Import so many notes and run each command on them once."""
    sheet, kit = home / "many.csv", home / "kit.toml"
    with sheet.open("w", encoding="utf-8") as file:
        file.write(SHEET)
        for number, note in enumerate(many(count, drives)):
            time = note.times[0].text
            file.write(f"copy,{note.made},{note.drive},{note.bridge},{note.host},{note.direction},102 GB,{time},r{number}\n")
    kit.write_text("".join(f'[drive."Drive {number}"]\n' for number in range(0, drives, 2)), encoding="utf-8")
    program = [sys.executable, "-m", "copytime", "-q", "--logbook", str(home / "book.sqlite")]
    commands = {
        **({"import of kit": ["import", str(kit)]} if registered else {}),
        "import": ["import", str(sheet)],
        "note copy": ["note", "copy", "to-drive", "88GB", "21:07", "--drive", "Drive 2"],
        "log": ["log"],
        "log --drive": ["log", "--drive", "Drive 7"],
        "compare": ["compare", "--by", "drive", "--host", "Harbour 0", "--direction", "to-drive"],
        "reconcile": ["reconcile"],
        "report": ["report", "--format", "markdown"],
        "report, html": ["report", "--format", "html"],
        "export": ["export", "--json"],
        "logbook check": ["logbook", "check"],
    }
    return [(name, timed([*program, *arguments]).cpu) for name, arguments in commands.items()]
