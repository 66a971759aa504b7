"""Changes of section against handbook formulas in the library fluids."""

from __future__ import annotations

import numpy as np
import pytest

from quietcool.physics.fittings import (
    contraction_loss_coefficient,
    expansion_loss_coefficient,
    perforated_sheet_loss_coefficient,
)


@pytest.mark.parametrize(
    ("larger", "smaller", "expected"),
    [  # Rennels and Hudson, "Pipe Flow", Wiley 2012, sharp contraction, by the library fluids
        (10.0, 8.5, 0.161631),
        (10.0, 8.0, 0.230341),
        (13.0, 10.0, 0.270521),
        (10.0, 6.0, 0.438594),
        (1.0, 0.4, 0.5301269),
    ],
)
def test_contraction(larger: float, smaller: float, expected: float) -> None:
    assert contraction_loss_coefficient(larger, smaller) == pytest.approx(expected, abs=6e-7)


def test_sharp_entry_is_the_contraction_from_a_wide_space() -> None:
    # Rennels and Hudson 2012, sharp-edged entrance, flush: 0.57 (by the library fluids).
    assert contraction_loss_coefficient(1e9, 1.0) == pytest.approx(0.57, abs=0.002)
    assert contraction_loss_coefficient(1.0, 1.0) == 0.0


def test_expansion() -> None:
    # Borda-Carnot: what momentum leaves over; 8 to 10 mm by hand (1 - 0.64)^2; into the open all of the kinetic energy.
    assert expansion_loss_coefficient([8.0, 8.5, 10.0], [10.0, 10.0, 13.0]) == pytest.approx(
        np.array([0.1296, 0.077006, 0.166696]), abs=6e-7
    )
    assert expansion_loss_coefficient(1.0, 1e9) == pytest.approx(1.0)
    assert expansion_loss_coefficient(3.0, 3.0) == 0.0


def test_agrees_with_fluids() -> None:
    fluids = pytest.importorskip("fluids")
    for ratio in (0.2, 0.5, 0.75, 0.95):
        assert contraction_loss_coefficient(1.0, ratio) == pytest.approx(
            fluids.contraction_sharp(1.0, ratio), rel=1e-12
        )
        assert expansion_loss_coefficient(ratio, 1.0) == pytest.approx(fluids.diffuser_sharp(ratio, 1.0), rel=1e-12)


def test_perforated_sheet() -> None:
    # Orifice equation with C_d = 0.6 by hand; half open at 1 m/s and 1.2 kg/m3: 6.66667 Pa.
    assert perforated_sheet_loss_coefficient([0.3, 0.4, 0.5, 0.6]) == pytest.approx(
        np.array([30.8642, 17.3611, 11.1111, 7.7160]), abs=6e-5
    )
    assert perforated_sheet_loss_coefficient(0.5) * 0.5 * 1.2 == pytest.approx(6.66667, rel=1e-6)
