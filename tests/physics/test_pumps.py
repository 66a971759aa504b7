"""Where a pump's power goes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietcool.physics.pumps import electrical_power, heat_split, hydraulic_power


def test_power_goes_with_the_cube_of_the_speed() -> None:
    # Fan law of power, e.g. ISO 5801:2017 (recalled, not re-read): half the speed, an eighth of the power.
    assert electrical_power(16.0, 30.0, 60.0) == 2.0
    assert electrical_power(16.0, 0.0, 60.0) == 0.0
    assert electrical_power(16.0, np.array([[30.0, 60.0]]), 60.0).tolist() == [[2.0, 16.0]]


def test_hydraulic_power() -> None:
    # 4.586825 L/min at 42077.92 Pa by hand: 3.217 W.
    assert hydraulic_power(4.586825 / 60e3, 42077.92) == pytest.approx(3.217, abs=5e-4)


@given(st.floats(0.0, 200.0), st.floats(0.0, 1.0), st.floats(0.1, 3.0), st.floats(0.1, 3.0))
def test_nothing_is_lost_and_laws_compose(power: float, share: float, first: float, second: float) -> None:
    heat = heat_split(power, share)
    assert heat.coolant + heat.surroundings == pytest.approx(power, abs=1e-12)
    assert 0.0 <= heat.coolant <= power
    twice = electrical_power(electrical_power(power, first, 1.0), first * second, first)
    assert twice == pytest.approx(float(electrical_power(power, first * second, 1.0)), rel=1e-12)
