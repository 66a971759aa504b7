"""The monotone cubic of a sheet's points, beside SciPy's, which follows the same paper.

Fritsch, F. N. and Butland, J., "A method for constructing local monotone piecewise cubic interpolants", SIAM J. Sci.
Stat. Comput. 5 (1984) 300-304, as implemented in `scipy.interpolate.PchipInterpolator`.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from quietcool.physics.curves import monotone_cubic, pressure_curve, pressure_rise, stack_curves


@pytest.mark.parametrize("points", [2, 3, 4, 11])
@pytest.mark.parametrize("falling", [True, False], ids=["falling", "up and down"])
def test_the_monotone_cubic_is_scipy_s(points: int, falling: bool) -> None:
    rng = np.random.default_rng(points)
    for _ in range(50):
        x = np.cumsum(rng.uniform(0.1, 2.0, points))
        y = rng.normal(size=points)
        y = np.sort(y)[::-1] if falling else y
        outside = PchipInterpolator(x, y)
        pieces, end_slope = monotone_cubic(x, y)
        np.testing.assert_allclose(pieces, outside.c[::-1].T, rtol=1e-12, atol=1e-12)
        assert end_slope == pytest.approx(float(outside.derivative()(x[-1])), rel=1e-9, abs=1e-12)


def test_the_monotone_cubic_is_flat_where_points_are_level_or_turn() -> None:
    pieces, _ = monotone_cubic(np.arange(5.0), np.array([0.0, 1.0, 1.0, 3.0, 2.0]))
    assert pieces[:, 1].tolist()[1:] == [0.0, 0.0, 0.0]  # slopes at the inner points
    assert pieces[1].tolist() == [1.0, 0.0, 0.0, 0.0]  # nothing between two equal points but their value


@pytest.mark.parametrize("points", [6, 80], ids=["few", "many"])  # many are found by bisection, few by comparison
def test_a_curve_between_its_points_is_scipy_s_at_every_speed(points: int) -> None:
    flow = np.linspace(0.0, 0.04, points)
    pressure = 30.0 * np.cos(0.5 * np.pi * flow / 0.04)
    pressure[-1] = 0.0
    curve = pressure_curve(flow, pressure, speed=25.0, density=1.2)
    outside, rng = PchipInterpolator(flow, pressure), np.random.default_rng(points)
    within, speed = rng.uniform(0.0, 0.04, 400), rng.uniform(5.0, 40.0, 400)
    ratio = speed / 25.0  # fan laws: flow goes with the speed, pressure with its square and with density (Bleier 1998)
    got = pressure_rise(curve, within * ratio, speed, 0.9)
    np.testing.assert_allclose(got.pressure, outside(within) * ratio**2 * 0.9 / 1.2, rtol=1e-10, atol=1e-10)
    np.testing.assert_allclose(got.slope, outside(within, 1) * ratio * 0.9 / 1.2, rtol=1e-8, atol=1e-8)


@pytest.mark.parametrize("points", [6, 80], ids=["few", "many"])
def test_a_fan_at_rest_is_a_resistance_both_ways_however_many_points_its_curve_has(points: int) -> None:
    """Fan laws at rest: no pressure of its own is left, only what goes with Q |Q|."""
    flow = np.linspace(0.0, 0.04, points)
    curve = pressure_curve(flow, 30.0 * (1.0 - (flow / 0.04) ** 2), speed=25.0, density=1.2)
    through = np.array([-0.03, -0.01, 0.0, 0.01, 0.03])
    got = pressure_rise(curve, through, 0.0, 1.2).pressure
    np.testing.assert_allclose(got, -curve.resistance * through * np.abs(through), rtol=1e-12, atol=1e-15)
    turning = pressure_rise(curve, through, np.array([0.0, 0.0, 0.0, 1e-9, 1e-9]), 1.2).pressure
    np.testing.assert_allclose(turning, got, rtol=1e-6, atol=1e-15)  # nor is there a jump where it begins to turn


@pytest.mark.parametrize(
    ("flow", "pressure", "words"),
    [
        ([0.0], [5.0], "at least two points"),
        ([0.0, 1.0], [5.0, 3.0, 0.0], "at least two points"),
        ([[0.0, 1.0]], [[5.0, 0.0]], "at least two points"),
        ([0.1, 1.0], [5.0, 0.0], "flow rising from 0"),
        ([0.0, 1.0, 1.0], [5.0, 3.0, 0.0], "flow rising from 0"),
        ([0.0, 1.0, 2.0], [5.0, -1.0, -2.0], "pressures of at least 0"),
        ([0.0, 1.0, 2.0], [0.0, 1.0, 0.0], "more than 0 at zero flow"),
        ([0.0, 1.0, 2.0], [5.0, 3.0, 3.0], "a falling end"),
    ],
)
def test_what_is_no_curve_is_refused_in_words(flow: list[float], pressure: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        pressure_curve(flow, pressure, speed=25.0, density=1.2)


def test_a_curve_that_ends_above_zero_goes_on_along_its_end() -> None:
    """Straight on as the cubic ends, down to free delivery; beyond it, less what goes with the square of the flow."""
    flow, pressure = np.array([0.0, 1.0, 2.0]), np.array([5.0, 4.0, 2.0])
    end = float(PchipInterpolator(flow, pressure).derivative()(2.0))
    curve = pressure_curve(flow, pressure, speed=25.0, density=1.2)
    assert curve.free_flow == pytest.approx(2.0 - 2.0 / end, rel=1e-12)
    got = pressure_rise(curve, np.array([2.0, 2.1, curve.free_flow, 2.0 * curve.free_flow]), 25.0, 1.2)
    assert got.pressure[:3] == pytest.approx([2.0, 2.0 + 0.1 * end, 0.0], abs=1e-12)
    assert got.slope[:3] == pytest.approx([end] * 3, rel=1e-12)  # and no kink where the continuation begins or ends
    beyond = 1.5 * end * curve.free_flow  # -k (Q^2 - Q0^2) at 2 Q0 with k = -end / (2 Q0)
    assert got.pressure[3] == pytest.approx(beyond, rel=1e-12)


def test_stacked_curves_answer_as_each_does_alone() -> None:
    """Curves of 2, 3, 5 and 30 points, turning and at rest, forward and reversed, in small and in large batches."""
    rng = np.random.default_rng(11)
    curves = []
    for points in (2, 3, 5, 30):
        flow = np.linspace(0.0, 0.05 * points, points)
        pressure = np.sort(rng.uniform(0.0, 30.0, points))[::-1] + np.linspace(1.0, 0.0, points)
        curves.append(pressure_curve(flow, pressure, speed=20.0 + points, density=1.2))
    for cases in (7, 900):
        flows = rng.uniform(-0.3, 2.5, (4, cases))
        speeds = np.where(rng.uniform(size=(4, cases)) < 0.2, 0.0, rng.uniform(5.0, 40.0, (4, cases)))
        scale = rng.uniform(0.9, 1.1, (4, 1))
        together = pressure_rise(stack_curves(curves), flows, speeds, 1.1, flow_scale=scale, pressure_scale=1.0 / scale)
        for i, curve in enumerate(curves):
            alone = pressure_rise(
                curve, flows[i], speeds[i], 1.1, flow_scale=scale[i], pressure_scale=1.0 / scale[i]
            )  # fmt: skip
            assert together.pressure[i] == pytest.approx(alone.pressure, rel=1e-12, abs=1e-12)
            assert together.slope[i] == pytest.approx(alone.slope, rel=1e-12, abs=1e-12)


def test_a_stack_of_curves_is_what_scipy_interpolates_between_the_points() -> None:
    """SciPy's PchipInterpolator at each sheet's own speed and density."""
    sheets = [([0.0, 0.01, 0.03], [20.0, 14.0, 0.0]), ([0.0, 0.02, 0.03, 0.05, 0.06], [30.0, 26.0, 20.0, 9.0, 0.0])]
    stacked = stack_curves([pressure_curve(*sheet, speed=25.0, density=1.2) for sheet in sheets])
    flows = np.stack([np.linspace(0.0, sheet[0][-1], 50) for sheet in sheets])
    found = pressure_rise(stacked, flows, 25.0, 1.2).pressure

    for i, (flow, pressure) in enumerate(sheets):
        assert found[i] == pytest.approx(PchipInterpolator(flow, pressure)(flows[i]), abs=1e-12)
