"""Cross-flow effectiveness, conductances and the conductance of a radiator."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietcool.physics.arrangements import effectiveness_counterflow, effectiveness_cross_min_mixed
from quietcool.physics.exchangers import (
    effectiveness_cross_unmixed,
    fit_ua,
    radiator_conductance,
    ua_power_law,
    ua_total,
)

SHEET: dict[str, Any] = {
    "face_area": 0.0432,
    "ua_air": 150.0,
    "ua_air_velocity": 1.0,
    "ua_air_exponent": 0.4,
    "ua_coolant": 225.0,
    "ua_coolant_flow": 4.0 / 60e3,
    "ua_coolant_exponent": 0.2,
    "air_specific_heat": 1006.0,
}
HEAT_CAPACITY = 4.16e6  # of water, by volume [J/(m3 K)]


def radiator(air_mass_flow: Any, coolant_flow: Any, **changes: Any) -> Any:
    rate = HEAT_CAPACITY * np.asarray(coolant_flow)
    return radiator_conductance(air_mass_flow, coolant_flow, coolant_capacity_rate=rate, **{**SHEET, **changes})


@pytest.mark.parametrize(
    ("ntu", "ratio", "expected"),
    [  # A. Triboix, Int. Commun. Heat Mass Transfer 36 (2009) 121, as solved by the library ht, 'crossflow'
        (1.0, 0.25, 0.588011),
        (1.0, 1.0, 0.476222),
        (0.25, 0.1, 0.218783),
        (2.0, 0.5, 0.732409),
        (5.0, 0.75, 0.829251),
        (5.0, 1.0, 0.750904),
        (5.0, 0.7, 0.8444821799748551),
    ],
)
def test_cross_flow_by_ht(ntu: float, ratio: float, expected: float) -> None:
    assert effectiveness_cross_unmixed(ntu, ratio) == pytest.approx(expected, abs=6e-7)


def test_cross_flow_agrees_with_ht_over_its_range() -> None:
    ht = pytest.importorskip("ht")
    ntu, ratio = np.meshgrid([0.05, 0.3, 1.0, 2.5, 6.0, 12.0], [0.02, 0.1, 0.4, 0.8, 1.0])
    reference = [
        ht.effectiveness_from_NTU(n, r, subtype="crossflow") for n, r in zip(ntu.flat, ratio.flat, strict=True)
    ]
    assert effectiveness_cross_unmixed(ntu, ratio).ravel() == pytest.approx(np.array(reference), rel=1e-7)


def integrated(ntu: float, ratio: float, cells: int) -> float:
    """Effectiveness by marching the energy balances of both streams over a square core (trapezoidal, cell by cell).

    dT_h/dx = -NTU (T_h - T_c), dT_c/dy = C_r NTU (T_h - T_c), T_h = 1 at x = 0, T_c = 0 at y = 0.
    """
    a, b = 0.5 * ntu / cells, 0.5 * ratio * ntu / cells
    hot, cold = np.ones(cells), np.zeros(cells)
    for i in range(cells):
        for j in range(cells):
            # (1 + a) h' - a c' = (1 - a) h + a c;  -b h' + (1 + b) c' = b h + (1 - b) c
            first, second = (1 - a) * hot[j] + a * cold[i], b * hot[j] + (1 - b) * cold[i]
            hot[j] = ((1 + b) * first + a * second) / (1 + a + b)
            cold[i] = (b * first + (1 + a) * second) / (1 + a + b)
    return float(1.0 - hot.mean())


@pytest.mark.parametrize(("ntu", "ratio"), [(0.4, 1.0), (1.7, 0.19), (3.0, 0.6), (6.0, 1.0)])
def test_cross_flow_is_what_the_two_energy_balances_integrate_to(ntu: float, ratio: float) -> None:
    coarse, fine = integrated(ntu, ratio, 40), integrated(ntu, ratio, 80)
    extrapolated = fine + (fine - coarse) / 3.0  # second order in the width of a cell
    assert effectiveness_cross_unmixed(ntu, ratio) == pytest.approx(extrapolated, rel=2e-6)


def test_equal_streams_in_closed_form() -> None:
    # B. S. Baclic, J. Heat Transfer 100 (1978) 746: at C_r = 1, eps = 1 - e^(-2 NTU) [I_0(2 NTU) + I_1(2 NTU)].
    special = pytest.importorskip("scipy.special")
    ntu = np.array([0.1, 1.0, 4.0, 33.0, 250.0, 499.0])
    closed = 1.0 - (special.i0e(2 * ntu) + special.i1e(2 * ntu))
    assert effectiveness_cross_unmixed(ntu, 1.0) == pytest.approx(closed, rel=1e-13)
    assert effectiveness_cross_unmixed(ntu[-1] + 30.0, 1.0) == pytest.approx(
        float(1.0 - (special.i0e(1058.0) + special.i1e(1058.0))), rel=1e-9
    )


def test_the_series_as_mason_wrote_it() -> None:
    # J. L. Mason, Proc. 2nd U.S. Nat. Congr. Appl. Mech. (1955) 801, with SciPy's incomplete gamma function.
    special = pytest.importorskip("scipy.special")
    rng = np.random.default_rng(20240501)
    ntu, ratio = 10.0 ** rng.uniform(-6, np.log10(500.0), 400), 10.0 ** rng.uniform(-4, 0, 400)
    k = np.arange(2000)[:, None]
    mason = (special.gammainc(k + 1, ntu) * special.gammainc(k + 1, ratio * ntu)).sum(0) / (ratio * ntu)
    assert effectiveness_cross_unmixed(ntu, ratio) == pytest.approx(mason, rel=3e-14)


def test_large_arguments_follow_mason_too() -> None:
    # Same source; NTU and C_r NTU around and above 500, where an expansion stands in for the series.
    special = pytest.importorskip("scipy.special")
    ntu, ratio = (x.ravel() for x in np.meshgrid([505.0, 560.0, 640.0, 900.0], [0.8, 0.9, 0.95, 0.99, 1.0]))
    k = np.arange(3000)[:, None]
    mason = (special.gammainc(k + 1, ntu) * special.gammainc(k + 1, ratio * ntu)).sum(0) / (ratio * ntu)
    assert (ratio * ntu > 500.0).sum() > 10
    assert effectiveness_cross_unmixed(ntu, ratio) == pytest.approx(mason, rel=1e-9)  # as its docstring says


@given(ntu=st.one_of(st.just(0.0), st.floats(1e-250, 1e-3), st.floats(1e-3, 600.0)), ratio=st.floats(1e-9, 1.0))
def test_cross_flow_lies_between_its_neighbours(ntu: float, ratio: float) -> None:
    got = float(effectiveness_cross_unmixed(ntu, ratio))
    assert got <= 1.0
    assert got <= effectiveness_counterflow(ntu, ratio) * (1 + 1e-13)
    assert got >= effectiveness_cross_min_mixed(ntu, ratio) * (1 - 1e-13)


@given(ntu=st.floats(1e-3, 400.0), ratio=st.floats(0.0, 0.99))
def test_cross_flow_rises_with_ntu_and_falls_with_the_capacity_ratio(ntu: float, ratio: float) -> None:
    here = effectiveness_cross_unmixed(ntu, ratio)
    assert effectiveness_cross_unmixed(ntu * 1.01, ratio) >= here * (1 - 1e-14)
    assert effectiveness_cross_unmixed(ntu, ratio + 0.01) <= here * (1 + 1e-14)


def test_cross_flow_limits() -> None:
    ntu = np.array([0.0, 1e-12, 1e-3, 0.7, 5.0, 500.0])
    # One stream of constant temperature: 1 - e^-NTU (Kays and London, chapter 2), whatever the arrangement.
    assert effectiveness_cross_unmixed(ntu, 0.0) == pytest.approx(-np.expm1(-ntu), rel=1e-15, abs=0.0)
    assert effectiveness_cross_unmixed(ntu, 1e-15) == pytest.approx(-np.expm1(-ntu), rel=1e-12, abs=0.0)
    assert effectiveness_cross_unmixed(0.0, 0.5) == 0.0
    # First terms at small NTU: NTU (1 - (1 + C_r) NTU / 2 ...), the same for all arrangements.
    assert effectiveness_cross_unmixed(1e-9, 1.0) == pytest.approx(1e-9 * (1 - 1e-9), rel=1e-14)
    # Equal streams, large NTU: 1 - 1 / sqrt(pi NTU), the leading term of Baclic's closed form.
    assert effectiveness_cross_unmixed(1e8, 1.0) == pytest.approx(1 - 1 / np.sqrt(np.pi * 1e8), abs=1e-12)
    assert effectiveness_cross_unmixed([1e300, 1e200], [1.0, 1e-199]) == pytest.approx(np.ones(2), rel=1e-15)


def test_cross_flow_is_smooth_where_branches_meet() -> None:
    # In the bands of the series and where the expansion takes over the value must not step: second differences on a
    # fine grid stay at the size of rounding, and of the expansion's error.
    for edge, allowed in ((0.25, 1e-14), (1.0, 1e-14), (4.0, 1e-14), (32.0, 3e-14), (500.0, 3e-9)):
        ntu = edge * (1.0 + 1e-7 * np.arange(-4, 5))
        assert np.abs(np.diff(effectiveness_cross_unmixed(ntu, 1.0), 2)).max() < allowed


def test_a_case_alone_is_a_case_in_a_batch() -> None:
    rng = np.random.default_rng(7)
    ntu, ratio = rng.uniform(0.0, 60.0, (40, 3)), rng.uniform(0.0, 1.0, (40, 3))
    batch = effectiveness_cross_unmixed(ntu, ratio)
    alone = [
        [effectiveness_cross_unmixed(n, r) for n, r in zip(*row, strict=True)] for row in zip(ntu, ratio, strict=True)
    ]
    assert batch.shape == (40, 3)
    assert batch == pytest.approx(np.array(alone), rel=1e-13)
    assert np.ndim(effectiveness_cross_unmixed(1.0, 0.5)) == 0
    spoiled = effectiveness_cross_unmixed([np.nan, 1.0, 40.0], [0.5, 0.25, 1.0])
    assert np.isnan(spoiled[0])
    assert spoiled[1:].tolist() == effectiveness_cross_unmixed([1.0, 40.0], [0.25, 1.0]).tolist()


def test_a_radiator_by_ht() -> None:
    # library ht, effectiveness_NTU_method, 'crossflow': coolant 4 L/min of 992 kg/m3 and 4180 J/(kg K) at 40 degC, air
    # 0.0432 m2 at 1 m/s, 1.2 kg/m3 and 1006 J/(kg K) at 25 degC, UA 90 W/K: 604.52133 W, 37.813170 and 36.591741 degC.
    coolant_rate, air_flow = 4.0 / 60.0 * 0.992 * 4180.0, 0.0432 * 1.2
    conductance = radiator_conductance(
        air_flow,
        4.0 / 60e3,
        coolant_capacity_rate=coolant_rate,
        **{**SHEET, "ua_air": 135.0, "ua_coolant": 270.0},  # 90 W/K in series
    )
    assert conductance * 15.0 == pytest.approx(604.52133, rel=1e-7)
    assert conductance / (air_flow * 1006.0) == pytest.approx(0.7727827, rel=1e-7)
    assert 40.0 - conductance * 15.0 / coolant_rate == pytest.approx(37.813170, rel=1e-7)
    assert 25.0 + conductance * 15.0 / (air_flow * 1006.0) == pytest.approx(36.591741, rel=1e-7)


def test_finned_cross_flow_of_a_textbook() -> None:
    # T. L. Bergman et al., "Introduction to Heat Transfer", 6th edition, chapter 11, finned cross-flow example
    # (recalled, not re-read): water 1 kg/s 35 to 125 degC, 4197 J/(kg K), gas 300 to 100 degC.
    # NTU read from a chart: 2.1.
    water = 4197.0
    gas = water * 90.0 / 200.0
    ntu = np.linspace(1.5, 2.7, 2001)
    needed = ntu[np.argmin(np.abs(effectiveness_cross_unmixed(ntu, gas / water) - 200.0 / 265.0))]
    assert needed == pytest.approx(2.1, rel=0.03)


@given(
    air_flow=st.one_of(st.just(0.0), st.floats(1e-300, 1.0), st.floats(1e-6, 0.5)),
    coolant_flow=st.one_of(st.just(0.0), st.floats(1e-300, 1e-2), st.floats(1e-7, 3e-4)),
    exponents=st.tuples(st.sampled_from([0.0, 0.4, 1.0]), st.sampled_from([0.0, 0.3, 0.8])),
)
def test_a_radiator_never_moves_more_than_its_streams_carry(
    air_flow: float, coolant_flow: float, exponents: tuple[float, float]
) -> None:
    changes = {"ua_air_exponent": exponents[0], "ua_coolant_exponent": exponents[1]}
    conductance = float(radiator(air_flow, coolant_flow, **changes))
    assert 0.0 <= conductance <= air_flow * 1006.0
    assert conductance <= HEAT_CAPACITY * coolant_flow
    assert conductance <= 150.0 * max(1.0, (air_flow / 0.05184) ** exponents[0])  # and never more than UA
    assert radiator(-air_flow, -coolant_flow, **changes) == conductance


def test_a_radiator_at_rest_moves_nothing() -> None:
    got = radiator(np.array([0.0, 0.05, 0.0]), np.array([1e-4, 0.0, 0.0]), ua_air_exponent=0.0, ua_coolant_exponent=0.0)
    assert got.tolist() == [0.0, 0.0, 0.0]
    assert radiator(0.0, 1e-4) == 0.0
    # Barely moving, it takes all that the air can carry.
    assert radiator(1e-9, 1e-4) == pytest.approx(1e-9 * 1006.0, rel=1e-12)


@given(st.floats(1e-4, 0.3), st.floats(1e-6, 2e-4), st.floats(1.001, 3.0))
def test_more_air_and_more_coolant_never_hurt(air_flow: float, coolant_flow: float, factor: float) -> None:
    here = radiator(air_flow, coolant_flow) * (1 - 1e-13)
    assert radiator(factor * air_flow, coolant_flow) >= here
    assert radiator(air_flow, factor * coolant_flow) >= here


def test_every_number_of_a_radiator_may_carry_cases() -> None:
    rng = np.random.default_rng(3)
    changes = {key: value * rng.uniform(0.8, 1.2, (5, 1)) for key, value in SHEET.items()}
    air_flow = rng.uniform(0.01, 0.1, (5, 4))
    batch = radiator(air_flow, 5e-5, **changes)
    assert batch.shape == (5, 4)
    alone = radiator(air_flow[2, 3], 5e-5, **{key: float(value[2, 0]) for key, value in changes.items()})
    assert batch[2, 3] == pytest.approx(float(alone), rel=1e-13)


def test_conductances() -> None:
    assert ua_total(30.0, 60.0) == pytest.approx(20.0, rel=1e-15)  # by hand
    assert ua_total([0.0, 5.0, 0.0], [0.0, 0.0, 5.0]).tolist() == [0.0, 0.0, 0.0]
    assert ua_total(1e6, 2.0) == pytest.approx(2.0, rel=1e-5)
    assert ua_power_law(10.0, [-4.0, 0.0, 1.0], 0.5).tolist() == [20.0, 0.0, 10.0]


MEASUREMENT: dict[str, Any] = {
    "face_area": 0.0432,
    "volumetric_heat_capacity": HEAT_CAPACITY,
    "ua_air_velocity": 1.0,
    "ua_coolant_flow": 4.0 / 60e3,
    "air_specific_heat": 1006.0,
}


@given(
    ua_air=st.floats(60.0, 250.0),
    air_exponent=st.floats(0.2, 0.7),
    ua_coolant=st.floats(100.0, 400.0),
    coolant_exponent=st.floats(0.1, 0.7),
)
def test_fit_finds_what_made_the_points(
    ua_air: float, air_exponent: float, ua_coolant: float, coolant_exponent: float
) -> None:
    velocity, flow = (x.ravel() for x in np.meshgrid([0.4, 0.8, 1.5, 2.5], np.array([1.0, 2.0, 6.0]) / 60e3))
    truth = {
        "ua_air": ua_air,
        "ua_air_exponent": air_exponent,
        "ua_coolant": ua_coolant,
        "ua_coolant_exponent": coolant_exponent,
    }
    conductance = radiator(1.2 * 0.0432 * velocity, flow, **truth)
    fit = fit_ua(velocity, flow, conductance, **MEASUREMENT)
    assert fit.worst_deviation < 1e-5
    assert fit[:4] == pytest.approx((ua_air, air_exponent, ua_coolant, coolant_exponent), rel=2e-3)


def test_fit_keeps_its_start_where_points_say_nothing() -> None:
    velocity = np.array([0.5, 1.0, 2.0])
    conductance = radiator(1.2 * 0.0432 * velocity, 4.0 / 60e3)
    fit = fit_ua(velocity, 4.0 / 60e3, conductance, **MEASUREMENT, exponents=(0.4, 0.33))
    assert fit.ua_coolant_exponent == pytest.approx(0.33, abs=1e-6)
    assert fit.worst_deviation < 1e-4


def test_fit_refuses_what_no_radiator_can_do() -> None:
    too_much = 1.2 * 0.0432 * 1006.0 * 1.01
    with pytest.raises(ValueError, match="capacity rates"):
        fit_ua([0.5, 1.0], 4.0 / 60e3, [20.0, too_much], **MEASUREMENT)


@pytest.mark.parametrize("beyond", [0.0, 1.0])
def test_a_fit_refuses_no_heat_and_all_that_the_air_can_carry(beyond: float) -> None:
    # The limits themselves are refused: NTU would be 0 or endless (Kays and London, chapter 2).
    sheet = {"face_area": 0.04, "volumetric_heat_capacity": HEAT_CAPACITY, "ua_air_velocity": 1.0}
    most = 1.2 * 0.04 * 1.0 * 1006.0
    with pytest.raises(ValueError, match="above zero and below"):
        fit_ua(
            [1.0], 1e-4, [beyond * most], **sheet, ua_coolant_flow=1e-4, air_specific_heat=1006.0, air_density=1.2
        )


def test_a_radiator_of_less_than_a_watt_per_kelvin_is_fitted_too() -> None:
    small = {**SHEET, "face_area": 0.0005, "ua_air": 0.9, "ua_coolant": 1.4}
    velocity, density = np.array([0.5, 1.0, 2.0]), 1.2
    made = radiator(density * 0.0005 * velocity, 4.0 / 60e3, **{**small, "reference_density": density})
    assert made.max() < 1.0
    found = fit_ua(
        velocity,
        4.0 / 60e3,
        made,
        face_area=0.0005,
        volumetric_heat_capacity=HEAT_CAPACITY,
        ua_air_velocity=1.0,
        ua_coolant_flow=4.0 / 60e3,
        air_specific_heat=1006.0,
        air_density=density,
    )
    assert found.worst_deviation < 1e-4


def test_a_stream_of_constant_temperature_among_others_keeps_its_own_limit() -> None:
    # 1 - e^-NTU (Kays and London, chapter 2) at C_r = 0, also beside cases that need the longest sums.
    got = effectiveness_cross_unmixed([0.5, 3.0, 40.0, 300.0], [0.0, 0.0, 1.0, 1.0])
    assert got[:2] == pytest.approx(-np.expm1([-0.5, -3.0]), rel=1e-14)
