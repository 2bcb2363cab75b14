"""Completion in a real shell, by the very line that the README gives."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import skip_or_fail

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("copytime recon", {"reconcile"}),
        ("copytime note ", {"copy", "load", "fault"}),
        ("copytime qualify --inn", {"--inner-link"}),
        ("copytime compare --by ca", {"cable"}),
        ("copytime log sh", {"show"}),
    ],
)
def test_bash_completes_what_was_begun(tmp_path: Path, typed: str, expected: set[str]) -> None:
    bash = shutil.which("bash")
    if bash is None:
        skip_or_fail("there is no bash here")
    line = re.search(r"^    (eval .*bash_source copytime.*)$", (ROOT / "README.md").read_text("utf-8"), re.MULTILINE)
    assert line
    program = tmp_path / "copytime"
    program.write_text(f'#!/bin/sh\nexec {sys.executable} -m copytime "$@"\n')
    program.chmod(0o755)
    script = f"""
    {line[1]}
    COMP_WORDS=({typed}{' ""' if typed.endswith(" ") else ""})
    COMP_CWORD=$((${{#COMP_WORDS[@]}} - 1))
    found=$(complete -p copytime | sed 's/.*-F \\([^ ]*\\) .*/\\1/')
    $found copytime
    printf '%s\\n' "${{COMPREPLY[@]}}"
    """
    here = {**os.environ, "PATH": f"{tmp_path}:{os.environ['PATH']}", "PYTHONPATH": str(ROOT)}
    done = subprocess.run([str(bash), "-c", script], check=True, capture_output=True, text=True, env=here, timeout=60)
    assert set(done.stdout.split()) == expected, done.stderr
