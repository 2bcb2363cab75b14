"""Faults of drives through every command that works on one: an exit code, a clear word, the logbook whole, nothing left.

What is tested where (L, S: qualify with large, with small files; T: sustain; C, R: copy to the drive and from it; K:
self-check; W: watch). Words after 'f_' are modules beside this one (``test_faults_errors.py`` and so on), the others lie in
tests/drive. 'n/a': the command never does what the fault hits, or cannot be run there: 'watch' goes by counters of a device,
which no FUSE drive has. '-': not tested; its neighbour in the row runs the same code below.

=========================  ============  =========  =========  =========  =========  ==========  =========
fault                      L             S          T          C          R          K           W
=========================  ============  =========  =========  =========  =========  ==========  =========
gone before the start      f_errors      f_errors   f_errors   f_errors   f_errors   f_errors    f_errors
full before                f_errors      f_errors   f_errors   f_errors   n/a        f_errors    n/a
full in the middle         faults        small      sustain    copy       n/a        f_errors    n/a
quota (EDQUOT, by FUSE)    faults        f_errors   f_errors   f_errors   n/a        f_errors    n/a
quota (btrfs, real)        f_real        f_real     f_real     f_real     n/a        f_real      n/a
turned read-only           faults        f_real     f_real     f_real     n/a        f_real      n/a
device shrunk              faults        small      f_real     f_real     f_real     f_real      f_watch
device detached            f_real        -          -          -          -          -           f_watch
unmounted under it         f_real        f_real     f_real     f_real     f_real     f_real      f_watch
program behind it dies     faults        f_errors   sustain    f_errors   f_errors   f_errors    n/a
EIO on writing             faults        small      sustain    f_errors   f_errors   f_errors    n/a
EIO on reading             faults        small      sustain    f_errors   f_errors   f_errors    n/a
EIO on flushing            faults        small      f_errors   f_errors   n/a        f_errors    n/a
hangs                      f_waiting     f_waiting  f_waiting  f_waiting  f_waiting  f_waiting   f_watch
short counts               faults        f_lies     f_lies     f_lies     f_lies     f_lies      n/a
pauses                     f_waiting     f_waiting  f_waiting  f_waiting  f_waiting  f_waiting   f_watch
every request takes long   f_waiting     f_waiting  f_waiting  f_waiting  f_waiting  -           n/a
answers out of order       f_waiting     f_waiting  f_waiting  f_waiting  f_waiting  f_waiting   n/a
wrong data                 verification  f_lies     f_lies     copy       f_lies     selfcheck   n/a
wrong sizes told           f_lies        f_lies     f_lies     f_lies     f_lies     f_lies      n/a
=========================  ============  =========  =========  =========  =========  ==========  =========

A drive that is detached while it is mounted serves until it is unmounted: no run sees anything of it, and one will do.
Clocks that are set back and machines that sleep are in test_clocks.py, signals in test_signals.py.
"""

from __future__ import annotations

import re
from pathlib import Path

from tests.hard import test_faults_errors as errors
from tests.hard import test_faults_lies as lies
from tests.hard import test_faults_real as real
from tests.hard import test_faults_waiting as waiting
from tests.hard import test_faults_watch as watch
from tests.hard.faults import WORKS

#: How the columns of the table above are called by the tests.
COLUMNS = dict(zip("LSTCRK", WORKS, strict=True)) | {"W": "watch"}

#: What each of the modules beside this one gives its tests.
TESTED = {
    "f_errors": errors.TESTED,
    "f_lies": lies.TESTED,
    "f_real": real.TESTED,
    "f_waiting": waiting.TESTED,
    "f_watch": watch.TESTED,
}


def test_the_table_says_what_is_tested() -> None:
    """Every cell that names a module beside this one is tested there, and what is tested has a cell that says so."""
    text = (__doc__ or "").splitlines()
    first, second, last = (at for at, line in enumerate(text) if line.startswith("==="))
    assert text[first + 1].split() == ["fault", *COLUMNS]
    named = [re.split(r" {2,}", line) for line in text[second + 1 : last]]
    cells = {(row[0], name): cell for row in named for name, cell in zip(COLUMNS.values(), row[1:], strict=True)}
    for module, tested in TESTED.items():
        assert {where for where, cell in cells.items() if cell == module} <= tested, module
    everything = set().union(*TESTED.values())
    assert everything <= set(cells)
    assert {cells[where] for where in everything} <= set(cells.values()) - {"-", "n/a"}
    others = set(cells.values()) - {*TESTED, "-", "n/a"}
    assert [name for name in sorted(others) if not (Path(__file__).parent.parent / f"drive/test_{name}.py").exists()] == []
