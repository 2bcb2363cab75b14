"""The real command line, which sends itself a signal when a stage is reached.

``python -m tests.support.killer STAGE REPEAT SIGNAL ARGUMENTS...``: only what would draw progress bars is replaced. Stage
``flush`` is the end of ``write``, when everything is handed over and the drive is waited for.
"""

from __future__ import annotations

import os
import sys

import copytime.cli.progress
from copytime.records import Progress


class Killer:
    """Takes the place of the bars."""

    stage, repeat, signal = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    fired = False

    def __call__(self, progress: Progress) -> None:
        flushing = progress.stage == "write" and progress.done_bytes == progress.total_bytes
        stage = "flush" if flushing and self.stage == "flush" else progress.stage
        reached = stage == self.stage and progress.repeat in (0, self.repeat) and progress.finished is None
        if reached and not Killer.fired and (progress.done_bytes > 0 or self.stage in ("prepare", "wait", "clean-up")):
            Killer.fired = True
            os.kill(os.getpid(), self.signal)

    def close(self) -> None:
        """Nothing is drawn."""


if __name__ == "__main__":
    copytime.cli.progress.Bars = Killer  # type: ignore[assignment,misc]  # reason: the bars are what is replaced
    copytime.cli.progress.bars_wanted = lambda *, quiet: not quiet
    from copytime.cli import main

    main(sys.argv[4:])
