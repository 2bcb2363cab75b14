"""What a measurement came to."""

from __future__ import annotations

from dataclasses import dataclass

from copytime.errors import CopytimeError
from copytime.records import Qualification

__all__ = ["Outcome"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a measurement came to: everything that was finished, and what ended it early, if anything did.

    ``notices`` are those of its warnings that nobody may miss: that it was not logged, that something was left or kept
    on the drive, that the payload was cut, that data came back wrong.
    """

    qualification: Qualification
    failure: CopytimeError | None = None
    notices: tuple[str, ...] = ()
