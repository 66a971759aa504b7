"""Trade-off curves against every admissible setting, knees and prices against geometry."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool.decide.axes import axis_named
from quietcool.decide.quietest import Progress
from quietcool.decide.tradeoff import Tradeoff, find_tradeoff, hottest_state, knee_of, price_of_a_kelvin
from quietcool.entry.build import Build, Limits
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from tests.decide.coarse import Truth, sample_room, solve_everything

COARSE = sample_room(3.0, 4.0, 6.0)
WORST_EXCESS = 0.05  # over the truth at any point [dB]


def held_to(answer: Tradeoff, truth: Truth) -> None:
    """Hold every point and every bound to the least level among all settings."""
    for point in answer.points:
        best = truth.quietest(point.limit)
        assert best - 1e-9 <= point.level <= best + WORST_EXCESS
        assert point.lower_bound <= best + 1e-9
        assert point.temp <= point.limit


@pytest.mark.slow
@pytest.mark.parametrize(("state", "axis"), [("bounce", "coolant"), ("edit", "gpu core"), ("idle", "case air")])
def test_no_point_is_louder_than_the_truth(state: str, axis: str) -> None:
    """An epsilon-constraint reference as dense as can be: the least level of every admissible setting."""
    load = COARSE.state(state)
    along = axis_named(COARSE, load, axis)
    truth = solve_everything(COARSE, load, along)
    answer = find_tradeoff(COARSE, state, axis=axis, points=40, seconds=12.0)
    assert len(answer.points) == 40
    held_to(answer, truth)
    coldest = np.min(truth.temp[truth.kept])
    assert answer.points[0].limit == pytest.approx(coldest, abs=0.05)
    assert truth.quietest(answer.points[-1].limit) <= np.min(truth.level[truth.kept]) + WORST_EXCESS
    levels = np.array([point.level for point in answer.points])
    bounds = np.array([point.lower_bound for point in answer.points])
    assert np.all(np.diff(levels) <= 0.0)
    assert np.all(bounds[:-1] >= bounds[1:])


@pytest.mark.slow
def test_the_price_of_a_kelvin_is_the_slope_of_the_truth() -> None:
    """On fine steps the least level of all settings falls by the price; over 2 K the steps hardly show."""
    fine = sample_room(1.0, 2.0, 2.0)
    load = fine.state("bounce")
    truth = solve_everything(fine, load, axis_named(fine, load, "coolant"))
    answer = find_tradeoff(fine, "bounce", points=24, seconds=0.0)
    limits = np.array([point.limit for point in answer.points])
    prices = np.array([point.price for point in answer.points])
    for centre in (limits[0] + 3.0, limits[0] + 5.0):
        falls = truth.quietest(centre - 1.0) - truth.quietest(centre + 1.0)
        inside = np.linspace(centre - 1.0, centre + 1.0, 41)
        assert np.mean(np.interp(inside, limits, prices)) == pytest.approx(falls / 2.0, rel=0.12)


@pytest.mark.slow
def test_the_present_setting_is_compared_with_the_curve() -> None:
    load = COARSE.state("bounce")
    answer = find_tradeoff(COARSE, "bounce", points=6, seconds=0.0)
    truth = solve_everything(COARSE, load, axis_named(COARSE, load, "coolant"))
    here = answer.present
    assert here is not None
    assert here.level - here.quieter == pytest.approx(truth.quietest(here.temp), abs=WORST_EXCESS)
    coldest = np.min(truth.temp[truth.kept & (truth.level <= here.level)])
    assert here.temp - here.colder == pytest.approx(coldest, abs=0.3)
    group = replace(COARSE.fan_groups[0], speeds=replace(COARSE.fan_groups[0].speeds, present=None))
    nameless = replace(COARSE, fan_groups=(group, *COARSE.fan_groups[1:]))
    assert find_tradeoff(nameless, "bounce", points=2, seconds=0.0).present is None


def impossible(build: Build) -> Build:
    """No flow is enough."""
    return replace(build, loop=replace(build.loop, min_flow=1.0))


def test_without_a_feasible_setting_there_are_no_points() -> None:
    answer = find_tradeoff(impossible(COARSE), "idle", points=3, seconds=1.0)
    assert answer.points == ()
    assert answer.knee is None
    assert answer.present is None


@pytest.mark.slow
def test_an_interrupted_proof_leaves_the_curve() -> None:
    def interrupt(progress: Progress) -> None:
        if progress.what.startswith("proving"):
            raise KeyboardInterrupt

    build = read_build(demo_path("sample_room"))  # with steps so fine that a proof is not over at the first look
    answer = find_tradeoff(build, "bounce", points=5, seconds=60.0, progress=interrupt)
    assert answer.interrupted
    whole = find_tradeoff(build, "bounce", points=5, seconds=0.0)
    assert [point.level for point in answer.points] == [point.level for point in whole.points]


def test_the_hottest_state_is_taken_and_its_limit_told() -> None:
    assert hottest_state(COARSE).name == "bounce"
    state = replace(COARSE.states[0], limits=Limits())
    free = replace(COARSE, states=(state,))
    answer = find_tradeoff(impossible(free), points=2, seconds=0.0)
    assert (answer.axis_limit, answer.level_limit) == (None, 21.0)


def test_the_knee_of_a_quarter_circle_is_in_its_middle() -> None:
    """On (x - 1)^2 + (y - 1)^2 = 1 the tangent is parallel to the chord at x = y = 1 - 1/sqrt(2): geometry."""
    x = np.linspace(0.0, 1.0, 201)
    y = 1.0 - np.sqrt(1.0 - (x - 1.0) ** 2)
    place = knee_of(300.0 + 20.0 * x, 25.0 + 7.0 * y)
    assert place is not None
    assert x[place] == pytest.approx(1.0 - 1.0 / np.sqrt(2.0), abs=0.5 / 200)


def test_a_straight_or_bulging_curve_has_no_knee() -> None:
    limits = np.linspace(300.0, 320.0, 5)
    assert knee_of(limits, np.linspace(40.0, 20.0, 5)) is None
    assert knee_of(limits, 40.0 - 20.0 * np.linspace(0.0, 1.0, 5) ** 2) is None
    assert knee_of(limits[:2], np.array([40.0, 20.0])) is None
    assert knee_of(limits, np.full(5, 30.0)) is None


def test_a_price_is_the_slope_of_a_parabola_and_never_negative() -> None:
    """Differences of second order are exact for parabolas: d/dT (T - 320)^2 = 2 (T - 320), elementary calculus."""
    limits = np.array([300.0, 301.0, 303.0, 306.0, 310.0])
    prices = price_of_a_kelvin(limits, 20.0 + 0.1 * (limits - 320.0) ** 2)
    np.testing.assert_allclose(prices[1:-1], -0.2 * (limits[1:-1] - 320.0))
    assert np.all(price_of_a_kelvin(limits, np.array([30.0, 31.0, 29.0, 29.5, 28.0])) >= 0.0)
    assert np.isnan(price_of_a_kelvin(limits, np.full(5, np.nan))).all()
