"""Drives that take their time: that hang, that pause, that take long over every request or answer in another order."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest

from tests.conftest import Cli
from tests.hard.faults import LITTLE, MB, WORKS, ended, looked_at, nothing_left, passes_kept, started, under_way, words
from tests.support.fuse_drive import FuseDrive

pytestmark = pytest.mark.root


@pytest.mark.parametrize("name", WORKS)
def test_a_drive_that_hangs_is_told(fuse: FuseDrive, places: dict[str, str], name: str) -> None:
    """Nothing can end a request that hangs; that nothing moves is said in time, and when it goes on the work is done."""
    command = words(name, fuse.mount, places)
    fuse.order(write_rate=10 * MB, read_rate=10 * MB, free=LITTLE)
    code = "import sys, copytime.cli.stopping as s; s.SILENCE_S = 1.0; from copytime.cli import main; main(sys.argv[1:])"
    child = started([sys.executable, "-c", code, *command])
    under_way(name, fuse.mount, places, child)
    fuse.order(hang=True)
    time.sleep(3.0)  # reason: that is the hang
    fuse.order(hang=False, write_rate=None, read_rate=None)
    done = ended(child)
    looked_at(done, {0, 3})
    assert "nothing has moved for 1 seconds" in done.stderr
    assert "does not answer any more" in done.stderr


#: How long the drive pauses once in each direction, in seconds.
PAUSE_S = 0.8

PAUSES = ["large", "small", "sustain", "copy to", "copy from", "selfcheck"]


@pytest.mark.parametrize("name", PAUSES)
def test_a_pause_is_in_the_figures_and_nothing_is_lost(fuse: FuseDrive, cli: Cli, places: dict[str, str], name: str) -> None:
    """Every pass that was timed while the drive paused lasted as long, and every byte is there."""
    command = words(name, fuse.mount, places, brief=True)
    moved = 50 * MB if name == "copy from" else 0
    fuse.order(stall=[moved + 5 * MB, PAUSE_S], stall_read=[5 * MB, PAUSE_S], free=LITTLE)
    done = cli(*command)
    looked_at(done, {0})
    assert "WRONG DATA" not in done.stdout
    if name != "selfcheck":
        passes = passes_kept()
        assert passes
        paused = [one["direction"] for one in passes if one["seconds"] > PAUSE_S]
        assert paused == [one["direction"] for one in passes], passes
    nothing_left(fuse)


#: How long requests take in turn: all of them as long, so that every pass shows it; and one, which the next overtakes.
DELAYS = {"every request takes long": [0.05], "answers out of order": [0.005, 0.0]}

#: Of a self-check with requests of 50 ms four minutes are spent on its 300 small files: it was done by hand.
DELAYED = [(fault, name) for fault in DELAYS for name in WORKS if (fault, name) != ("every request takes long", "selfcheck")]


@pytest.mark.parametrize(("fault", "name"), DELAYED)
def test_delays_cost_time_alone(fuse: FuseDrive, cli: Cli, places: dict[str, str], fault: str, name: str) -> None:
    """The time is in the figures, however many requests are in hand: 12 of a MiB, four at once, take 0.15 s."""
    shorter = {"300": "50", "64MB": "34MB" if name == "sustain" else "16MB"}
    command = [shorter.get(word, word) for word in words(name, fuse.mount, places, brief=True)]
    for tree in (Path(places["source"]), fuse.mount / "mine"):
        for path in sorted(tree.glob("*"))[1:-5]:  # a large file and five small ones will do
            path.unlink()
    delay = DELAYS[fault]
    if name in ("small", "selfcheck"):  # whose files are many
        delay = [one / 10 for one in delay]
    fuse.order(delay=delay, free=LITTLE)
    done = cli(*command)
    fuse.order(delay=None)
    looked_at(done, {0})
    assert "WRONG DATA" not in done.stdout
    if fault == "every request takes long":
        assert all(one["seconds"] > 0.15 for one in passes_kept()), passes_kept()
    nothing_left(fuse)


TESTED = {
    *(("hangs", name) for name in WORKS),
    *(("pauses", name) for name in PAUSES),
    *DELAYED,
}
