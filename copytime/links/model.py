"""One link mode with its protocol as a row of data, and the ceiling that follows from it step by step."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

__all__ = ["UNCODED", "Coding", "Framing", "Link", "Step", "row", "variant"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Coding:
    """A line coding: of ``of`` units on the line ``useful`` carry data (8b/10b: 8 of 10)."""

    name: str
    useful: float
    of: float
    source: str


#: For links whose published rate already counts the coding, or that have none.
UNCODED = Coding(name="none", useful=1, of=1, source="the published rate counts data bits")


@dataclass(frozen=True, slots=True, kw_only=True)
class Framing:
    """A cost on top of the coding: of ``of`` bytes ``useful`` are payload. ``text`` says what they are."""

    text: str
    useful: float
    of: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One line of a derivation: what is done, the rate that is left after it in bytes per second, and who says so."""

    text: str
    rate: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """A link mode with its protocol.

    Rates are bytes per second of payload in one direction: ``raw`` after line coding, ``ceiling`` after framing (no
    transfer can exceed it), ``practical`` the standard's own figure of what to expect, or None. ``signalling`` is in bits
    per second and lane, None where only a payload rate is published. A rate of at least ``at_ceiling`` of the ceiling is
    set by the link, one below ``excluded_below`` of it is not (common practice, no source); None where no share tells.
    ``power_ma`` is what a port must supply at 5 V. ``falls_back_to`` names the modes that a bad cable or port leaves,
    ``variant_of`` the row that this one narrows by protocol or payload size, ``payload_bytes`` that size. ``source`` says
    where the figures come from, ``steps`` how the ceiling follows from them.
    """

    name: str
    title: str
    family: str
    aliases: tuple[str, ...] = ()
    protocol: str | None = None
    variant_of: str | None = None
    signalling: float | None = None
    lanes: int = 1
    coding: str = "none"
    payload_bytes: int | None = None
    raw: float
    ceiling: float
    practical: float | None = None
    at_ceiling: float | None = None
    excluded_below: float | None = None
    power_ma: int | None = None
    falls_back_to: tuple[str, ...] = ()
    source: str
    steps: tuple[Step, ...] = ()


def row(
    *,
    name: str,
    title: str,
    family: str,
    source: str,
    signalling: float,
    signalling_source: str,
    lanes: int = 1,
    coding: Coding = UNCODED,
    framing: Sequence[Framing] = (),
    at_most: Step | None = None,
    aliases: tuple[str, ...] = (),
    protocol: str | None = None,
    variant_of: str | None = None,
    payload_bytes: int | None = None,
    practical: float | None = None,
    at_ceiling: float | None = None,
    excluded_below: float | None = None,
    power_ma: int | None = None,
    falls_back_to: tuple[str, ...] = (),
) -> Link:
    """Make a row: the ceiling is worked out from what the standard says, and each step of that is kept.

    ``signalling`` is in bits per second and lane; ``at_most`` a bound of another kind that may lie below (what is
    tunnelled, for instance).
    """
    rate = signalling * lanes / 8
    on_lanes = f" on {lanes} lanes" if lanes > 1 else ""
    steps = [
        Step(text=f"signalling: {signalling / 1e6:g} Mb/s{on_lanes}, 8 bits to a byte", rate=rate, source=signalling_source)
    ]
    if coding is not UNCODED:
        rate = rate * coding.useful / coding.of
        steps.append(Step(text=f"coding {coding.name}: {coding.useful:g} of {coding.of:g}", rate=rate, source=coding.source))
    raw = rate
    for cost in framing:
        rate = rate * cost.useful / cost.of
        steps.append(Step(text=f"{cost.text}: {cost.useful:g} of {cost.of:g}", rate=rate, source=cost.source))
    if at_most is not None and at_most.rate < rate:
        rate = at_most.rate
        steps.append(at_most)
    return Link(
        name=name,
        title=title,
        family=family,
        aliases=aliases,
        protocol=protocol,
        variant_of=variant_of,
        signalling=signalling,
        lanes=lanes,
        coding=coding.name,
        payload_bytes=payload_bytes,
        raw=raw,
        ceiling=rate,
        practical=practical,
        at_ceiling=at_ceiling,
        excluded_below=excluded_below,
        power_ma=power_ma,
        falls_back_to=falls_back_to,
        source=source,
        steps=tuple(steps),
    )


def variant(
    link: Link, *, suffix: str, words: str, protocol: str, at_ceiling: float, excluded_below: float, step: Step
) -> Link:
    """Narrow a row to one protocol: the same wire, other thresholds of share. Aliases take the suffix as well."""
    return replace(
        link,
        name=f"{link.name}-{suffix}",
        title=f"{link.title}, {words}",
        aliases=tuple(f"{alias}-{suffix}" for alias in link.aliases),
        protocol=protocol,
        variant_of=link.name,
        at_ceiling=at_ceiling,
        excluded_below=excluded_below,
        falls_back_to=tuple(f"{lower}-{suffix}" for lower in link.falls_back_to),
        steps=(*link.steps, step),
    )
