"""Cold plates and the temperatures of steady streams."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietcool.physics.plates import plate_thermal_resistance, temp_rise


def test_plate_resistance() -> None:
    # 0.030 + 0.030 q^-0.8 by hand at 0.5, 1, 2, 4 L/min.
    got = plate_thermal_resistance(np.array([0.5, 1.0, 2.0, 4.0]) / 60e3, 0.03, 0.03, 0.8)
    assert got == pytest.approx(np.array([0.0822330, 0.06, 0.0472305, 0.0398963]), abs=6e-8)


def test_plate_at_rest() -> None:
    assert plate_thermal_resistance(0.0, 0.03, 0.03, 0.8) == np.inf
    assert plate_thermal_resistance(0.0, 0.03, 0.03, 0.0) == pytest.approx(0.06)
    assert plate_thermal_resistance(-2e-3 / 60, 0.03, 0.03, 0.8) == plate_thermal_resistance(2e-3 / 60, 0.03, 0.03, 0.8)


def test_enclosure_air() -> None:
    # 400 W into 100 m3/h of 1.2 kg/m3 and 1006 J/(kg K) by hand; the shop's rule "3 P / flow" gives 12.0 (common
    # practice, no source).
    assert temp_rise(400.0, 1.2 * 1006.0 * 100.0 / 3600.0) == pytest.approx(11.928429, rel=1e-6)


def test_a_whole_loop() -> None:
    # 512 W, effectiveness 0.75, C_min 52 W/K, coolant 208.0818 W/K, air at 25 degC: energy balances by hand.
    coolant_in = 25.0 + float(temp_rise(512.0, 0.75 * 52.0))
    assert coolant_in == pytest.approx(38.128205, rel=1e-7)
    assert coolant_in - temp_rise(512.0, 208.0818) == pytest.approx(35.667634, rel=1e-7)
    assert 25.0 + temp_rise(512.0, 52.0) == pytest.approx(34.846154, rel=1e-7)


def test_junction_chain() -> None:
    # 35 degC + 200 W (0.10 + 0.02 + 0.045 K/W) = 68 degC by hand, the plate at the flow where it has 0.045 K/W.
    flow = (0.015 / 0.03) ** (-1 / 0.8) / 60e3
    assert 35.0 + 200.0 * (0.12 + plate_thermal_resistance(flow, 0.03, 0.03, 0.8)) == pytest.approx(68.0, rel=1e-9)


@given(st.floats(0.0, 0.1), st.floats(0.0, 0.1), st.floats(0.1, 1.0), st.floats(1e-6, 1e-4), st.floats(1.01, 5.0))
def test_more_flow_is_never_worse(r0: float, c: float, n: float, flow: float, factor: float) -> None:
    slow, fast = plate_thermal_resistance(np.array([flow, factor * flow]), r0, c, n)
    assert r0 <= fast <= slow
