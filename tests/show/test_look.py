"""Colours that are legible and tell things apart, and texts that are only text."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from quietcool.show.look import INKS, SERIES, Picture, label, points

# Legibility: W3C, "Web Content Accessibility Guidelines (WCAG) 2.2", 2023: relative luminance and contrast ratio as
# defined there; success criterion 1.4.3 asks 4.5 for text, 1.4.11 asks 3 for what is needed to understand a graphic.
TEXT_CONTRAST, GRAPHIC_CONTRAST = 4.5, 3.0
# G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A Physiologically-based Model for Simulation of Color Vision
# Deficiency", IEEE Trans. Visualization and Computer Graphics 15, 2009, 1291-1298: matrices of severity 1.0
# (recalled, not re-read).
PROTANOPIA = [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
DEUTERANOPIA = [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]


def linear(colour: str) -> np.ndarray:
    parts = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def luminance(colour: str) -> float:
    return float(linear(colour) @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, two: str) -> float:
    low, high = sorted((luminance(one), luminance(two)))
    return (high + 0.05) / (low + 0.05)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* under D65 (CIE 15:2004)."""
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ rgb
    t = xyz / [0.9505, 1.0, 1.089]
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_contrast_of_black_on_white_is_21() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("ground", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize("name", ["ink", "soft", "limit", *SERIES])
def test_text_is_legible(name: str, ground: int) -> None:
    for behind in ("paper", "panel"):
        assert contrast(INKS[name][ground], INKS[behind][ground]) >= TEXT_CONTRAST


@pytest.mark.parametrize("ground", [0, 1], ids=["light", "dark"])
def test_lines_of_the_plane_are_legible_on_its_shades(ground: int) -> None:
    for shade in ("pale", "deep"):
        assert contrast(INKS["ink"][ground], INKS[shade][ground]) >= TEXT_CONTRAST
        assert contrast(INKS["rust"][ground], INKS[shade][ground]) >= GRAPHIC_CONTRAST


@pytest.mark.parametrize("ground", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize("sight", [np.eye(3), np.array(PROTANOPIA), np.array(DEUTERANOPIA)], ids=["all", "p", "d"])
def test_the_first_colours_differ_for_every_sight(sight: np.ndarray, ground: int) -> None:
    """A difference of 10 is seen side by side (common practice, no source); dash and shape differ besides."""
    seen = [lab(np.clip(sight @ linear(INKS[name][ground]), 0.0, 1.0)) for name in ("blue", "rust", "ink", "slate")]
    assert min(float(np.linalg.norm(a - b)) for a, b in itertools.combinations(seen, 2)) > 10.0


def test_pairs_can_be_exchanged_one_after_the_other() -> None:
    """`figures.js` replaces light by dark in turn: no dark colour may be the light one of a later pair."""
    light = [pair[0] for pair in INKS.values()]
    assert len(set(light)) == len(light)
    assert not set(light) & {pair[1] for pair in INKS.values()}


def test_a_label_cannot_be_markup() -> None:
    assert label('<a href="http://x.example">&') == '&lt;a href="http://x.example"&gt;&amp;'


def test_a_figure_without_a_number_holds_nothing_there() -> None:
    assert points([1.0, float("nan")], [2.0, float("inf")], "x", "#000000")["y"] == [2.0, None]


def test_a_drawing_is_no_figure() -> None:
    with pytest.raises(ValueError, match="drawing"):
        Picture("a", "b", "c", (), (), drawing="<svg/>").plotly()
