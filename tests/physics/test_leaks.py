"""Air in a closed loop against a published worked case, gas laws by hand and a reference library."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietcool.physics import leaks

TEMPS = st.floats(273.15, 323.15)
PRESSURES = st.floats(1.0e5, 2.5e5)


def test_the_worked_case_of_the_regulation() -> None:
    # Code of Federal Regulations (United States), title 40, section 1065.644, "Vacuum-decay leak rate", example:
    # 2.0000 L, 25.300 kPa to 50.600 kPa at 293.15 K, from 10:56:25 to 10:57:35. By hand with its R = 8.314472:
    # 0.002 / 8.314472 * (50600 - 25300) / 293.15 / 70 = 2.965705e-4 mol/s.
    found = leaks.molar_rise_rate(
        0.002, 25300.0, start_temp=293.15, end_pressure=50600.0, end_temp=293.15, duration=70.0
    )
    assert found == pytest.approx(2.965705e-4, rel=1e-5)


def test_a_cooling_loop_loses_less_than_its_gauge_says() -> None:
    # By hand: 149000 * 295.15 / 294.15 = 149506.5443 Pa; (150000 - 149506.5443) * 0.0012 / 1800 = 3.289705e-4 Pa m3/s;
    # 3.289705e-4 / 101325 * 6e7 = 0.194801 cm3/min of air at 1 atm.
    corrected = leaks.pressure_at_start_temp(149000.0, 294.15, 295.15)
    assert corrected == pytest.approx(149506.5443, rel=1e-9)
    rate = leaks.leak_rate(150000.0 - corrected, 0.0012, 1800.0)
    assert rate == pytest.approx(3.289705e-4, rel=1e-6)
    assert rate / 101325.0 * 6e7 == pytest.approx(0.194801, rel=1e-5)


def test_ten_millibars_in_a_quarter_of_an_hour() -> None:
    # By hand: 1000 Pa * 0.0012 m3 / 900 s.
    assert leaks.leak_rate(1000.0, 0.0012, 900.0) == pytest.approx(1.3333333e-3, rel=1e-6)


def test_half_a_bar_moves_by_five_millibars_for_a_kelvin() -> None:
    # Real air at 1.51325 bar and 22 degC at constant density: E. W. Lemmon et al., J. Phys. Chem. Ref. Data 29 (2000)
    # 331, through the library CoolProp. Real air lies 0.4 % above an ideal gas.
    props = pytest.importorskip("CoolProp.CoolProp")
    density = props.PropsSI("D", "P", 151325.0, "T", 295.15, "Air")
    above = props.PropsSI("P", "D", density, "T", 295.65, "Air")
    below = props.PropsSI("P", "D", density, "T", 294.65, "Air")
    assert leaks.pressure_per_kelvin(151325.0, 295.15) == pytest.approx(above - below, rel=5e-3)


@given(PRESSURES, TEMPS, TEMPS)
def test_without_a_leak_the_corrected_pressure_stays(pressure: float, start: float, end: float) -> None:
    """Gay-Lussac: p/T is constant in a closed volume, so the correction undoes warming exactly."""
    warmed = pressure * (end / start)
    assert leaks.pressure_at_start_temp(warmed, end, start) == pytest.approx(pressure, rel=1e-12)


@given(PRESSURES, TEMPS, TEMPS, st.floats(-2e4, 2e4), st.floats(60.0, 1e5))
def test_the_two_rates_are_one_by_the_gas_law(
    pressure: float, start: float, end: float, drop: float, duration: float
) -> None:
    """q = n R T_1: pressure times volume and moles count the same loss."""
    volume, after = 0.0022, pressure - drop
    corrected = leaks.pressure_at_start_temp(after, end, start)
    rate = leaks.leak_rate(pressure - corrected, volume, duration)
    moles = leaks.molar_rise_rate(
        volume, pressure, start_temp=start, end_pressure=after, end_temp=end, duration=duration
    )
    assert rate == pytest.approx(-moles * 8.314462618 * start, rel=1e-7, abs=1e-9)


def test_scalar_array_and_batch_agree() -> None:
    drops = np.array([[100.0, 500.0], [900.0, -50.0]])
    batch = leaks.leak_rate(drops, 0.0022, 1800.0)
    assert batch.shape == (2, 2)
    assert float(batch[1, 0]) == float(leaks.leak_rate(900.0, 0.0022, 1800.0))


def test_a_metre_of_ten_millimetre_tube_holds_79_millilitres() -> None:
    # Geometry: pi/4 * 1 cm2 * 100 cm = 78.54 cm3.
    assert leaks.volume_in_tube(0.010, 1.0) == pytest.approx(78.5398e-6, rel=1e-5)
    assert leaks.volume_in_tube(0.010, 0.0) == 0.0
