"""``python -m tests.hard NAME``: the long runs. Each prints how many cases there were and everything that was lost.

python -m tests.hard signals --cases 300     signals at random moments of qualify, sustain and copy (root)
python -m tests.hard book --cases 300        signals at random moments of import, note, merge, report and backup
python -m tests.hard damage --cases 1000     logbooks with damaged pages, in the file and in its write-ahead log
python -m tests.hard writers --minutes 10    two writers, a reader and a keeper of backups on one logbook at once
python -m tests.hard text                    hostile text in every field and every option, through every command (long)
python -m tests.hard fuzz --minutes 10       every reader of text from outside, guided by coverage (the extra fuzz)
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.hard import book_signals, damage, planting, signals, text
from tests.hard.shooting import Tally
from tests.hard.targets import TARGETS
from tests.hard.writers import write_together
from tests.support.drives import loop_drive, why_not
from tests.support.signals import heed


def main() -> None:
    """Run what was asked for; the exit code is 1 where anything was lost."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.hard", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("what", choices=list(_RUNS))
    parser.add_argument("--cases", type=int, default=300, help="signals, book, damage: so many")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=10.0, help="writers: in all; fuzz: for each reader")
    parser.add_argument(
        "--reader", action="append", choices=list(TARGETS), help="fuzz: only these; may be given several times"
    )
    asked = parser.parse_args()
    heed()
    raise SystemExit(1 if _RUNS[asked.what](asked) else 0)


def of_drives(asked: argparse.Namespace) -> int:
    """Send signals to what works on a drive and return the number of complaints."""
    why = why_not("ext4")
    if why is not None:
        raise SystemExit(why)
    with tempfile.TemporaryDirectory(prefix="copytime-hard-") as home, loop_drive(Path(home), "ext4", 700) as drive:
        return told(signals.cases(signals.Bench(drive, Path(home) / "bench", asked.seed), asked.cases), asked.cases)


def of_the_book(asked: argparse.Namespace) -> int:
    """Send signals to what works on the logbook and return the number of complaints."""
    with tempfile.TemporaryDirectory(prefix="copytime-hard-") as home:
        return told(book_signals.cases(book_signals.BookBench(Path(home), asked.seed), asked.cases), asked.cases)


def damaged(asked: argparse.Namespace) -> int:
    """Damage logbooks and return the number of complaints."""
    with tempfile.TemporaryDirectory(prefix="copytime-hard-") as home:
        bench = damage.DamageBench(Path(home), asked.seed)
        lost = told(damage.cases(bench, asked.cases), asked.cases)
        print(f"{bench.asked} commands, {bench.refused} of which said that the logbook is damaged or none")
        print(f"frames of the write-ahead log lost without a word, which nothing can tell: {bench.quiet_of_log} cases")
        print(f"no byte of the file left, and taken for a new one: {bench.emptied} cases")
    return lost


def together(asked: argparse.Namespace) -> int:
    """Let several programs use one logbook and return the number of complaints."""
    with tempfile.TemporaryDirectory(prefix="copytime-hard-") as home:
        return told(iter([write_together(Path(home), asked.minutes * 60)]), 1)


def hostile(asked: argparse.Namespace) -> int:
    """Plant and type hostile text everywhere and return the number of complaints."""
    del asked
    with tempfile.TemporaryDirectory(prefix="copytime-hard-") as home:
        bench = text.TextBench(Path(home))
        fields = [[one] for one in planting.places(bench.book)]
        print(f"{len(fields)} fields", flush=True)
        told(text.of_fields(bench, fields), len(fields))
        return told(text.of_options(bench, text.TYPED), 0)


def told(run: Iterator[Tally], count: int) -> int:
    """Follow a run, print what it came to and return the number of complaints."""
    tally, shown = Tally(), 0
    for tally in run:
        for complaint in tally.complaints[shown:]:
            print(complaint, flush=True)
        shown = len(tally.complaints)
        if tally.total % 24 == 0:
            print(f"{tally.total} of {count}, {len(tally.complaints)} complaints", flush=True)
    for kind, times in sorted(tally.cases.items()):
        print(f"{times:5} {kind}")
    at_work = f", {tally.in_time} of them while the program was at work" if tally.in_time else ""
    print(f"{tally.total} cases{at_work}" + (f", {tally.ended} ended by the signal" if tally.ended else ""))
    print("\n".join(tally.complaints) or "nothing was lost and nothing was left behind")
    return len(tally.complaints)


def fuzz(asked: argparse.Namespace) -> int:
    """Fuzz each reader for a while and return how many failed."""
    failed = 0
    with tempfile.TemporaryDirectory(prefix="copytime-hard-") as home:
        for name in asked.reader or list(TARGETS):
            corpus = Path(home) / name
            corpus.mkdir()
            for number, example in enumerate(TARGETS[name].examples):
                (corpus / str(number)).write_bytes(example)
            seconds = round(asked.minutes * 60)
            command = [sys.executable, "-m", "tests.hard.fuzzing", name, f"-max_total_time={seconds}"]
            command += ["-print_final_stats=1", f"-artifact_prefix={home}/{name}-", str(corpus)]
            done = subprocess.run(command, check=False, capture_output=True, text=True, errors="replace")
            ran = re.search(r"number_of_executed_units:\s*(\d+)", done.stderr)
            print(
                f"{name:10} {ran.group(1) if ran else '?':>12} cases, {'FAILED' if done.returncode else 'no fault'}",
                flush=True,
            )
            if done.returncode:
                failed += 1
                print(done.stderr[-3000:])
    return failed


#: Every long run, by the name that the command line knows.
_RUNS: dict[str, Callable[[argparse.Namespace], int]] = {
    "signals": of_drives,
    "book": of_the_book,
    "damage": damaged,
    "writers": together,
    "text": hostile,
    "fuzz": fuzz,
}

if __name__ == "__main__":
    main()
