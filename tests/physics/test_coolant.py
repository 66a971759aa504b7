"""Coolants against the reference formulations of water and of glycol mixtures."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietcool.physics import coolant
from quietcool.physics.coolant import coolant_properties, freezing_temp, mass_fraction_from_volume_fraction

GLYCOLS = {"ethylene_glycol": "MEG", "propylene_glycol": "MPG"}


def test_water_at_30_degc() -> None:
    # IAPWS-95 and the IAPWS viscosity of 2008 at 101325 Pa: 995.65 kg/m3, 4180 J/(kg K), 0.7972 mPa s.
    got = coolant_properties(303.15, "water")
    assert got.density == pytest.approx(995.65, rel=3e-6)
    assert got.specific_heat == pytest.approx(4179.82, rel=1e-5)
    assert got.viscosity == pytest.approx(7.97222e-4, rel=2e-5)
    assert got.density == coolant.REFERENCE_DENSITY
    assert got.viscosity == coolant.REFERENCE_VISCOSITY


def test_ethylene_glycol_30_percent_at_40_degc() -> None:
    # A. Melinder, "Properties of Secondary Working Fluids for Indirect Systems", IIR 2010, through CoolProp.
    got = coolant_properties(313.15, "ethylene_glycol", 0.3)
    assert got == pytest.approx((1028.80, 3775.35, 1.28555e-3, 0.48303), rel=1e-5)


@pytest.mark.parametrize("celsius", [0.5, 5, 12, 20, 30, 40, 55, 70, 85, 99])
def test_water_agrees_with_coolprop(celsius: float) -> None:
    coolprop = pytest.importorskip("CoolProp.CoolProp")
    got = coolant_properties(celsius + 273.15, "water")
    for value, letter, tolerance in zip(got, "DCVL", (3e-6, 1e-5, 2e-5, 2e-5), strict=True):
        assert value == pytest.approx(
            coolprop.PropsSI(letter, "T", celsius + 273.15, "P", 101325, "Water"), rel=tolerance
        )


@pytest.mark.parametrize("celsius", [10, 20, 30, 40, 50, 60])
def test_water_agrees_with_the_industrial_formulation(celsius: float) -> None:
    # IAPWS R7-97(2012) through the library iapws: another equation of state, so a little further apart.
    iapws = pytest.importorskip("iapws")
    reference = iapws.IAPWS97(T=celsius + 273.15, P=0.101325)
    got = coolant_properties(celsius + 273.15, "water")
    assert got.density == pytest.approx(reference.rho, rel=3e-5)
    assert got.specific_heat == pytest.approx(reference.cp * 1e3, rel=1e-3)
    assert got.viscosity == pytest.approx(reference.mu, rel=2e-4)
    assert got.conductivity == pytest.approx(reference.k, rel=2e-3)


@pytest.mark.parametrize("kind", GLYCOLS)
@pytest.mark.parametrize("fraction", [0.05, 0.1, 0.25, 0.37, 0.5, 0.6])
@pytest.mark.parametrize("celsius", [5, 20, 33, 50, 70, 95])
def test_mixtures_agree_with_coolprop(kind: str, fraction: float, celsius: float) -> None:
    coolprop = pytest.importorskip("CoolProp.CoolProp")
    fluid = f"INCOMP::{GLYCOLS[kind]}[{fraction}]"
    got = coolant_properties(celsius + 273.15, kind, fraction)
    for value, letter in zip(got, "DCVL", strict=True):
        assert value == pytest.approx(coolprop.PropsSI(letter, "T", celsius + 273.15, "P", 101325, fluid), rel=1e-8)


@pytest.mark.parametrize("kind", GLYCOLS)
def test_no_glycol_is_water_exactly(kind: str) -> None:
    temp = np.linspace(275.0, 370.0, 7)
    for mixture, water in zip(coolant_properties(temp, kind, 0.0), coolant_properties(temp, "water"), strict=True):
        assert (mixture == water).all()
    fractions = np.zeros((3, 1))
    assert (coolant_properties(temp, kind, fractions).density == coolant_properties(temp, "water").density).all()
    assert coolant_properties(temp, kind, fractions).density.shape == (3, 7)


@pytest.mark.parametrize("kind", GLYCOLS)
def test_a_little_glycol_goes_smoothly_over_from_water(kind: str) -> None:
    x = np.linspace(0.0, 0.1, 401)
    for value in coolant_properties(303.15, kind, x):
        step = np.diff(value) / value[:-1]
        # no jump at either end of the blend, and no turning back by the blend
        assert np.abs(step).max() < 4.0 * np.median(np.abs(step)) + 1e-6
        assert (np.sign(step) == np.sign(step[-1])).mean() > 0.9


@pytest.mark.parametrize(
    ("kind", "celsius"),
    [
        # Freezing at 10, 20, 30, 40, 50 % by mass: Melinder 2010 through CoolProp.
        ("ethylene_glycol", (-3.36, -7.95, -14.58, -23.81, -35.99)),
        ("propylene_glycol", (-2.87, -7.17, -12.79, -20.57, -32.19)),
    ],
)
def test_freezing(kind: str, celsius: tuple[float, ...]) -> None:
    assert freezing_temp(kind, [0.1, 0.2, 0.3, 0.4, 0.5]) - 273.15 == pytest.approx(np.array(celsius), abs=0.035)
    assert freezing_temp(kind, 0.0) == freezing_temp("water", 0.3) == 273.15


def test_volume_to_mass() -> None:
    # 1113 kg/m3 for ethylene glycol at 20 degC (CRC Handbook; recalled, not re-read): 30 % by volume are 32.3 % by
    # mass.
    assert mass_fraction_from_volume_fraction("ethylene_glycol", 0.3) == pytest.approx(0.323, abs=5e-4)
    assert mass_fraction_from_volume_fraction("water", 0.3) == 0.0
    for kind in GLYCOLS:
        assert mass_fraction_from_volume_fraction(kind, [0.0, 1.0]) == pytest.approx(np.array([0.0, 1.0]))


def test_density_of_pure_propylene_glycol_agrees_with_coolprop() -> None:
    coolprop = pytest.importorskip("CoolProp.CoolProp")
    try:
        reference = coolprop.PropsSI("D", "T", 293.15, "P", 101325, "PropyleneGlycol")
    except ValueError:
        pytest.skip("this CoolProp has no pure propylene glycol")
    water = 998.2
    x = float(mass_fraction_from_volume_fraction("propylene_glycol", 0.5))
    assert x / (1.0 - x) * water == pytest.approx(reference, rel=5e-4)


@given(
    kind=st.sampled_from(("water", *GLYCOLS)),
    fraction=st.floats(0.0, 0.6),
    temp=st.floats(1.0, 2000.0),
)
def test_passing_states_stay_finite_and_alone_is_together(kind: str, fraction: float, temp: float) -> None:
    alone = coolant_properties(temp, kind, fraction)
    together = coolant_properties(np.array([300.0, temp]), kind, fraction)
    each_its_own = coolant_properties(np.array([300.0, temp]), kind, np.array([0.2, fraction]))
    for value, pair, own in zip(alone, together, each_its_own, strict=True):
        assert np.isfinite(value)
        assert value > 0.0
        assert np.ndim(value) == 0
        assert pair[1] == pytest.approx(value, rel=1e-13)
        assert own[1] == pytest.approx(value, rel=1e-13)


def test_an_unknown_kind_is_refused() -> None:
    with pytest.raises(KeyError):
        coolant_properties(300.0, "brine", 0.2)


def test_pure_water_as_a_row_of_cases_has_their_shape_and_is_water() -> None:
    alone = coolant_properties(303.15, "water")
    for kind, fractions in (("ethylene_glycol", np.zeros(3)), ("water", np.zeros(3))):
        assert freezing_temp(kind, fractions).tolist() == [273.15] * 3  # of water at 1 atm: 0 degC by definition
        row = coolant_properties(np.full(3, 303.15), kind, fractions)
        assert [one.shape for one in row] == [(3,)] * 4
        for one, other in zip(row, alone, strict=True):
            assert one.tolist() == [float(other)] * 3
    # Not looked at for water: whatever stands there.
    assert freezing_temp("water", [0.1, 0.4]).tolist() == [273.15] * 2
