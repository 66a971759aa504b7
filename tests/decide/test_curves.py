"""Curves of layouts: what a level buys and a temperature costs, and how errors move both."""

from __future__ import annotations

import numpy as np
import pytest

from quietcool.decide.axes import axis_named
from quietcool.decide.curves import Curve, trace_curve
from quietcool.decide.question import Tally
from quietcool.decide.tolerances import uncertain_inputs
from quietcool.decide.uncertainty import Draws
from quietcool.solve.cases import map_arrays
from tests.decide.open_benches import bench

BENCH = bench(10.0, 3.0, lowest=8.0, highest=25.0, watts=150.0, step=0.05)


def by_hand(temp: list[float], level: list[float]) -> Curve:
    """Make a curve of settings that were not solved."""
    state = BENCH.states[0]
    speeds = np.zeros((len(temp), 2))
    axis = axis_named(BENCH, state, "coolant")
    return Curve(BENCH, state, axis, 0, np.array(temp), np.array(level), speeds, speeds.astype(np.intp))


def test_near_settings_are_joined_by_straight_lines() -> None:
    curve = by_hand([300.0, 301.0, 302.0], [30.2, 30.0, 29.8])
    assert curve.quietest_at(300.5) == pytest.approx(30.1)
    assert curve.coldest_at(29.9) == pytest.approx(301.5)
    assert np.isnan(curve.quietest_at(299.9))
    assert np.isnan(curve.coldest_at(29.7))
    assert curve.quietest_at(310.0) == 29.8
    assert curve.coldest_at(50.0) == 300.0
    assert curve.price_at(301.0) == pytest.approx(0.2)


def test_no_setting_stands_between_settings_far_apart() -> None:
    curve = by_hand([300.0, 310.0], [35.0, 30.0])
    assert curve.quietest_at(309.0) == 35.0
    assert curve.quietest_at(310.0) == 30.0
    assert curve.coldest_at(34.0) == pytest.approx(310.0)
    assert curve.coldest_at(35.0) == pytest.approx(300.0)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["fan pressure", "air resistance", "air-side conductance", "heat"])
def test_first_order_shifts_agree_with_curves_traced_anew(kind: str) -> None:
    """One error, at 0.9 of its distribution: the settings are searched again in a build that has it."""
    axis = axis_named(BENCH, BENCH.states[0], "coolant")
    inputs = tuple(one for one in uncertain_inputs(BENCH) if one.kind == kind)
    assert len(inputs) == 1
    draws = Draws(inputs, np.array([[0.9]]), 0)
    erring = map_arrays(draws.of(BENCH).build, lambda array: float(array.reshape(-1)[0]))
    nominal, moved = (
        trace_curve(build, build.states[0], axis, 0, 24, Tally(), lambda part: None) for build in (BENCH, erring)
    )
    assert nominal is not None
    assert moved is not None
    at = np.quantile(nominal.temp, [0.3, 0.6])
    anew = moved.quietest_at(at) - nominal.quietest_at(at)
    shift = nominal.shift(draws, at)
    assert np.all(np.abs(anew) > 0.1)
    np.testing.assert_allclose(-shift.quieter[:, 0], anew, atol=0.1, rtol=0.15)
    warmer = moved.coldest_at(nominal.quietest_at(at)) - at
    np.testing.assert_allclose(-shift.colder[:, 0], warmer, atol=0.1, rtol=0.2)
