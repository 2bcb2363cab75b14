"""Series can be told apart by eyes that lack one kind of cone, in print, and without any colour.

Simulation: Machado, Oliveira and Fernandes 2009, 'A Physiologically-based Model for Simulation of Color Vision Deficiency',
IEEE TVCG 15(6), the matrices for severity 1.0 (from memory), on linear RGB. Distances: CIE 1976 (L*a*b*), D65; sRGB by
IEC 61966-2-1. Contrast: WCAG 2.2, 1.4.3 and 1.4.11.
"""

from __future__ import annotations

import itertools

import numpy as np
import numpy.typing as npt
import pytest

from copytime.report.charts.palette import DARK, HATCHES, LIGHT, MARKERS, Palette

Colour = npt.NDArray[np.float64]

EYES = {
    "usual": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}

#: A difference of 2.3 is just noticed side by side (Mahy et al. 1994, from memory); ten times that is plain at a glance.
PLAIN = 23.0


def linear(colour: str) -> Colour:
    rgb = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255
    return np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)


def lab(rgb: Colour) -> Colour:
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    xyz = to_xyz @ np.clip(rgb, 0, 1) / np.array([0.9505, 1.0, 1.089])
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def seen(colour: str, eye: str) -> Colour:
    return lab(EYES[eye] @ linear(colour))


def contrast(first: str, second: str) -> float:
    light, dark = sorted((float(np.array([0.2126, 0.7152, 0.0722]) @ linear(one)) for one in (first, second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_measure_itself() -> None:
    assert lab(linear("#ffffff")) == pytest.approx([100, 0, 0], abs=0.1)
    assert lab(linear("#ff0000")) == pytest.approx([53.2, 80.1, 67.2], abs=0.2)  # the usual figures for sRGB red
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    red, green = seen("#d62728", "deuteranopia"), seen("#6b8e23", "deuteranopia")
    assert np.linalg.norm(red - green) < np.linalg.norm(seen("#d62728", "usual") - seen("#6b8e23", "usual")) / 2


@pytest.mark.parametrize("eye", EYES)
@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_any_two_series_differ(palette: Palette, eye: str) -> None:
    for first, second in itertools.combinations(palette.series, 2):
        assert np.linalg.norm(seen(first, eye) - seen(second, eye)) > PLAIN, (first, second)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_the_first_two_differ_in_print(palette: Palette) -> None:
    first, second = (seen(one, "usual")[0] for one in palette.series[:2])
    assert abs(first - second) > 15


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_text_and_bars_stand_out_from_the_paper(palette: Palette) -> None:
    for text in (palette.ink, palette.quiet, palette.mark):
        assert contrast(text, palette.paper) >= 4.5, text
    for series in palette.series:  # the rim around a whisker is of paper, so that ink on a bar needs no contrast of its own
        assert contrast(series, palette.paper) >= 3, series


def test_no_two_series_share_a_hatch_or_a_marker() -> None:
    assert len(set(HATCHES)) == len(HATCHES) >= len(LIGHT.series)
    assert len(set(MARKERS)) == len(MARKERS) >= len(DARK.series)
