"""``python -m tests.hard NAME``: the long runs. Each prints how many cases there were and everything that was lost.

python -m tests.hard signals --cases 300     signals at random moments of qualify, sustain and copy (root)
python -m tests.hard fuzz --minutes 10       every reader of text from outside, guided by coverage (the extra fuzz)
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.hard.signals import Bench, Tally, cases
from tests.hard.targets import TARGETS
from tests.support.drives import loop_drive, why_not


def main() -> None:
    """Run what was asked for; the exit code is 1 where anything was lost."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.hard", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("what", choices=["signals", "fuzz"])
    parser.add_argument("--cases", type=int, default=300, help="signals: so many")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=10.0, help="fuzz: for each reader")
    parser.add_argument(
        "--reader", action="append", choices=list(TARGETS), help="fuzz: only these; may be given several times"
    )
    asked = parser.parse_args()
    lost = (
        signals(asked.cases, asked.seed) if asked.what == "signals" else fuzz(asked.minutes, asked.reader or list(TARGETS))
    )
    raise SystemExit(1 if lost else 0)


def signals(count: int, seed: int) -> int:
    """Send signals and return the number of complaints."""
    why = why_not("ext4")
    if why is not None:
        raise SystemExit(why)
    tally = Tally()
    with tempfile.TemporaryDirectory(prefix="copytime-hard-") as home, loop_drive(Path(home), "ext4", 700) as drive:
        for tally in cases(Bench(drive, Path(home) / "bench", seed), count):
            if sum(tally.cases.values()) % 24 == 0:
                print(f"{sum(tally.cases.values())} of {count}, {len(tally.complaints)} complaints", flush=True)
    for kind, times in sorted(tally.cases.items()):
        print(f"{times:5} {kind}")
    print(f"{sum(tally.cases.values())} cases, {tally.in_time} of them while the program was at work")
    print("\n".join(tally.complaints) or "nothing was lost and nothing was left behind")
    return len(tally.complaints)


def fuzz(minutes: float, readers: list[str]) -> int:
    """Fuzz each reader for a while and return how many failed."""
    failed = 0
    with tempfile.TemporaryDirectory(prefix="copytime-hard-") as home:
        for name in readers:
            corpus = Path(home) / name
            corpus.mkdir()
            for number, example in enumerate(TARGETS[name].examples):
                (corpus / str(number)).write_bytes(example)
            command = [sys.executable, "-m", "tests.hard.fuzzing", name, f"-max_total_time={round(minutes * 60)}"]
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


if __name__ == "__main__":
    main()
