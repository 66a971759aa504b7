"""Pressure drops against closed forms and the library fluids."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietcool.physics import air, exchangers
from quietcool.physics.friction import friction_factor_colebrook_1939, friction_factor_haaland_1983
from quietcool.physics.resistance import (
    FITTING_LOSS,
    REFERENCE_DENSITY,
    REFERENCE_VISCOSITY,
    fit_forchheimer,
    forchheimer_pressure_drop,
    friction_factor,
    loss_pressure_drop,
    mass_flow_coefficients,
    opening_mass_flow_coefficient,
    reynolds,
    tube_pressure_drop,
)

WATER_30 = (995.65, 7.972e-4)  # IAPWS-95 and IAPWS 2008 viscosity at 101325 Pa [kg/m3], [Pa s]


def test_the_reference_air_is_one_and_the_same() -> None:
    # Modules of formulas do not see each other, so the constants stand in each.
    assert air.REFERENCE_DENSITY == REFERENCE_DENSITY == exchangers.REFERENCE_DENSITY == 1.2
    assert pytest.approx(air.REFERENCE_VISCOSITY, rel=1e-15) == REFERENCE_VISCOSITY


def test_hose_with_water_at_30_degc() -> None:
    # 10 mm bore, 4 L/min: Re 10601.5; 1090.83 Pa/m with Colebrook's factor, by the library fluids.
    flow, bore = 4.0 / 60e3, 0.01
    velocity = flow / (0.25 * np.pi * bore**2)
    re = reynolds(velocity, bore, *WATER_30)
    assert re == pytest.approx(10601.5, rel=2e-4)
    colebrook = friction_factor_colebrook_1939(re) / bore * 0.5 * WATER_30[0] * velocity**2
    assert colebrook == pytest.approx(1090.83, rel=2e-3)
    assert tube_pressure_drop(flow, bore, 1.0, 0.0, *WATER_30) == pytest.approx(1090.83, rel=1e-2)
    with_fittings = tube_pressure_drop(flow, bore, 1.0, 3.0, *WATER_30)
    # Dynamic pressure at 4 L/min: 358.70 Pa by hand.
    assert with_fittings - tube_pressure_drop(flow, bore, 1.0, 0.0, *WATER_30) == pytest.approx(3 * 358.70, rel=1e-4)


@pytest.mark.parametrize(
    ("re", "roughness", "expected"),
    [(1000.0, 1.5e-4, 0.064), (4000.0, 1.5e-4, 0.0407632), (1e4, 1.5e-4, 0.0312655), (1e5, 1.5e-4, 0.0187382)],
)
def test_churchill_by_the_library_fluids(re: float, roughness: float, expected: float) -> None:
    assert friction_factor(re, roughness) == pytest.approx(expected, abs=6e-8)
    fluids = pytest.importorskip("fluids")
    assert friction_factor(re, roughness) == pytest.approx(fluids.friction.Churchill_1977(re, roughness), rel=1e-12)


@given(re=st.floats(4000.0, 1e8), roughness=st.floats(0.0, 0.05))
def test_churchill_lies_near_its_sisters(re: float, roughness: float) -> None:
    # Moody's chart leaves 5 %; Churchill's own comparison likewise.
    sisters = (friction_factor_colebrook_1939(re, roughness), friction_factor_haaland_1983(re, roughness))
    assert friction_factor(re, roughness) == pytest.approx(float(sisters[0]), rel=0.06)
    assert friction_factor(re, roughness) == pytest.approx(float(sisters[1]), rel=0.06)


@given(st.floats(1e-12, 1e-6), st.floats(0.004, 0.02), st.floats(0.1, 5.0))
def test_slow_tube_flow_is_that_of_hagen_and_poiseuille(flow: float, bore: float, length: float) -> None:
    density, viscosity = WATER_30
    assert 4.0 * flow * density / (np.pi * bore * viscosity) < 1000.0
    exact = 128.0 * viscosity * length * flow / (np.pi * bore**4)
    assert tube_pressure_drop(flow, bore, length, 0.0, density, viscosity) == pytest.approx(exact, rel=1e-6)


def test_tube_at_rest_and_backwards() -> None:
    flow = np.array([0.0, 5e-324, 1e-300, 1e-20, 1e-9, 1e-5, 1e-4, 1e-2])
    forward = tube_pressure_drop(flow, 0.01, 2.0, 1.3, *WATER_30)
    assert forward[0] == 0.0
    assert np.isfinite(forward).all()
    assert (np.diff(forward[1:]) > 0.0).all()
    assert (tube_pressure_drop(-flow, 0.01, 2.0, 1.3, *WATER_30) == -forward).all()
    # slope at rest: finite and that of laminar flow
    assert forward[4] / 1e-9 == pytest.approx(128 * WATER_30[1] * 2.0 / (np.pi * 0.01**4), rel=1e-4)


def test_tube_pressure_drop_rises_with_flow_through_the_transition() -> None:
    drop = tube_pressure_drop(np.linspace(1e-6, 1.5e-4, 3000), 0.01, 1.0, 0.0, *WATER_30)
    assert (np.diff(drop) > 0.0).all()


@given(
    velocity=st.floats(-5.0, 5.0),
    a=st.floats(0.0, 50.0),
    b=st.floats(0.0, 20.0),
    area=st.floats(0.005, 0.2),
    temp=st.floats(270.0, 340.0),
)
def test_coefficients_on_mass_flow_are_those_on_velocity(
    velocity: float, a: float, b: float, area: float, temp: float
) -> None:
    density, viscosity = float(air.density(temp, 95000.0)), float(air.viscosity(temp))
    linear, quadratic = mass_flow_coefficients(a, b, area, density, viscosity)
    mass_flow = velocity * density * area
    drop = a * velocity * viscosity / air.viscosity(293.15) + b * velocity * abs(velocity) * density / 1.2
    assert linear * mass_flow + quadratic * mass_flow * abs(mass_flow) == pytest.approx(
        float(drop), abs=1e-9, rel=1e-12
    )
    ratios = {"viscosity_ratio": viscosity / air.REFERENCE_VISCOSITY, "density_ratio": density / 1.2}
    assert forchheimer_pressure_drop(velocity, a, b, **ratios) == pytest.approx(float(drop), abs=1e-9, rel=1e-12)


def test_a_heated_core_at_fixed_mass_flow() -> None:
    # Viscous part ~ mu / rho ~ T^(5/2) / (T + S), S = 110.4 K (US Standard Atmosphere 1976, equation 51): its
    # logarithmic slope is (5/2 - T/(T + S)) / T, 0.58 % a kelvin at 302.65 K.
    def viscous(temp: float) -> float:
        return float(mass_flow_coefficients(10.0, 0.0, 0.04, air.density(temp, 101325.0), air.viscosity(temp)).linear)

    assert viscous(303.15) / viscous(302.15) - 1.0 == pytest.approx((2.5 - 302.65 / 413.05) / 302.65, rel=5e-3)


def test_openings() -> None:
    # 2.7 on 90 cm2 at 1.2 kg/m3 and 0.02 kg/s: v = 1.85185 m/s, K rho v^2 / 2 = 5.55556 Pa by hand.
    drop = opening_mass_flow_coefficient(2.7, 90e-4, 1.2) * 0.02**2
    assert drop == pytest.approx(5.555556, rel=1e-6)
    assert loss_pressure_drop(-0.02 / (1.2 * 90e-4), 2.7, 1.2) == pytest.approx(-5.555556, rel=1e-6)


def test_angle_fittings_lie_between_smooth_and_mitre_bends() -> None:
    # Rennels and Hudson 2012, mitre bends, by the library fluids (0.304 and 1.202; Crane 0.436 and 1.744);
    # rounded bends of r/D = 1 at Re 4000: 0.371 and 0.611. Small angle fittings are mitre-like inside.
    assert 0.304 < FITTING_LOSS["45"] < 0.436
    assert 1.202 < FITTING_LOSS["90"] < 1.744


@given(a=st.floats(0.01, 50.0), b=st.floats(0.01, 20.0))
def test_fit_finds_what_made_the_points(a: float, b: float) -> None:
    velocity = np.array([0.3, 0.7, 1.2, 2.0])
    fit = fit_forchheimer(velocity, a * velocity + b * velocity**2)
    assert (fit.a, fit.b) == pytest.approx((a, b), rel=1e-7)
    assert fit.residual < 1e-9


@given(st.lists(st.floats(0.5, 2.0), min_size=3, max_size=6))
def test_fit_is_the_non_negative_least_squares_of_scipy(noise: list[float]) -> None:
    optimize = pytest.importorskip("scipy.optimize")
    velocity = np.linspace(0.4, 2.5, len(noise))
    drop = velocity**1.6 * np.array(noise)
    fit = fit_forchheimer(velocity, drop)
    (a, b), norm = optimize.nnls(np.stack([velocity / drop, velocity**2 / drop], axis=1), np.ones(len(noise)))
    assert (fit.a, fit.b) == pytest.approx((a, b), abs=1e-8)
    assert fit.residual == pytest.approx(norm / np.sqrt(len(noise)), abs=1e-10)


def test_fit_edges() -> None:
    concave = fit_forchheimer([0.5, 1.0, 2.0], [3.0, 4.0, 6.0])
    assert concave.b == 0.0
    assert concave.a > 0.0
    convex = fit_forchheimer([0.5, 1.0, 2.0], [0.2, 1.0, 6.0])
    assert convex.a == 0.0
    assert convex.b > 0.0
    single = fit_forchheimer([1.0, 1.0], [4.0, 4.0])
    assert single.a + single.b == pytest.approx(4.0)
    batch = fit_forchheimer([0.5, 1.0, 2.0], [[3.0, 4.0, 6.0], [0.2, 1.0, 6.0]])
    assert batch.a.tolist() == [concave.a, convex.a]
    with pytest.raises(ValueError, match="above zero"):
        fit_forchheimer([0.0, 1.0], [0.0, 3.0])
