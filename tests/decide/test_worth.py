"""Worth of limits and watts against re-optimisation by a search that shares nothing with the package's descents."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import BFGS, Bounds, NonlinearConstraint, minimize

from quietcool.decide.descent import Descent
from quietcool.decide.incumbent import find_incumbent, grid_speeds, turning_ranges
from quietcool.decide.question import Question
from quietcool.decide.worth import Binding, find_worth
from quietcool.entry.build import Build, State
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.solve.operating_point import solve_operating_point
from tests.decide.judged import TENTH_OF_A_LITRE, all_margins, judged

Floats = NDArray[np.float64]

AGREES = 0.03  # relative
KELVIN, WATTS = 0.25, 2.5  # moves of a limit and of a heat, both ways
NEAR = 1e-4  # of the difference quotients, in parts of the range
PARTS = np.linspace(0.0, 1.0, 17)
OFF = 0.03  # from the package's optimum to the start, so that the way there has to be found
SEARCHED = 0.005  # a search's descent rests this near to its optimum, see PRECISION in incumbent.py [dB]
KEPT = 1e-5  # a limit that is kept to within this is kept [K, dB, tenths of a litre per minute]


class Case(NamedTuple):
    """A demo state with what the package says of its optimum."""

    build: Build
    state: State
    ranges: Floats
    stopped: NDArray[np.bool_]
    optimum: Descent
    worth: tuple[Binding, ...]
    printed_margins: Floats


def solved(demo: str, name: str) -> Case:
    build = read_build(demo_path(demo))
    state = build.state(name)
    question = Question(build, (state,), 0)
    search = find_incumbent(question)
    ranges = turning_ranges(question)
    speeds = grid_speeds(question, search.best.steps[None])[0]
    stopped = speeds == 0.0
    near = np.where(stopped, 0.0, (speeds - ranges[0]) / (ranges[1] - ranges[0]))
    optimum = search.optimum_near(near, stopped)
    assert optimum is not None
    worth = find_worth(question, ranges, stopped, optimum, search.best.margins)
    return Case(build, state, ranges, stopped, optimum, worth, search.best.margins)


class Slopes(NamedTuple):
    """Level and margins at a place with their central difference quotients."""

    level: float
    margins: Floats
    level_slope: Floats
    margin_slope: Floats


def slopes_at(case: Case, build: Build, state: State, place: Floats) -> Slopes:
    """Solve a place and two neighbours along every free axis as one batch."""
    free = np.flatnonzero(~case.stopped)
    moves = np.concatenate([np.zeros((1, free.size)), NEAR * np.eye(free.size), -NEAR * np.eye(free.size)])
    speeds = np.tile(np.where(case.stopped, 0.0, case.ranges[0]), (len(moves), 1))
    speeds[:, free] += (place + moves) * (case.ranges[1] - case.ranges[0])[free]
    point = solve_operating_point(build, state, speeds)
    level = point.level[:, 0]
    margins = np.stack(
        [one / (TENTH_OF_A_LITRE if name == "coolant flow" else 1.0)
         for name, one in all_margins(build, state, point).items()]
    )  # fmt: skip
    up, down = slice(1, free.size + 1), slice(free.size + 1, None)
    return Slopes(
        float(level[0]),
        margins[:, 0],
        (level[up] - level[down]) / (2.0 * NEAR),
        (margins[:, up] - margins[:, down]) / (2.0 * NEAR),
    )


def least_level(case: Case, build: Build, state: State) -> float:
    """Least level of a state near the optimum, between the steps, by SciPy's interior trust-region method."""
    known: dict[bytes, Slopes] = {}

    def at(place: Floats) -> Slopes:
        if place.tobytes() not in known:
            known[place.tobytes()] = slopes_at(case, build, state, place)
        return known[place.tobytes()]

    start = case.optimum.place[~case.stopped] + OFF
    minimize(
        lambda x: at(x).level,
        start,
        jac=lambda x: at(x).level_slope,
        hess=BFGS(),
        constraints=NonlinearConstraint(
            lambda x: at(x).margins, 0.0, np.inf, jac=lambda x: at(x).margin_slope, hess=BFGS()
        ),
        bounds=Bounds(2.0 * NEAR, 1.0 - 2.0 * NEAR),
        method="trust-constr",
        options={"maxiter": 120, "xtol": 1e-7, "gtol": 1e-5, "initial_tr_radius": 0.02},
    )
    return min(one.level for one in known.values() if one.margins.min() >= -KEPT)


def least_level_of_two(case: Case, build: Build, state: State) -> float:
    """Least level with two free groups: at every speed of the second the first is slowed down to its limits.

    Where two limits meet in a narrow corner this is surer than a descent: it has no slopes to be misled by.
    """
    first, second = np.flatnonzero(~case.stopped)
    centre, reach, level = case.optimum.place[second], 0.05, np.inf
    for _ in range(4):
        places = np.clip(np.linspace(centre - reach, centre + reach, 41), 0.0, 1.0)
        low = np.full(places.size, case.optimum.place[first] - 0.1)  # there too slow, at the other end fast enough
        width, heard = 0.2, np.full(places.size, np.inf)
        for _ in range(5):
            tried = low[:, None] + width * PARTS  # (places, parts)
            at = np.zeros((*tried.shape, case.stopped.size))
            at[..., first], at[..., second] = tried, places[:, None]
            speeds = np.where(case.stopped, 0.0, case.ranges[0] + at * (case.ranges[1] - case.ranges[0]))
            answer = judged(build, (state,), speeds.reshape(-1, case.stopped.size))
            kept = answer.margin.reshape(tried.shape) >= 0.0
            slowest = np.argmax(kept, axis=1)
            rows = np.arange(places.size)
            seen = answer.level.reshape(tried.shape)[rows, slowest]
            heard = np.where(kept.any(axis=1), np.minimum(heard, seen), heard)
            width /= PARTS.size - 1
            low = np.where(kept.any(axis=1), tried[rows, slowest] - width, low)
        level = min(level, float(heard.min()))
        centre, reach = places[int(np.argmin(heard))], 0.1 * reach
    return level


def with_coolant_limit(case: Case, kelvin: float) -> tuple[Build, State]:
    assert case.state.limits.coolant is not None
    limits = replace(case.state.limits, coolant=case.state.limits.coolant + kelvin)
    return case.build, replace(case.state, limits=limits)


def with_heat(case: Case, source: str, watts: float) -> tuple[Build, State]:
    return case.build, replace(case.state, heat={**case.state.heat, source: case.state.heat[source] + watts})


@pytest.mark.slow
@pytest.mark.parametrize(
    ("demo", "name", "least"),
    [("sample_room", "bounce", least_level_of_two), ("booth_wall", "render", least_level)],
)
def test_worth_is_what_a_new_optimum_gains(demo: str, name: str, least: Callable[[Case, Build, State], float]) -> None:
    case = solved(demo, name)
    by_name = {binding.limit: binding for binding in case.worth}
    coolant = by_name["coolant"].worth_db_per_k
    source = max(case.state.heat, key=lambda s: float(np.max(case.state.heat[s])))
    heat = by_name[f"heat of {source}"].worth_db_per_10_w
    assert coolant is not None
    assert heat is not None

    warmer, colder = (least(case, *with_coolant_limit(case, sign * KELVIN)) for sign in (1.0, -1.0))
    more, less = (least(case, *with_heat(case, source, sign * WATTS)) for sign in (1.0, -1.0))

    assert least(case, case.build, case.state) == pytest.approx(case.optimum.level, abs=SEARCHED)
    assert coolant == pytest.approx((colder - warmer) / (2.0 * KELVIN), rel=AGREES)
    assert heat == pytest.approx((more - less) / (2.0 * WATTS / 10.0), rel=AGREES)
    assert coolant > 0.05  # a limit that binds is worth something, in the sense that loosening it gains
    assert heat > 0.05


@pytest.mark.slow
def test_what_does_not_bind_is_not_listed_and_margins_are_those_of_the_printed_speeds() -> None:
    case = solved("sample_room", "bounce")
    question = Question(case.build, (case.state,), 0)
    names = [name for _, name in question.limit_names]
    listed = [binding for binding in case.worth if not binding.limit.startswith("heat of ")]
    far = [name for name, margin in zip(names, case.optimum.margins, strict=True) if margin > 0.5]

    assert {"cpu core", "gpu core"} <= set(far)
    assert not {binding.limit for binding in listed} & set(far)
    kelvin = case.printed_margins[names.index("coolant")]
    assert [b.margin for b in listed if b.limit == "coolant"] == pytest.approx([kelvin])
    flow = case.printed_margins[names.index("coolant flow")]  # in tenths of a litre per minute
    assert [b.margin for b in listed if b.limit == "coolant flow"] == pytest.approx([0.1 * flow])
    assert all(b.worth_db_per_10_w is None for b in listed)
    assert [b.worth_db_per_k is None for b in listed] == [b.unit != "K" for b in listed]


@pytest.mark.slow
def test_nothing_binds_where_every_limit_is_far() -> None:
    """Everything slowest and cold: then neither limits nor watts are worth anything, and none is listed."""
    build = read_build(demo_path("sample_room"))
    state = build.state("idle")
    roomy = replace(build, loop=replace(build.loop, min_flow=0.0), states=(state,))
    question = Question(roomy, roomy.states, 0)
    search = find_incumbent(question)
    ranges = turning_ranges(question)
    stopped = grid_speeds(question, search.best.steps[None])[0] == 0.0
    end = search.optimum_near(np.zeros(3), stopped)
    assert end is not None
    assert end.margins.min() > 0.5  # otherwise this is no such case

    assert find_worth(question, ranges, stopped, end, search.best.margins) == ()
