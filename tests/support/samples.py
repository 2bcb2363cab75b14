"""The samples of the README: which there are, how each is made to come out again, and what may differ when it does.

``python -m tests.support.samples`` (as root, on a quiet machine) runs them and puts what comes out into the README;
``python -m tests.support.samples same noted`` those that measure nothing. Read what changed.
"""

from __future__ import annotations

import contextlib
import os
import platform
import pty
import re
import shlex
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from copytime.demo import write_demo
from tests.support.drives import LoopDrive, Throttle, loop_drive

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"

#: Commands that answer the same everywhere: those of the invented logbook, and what only computes.
SAME = re.compile(r"copytime (?:--logbook lantern-quay\.sqlite|rate|links|explain|demo)\b.*")

#: Shown of a constructed tree of devices.
PLAYED = re.compile(r"copytime drives\b.*")

#: Commands that measure a drive: only their figures differ.
MEASURED = re.compile(r"copytime (?:selfcheck|qualify|sustain|copy|watch|tidy)\b.*")

#: Commands of a day's logbook, in the order in which they stand there: only ids and the moment differ.
NOTED = re.compile(r"copytime (?:kit|note|log|import|export)\b.*")

MB = 10**6

#: Bytes per second that each drive can read and write.
SPEEDS = {"quayside": (230 * MB, 200 * MB), "shelf": (420 * MB, 400 * MB)}


@dataclass(frozen=True)
class Sample:
    """A command of the README, what is said to come out, and where that stands in the text."""

    command: str
    shown: str
    begin: int
    end: int

    @property
    def kind(self) -> str:
        """Say how it is held: same, played, measured or noted; empty if by nothing."""
        kinds = {"same": SAME, "played": PLAYED, "measured": MEASURED, "noted": NOTED}
        return next((name for name, words in kinds.items() if words.fullmatch(self.command)), "")


def samples(text: str) -> list[Sample]:
    """List the commands of a README with what it says that they print: up to the next command or the end of the block."""
    found = []
    for block in re.finditer(r"(?:^    .*\n|^\n(?=    ))+", text, re.MULTILINE):
        starts = [block.start() + at.start() for at in re.finditer(r"^    \$ ", block[0], re.MULTILINE)]
        for start, end in zip(starts, [*starts[1:], block.end()][: len(starts)], strict=True):
            first, _, rest = text[start:end].partition("\n")
            shown = "\n".join(line[4:] for line in rest.split("\n")).strip("\n")
            found.append(Sample(first[6:], shown, start + len(first) + 1, end))
    return found


def run(command: str, folder: Path, **more: str) -> str:
    """Run a command of copytime in ``folder`` and return what it answered; notes and progress are not the sample."""
    done = subprocess.run(
        [sys.executable, "-m", "copytime", *shlex.split(command)[1:]], check=False, capture_output=True, text=True,
        cwd=folder, env={**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "120", **more}, timeout=600,
    )  # fmt: skip
    if done.returncode:
        raise RuntimeError(f"{command}: exit code {done.returncode}\n{done.stderr}")
    return trimmed(done.stdout or without_notes(done.stderr))


def without_notes(text: str) -> str:
    """Leave out what is advice beside an answer."""
    return "\n".join(line for line in text.split("\n") if not line.startswith("note: "))


def trimmed(text: str) -> str:
    """Take off what no reader sees: blanks at the ends of lines, and empty lines around."""
    return "\n".join(line.rstrip() for line in text.strip("\n").split("\n"))


def demo_folder(folder: Path) -> Path:
    """Make the folder in which the samples of the invented logbook are run."""
    write_demo(folder / "lantern-quay.sqlite")
    return folder


def write_sheets(text: str, folder: Path) -> None:
    """Write the sheets that a README shows under their names, such as ```saturday.csv``:``, for its samples to read."""
    for name, rows in re.findall(r"`(\w+\.csv)`:\n\n((?:    (?!\$ ).*\n)+)", text):
        (folder / name).write_text(re.sub("^    ", "", rows, flags=re.MULTILINE), "utf-8")


def of_demo(command: str, folder: Path) -> str:
    """Run a sample that comes out the same everywhere; ``~`` is a folder of the library's."""
    if not command.startswith("copytime demo"):
        return run(command, folder)
    home = folder / "home"
    home.mkdir(exist_ok=True)
    said = run(command.replace("~", str(home)), folder)
    return said.replace(str(home), "/home/quay")


class _Screen:
    """A terminal that a command answers to: wide enough that a long figure does not make two tables of one.

    ``slave`` is its end for the command, ``text`` what was written when it is left.
    """

    def __init__(self) -> None:
        self._master, self.slave = pty.openpty()
        self._parts: list[bytes] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self.text = ""

    def __enter__(self) -> Self:
        self._reader.start()
        return self

    def __exit__(self, *_: object) -> None:
        os.close(self.slave)
        self._reader.join(10)
        os.close(self._master)
        self.text = b"".join(self._parts).decode("utf-8").replace("\r\n", "\n")

    def _read(self) -> None:
        with contextlib.suppress(OSError):  # EIO: every other end is closed (tty_ioctl(4) of Linux)
            while part := os.read(self._master, 1 << 16):
                self._parts.append(part)


class Bench:
    """Two drives under the kernel's limit, on which the samples that measure something are run."""

    def __init__(self, folder: Path, stack: ExitStack) -> None:
        self.folder = folder
        self._runs = 0
        self.throttle = Throttle(everybody=True)
        stack.callback(self.throttle.remove)
        self.drives: dict[str, LoopDrive] = {
            name: stack.enter_context(loop_drive(folder, "ext4", size, options="noatime", full=False))
            for name, size in (("quayside", 3000), ("shelf", 1000))
        }
        tale = self.drives["shelf"].mount / "harbour-tales"
        (tale / "rooms").mkdir(parents=True)
        for number in range(2):
            (tale / f"pack{number}").write_bytes(os.urandom(100 * MB))
        for number in range(400):
            (tale / "rooms" / f"{number}").write_bytes(os.urandom(33_000))
        os.sync()
        for name, (read, write) in SPEEDS.items():
            self.throttle.limit(self.drives[name].number, read=read, write=write)

    def run(self, command: str) -> str:
        """Run a sample; what is this machine's own is called as in the README."""
        words = shlex.split(command)[1:]
        for name, drive in self.drives.items():
            words = [word.replace(f"/media/{name}", str(drive.mount)) for word in words]
        made = self.throttle.command(sys.executable, "-m", "copytime", *words)
        self._runs += 1
        book = str(self.folder / f"book-{self._runs}.sqlite")  # of its own: what was found before is no part of a sample
        here = {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "120", "NO_COLOR": "1", "COPYTIME_LOGBOOK": book}
        if words[0] == "tidy":
            self._killed(here)
            done = subprocess.run(made, check=True, capture_output=True, text=True, cwd=self.folder, env=here, timeout=120)
            # by no terminal: how long a path is here makes no two tables of one
            return self._as_told(self._narrower(done.stdout) + done.stderr)
        with _Screen() as screen:
            child = subprocess.Popen(made, stdout=screen.slave, stderr=subprocess.PIPE, text=True, cwd=self.folder, env=here)
            meanwhile = {"sustain": self._lower, "watch": self._write}.get(words[0])
            if meanwhile is not None:
                meanwhile(child)
            _, told = child.communicate(timeout=600)
        out = told + screen.text
        read, write = SPEEDS["quayside"]
        self.throttle.limit(self.drives["quayside"].number, read=read, write=write)
        if child.returncode not in (0, 3):
            raise RuntimeError(f"{command}: exit code {child.returncode}\n{out}")
        return self._as_told(out)

    def _written(self) -> int:
        """Return the bytes written to the drive so far (Linux, Documentation/block/stat.rst: sectors of 512 bytes)."""
        return int(Path(f"/sys/block/{self.drives['quayside'].name}/stat").read_text(encoding="ascii").split()[6]) * 512

    def _lower(self, child: subprocess.Popen[str]) -> None:
        """Take the drive down to a quarter after 1.2 GB: what a full fast area does."""
        start = self._written()
        while child.poll() is None and self._written() - start < 1200 * MB:
            time.sleep(0.01)  # reason: that is waited for
        self.throttle.limit(self.drives["quayside"].number, read=230 * MB, write=50 * MB)

    def _write(self, child: subprocess.Popen[str]) -> None:
        """Copy something to the drive, as a file manager would, once it is watched."""
        time.sleep(3)  # reason: the watch says on the pipe that it is ready, which is read at the end
        target = self.drives["quayside"].mount / "dd.bin"
        subprocess.run(
            ["dd", "if=/dev/zero", f"of={target}", "bs=1M", "count=1200", "oflag=direct"], check=True, capture_output=True
        )
        target.unlink()

    def _killed(self, here: dict[str, str]) -> None:
        """Let a run be killed while it writes, in the middle of its first file."""
        killer = [sys.executable, "-m", "tests.support.killer", "write", "1", str(int(signal.SIGKILL))]
        asked = ["qualify", str(self.drives["quayside"].mount), "--large", "500MB"]
        done = subprocess.run([*killer, *asked], check=False, capture_output=True, cwd=ROOT, env=here, timeout=120)
        if done.returncode != -signal.SIGKILL:
            raise RuntimeError(f"a run that was to be killed ended with {done.returncode}\n{done.stderr.decode()}")

    def _narrower(self, text: str) -> str:
        """Take out of the first column what a path will be shorter by when it is called as in the README."""
        spare = len(str(self.drives["quayside"].mount)) - len("/media/quayside")
        head = len("folder or copy")
        head_line, rule, *rows = text.split("\n")
        return "\n".join([head_line[:head] + head_line[head + spare :], rule[spare:], *rows])

    def _as_told(self, text: str) -> str:
        for name, drive in self.drives.items():
            text = text.replace(str(drive.mount), f"/media/{name}").replace(str(drive.image), f"/srv/{name}.img")
        text = re.sub(r"(\.img) on .*", r"\1", text).replace(platform.node(), "bench")
        return trimmed(without_notes(text))


#: What depends on what else the machine does meanwhile, and is called the same: whether the counters show more than the
#: payload, how even a rate was, what a self-check could show, and where workers that wait for little waited most.
_CHANCE = (
    (r"\b(?:shared|device) (?=(?:un)?buffered\b)", ""),
    (r"; witness device: the drive's own counters show the payload", ""),
    (r"; witness device \(the drive's own counters show the payload\) where nothing else\s+is said", ""),
    (r"\bwitness (?:device|shared)\b", "WITNESS"),
    (r"the drive moved the bytes, by its own counters \(.*? of the payload\)", "WITNESS"),
    (r"shared: something else used the drive meanwhile", "WITNESS"),
    (r"\b(?:uneven|steady)$", "SHAPE"),
    (r"^(settled) .*$", r"\1"),
    (r"^(less than that .*?)(?:source|destination|neither)$", r"\1SIDE"),
    (r"(?<=  )(?:holds|not shown)$", "SHOWN"),
    (r"^ {4}\S.*\n", ""),
    (r"^(result .* hold).*(?:\n .*)*", r"\1"),
)

_MASKS = (
    (r"\b\d{4}-\d\d-\d\dT[\d:+.Z]+", "MOMENT"),
    (r"\b\d{4}-\d\d-\d\d\b", "DAY"),
    (r"\b(?=[0-9a-f-]*\d)[0-9a-f]{8}(?:(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})?\b", "ID"),
    (r"\bloop\d+\b", "DEVICE"),
    (r"-{3,}", "---"),
)

_FIGURES = (
    (r"\d+(?:[.,]\d+)*", "#"),
    (r"(?:# h )?(?:# min )?# (?:ms|min|s|h)\b", "TIME"),
    (r"\bTIME to TIME\b", "TIME"),
    (r"# (?:kB|MB|GB|TB|B)\b", "SIZE"),
    (r"[+-](?=#)", ""),
)


def masked(text: str, *, figures: bool) -> list[str]:
    """Return the words of an answer, with what differs from run to run called the same: ids, moments, devices.

    With ``figures`` numbers, times and sizes as well. How wide a column is and where a line breaks follows from those, so
    words alone are compared, in their order.
    """
    for pattern, name in (*(_CHANCE if figures else ()), *_MASKS, *(_FIGURES if figures else ())):
        text = re.sub(pattern, name, text, flags=re.MULTILINE)
    return text.split()


def answers(text: str, folder: Path, kinds: Sequence[str]) -> Iterator[tuple[Sample, str]]:
    """Run the samples of some kinds, and return what came out."""
    book = str(folder / "day.sqlite")
    demo_folder(folder)
    write_sheets(text, folder)
    with ExitStack() as stack:
        bench = Bench(folder, stack) if "measured" in kinds else None
        for sample in (one for one in samples(text) if one.kind in kinds):
            if sample.kind == "measured":
                assert bench is not None
                yield sample, bench.run(sample.command)
            elif sample.kind == "noted":
                yield sample, run(sample.command, folder, COPYTIME_LOGBOOK=book)
            else:
                yield sample, of_demo(sample.command, folder)


def main() -> None:
    """Write samples of the README anew: those of the kinds that are named, else all but the one that is played."""
    text = README.read_text("utf-8")
    with tempfile.TemporaryDirectory(dir="/var/tmp") as folder:
        found = list(answers(text, Path(folder), sys.argv[1:] or ("same", "noted", "measured")))
    for sample, came in reversed(found):
        new = "".join(f"    {line}\n" if line else "\n" for line in came.split("\n")) if came else ""
        tail = "\n" if text[sample.begin : sample.end].endswith("\n\n") else ""
        text = text[: sample.begin] + new + tail + text[sample.end :]
    README.write_text(text, "utf-8")


if __name__ == "__main__":
    main()
