"""Signals at random moments of commands that work on a drive: what is lost, and what is left behind.

Each case starts ``qualify``, ``sustain`` or ``copy`` on a real loop drive, sends one signal at a random moment of its life
and then asks everything that a user would: is every earlier entry of the logbook as it was, are all files of the user as
they were, is nothing unfinished under a final name, is nothing of ours left after ``tidy``, does no process go on?
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tests.hard.shooting import SIGNALS, Tally, shoot
from tests.support.drives import LoopDrive

__all__ = ["COMMANDS", "Bench", "cases"]

COMMANDS = ("qualify", "sustain", "copy")


class Bench:
    """A drive with a user's files on it, a source tree, and a logbook: what must survive every case."""

    def __init__(self, drive: LoopDrive, home: Path, seed: int) -> None:
        self.drive = drive
        self.home = home
        self.chance = random.Random(seed)
        self.book = home / "book" / "logbook.sqlite"
        self.source = home / "source"
        self.tally = Tally()
        self.known: dict[str, tuple[int, str]] = {}
        self.lengths: dict[str, float] = {}
        self._make_files()

    def _make_files(self) -> None:
        (self.source / "deep" / "er").mkdir(parents=True)
        for number, size in enumerate((0, 1, 4096, 70_000, 9_000_000, 20_000_000)):
            (self.source / "deep" / f"file {number}").write_bytes(self.chance.randbytes(size))
        for number in range(60):
            (self.source / "deep" / "er" / f"small {number}").write_bytes(
                self.chance.randbytes(self.chance.randrange(40_000))
            )
        (self.drive.mount / "mine").mkdir()
        (self.drive.mount / "mine" / "save.dat").write_bytes(self.chance.randbytes(300_000))
        self.source_sums = sums(self.source)
        self.mine_sums = sums(self.drive.mount / "mine")

    def environment(self) -> dict[str, str]:
        """Return the environment of every command: this bench's own logbook."""
        return {**os.environ, "COPYTIME_LOGBOOK": str(self.book)}

    def cli(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run a command to its end."""
        return subprocess.run(
            [sys.executable, "-m", "copytime", *arguments],
            check=False,
            capture_output=True,
            text=True,
            env=self.environment(),
            timeout=300,
        )

    def arguments(self, command: str) -> list[str]:
        """Return a short run of each command."""
        place = str(self.drive.mount)
        return {
            "qualify": ["qualify", place, "--large", "24MB", "--small", "300", "--repeats", "2", "-q"],
            "sustain": ["sustain", place, "--size", "64MB", "--read-back", "-q"],
            "copy": ["copy", str(self.source), place, "--back", "-q"],
        }[command]

    def length(self, command: str) -> float:
        """Return how long the command takes when it is left alone, in seconds, and clear up after it."""
        if command not in self.lengths:
            start = time.monotonic()
            done = self.cli(*self.arguments(command))
            if done.returncode:
                self.tally.complaints.append(f"{command} left alone ended with {done.returncode}: {done.stderr.strip()}")
            self.lengths[command] = time.monotonic() - start
            self.look_at_copy("left alone", whole=True)
            self.look_at_logbook("left alone")
        return self.lengths[command]

    def case(self, command: str, number: signal.Signals) -> None:
        """Run one case and note every complaint."""
        length = self.length(command)
        moment = self.chance.uniform(0.0, length * 1.05)
        told = f"{command}, {number.name} after {moment:.2f} s of {length:.2f} s"
        shot = shoot(self.arguments(command), moment, number, {"COPYTIME_LOGBOOK": str(self.book)})
        for what in shot.complaints:
            self.complain(told, what)
        self.tally.add(f"{command} {number.name}", shot)
        self.look_at_everything(told, killed=number is signal.SIGKILL)

    def complain(self, told: str, what: str) -> None:
        """Note something that should not be."""
        self.tally.complaints.append(f"{told}: {what}")

    def look_at_everything(self, told: str, *, killed: bool) -> None:
        """Hold the drive, the user's files and the logbook against what they should be."""
        left = [path.name for path in self.drive.mount.iterdir() if path.name not in ("lost+found", "mine", "source")]
        if left and not killed:
            self.complain(told, f"left on the drive: {left}")
        done = self.cli("tidy", "--yes")
        if done.returncode:
            self.complain(told, f"tidy ended with {done.returncode}: {done.stderr.strip()}")
        left = [path.name for path in self.drive.mount.iterdir() if path.name not in ("lost+found", "mine", "source")]
        if left:
            self.complain(told, f"left on the drive after tidy: {left}")
        if sums(self.source) != self.source_sums:
            self.complain(told, "the source changed")
        if sums(self.drive.mount / "mine") != self.mine_sums:
            self.complain(told, "the user's own files changed")
        self.look_at_copy(told, whole=False)
        self.look_at_logbook(told)

    def look_at_copy(self, told: str, *, whole: bool) -> None:
        """Check that every file under its final name is right, and take the copy away."""
        copied = self.drive.mount / "source"
        if not copied.exists():
            return
        found = {name: digest for name, digest in sums(copied).items() if not Path(name).name.startswith(".copytime-")}
        wrong = [name for name, digest in found.items() if self.source_sums.get(name) != digest]
        if wrong:
            self.complain(told, f"wrong under their final names: {wrong}")
        if whole and found != self.source_sums:
            self.complain(told, "the copy is not whole")
        subprocess.run(["rm", "-r", str(copied)], check=True)

    def look_at_logbook(self, told: str) -> None:
        """Check that the logbook is sound and that everything it knew is as it was."""
        if not self.book.exists():
            return
        done = self.cli("logbook", "check")
        if done.returncode:
            self.complain(told, f"the logbook is not sound: {done.stdout.strip()} {done.stderr.strip()}")
        entries = self.entries()
        for name, state in self.known.items():
            if entries.get(name) != state:
                self.complain(told, f"entry {name} was {state} and is {entries.get(name)}")
        self.known = entries

    def entries(self) -> dict[str, tuple[int, str]]:
        """Return what the log lists: the number of passes and the state of each entry."""
        done = self.cli("log", "--json")
        found: list[dict[str, Any]] = json.loads(done.stdout)["qualifications"] if done.returncode == 0 else []
        return {one["id"]: (one["pass_count"], one["state"]) for one in found}


def sums(folder: Path) -> dict[str, str]:
    """Return a digest of every file below a folder, by its path inside."""
    found = {}
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            found[str(path.relative_to(folder))] = hashlib.sha256(path.read_bytes()).hexdigest()
    return found


def cases(bench: Bench, count: int) -> Iterator[Tally]:
    """Run ``count`` cases, every command with every signal in turn, and hand out the tally after each."""
    kinds = [(command, number) for command in COMMANDS for number in SIGNALS]
    for turn in range(count):
        bench.case(*kinds[turn % len(kinds)])
        yield bench.tally
