"""The package on systems without what Linux has: every module that they load can be loaded without it."""

from __future__ import annotations

import subprocess
import sys

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
system, *left_out = sys.argv[1:]
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
sys.exit(run(["qualify", "--help"]))
"""


def load(system: str, *left_out: str) -> None:
    ran = subprocess.run([sys.executable, "-c", SCRIPT, system, *left_out], capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr
    assert "Usage: copytime qualify" in ran.stdout


def test_windows_loads_everything_but_what_stands_on_posix() -> None:
    load("win32", *POSIX_ONLY)


def test_macos_loads_everything() -> None:
    load("darwin")
