"""What a report is made from: a part of the logbook with everything that follows from it. Plain records."""

from __future__ import annotations

from dataclasses import dataclass

from copytime.analysis.compare import Comparison
from copytime.analysis.compared import Compared
from copytime.analysis.noted import TimedRate
from copytime.analysis.reconciled import Buying, Loading, Reconciliation
from copytime.analysis.settling import NextTest
from copytime.notes import KitItem, Note
from copytime.records import Qualification

__all__ = ["ComparedSet", "Scope", "Whole", "drive_name"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """Which part of a logbook is looked at: all of it, or one drive, host or campaign."""

    drive: str | None = None
    host: str | None = None
    campaign: str | None = None

    @property
    def words(self) -> str:
        """Say it for people."""
        named = (("drive", self.drive), ("host", self.host), ("campaign", self.campaign))
        said = " and ".join(f"the {kind} {name}" for kind, name in named if name)
        return said or "the whole logbook"

    @property
    def everything(self) -> bool:
        """Whether nothing is left out."""
        return not (self.drive or self.host or self.campaign)


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedSet:
    """One comparison with what it is of, such as 'large files to the drive at Harbour 4'; ``by`` says what makes groups."""

    title: str
    by: str
    found: Compared


@dataclass(frozen=True, slots=True, kw_only=True)
class Whole:
    """A part of a logbook and what follows from it.

    ``measured`` are the visits on PCs with their results, oldest first, ``timed`` the notes that count with what they come
    to, ``struck`` how many entries do not count. ``found`` holds the results of that part alone; all of the logbook was held
    against them. ``ratios`` compare one scene on one drive at two hosts: scene, drive, first host, second host. ``invented``
    says, where nobody measured what stands in the logbook, what it is. Names of machines, folders and serial numbers are
    taken out unless they were asked for.
    """

    scope: Scope
    kit: tuple[KitItem, ...] = ()
    measured: tuple[Qualification, ...] = ()
    timed: tuple[tuple[Note, TimedRate | None], ...] = ()
    struck: int = 0
    found: Reconciliation
    bought: tuple[Buying, ...] = ()
    loads: tuple[Loading, ...] = ()
    ratios: tuple[tuple[str, str, str, str, Comparison], ...] = ()
    test: NextTest | None = None
    compared: tuple[ComparedSet, ...] = ()
    invented: str | None = None
    remarks: tuple[str, ...] = ()

    @property
    def notes(self) -> tuple[Note, ...]:
        """The notes that count, oldest first."""
        return tuple(one for one, _ in self.timed)

    @property
    def empty(self) -> bool:
        """Whether there is nothing to tell."""
        return not (self.measured or self.timed)


def drive_name(one: Qualification) -> str:
    """Call the drive of a visit as the register does, or else as it calls itself."""
    named = one.conditions.get("kit_drive")
    part = next((part.name for part in reversed(one.chain) if part.kind == "drive"), one.drive)
    return named if isinstance(named, str) and named else part
