"""One link mode with its protocol as a row of data, and the ceiling that follows from it."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Link"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """A link mode.

    Rates are bytes per second of payload in one direction: ``raw`` after line coding, ``ceiling`` after framing (no
    transfer can exceed it), ``practical`` the standard's own figure of what to expect, or None. ``source`` says where
    they come from.
    """

    name: str
    title: str
    aliases: tuple[str, ...] = ()
    raw: float
    ceiling: float
    practical: float | None = None
    source: str
