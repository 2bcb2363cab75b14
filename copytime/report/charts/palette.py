"""The colours of the pictures, by day and by night.

Chosen so that any two series differ for eyes that lack one kind of cone, and in lightness as well, so that they differ in
print; tests/report/charts/test_palette.py holds that with published simulations. Colour is never the only carrier: series
have a hatch and a marker of their own, and are named. Text stands out from the paper by 4.5 to 1, marks by 3 to 1 (WCAG
2.2, 1.4.3 and 1.4.11).
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["DARK", "HATCHES", "LIGHT", "MARKERS", "Palette", "named_colours"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Palette:
    """``paper`` behind, ``ink`` for text and whiskers, ``quiet`` for what stands back, ``grid``, ``mark`` for limits."""

    paper: str
    ink: str
    quiet: str
    grid: str
    mark: str
    series: tuple[str, ...]


def named_colours(palette: Palette) -> dict[str, str]:
    """Return the colours by the names under which a page gives them to its pictures, without the dashes of CSS."""
    by_name = {
        "paper": palette.paper,
        "ink": palette.ink,
        "quiet": palette.quiet,
        "grid": palette.grid,
        "mark": palette.mark,
    }
    by_name |= {f"series-{number}": colour for number, colour in enumerate(palette.series, 1)}
    return {f"chart-{name}": colour for name, colour in by_name.items()}


LIGHT = Palette(
    paper="#ffffff",
    ink="#14202b",
    quiet="#4a5a68",
    grid="#d5dce1",
    mark="#a01f5c",
    series=("#17568f", "#c07a12", "#6b3a1e", "#868f94"),
)

DARK = Palette(
    paper="#10181f",
    ink="#eef3f6",
    quiet="#b3c0ca",
    grid="#2f3d48",
    mark="#ff8fb8",
    series=("#5ba3e6", "#f6c667", "#b5563a", "#d0d7dc"),
)

#: What tells the series apart without colour, in bars and along lines.
HATCHES = ("", "//", "..", "xx")
MARKERS = ("o", "s", "^", "D")
