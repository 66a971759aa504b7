"""Louvered fins against values of the published correlations."""

from __future__ import annotations

import numpy as np
import pytest

from quietcool.physics.louvers import LouverFin, colburn_chang_wang_1997, friction_chang_2000

# Geometry of an open verification model; its tube pitch is not fin length + tube height, and is kept as it stands.
FIN = LouverFin(1.8e-3, 19e-3, 1e-4, 26e-3, 16.07e-3, 1.534e-3, np.radians(28.0), 5e-3, 19.7e-3)


def test_shape() -> None:
    assert FIN.hydraulic_diameter == pytest.approx(3.119417e-3, rel=1e-6)  # 2 w h / (w + h) by hand


@pytest.mark.parametrize(
    ("re", "colburn", "friction"),
    [  # Chang and Wang 1997, Chang et al. 2000, evaluated apart from this code, papers not re-read
        (100.0, 0.052037, 0.528403),
        (200.0, 0.037052, 0.270807),
        (400.0, 0.026382, 0.177341),
        (800.0, 0.018784, 0.123665),
        (1500.0, 0.013805, 0.092972),
    ],
)
def test_correlations(re: float, colburn: float, friction: float) -> None:
    assert colburn_chang_wang_1997(re, FIN) == pytest.approx(colburn, rel=3e-5)
    assert friction_chang_2000(re, FIN) == pytest.approx(friction, rel=1e-5)


def test_heat_transfer_lies_near_its_sister() -> None:
    # M.-H. Kim, C. W. Bullard, "Air-side thermal hydraulic performance of multi-louvered fin aluminum heat exchangers",
    # Int. J. Refrig. 25 (2002) 390-400, j correlation.
    re, lp = np.array([100.0, 200.0, 400.0]), FIN.louver_pitch
    sister = re**-0.487 * (28.0 / 90.0) ** 0.257 * (FIN.fin_pitch / lp) ** -0.13 * (FIN.fin_length / lp) ** -0.29
    sister *= (FIN.flow_depth / lp) ** -0.235 * (FIN.louver_length / lp) ** 0.68 * (FIN.tube_pitch / lp) ** -0.279
    sister *= (FIN.fin_thickness / lp) ** -0.05
    assert colburn_chang_wang_1997(re, FIN) == pytest.approx(sister, rel=0.04)


def test_friction_has_no_jump_and_no_pole() -> None:
    re = np.linspace(0.0, 400.0, 4001)
    friction = friction_chang_2000(re, FIN)
    assert np.isfinite(friction).all()
    assert (friction > 0.0).all()
    assert np.abs(np.diff(friction[re > 20.0]) / friction[re > 20.0][1:]).max() < 0.02
    assert np.ndim(friction_chang_2000(150.0, FIN)) == 0
    assert friction_chang_2000(150.0, FIN) == pytest.approx(friction[1500], rel=1e-13)


def test_between_the_branches_at_150() -> None:
    # The published branches meet with a jump there: 0.3807 below and 0.3305 above on this geometry.
    assert 0.3305 < friction_chang_2000(150.0, FIN) < 0.3807
