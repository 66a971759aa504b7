"""The search for the quietest setting against exhaustive search and against SciPy's differential evolution."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from quietcool.decide.incumbent import Incumbent, descend_on_grid, find_incumbent, grid_speeds, moves_from
from quietcool.decide.question import Question
from quietcool.entry.build import Build
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from tests.decide.judged import Judged, admissible, broken_by_second_opinion, coarse, every_setting, judged
from tests.decide.rivals import evolved
from tests.random_builds import random_build

Floats = NDArray[np.float64]

EXHAUSTIVE = 0.01  # the search may lie above exhaustive search by no more [dB]
EVOLVED = 0.02  # above differential evolution by no more [dB]
LEAST_VIOLATED = 0.05  # how far the least violated setting may stay behind the best possible [K]
STEPS = 14  # of every group in the exhaustive searches


def question_of(build: Build) -> Question:
    return Question(build, build.states, 0)


def found_speeds(question: Question, best: Incumbent) -> Floats:
    return grid_speeds(question, best.steps[None])[0]


def demo_state(name: str, state: str) -> Build:
    build = read_build(demo_path(name))
    return replace(build, states=(build.state(state),))


def tightened(build: Build, kelvin: float) -> Build:
    """Return the build with every temperature limit lower."""
    sources = tuple(
        replace(
            source,
            points=tuple(
                replace(spot, limit=None if spot.limit is None else spot.limit - kelvin) for spot in source.points
            ),
        )
        for source in build.sources
    )
    states = []
    for state in build.states:
        air = {name: limit - kelvin for name, limit in state.limits.enclosure_air.items()}
        assert state.limits.coolant is not None
        limits = replace(state.limits, coolant=state.limits.coolant - kelvin, enclosure_air=air)
        states.append(replace(state, limits=limits))
    return replace(build, sources=sources, states=tuple(states))


def check_against_exhaustive_search(build: Build) -> Judged:
    """Search, judge all settings, compare; the setting itself is judged by the second opinion."""
    every = judged(build, build.states, every_setting(build))
    question = question_of(build)
    best = find_incumbent(question).best
    assert every.quietest is not None, "choose a build with a feasible setting"
    assert best.worst_margin >= 0.0
    assert best.level <= every.quietest[1] + EXHAUSTIVE
    assert best.level >= every.quietest[1] - 1e-9  # quieter than all of them would be another physics
    assert broken_by_second_opinion(build, build.states, found_speeds(question, best)) == {}
    return every


@pytest.mark.slow
@pytest.mark.parametrize("state", ["idle", "edit", "bounce"])
def test_three_groups_of_a_demo_against_exhaustive_search(state: str) -> None:
    """Front and bottom fans, which may stop, and the pump: 2,940 settings."""
    check_against_exhaustive_search(coarse(demo_state("sample_room", state), STEPS))


@pytest.mark.slow
@pytest.mark.parametrize("seed", [0, 1, 5, 6, 14])
def test_three_groups_of_random_builds_against_exhaustive_search(seed: int) -> None:
    every = check_against_exhaustive_search(coarse(random_build(seed, groups=2), STEPS))

    assert (every.margin >= 0.0).mean() < 0.9  # otherwise the limits would not have been asked


@pytest.mark.slow
@pytest.mark.parametrize("seed", [20, 22])
def test_one_setting_for_several_states_against_exhaustive_search(seed: int) -> None:
    check_against_exhaustive_search(coarse(random_build(seed, groups=2, states=3), STEPS))


# The other states of the demos are in tests/profiles/quietest_profile.py.
@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "state"),
    [
        ("booth_wall", "transcode"),
        ("booth_wall", "render capped"),
        ("booth_wall", "take"),
        ("sample_room", "edit"),
        ("sample_room", "bounce"),
    ],
)
def test_demos_are_never_louder_than_differential_evolution(name: str, state: str) -> None:
    build = demo_state(name, state)
    question = question_of(build)
    best = find_incumbent(question).best

    assert best.worst_margin >= 0.0
    assert best.level <= evolved(build, build.states, population=20, generations=80).level + EVOLVED
    assert broken_by_second_opinion(build, build.states, found_speeds(question, best)) == {}


# Fifty builds of two to six groups are in tests/profiles/quietest_profile.py; these are a few of them.
@pytest.mark.slow
@pytest.mark.parametrize(("seed", "groups"), [(100, 2), (101, 3), (102, 4), (107, 4), (108, 5), (111, 3)])
def test_random_builds_are_never_louder_than_differential_evolution(seed: int, groups: int) -> None:
    build = random_build(seed, groups=groups)
    question = question_of(build)
    best = find_incumbent(question).best

    assert best.worst_margin >= 0.0
    assert best.level <= evolved(build, build.states, population=20, generations=60).level + EVOLVED
    assert broken_by_second_opinion(build, build.states, found_speeds(question, best)) == {}


@pytest.mark.slow
@pytest.mark.parametrize(("seed", "states"), [(0, 1), (1, 2), (5, 3)])
def test_where_no_setting_keeps_the_limits_the_least_violated_one_is_given(seed: int, states: int) -> None:
    build = coarse(random_build(seed, groups=2, states=states), STEPS)
    settings = every_setting(build)
    build = tightened(build, max(judged(build, build.states, settings).margin.max(), 0.0) + 0.3)
    every = judged(build, build.states, settings)
    best = find_incumbent(question_of(build)).best

    assert every.margin.max() < 0.0  # otherwise there is a feasible setting and nothing is tested
    assert best.worst_margin < 0.0
    assert best.worst_margin >= every.margin.max() - LEAST_VIOLATED


@pytest.mark.slow
@pytest.mark.parametrize("seed", [101, 107, 108])
def test_bands_and_stops_of_the_controller_are_respected(seed: int) -> None:
    build = random_build(seed, groups=3, may_stop=True)
    avoided = replace(build.fan_groups[0].speeds, avoid=((0.0, 14.0), (15.0, 19.0)))
    build = replace(build, fan_groups=(replace(build.fan_groups[0], speeds=avoided), *build.fan_groups[1:]))
    question = question_of(build)
    speeds = found_speeds(question, find_incumbent(question).best)

    for speed, range_ in zip(speeds, build.speed_ranges, strict=True):
        assert min(abs(speed - allowed) for allowed in admissible(range_)) < 1e-9
        assert not any(low <= speed <= high for low, high in range_.avoid if speed > 0.0)


def test_fans_stop_where_rest_is_quieter_and_cold_enough() -> None:
    """Without heat worth naming every group that may stand still does."""
    build = random_build(1, groups=2, enclosures=1, may_stop=True, limits=False)
    state = build.states[0]
    cold = replace(state, heat=dict.fromkeys(state.heat, 0.5), air_heat={})
    question = question_of(replace(build, states=(cold,)))
    speeds = found_speeds(question, find_incumbent(question).best)

    assert speeds[:-1].tolist() == [0.0, 0.0]
    assert speeds[-1] == pytest.approx(build.loop.pump_speeds.lowest)


@pytest.mark.slow
def test_the_same_question_gets_the_same_answer_to_the_bit() -> None:
    build = demo_state("sample_room", "bounce")
    first, second = (find_incumbent(question_of(build)) for _ in range(2))

    assert first.best.steps.tolist() == second.best.steps.tolist()
    assert first.best.level == second.best.level
    assert [end.place.tobytes() for end, _ in first.ends] == [end.place.tobytes() for end, _ in second.ends]


@pytest.mark.slow
def test_the_descent_on_the_grid_ends_where_no_move_is_quieter() -> None:
    build = demo_state("sample_room", "bounce")
    build = replace(
        build, positions=tuple(replace(place, limit=None) for place in build.positions)
    )  # so it may be loud
    question = question_of(build)
    top = np.array([grid.size - 1 for grid in question.grids])
    level, margins = question.ask(grid_speeds(question, top[None]))
    end = descend_on_grid(question, [Incumbent(top, float(level[0]), margins[0])])
    around = np.array(moves_from(question, end))
    answers = judged(build, build.states, grid_speeds(question, around))

    assert end.level < level[0] - 3.0  # from full speed down it is a long way
    assert end.worst_margin >= 0.0
    assert np.where(answers.margin >= 0.0, answers.level, np.inf).min() >= end.level


@pytest.mark.slow
def test_progress_is_told_and_only_grows() -> None:
    told: list[float] = []
    find_incumbent(question_of(coarse(random_build(1, groups=2), STEPS)), told.append)

    assert told[-1] == 1.0
    assert told == sorted(told)
