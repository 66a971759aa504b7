"""Radiators from the shape of their cores."""

from __future__ import annotations

import numpy as np
import pytest

from quietcool.entry.core_geometry import (
    COOLANT_FLOWS,
    FACE_VELOCITIES,
    CoreGeometry,
    air_side,
    coolant_side,
    core_geometry_estimate,
    scaled_to_conductance,
    scaled_to_pressure_drop,
)
from quietcool.physics import air, coolant
from quietcool.physics.exchangers import radiator_conductance
from quietcool.physics.resistance import forchheimer_pressure_drop

THIN = CoreGeometry(0.36, 0.12, 0.027, 0.0254 / 20.0)
AIR_25 = air.properties(298.15, 101325.0)


def test_shape_by_hand() -> None:
    assert THIN.tubes == 11
    assert THIN.louvers.free_area_ratio == pytest.approx(7.92 * 1.19 / (10.0 * 1.27), rel=1e-12)
    assert THIN.louvers.hydraulic_diameter == pytest.approx(2 * 7.92e-3 * 1.19e-3 / (7.92e-3 + 1.19e-3), rel=1e-12)
    assert THIN.slot == pytest.approx((1.4e-3, 25.0e-3))


def test_louvered_air_side_by_hand() -> None:
    # Chang and Wang 1997, fin efficiency (papers not re-read), 1 m/s, 25 degC: Re 95.16, j 0.0434038, h 87.8 W/(m2 K),
    # surface efficiency 0.974501; walls of one channel 2 (7.92 + 1.19) mm x 27 mm on 10 x 1.27 mm of face. Air
    # properties from CoolProp there, hence 1 %.
    _, conductance = air_side(THIN, np.array([1.0]), AIR_25)
    assert conductance[0] == pytest.approx(0.974501 * 87.8057 * 0.0432 * 2 * 9.11 * 27 / 12.7, rel=0.01)


def test_plain_air_side_is_laminar_channel_flow() -> None:
    # Long plain channels: p = 2 (f Re) mu L V / (sigma D_h^2), Nu = Nu_T (Shah and London 1978), both by hand; a deep,
    # narrow core has next to no entrance.
    deep = CoreGeometry(0.36, 0.12, 1.0, 0.0254 / 30.0, "plain", fin_conductivity=1e9)
    fin, velocity = deep.louvers, np.array([0.1])
    width, height = fin.fin_pitch - fin.fin_thickness, fin.fin_length - fin.fin_thickness
    x = width / height
    friction = 24 * (1 - 1.3553 * x + 1.9467 * x**2 - 1.7012 * x**3 + 0.9564 * x**4 - 0.2537 * x**5)
    nusselt = 7.541 * (1 - 2.610 * x + 4.970 * x**2 - 5.119 * x**3 + 2.702 * x**4 - 0.548 * x**5)
    drop, conductance = air_side(deep, velocity, AIR_25)
    diameter, sigma = fin.hydraulic_diameter, fin.free_area_ratio
    assert drop[0] == pytest.approx(2 * friction * AIR_25.viscosity * 1.0 * 0.1 / (sigma * diameter**2), rel=0.01)
    area = 4.0 * 1.0 / diameter * sigma * 0.36 * 0.12
    assert conductance[0] == pytest.approx(nusselt * AIR_25.conductivity / diameter * area, rel=0.01)


def test_laminar_coolant_side_by_hand() -> None:
    water = coolant.WATER_30
    flow = np.array([1.0 / 60e3])
    drop, conductance, re = coolant_side(THIN, flow, water)
    height, width = 1.4e-3, 25.0e-3
    velocity, diameter = flow / (5.5 * height * width), 2 * height * width / (height + width)
    assert re[0] == pytest.approx(float(995.65 * velocity[0] * diameter / 7.972e-4), rel=1e-4)
    # Between plates of the same gap f Re = 24 (Fanning) and Nu = 8.235 (exact); a slot of aspect 0.056 has 0.93 and
    # 0.89 of it.
    dynamic = 0.5 * 995.65 * velocity**2
    assert 0.9 < (drop - 3.0 * dynamic)[0] / (96.0 / re * 0.72 / diameter * dynamic)[0] < 0.95
    area = 11 * 2 * (height + width) * 0.36
    assert 0.86 < conductance[0] / (8.235 * water.conductivity / diameter * area) < 0.92


@pytest.mark.parametrize(
    ("depth", "fins_per_inch", "kind"), [(0.027, 20, "louvered"), (0.045, 12, "plain"), (0.058, 9, "plain")]
)
def test_estimates_are_plausible(depth: float, fins_per_inch: float, kind: str) -> None:
    # Common practice, no source: 10 to 60 Pa at 2 to 3 m/s, 150 to 450 W per 10 K at 0.3 to 1 m/s on a 360 mm core.
    estimate = core_geometry_estimate(CoreGeometry(0.36, 0.12, depth, 0.0254 / fins_per_inch, kind))  # type: ignore[arg-type]
    assert 9.0 < forchheimer_pressure_drop(2.0, estimate.a, estimate.b) < 40.0
    conductance = [
        float(
            radiator_conductance(
                1.2 * 0.0432 * velocity,
                4 / 60e3,
                face_area=0.0432,
                ua_air=estimate.ua_air,
                ua_air_velocity=estimate.ua_air_velocity,
                ua_air_exponent=estimate.ua_air_exponent,
                ua_coolant=estimate.ua_coolant,
                ua_coolant_flow=estimate.ua_coolant_flow,
                ua_coolant_exponent=estimate.ua_coolant_exponent,
                coolant_capacity_rate=277.0,
                air_specific_heat=1006.0,
            )
        )
        for velocity in (0.3, 1.0)
    ]
    assert 14.0 < conductance[0] < 15.7
    assert 30.0 < conductance[1] < 45.0


def test_the_fits_follow_the_formulas() -> None:
    for kind, tolerance in (("plain", 0.06), ("louvered", 0.35)):  # the louvered correlation bends within its blend
        geometry = CoreGeometry(0.36, 0.12, 0.045, 0.0254 / 12.0, kind)  # type: ignore[arg-type]
        estimate = core_geometry_estimate(geometry)
        drop, conductance = air_side(geometry, FACE_VELOCITIES, air.REFERENCE_AIR)
        assert forchheimer_pressure_drop(FACE_VELOCITIES, estimate.a, estimate.b) == pytest.approx(drop, rel=tolerance)
        power_law = estimate.ua_air * FACE_VELOCITIES**estimate.ua_air_exponent
        assert power_law == pytest.approx(conductance, rel=0.03)
        coolant_drop, coolant_conductance, _ = coolant_side(geometry, COOLANT_FLOWS, coolant.WATER_30)
        fitted = forchheimer_pressure_drop(COOLANT_FLOWS, estimate.coolant_a, estimate.coolant_b)
        assert fitted == pytest.approx(coolant_drop, rel=0.02)
        assert estimate.ua_coolant == pytest.approx(float(coolant_conductance[0]), rel=0.02)


def test_low_louver_reynolds_numbers_are_said() -> None:
    assert "outside the correlations' range" in core_geometry_estimate(THIN).findings[0]
    assert core_geometry_estimate(THIN._replace(fin_kind="plain")).findings == ()


def test_one_measured_point_scales() -> None:
    estimate = core_geometry_estimate(THIN)
    scaled = scaled_to_pressure_drop(estimate, 1.3, 25.0)
    assert forchheimer_pressure_drop(1.3, scaled.a, scaled.b) == pytest.approx(25.0, rel=1e-12)
    assert scaled.a / scaled.b == pytest.approx(estimate.a / estimate.b, rel=1e-12)
    scaled = scaled_to_conductance(estimate, THIN, 1.0, 4 / 60e3, 36.0)
    assert scaled.ua_air < estimate.ua_air
    water = coolant.WATER_30
    conductance = radiator_conductance(
        1.2 * 0.0432,
        4 / 60e3,
        face_area=0.0432,
        ua_air=scaled.ua_air,
        ua_air_velocity=scaled.ua_air_velocity,
        ua_air_exponent=scaled.ua_air_exponent,
        ua_coolant=scaled.ua_coolant,
        ua_coolant_flow=scaled.ua_coolant_flow,
        ua_coolant_exponent=scaled.ua_coolant_exponent,
        coolant_capacity_rate=water.density * water.specific_heat * 4 / 60e3,
        air_specific_heat=1006.0,
    )
    assert conductance == pytest.approx(36.0, rel=1e-10)
    with pytest.raises(ValueError, match="no air side"):
        scaled_to_conductance(estimate, THIN, 1.0, 4 / 60e3, 52.0)


def test_impossible_cores_are_refused() -> None:
    for wrong in ({"tube_wall": 1e-3}, {"fin_thickness": 2e-3}, {"tube_count": 1}, {"depth": 1e-3}):
        with pytest.raises(ValueError, match="no way"):
            core_geometry_estimate(THIN._replace(**wrong))  # type: ignore[arg-type]


def test_louvers_within_their_range_have_nothing_to_say() -> None:
    # Re = V L_p / (s nu) with nu = 15.1 mm2/s at 20 degC (VDI Heat Atlas): 0.3 m/s and 2 m/s through s = 0.74 and past
    # louvers of 4 mm make 107 and 716, within the 100 to 3000 of Chang and Wang (1997; recalled, not re-read).
    assert core_geometry_estimate(THIN._replace(louver_pitch=4e-3)).findings == ()
    assert len(core_geometry_estimate(THIN._replace(louver_pitch=3.6e-3)).findings) == 1  # 97 at the slow end


def test_a_coolant_that_turns_turbulent_within_its_usual_flows_is_said() -> None:
    # 11 slots of 1.4 x 25 mm in n passes: 1 and 6 L/min of water (nu = 0.80 mm2/s at 30 degC, CRC Handbook) make
    # Re = n 143 and n 860, so that 2300 (where duct flow stops being laminar) lies between for n = 4 but not for n = 2.
    found = core_geometry_estimate(THIN._replace(fin_kind="plain", passes=4)).findings
    assert found == ("the coolant turns turbulent within its usual flows; one power law blurs that",)
    assert core_geometry_estimate(THIN._replace(fin_kind="plain", passes=2)).findings == ()
