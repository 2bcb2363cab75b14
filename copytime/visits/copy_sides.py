"""What became of the drives of both sides while a copy ran: attached anew, another link mode, failed requests, warmth."""

from __future__ import annotations

from dataclasses import dataclass

from copytime.attached import Platform, Target
from copytime.visits.conditions import Moment, changed, temperature

__all__ = ["Became", "Sides"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Became:
    """What changed about one side's drive between two looks, in short words, and how warm it was at each, in Celsius."""

    marks: tuple[str, ...]
    temperature_c: tuple[float | None, float | None]


class Sides:
    """The drives of ``source`` and ``destination``, looked at from the moment that this is made."""

    def __init__(self, platform: Platform, source: Target, destination: Target) -> None:
        self._platform = platform
        self._targets = {"source": source, "destination": destination}
        self._first = {side: Moment.now(platform, target) for side, target in self._targets.items()}
        self._last = {side: moment.states for side, moment in self._first.items()}

    def look(self) -> dict[str, Became]:
        """Say what became of each side since the last look."""
        found = {}
        for side, target in self._targets.items():
            before, now = self._last[side], self._platform.states(target)
            self._last[side] = now
            found[side] = Became(marks=changed(before, now), temperature_c=(temperature(before), temperature(now)))
        return found

    def changed(self, side: str) -> tuple[str, ...]:
        """Name what changed about one side's drive until now."""
        return changed(self._first[side].states, self._platform.states(self._targets[side]))

    def known(self, under_test: str) -> dict[str, object]:
        """Write down what is known at the first moment, as ``conditions`` does later."""
        found = {side: moment.known() for side, moment in self._first.items()}
        return {**found[under_test], "sides": found}

    def conditions(self, under_test: str) -> dict[str, object]:
        """Write down what happened until now: of the side ``under_test`` as of any visit, of both under ``sides``."""
        found = {side: self._first[side].until(Moment.now(self._platform, target)) for side, target in self._targets.items()}
        return {**found[under_test], "sides": found}
