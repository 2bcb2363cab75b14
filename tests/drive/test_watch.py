"""``copytime watch`` against dd at a limited rate, and against what is no copy."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time

import pytest

from tests.conftest import Cli
from tests.report.test_documents import check
from tests.support.drives import LoopDrive, Throttle, loop_device
from tests.support.fuse_drive import FuseDrive

pytestmark = pytest.mark.root

SIZE = 256 * 2**20


def dd(drive: LoopDrive, throttle: Throttle, *, writing: bool) -> float:
    """Let dd move SIZE bytes under the limit with direct I/O and return its own rate in MB/s."""
    file = f"{drive.mount}/dd.bin"
    ends = [f"of={file}", "if=/dev/zero", "oflag=direct"] if writing else [f"if={file}", "of=/dev/null", "iflag=direct"]
    command = throttle.command("dd", *ends, "bs=4M", f"count={SIZE // 2**22}")
    said = subprocess.run(command, check=True, capture_output=True, text=True, env={"LC_ALL": "C", "PATH": "/usr/bin:/bin"})
    words = said.stderr.splitlines()[-1].split(", ")
    return SIZE / 1e6 / float(words[2].split()[0])


@pytest.mark.parametrize(("rate", "by"), [(50e6, "folder"), (100e6, "device")])
def test_against_dd_at_a_limited_rate(drive: LoopDrive, throttle: Throttle, cli: Cli, rate: float, by: str) -> None:
    throttle.limit(drive.number, read=int(rate), write=int(rate))
    for writing in (True, False):
        name = drive.name if by == "device" else str(drive.mount)
        command = [sys.executable, "-m", "copytime", "watch", name, "--json", "--quiet-after", "1.5"]
        child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        assert child.stderr is not None
        assert "start the copy now" in child.stderr.readline()
        time.sleep(1)  # reason: a drive that does nothing must not start the clock
        theirs = dd(drive, throttle, writing=writing)
        out, _ = child.communicate(timeout=60)
        assert child.returncode == 0
        (way,) = check(out)["ways"]
        print(f"\n{rate / 1e6:.0f} MB/s: watch {way['rate_mb_per_s']:.2f}, dd {theirs:.2f}")
        assert way["direction"] == ("to-drive" if writing else "from-drive")
        assert way["moved_bytes"] == pytest.approx(SIZE, rel=0.005)
        assert way["rate_mb_per_s"] == pytest.approx(theirs, rel=0.02)
        assert way["low_mb_per_s"] <= way["rate_mb_per_s"] <= way["high_mb_per_s"]
    entries = json.loads(cli("log", "--json").stdout)["qualifications"]
    found = check(cli("log", "show", entries[-1]["id"], "--json").stdout)
    assert found["passes"][0]["marks"] == ["watched"]
    assert found["passes"][0]["workload"] == "copy"


@pytest.mark.parametrize("writing", [True, False])
def test_the_first_request_of_a_slow_drive_is_in_the_time(fuse: FuseDrive, writing: bool) -> None:
    """Each of six requests of 1 MiB takes half a second, and counters rise when the first one is over."""
    image = fuse.mount / "image"
    with image.open("wb") as file:
        file.truncate(16 * 2**20)
    with loop_device(image) as device:
        fuse.order(read_rate=2_097_152, write_rate=2_097_152)
        command = [sys.executable, "-m", "copytime", "watch", device, "--json", "--quiet-after", "1.5"]
        child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        assert child.stderr is not None
        assert "start the copy now" in child.stderr.readline()
        time.sleep(1)  # reason: it is to have looked before anything moves
        ends = (
            [f"of={device}", "if=/dev/zero", "oflag=direct"] if writing else [f"if={device}", "of=/dev/null", "iflag=direct"]
        )
        begun = time.perf_counter()
        subprocess.run(["dd", *ends, "bs=1M", "count=6"], check=True, capture_output=True)
        theirs = time.perf_counter() - begun
        out, _ = child.communicate(timeout=60)
    (way,) = check(out)["ways"]
    print(f"\nwatch {way['seconds']:.3f} s, dd and its start {theirs:.3f} s")
    assert way["moved_bytes"] == pytest.approx(6 * 2**20, rel=0.1)
    assert theirs - 0.25 < way["seconds"] < theirs + 0.1


def test_interrupted_while_nothing_moves(drive: LoopDrive) -> None:
    command = [sys.executable, "-m", "copytime", "watch", str(drive.mount)]
    child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert child.stderr is not None
    child.stderr.readline()
    time.sleep(0.5)  # reason: it is to be waiting by then
    child.send_signal(signal.SIGINT)
    out, said = child.communicate(timeout=30)
    assert (child.returncode, out) == (130, "")
    assert "nothing had moved" in said


def test_what_cannot_be_watched(cli: Cli) -> None:
    pseudo = cli("watch", "/proc")
    assert pseudo.returncode == 2
    assert "holds no files of yours" in pseudo.stderr
    memory = cli("watch", "/dev/shm")
    assert memory.returncode == 2
    assert "no drive with counters" in memory.stderr
    assert cli("watch", "nosuchdevice").returncode == 2


@pytest.mark.parametrize("asked", ["nan", "inf", "-inf", "1e999", "0", "-1", "0.1", "3601", ""])
def test_a_quiet_that_makes_no_sense_is_refused_before_a_copy_is_asked_for(cli: Cli, asked: str) -> None:
    done = cli("watch", "/", "--quiet-after", asked)
    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 2
    assert done.stderr.startswith("error: ")
