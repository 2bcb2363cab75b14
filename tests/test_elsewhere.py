"""The package on systems without what Linux has: every module that they load can be loaded without it."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

#: Modules of the engine that stand on file descriptors of folders, which Windows has not; nothing there loads them.
POSIX_ONLY = (
    "copytime.engine.system.posix",
    "copytime.engine.system.linux",
    "copytime.engine.system.macos",
    "copytime.engine.whole_files",
    "copytime.engine.worker",
)

#: Takes away what a system does not have, then loads every module. What we stand on is loaded before, as it is.
SCRIPT = """
import sys, os, errno, signal, mmap, pkgutil, importlib, importlib.metadata, sqlite3, subprocess, tempfile, multiprocessing
import click, numpy, psutil, tqdm, tabulate, ctypes, logging, socket, csv, json, uuid, plistlib, platform, urllib.parse, time
import matplotlib.axes, matplotlib.figure, matplotlib.backends.backend_agg, matplotlib.backends.backend_svg
system, command, *left_out = sys.argv[1:]
if system == "win32":
    gone = {
        os: ["O_NOFOLLOW", "O_DIRECTORY", "O_CLOEXEC", "O_NONBLOCK", "O_DIRECT", "O_PATH", "pread", "preadv", "pwritev",
             "posix_fadvise", "statvfs", "ST_RDONLY", "geteuid", "getuid", "sync", "readv", "major", "minor", "fork"],
        errno: ["EREMOTEIO", "ENOTBLK", "EMEDIUMTYPE", "ENOMEDIUM", "ECOMM"],
        signal: ["SIGHUP", "SIGKILL", "SIGUSR1", "SIGALRM", "SIGPIPE", "SIGWINCH", "SIGTSTP", "SIGCONT"],
        mmap: ["MAP_PRIVATE", "MAP_ANONYMOUS", "MAP_SHARED", "PROT_READ", "MADV_HUGEPAGE"],
        time: ["clock_gettime_ns", "clock_gettime", "CLOCK_BOOTTIME", "CLOCK_MONOTONIC"],
    }
    for name in ("fcntl", "pwd", "grp", "resource", "termios", "curses", "readline"):
        sys.modules[name] = None
else:
    gone = {
        os: ["O_DIRECT", "O_PATH", "posix_fadvise", "copy_file_range", "sendfile"],
        errno: ["EREMOTEIO", "EMEDIUMTYPE", "ENOMEDIUM", "ECOMM"],
        signal: ["SIGPWR", "SIGPOLL"],
        mmap: ["MADV_HUGEPAGE"],
        time: ["CLOCK_BOOTTIME"],
    }
for module, names in gone.items():
    for name in names:
        if hasattr(module, name):
            delattr(module, name)
sys.platform = system
import copytime
for found in pkgutil.walk_packages(copytime.__path__, "copytime."):
    if found.name not in left_out and not found.name.endswith("__main__"):
        importlib.import_module(found.name)
from copytime.engine.buffers import aligned_words
assert aligned_words(1 << 20).ctypes.data % 4096 == 0
from copytime.cli import run
sys.exit(run(json.loads(command)))
"""


def run_there(system: str, *command: str) -> subprocess.CompletedProcess[str]:
    left_out = POSIX_ONLY if system == "win32" else ()
    words = [sys.executable, "-c", SCRIPT, system, json.dumps(command), *left_out]
    return subprocess.run(words, capture_output=True, text=True, check=False)


def load(system: str) -> None:
    ran = run_there(system, "qualify", "--help")
    assert ran.returncode == 0, ran.stderr
    assert "Usage: copytime qualify" in ran.stdout


def test_windows_loads_everything_but_what_stands_on_posix() -> None:
    load("win32")


def test_macos_loads_everything() -> None:
    load("darwin")


@pytest.mark.parametrize(("system", "called"), [("win32", "Windows"), ("darwin", "macOS")])
def test_a_copy_is_refused_there_in_a_sentence_that_says_what_else_there_is(
    tmp_path: Path, system: str, called: str
) -> None:
    (tmp_path / "games").mkdir()
    ran = run_there(system, "copy", str(tmp_path / "games"), str(tmp_path / "there"))
    assert (ran.returncode, ran.stdout) == (1, "")
    said = f"error: 'copytime copy' copies on Linux alone: what keeps your files safe meanwhile is not built for {called}"
    hint = "'copytime qualify' measures the drive with files of its own, 'copytime note copy' takes what you timed."
    assert ran.stderr.splitlines() == [said, hint]
    assert not (tmp_path / "there").exists()
