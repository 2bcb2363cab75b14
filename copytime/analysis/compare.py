"""Is that a difference, or the margin of error? Four outcomes, none of them by looking whether intervals overlap.

A difference is shown by Welch's test on the logarithms; sameness must be shown as well, by two one-sided tests against what
matters (Schuirmann 1987): that no difference was seen does not show that there is none.
"""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass

from copytime.analysis.margins import Component, Margin, combine
from copytime.units import significant

__all__ = ["MATTERS", "Comparison", "Estimate", "Outcome", "compare", "difference_margin", "repeats_needed"]

#: Smallest difference that matters to somebody who chooses a drive, as a share (common practice, no source).
MATTERS = 0.03

#: More repeats than this are not proposed: the answer is then another test, not a longer one.
_MOST_REPEATS = 200


class Outcome(enum.StrEnum):
    """What a comparison shows."""

    DIFFERS = "differs"
    DIFFERS_LITTLE = "differs-little"
    SAME = "same"
    CANNOT_TELL = "cannot-tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A figure with the components of its uncertainty.

    ``log_mean`` is the logarithm of the time per byte (or of the time); ``repeats`` how many values it rests on, and
    ``repeat_sd`` the standard deviation of one, from which it is worked out how many more would settle a question.
    """

    log_mean: float
    components: tuple[Component, ...]
    repeats: int = 1
    repeat_sd: float | None = None


#: A difference of more than this, as a share, is not written out: ten times as fast and more.
_BEYOND = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """How the second figure differs from the first.

    ``difference`` is the rate of the second over that of the first, minus 1 (+0.05: five percent faster); ``low`` and
    ``high`` its 95 % interval, ``near`` the 90 % one, which is what two one-sided tests at 95 % take to show sameness.
    ``detectable`` is the smallest difference that these data could show. ``repeats_needed`` is
    how many repeats each side would need in all to settle it, None where it is settled or where repeats alone would not.
    """

    outcome: Outcome
    difference: float
    low: float
    high: float
    detectable: float
    matters: float
    repeats_needed: int | None
    rests_on: str
    near: tuple[float, float] = (-math.inf, math.inf)

    @property
    def signed(self) -> str:
        """The difference in percent with its sign, without the sign of percent."""
        return _signed(self.difference)

    @property
    def interval(self) -> str:
        """The interval in percent, without the sign of percent; beyond ten times as fast no digits are given."""
        high = f"{_signed(self.high)}" if self.high <= _BEYOND else f"more than {_BEYOND * 100:+.0f}"
        return f"{_signed(self.low)} to {high}"

    @property
    def _within(self) -> str:
        """The interval, and where it reaches further than what matters the one that does not, by which sameness is shown."""
        if max(self.high, -self.low) <= self.matters:
            return f"{self.interval} %"
        return f"{self.interval} %; with 90 %, which this takes, {_signed(self.near[0])} to {_signed(self.near[1])} %"

    def sentence(self) -> str:
        """Say it for people."""
        size = f"{abs(self.difference) * 100:.1f} %"
        if size != "0.0 %":
            size += " faster" if self.difference > 0 else " slower"
        interval = f"{self.interval} %"
        if self.outcome is Outcome.DIFFERS:
            return f"differs: {size} ({interval})"
        if self.outcome is Outcome.DIFFERS_LITTLE:
            return f"differs, but by less than the {self.matters * 100:g} % that matter: {size} ({self._within})"
        if self.outcome is Outcome.SAME:
            return f"the same within the {self.matters * 100:g} % that matter ({self._within})"
        more = f"; {self.repeats_needed} repeats on each side would settle it" if self.repeats_needed else ""
        return (
            f"within the margin of error: {size} ({interval}; this many runs cannot show less than about "
            f"{significant(self.detectable * 100, 2)} %{more})"
        )


def _signed(share: float) -> str:
    """Write a share in percent with its sign; nothing has none."""
    text = f"{share * 100:+.1f}"
    return "0.0" if text in ("+0.0", "-0.0") else text


def compare(
    first: Estimate, second: Estimate, *, matters: float = MATTERS, confidence: float = 0.95, rests_on: str = ""
) -> Comparison:
    """Compare two figures; errors that both share cancel.

    ``matters`` is the smallest difference of interest, as a share. ``rests_on`` is told with the outcome.
    """
    delta = first.log_mean - second.log_mean  # less time per byte is more rate
    margin = difference_margin(first, second)
    half, one_sided = margin.half(confidence), margin.half(1 - 2 * (1 - confidence))
    outcome = _judge(delta, margin, matters, confidence)
    return Comparison(
        outcome=outcome,
        difference=math.expm1(delta),
        low=math.expm1(delta - half),
        high=math.expm1(delta + half),
        detectable=math.expm1(half),
        matters=matters,
        repeats_needed=repeats_needed(first, second, delta, matters=matters, confidence=confidence)
        if outcome is Outcome.CANNOT_TELL
        else None,
        rests_on=rests_on or margin.covers,
        near=(math.expm1(delta - one_sided), math.expm1(delta + one_sided)),
    )


def _judge(delta: float, margin: Margin, matters: float, confidence: float) -> Outcome:
    """Apply both tests: is there a difference, and is it shown to be smaller than what matters."""
    differs = abs(delta) > margin.half(confidence)
    # two one-sided tests at the same level are one interval at twice the error (statistics, 'TOST')
    one_sided = margin.half(1 - 2 * (1 - confidence))
    bound = math.log1p(matters)
    same = abs(delta) + one_sided < bound
    if differs:
        return Outcome.DIFFERS_LITTLE if same else Outcome.DIFFERS
    return Outcome.SAME if same else Outcome.CANNOT_TELL


def difference_margin(first: Estimate, second: Estimate) -> Margin:
    """Combine what two figures do not share: the margin of the logarithm of their ratio.

    Of an error that they share, and that weighs more on one of them, the difference is left.
    """
    theirs = {one.shared: one for one in second.components if one.shared}
    ours = {one.shared: one for one in first.components if one.shared}
    both = theirs.keys() & ours.keys()
    parts = [one for one in (*first.components, *second.components) if one.shared not in both or one.shared is None]
    parts += [ours[name]._replace(u=left) for name in sorted(both) if (left := abs(ours[name].u - theirs[name].u)) > 0]
    return combine(parts, ", ".join(dict.fromkeys(one.name for one in parts)), at_least=True)


def _with_repeats(one: Estimate, repeats: int) -> tuple[Component, ...]:
    """Imagine a figure with more repeats: the component of the repeats shrinks, the others stay."""
    if one.repeat_sd is None:
        return one.components
    rest = [part for part in one.components if part.name != "repeats"]
    # a spread that is known from more than these repeats stays as well known as it is
    known = max((part.df for part in one.components if part.name == "repeats"), default=1.0)
    return (*rest, Component(one.repeat_sd / math.sqrt(repeats), max(known, repeats - 1.0), "repeats"))


def repeats_needed(
    first: Estimate, second: Estimate, delta: float, *, matters: float = MATTERS, confidence: float = 0.95
) -> int | None:
    """Find the smallest number of repeats on each side that would settle it if their difference is ``delta`` (a logarithm).

    More than each side has already, as that many do not settle it. None where repeats alone never would.
    """

    def settles(repeats: int) -> bool:
        sides = [
            Estimate(log_mean=one.log_mean, components=_with_repeats(one, max(one.repeats, repeats)))
            for one in (first, second)
        ]
        margin = difference_margin(sides[0], sides[1])
        return _judge(delta, margin, matters, confidence) is not Outcome.CANNOT_TELL

    low, high = max(first.repeats, second.repeats), _MOST_REPEATS
    if not settles(high):
        return None
    while high - low > 1:  # more repeats never make a margin wider
        middle = (low + high) // 2
        low, high = (low, middle) if settles(middle) else (middle, high)
    return high
