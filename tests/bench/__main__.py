"""``python -m tests.bench``: make a drive, run the benches, print ratios."""

from __future__ import annotations

import argparse
import contextlib
import tempfile
from collections.abc import Callable
from pathlib import Path

from tests.bench import accuracy, copy, growth, large, memory, notes, overhead, reconcile, small, start, traces
from tests.bench.pairs import machine
from tests.support.drives import loop_drive, why_not

#: Benches that take the options below.
DRIVES = ("large", "small", "copy")

#: Benches that need none.
OTHERS: dict[str, Callable[[], None]] = {
    "notes": notes.bench,
    "reconcile": reconcile.bench,
    "start": start.bench,
    "growth": growth.bench,
    "overhead": overhead.bench,
    "accuracy": accuracy.bench,
    "memory": memory.bench,
    "traces": traces.bench,
}


def main() -> None:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument(
        "what",
        nargs="*",
        default=[*DRIVES, *OTHERS],
        choices=[*DRIVES, *OTHERS],
        help="which benches; all if none is named",
    )
    parser.add_argument("--folder", type=Path, help="a folder on the drive to use instead of a new loop drive")
    parser.add_argument("--file-system", default="ext4", help="of the loop drive")
    parser.add_argument("--limit-mb", type=int, help="hold the loop drive of large and small to so many MB/s")
    parser.add_argument("--size-mb", type=int, default=2000, help="large payload in MB")
    parser.add_argument("--files", type=int, action="append", help="small files; may be given several times")
    parser.add_argument("--workers", type=int, action="append", help="small files at once; may be given several times")
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--depth", type=int, action="append", help="blocks in hand; may be given several times")
    asked = parser.parse_args()
    print(machine())
    for name, bench in OTHERS.items():
        if name in asked.what:
            bench()
    if not set(DRIVES) & set(asked.what):
        return
    if asked.folder is not None:
        if asked.limit_mb is not None:
            raise SystemExit("--limit-mb holds back the loop drive that is made here; leave --folder out")
        run(asked, asked.folder)
        return
    why = why_not(asked.file_system)
    if why is not None:
        raise SystemExit(f"{why}; name a folder on a drive with --folder")
    if "copy" in asked.what:
        with (
            tempfile.TemporaryDirectory(prefix="copytime-bench-") as home,
            loop_drive(Path(home), asked.file_system, size_mb=asked.size_mb + 1500) as first,
            loop_drive(Path(home), asked.file_system, size_mb=asked.size_mb + 1500) as second,
        ):
            copy.bench(first.mount, second.mount, asked.size_mb * 10**6, (asked.files or [20000])[0], asked.rounds)
    if not {"large", "small"} & set(asked.what):
        return
    with (
        tempfile.TemporaryDirectory(prefix="copytime-bench-") as home,
        loop_drive(Path(home), asked.file_system, size_mb=asked.size_mb * 3 + 500) as drive,
    ):
        work = drive.mount / "bench"
        work.mkdir()
        with contextlib.nullcontext() if asked.limit_mb is None else overhead.held_to(drive.number, asked.limit_mb):
            run(asked, work)


def run(asked: argparse.Namespace, folder: Path) -> None:
    """Run each bench that was asked for in ``folder``."""
    if "large" in asked.what:
        large.bench(folder, asked.size_mb * 10**6, asked.rounds, asked.depth or [1, 2, 4])
    if "small" in asked.what:
        small.bench(folder, asked.files or [1000, 5000, 20000], asked.rounds, asked.workers or [1, 8])


if __name__ == "__main__":
    main()
