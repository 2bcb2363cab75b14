"""A loop drive whose witness is its own counters, which nobody else moves.

In use the witness counts at the disk under the loop device's file. There whatever else runs on this machine is counted too,
and what it moved in an idle moment is taken off, so that on a busy disk a sound pass is called shared, or seems to have
moved less than its payload. The loop device itself moves for its file system alone.
"""

from __future__ import annotations

from copytime import Options, Qualification
from copytime.attached import Target
from copytime.attached.linux import Linux
from copytime.records import Counts
from copytime.visits.plan import make_plan
from copytime.visits.qualify import measure
from tests.support.drives import LoopDrive

__all__ = ["OwnCounters", "measured"]


class OwnCounters(Linux):
    """This machine, but for the counters: they are those of the loop device called ``name``."""

    def __init__(self, name: str) -> None:
        super().__init__()
        self._loop = self.named(name)

    def counts(self, target: Target) -> Counts | None:
        """See Platform."""
        del target
        return super().counts(self._loop) if self._loop is not None else None


def measured(drive: LoopDrive, options: Options) -> Qualification:
    """Qualify a loop drive with its own counters as the witness."""
    here = OwnCounters(drive.name)
    outcome = measure(make_plan(here.target(str(drive.mount)), options), platform=here)
    if outcome.failure is not None:
        raise outcome.failure
    return outcome.qualification
