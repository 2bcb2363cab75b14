"""As an ordinary user: everything works, what is ours is private, and nothing is written but where it belongs."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest

from tests.conftest import skip_or_fail
from tests.hard.small_root import COMMANDS
from tests.support.drives import LoopDrive, why_no_drives


@pytest.mark.root
def test_a_user_without_rights_in_a_root_where_every_file_is_watched(drive: LoopDrive) -> None:
    why = why_no_drives("unshare", "chroot")
    if why is not None:
        skip_or_fail(why)
    done = subprocess.run(
        ["unshare", "--mount", "--propagation", "private", sys.executable, "-m", "tests.hard.small_root", str(drive.mount)],
        check=False,
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
    )
    assert done.returncode == 0, done.stderr[-3000:]
    assert json.loads(done.stdout) == []
    assert len(COMMANDS) > 20
