"""What all tests share: a clean environment, a logbook of their own, and drives made on demand."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

from tests.support.drives import LoopDrive, Throttle, loop_drive, why_no_throttle, why_not
from tests.support.fuse_drive import FuseDrive, ahead_of_others, fuse_drive, why_no_fuse
from tests.support.signals import heed

# One profile for all: a busy machine must not fail a property for being slow.
settings.register_profile("steady", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("steady")

heed()

# Programs that the tests start are to write as they do at their users': a stream without a buffer never fails at the end.
os.environ.pop("PYTHONUNBUFFERED", None)

#: In CI the tests that need root run or fail; elsewhere they skip and say why.
IN_CI = bool(os.environ.get("COPYTIME_CI"))


def pytest_report_header() -> list[str]:
    """Print what decides which tests can run here."""
    return [f"throttle: {why_no_throttle() or 'yes'}; FUSE: {why_no_fuse() or 'yes'}"] + [
        f"{name}: {why_not(name) or 'yes'}" for name in ("ext4", "xfs", "btrfs", "vfat", "exfat")
    ]


def skip_or_fail(why: str) -> None:
    """Skip with a reason; in CI fail instead, unless it is the kernel that lacks the thing."""
    if IN_CI and "this kernel has no" not in why:
        pytest.fail(f"must run in CI: {why}")
    pytest.skip(why)


@pytest.fixture(autouse=True)
def clean_environment(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Give every test the same terminal and a logbook of its own."""
    for name in ("NO_COLOR", "FORCE_COLOR", "COPYTIME_DEBUG", "COPYTIME_CAMPAIGN", "TQDM_DISABLE", "PYTHONWARNINGS"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COPYTIME_LOGBOOK", str(tmp_path / "book" / "logbook.sqlite"))


@pytest.fixture
def logbook_path(tmp_path: Path) -> Path:
    """Where the logbook of this test lies."""
    return tmp_path / "book" / "logbook.sqlite"


DriveMaker = Callable[..., LoopDrive]


@pytest.fixture
def make_drive(tmp_path: Path) -> Iterator[DriveMaker]:
    """Make loop drives: ``make_drive("ext4", size_mb=600)``."""
    with ExitStack() as stack:

        def make(file_system: str = "ext4", size_mb: int = 700, options: str = "", **more: Any) -> LoopDrive:
            why = why_not(file_system)
            if why is not None:
                skip_or_fail(why)
            return stack.enter_context(loop_drive(tmp_path, file_system, size_mb, options, **more))

        yield make


@pytest.fixture
def drive(make_drive: DriveMaker) -> LoopDrive:
    """An ext4 loop drive of 700 MiB."""
    return make_drive()


@pytest.fixture
def throttle() -> Iterator[Throttle]:
    """The kernel's bandwidth limit."""
    why = why_no_throttle()
    if why is not None:
        skip_or_fail(why)
    made = Throttle()
    yield made
    made.remove()


@pytest.fixture
def throttle_all() -> Iterator[Throttle]:
    """The kernel's bandwidth limit, for its own writers as well."""
    why = why_no_throttle()
    if why is not None:
        skip_or_fail(why)
    made = Throttle(everybody=True)
    yield made
    made.remove()


@pytest.fixture
def fuse(tmp_path: Path) -> Iterator[FuseDrive]:
    """A drive of our own making that fails or slows down on command."""
    why = why_no_fuse()
    if why is not None:
        skip_or_fail(why)
    with ahead_of_others(), fuse_drive(tmp_path) as made:
        yield made


Cli = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture
def cli() -> Cli:
    """Run the command line as a program of its own; returns what it printed and its exit code."""

    def run(*arguments: str | Path, **more: Any) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "copytime", *map(str, arguments)]
        return subprocess.run(command, check=False, capture_output=True, text=True, timeout=300, **more)

    return run
