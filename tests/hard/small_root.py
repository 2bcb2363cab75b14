"""An ordinary user in a small root of his own: what the program needs of his system, and nothing that it writes elsewhere.

``python -m tests.hard.small_root DRIVE`` (as root, under ``unshare --mount``) makes a root of its own in memory: the
system's programs and the package are there to be read only, DRIVE is mounted and belongs to the user, and there is a home
and a folder for files of a moment. Every command then runs in there as a user without any right, with a umask that keeps
nothing private, and what changed of all files is compared with where it may write. Prints a list of complaints as JSON.
"""

from __future__ import annotations

import json
import os
import shutil
import stat
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

import copytime
from tests.support.users import NOBODY

__all__ = ["COMMANDS"]

#: What is run, in this order; ``{drive}`` and ``{home}`` are folders of the user. ``-> `` names a file that is asked for.
COMMANDS: tuple[tuple[str, ...], ...] = (
    ("drives",),
    ("rate", "88 GB", "21:07"),
    ("qualify", "{drive}", "--brief"),
    ("sustain", "{drive}", "--size", "64MB", "--read-back"),
    ("copy", "{home}/games", "{drive}", "--back"),
    ("selfcheck", "{drive}", "--dry-run"),
    ("kit", "add", "drive", "Slipway"),
    ("note", "copy", "to-drive", "88 GB", "21:07", "--drive", "Slipway"),
    ("note", "load", "town square", "43.18", "--drive", "Slipway"),
    ("import", "{home}/sheet.csv"),
    ("log",),
    ("log", "--json"),
    ("compare", "--direction", "to-drive"),
    ("reconcile",),
    ("export", "--json"),
    ("report", "-o", "{home}/report.html"),
    ("report", "--format", "csv"),
    ("plan", "--drive", "Slipway", "--host", "Harbour 4", "--payload", "Big One=88GB"),
    ("logbook", "check"),
    ("logbook", "backup", "{home}/backup.sqlite"),
    ("tidy", "--yes"),
    ("explain", "margin"),
)

#: What of the system the program is allowed to read.
_SYSTEM = ("/usr", "/bin", "/sbin", "/lib", "/lib64", "/etc", "/opt")

_CHROOT = shutil.which("chroot", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin") or "chroot"

_DRIVE, _HOME = "/media/quay", "/home/quay"


#: The library that draws keeps its list of fonts where it likes, and looks for fonts with a program that does so too.
_OF_THE_CHARTS = (f"{_HOME}/.cache", f"{_HOME}/.config")


class SmallRoot:
    """The root, from outside of it."""

    def __init__(self, place: Path, drive: Path) -> None:
        self.place = place
        self.drive = place / _DRIVE.lstrip("/")
        self.home = place / _HOME.lstrip("/")
        self._run("mount", "-t", "tmpfs", "-o", "mode=755", "tmpfs", str(place))
        inner = {sys.base_prefix, sys.prefix, str(Path(copytime.__file__).parents[1])}
        for one in sorted({*(each for each in _SYSTEM if os.path.isdir(each)), *inner}, key=len):
            self._show(one)
        for one in ("/proc", "/sys", "/dev"):
            (place / one.lstrip("/")).mkdir(exist_ok=True)
            self._run("mount", "--rbind", one, f"{place}{one}")
        self.drive.mkdir(parents=True)
        self._run("mount", "--bind", str(drive), str(self.drive))
        self.home.mkdir(parents=True)
        (place / "tmp").mkdir(exist_ok=True)
        os.chmod(place / "tmp", 0o1777)  # noqa: S103 - reason: as everywhere
        games = self.home / "games"
        games.mkdir()
        for number in range(30):
            (games / f"save {number}").write_bytes(os.urandom(3000 * number))
        (self.home / "sheet.csv").write_text("direction,size,time\nto-drive,88 GB,21:09\n")
        for path in (self.home, *self.home.rglob("*"), self.drive):
            os.chown(path, NOBODY, NOBODY)

    def _show(self, path: str) -> None:
        """Let a folder of the system be read at its own place, and no more."""
        where = Path(f"{self.place}{path}")
        if os.path.islink(path):
            where.parent.mkdir(parents=True, exist_ok=True)
            where.symlink_to(os.readlink(path))
            return
        if where.exists() and os.listdir(where):  # it lies in one that is there already
            return
        where.mkdir(parents=True, exist_ok=True)
        self._run("mount", "--bind", path, str(where))
        self._run("mount", "-o", "remount,bind,ro", str(where))

    def _run(self, *command: str) -> None:
        subprocess.run(command, check=True, capture_output=True)

    def command(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run the program as the user, who keeps nothing private by himself."""
        words = [one.format(drive=_DRIVE, home=_HOME) for one in arguments]
        return subprocess.run(
            [_CHROOT, f"--userspec={NOBODY}:{NOBODY}", "--groups=", str(self.place),
             "sh", "-c", 'umask 0; cd / && exec "$@"', "sh", sys.executable, "-B", "-m", "copytime", *words],
            check=False,
            capture_output=True,
            text=True,
            env={"HOME": _HOME, "PATH": "/usr/bin:/bin", "LANG": "C.UTF-8"},
            timeout=300,
        )  # fmt: skip

    def snapshot(self) -> dict[str, tuple[int, ...]]:
        """Describe every file that could be written: those of the root itself and of the drive."""
        found: dict[str, tuple[int, ...]] = {}
        inside = {os.lstat(self.place).st_dev, os.lstat(self.drive).st_dev}
        for where, folders, files in os.walk(self.place):
            folders[:] = [one for one in folders if os.lstat(os.path.join(where, one)).st_dev in inside]
            for name in (*folders, *files):
                path = os.path.join(where, name)
                one = os.lstat(path)
                size = one.st_size if stat.S_ISREG(one.st_mode) else 0
                about = (one.st_mode, one.st_uid, size, one.st_mtime_ns, one.st_ctime_ns)
                found[path.removeprefix(str(self.place))] = about
        return found


class Watcher:
    """Looks at the rights of everything in scratch folders while they exist."""

    def __init__(self, drive: Path) -> None:
        self.seen: dict[str, int] = {}
        self._drive = drive
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._look)
        self._thread.start()

    def _look(self) -> None:
        while not self._stop.wait(0.01):
            for top in self._drive.glob("copytime-scratch-*"):
                for where, _, files in os.walk(top):
                    for path in (where, *(os.path.join(where, name) for name in files[:20])):
                        try:
                            self.seen[path] = os.lstat(path).st_mode & 0o777
                        except OSError:  # it went in between
                            continue

    def end(self) -> dict[str, int]:
        """Stop looking and return what was seen."""
        self._stop.set()
        self._thread.join()
        return self.seen


def allowed(path: str, command: tuple[str, ...]) -> bool:
    """Tell whether a command may change something there."""
    asked = [one.format(drive=_DRIVE, home=_HOME) for one in command]
    ours = f"{_HOME}/.local"
    if path in (_HOME, ours) or path.startswith(f"{ours}/share"):  # the logbook's folder and the way to it
        return not path.startswith(f"{ours}/share/") or path.startswith(f"{ours}/share/copytime")
    if command[0] == "copy" and (path == _DRIVE or path.startswith(f"{_DRIVE}/games")):
        return True
    if command[0] == "report" and path.startswith(_OF_THE_CHARTS):
        return True
    return path in {*asked, "/tmp", _DRIVE}  # in these folders files come and go


def complaints(root: SmallRoot) -> list[str]:
    """Run every command and say what was wrong."""
    found = []
    before = root.snapshot()
    for command in COMMANDS:
        watcher = Watcher(root.drive) if command[0] in ("qualify", "sustain") else None
        done = root.command(*command)
        seen = watcher.end() if watcher is not None else {}
        told = " ".join(command)
        if done.returncode:
            found.append(f"{told}: exit code {done.returncode}: {done.stderr[-400:]}")
        if watcher is not None and len(seen) < 3:
            found.append(f"{told}: no scratch folder was seen")
        found += [f"{told}: others may use {path}: {mode:o}" for path, mode in seen.items() if mode & 0o077]
        after = root.snapshot()
        changed = {path for path in before.keys() | after.keys() if before.get(path) != after.get(path)}
        found += [f"{told}: changed {path}" for path in sorted(changed) if not allowed(path, command)]
        left = [path for path in after.keys() - before.keys() if path.startswith("/tmp/") or "copytime-scratch" in path]
        found += [f"{told}: left {path}" for path in left]
        before = after
    for path in before:
        private = path.startswith(f"{_HOME}/.local/share/copytime") or path == f"{_HOME}/backup.sqlite"
        if private and before[path][0] & 0o077:
            found.append(f"others may use {path}: {before[path][0] & 0o777:o}")
    if f"{_HOME}/.local/share/copytime/logbook.sqlite" not in before:
        found.append("no logbook was made")
    return found


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as _place:
        _root = SmallRoot(Path(_place), Path(sys.argv[1]))
        try:
            print(json.dumps(complaints(_root)))
        finally:
            subprocess.run(["umount", "-l", _place], check=False)
