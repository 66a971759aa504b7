"""A question's answers: worst over the states, margins in comparable parts, no answer never mistaken for a good one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool.decide.limits import SCALES
from quietcool.decide.question import Question
from quietcool.entry.build import Build, Limits, Opening, SpeedRange
from tests.decide.judged import AGREED, admissible, second_margins
from tests.plain_builds import plain_build
from tests.random_builds import random_build, random_speeds
from tests.second_opinion.whole import second_opinion


def three_states() -> Build:
    return random_build(8, groups=3, states=3)


def question(build: Build) -> Question:
    return Question(build, build.states, 0)


def test_the_level_is_the_loudest_state_s_and_margins_are_each_state_s_own() -> None:
    build = three_states()
    speeds = random_speeds(build, np.random.default_rng(3), 1)
    level, found = question(build).ask(speeds)
    opinions = [second_opinion(build, state, speeds[0].tolist()) for state in build.states]
    expected = [m for s, o in zip(build.states, opinions, strict=True) for m in second_margins(build, s, o).items()]
    names, units = question(build).limit_names, question(build).limit_units

    assert level[0] == pytest.approx(max(o.level[build.positions[0].name] for o in opinions), abs=AGREED)
    assert sorted(name for _, name in names) == sorted(name for name, _ in expected)
    by_state = {
        (state.name, name): margin
        for state, opinion in zip(build.states, opinions, strict=True)
        for name, margin in second_margins(build, state, opinion).items()
    }
    for name, unit, margin in zip(names, units, found[0], strict=True):
        assert margin * SCALES[unit] == pytest.approx(by_state[name], abs=AGREED * SCALES[unit])


def test_scales_make_a_kelvin_a_decibel_and_a_tenth_of_a_litre_per_minute_weigh_the_same() -> None:
    assert {"K": 1.0, "dB": 1.0, "m3/s": pytest.approx(0.1e-3 / 60.0)} == SCALES


def test_a_setting_asked_alone_answers_as_in_a_batch() -> None:
    build = three_states()
    speeds = random_speeds(build, np.random.default_rng(4), 40)
    level, found = question(build).ask(speeds)
    alone = [question(build).ask(speeds[i : i + 1]) for i in (0, 17, 39)]

    assert [one[0][0] for one in alone] == pytest.approx(level[[0, 17, 39]], abs=1e-9)
    assert np.array([one[1][0] for one in alone]) == pytest.approx(found[[0, 17, 39]], abs=1e-9)


def test_watts_added_in_the_question_are_watts_of_the_build() -> None:
    build = random_build(8, groups=3)
    state = build.states[0]
    source = next(iter(state.heat))
    speeds = random_speeds(build, np.random.default_rng(5), 3)
    added = np.array([0.0, 12.0, -5.0])
    level, found = question(build).ask(speeds, heat_change={(state.name, source): added})

    for i, watts in enumerate(added):
        heat = {**state.heat, source: state.heat[source] + watts}
        hotter = replace(build, states=(replace(state, heat=heat),))
        expected = question(hotter).ask(speeds[i : i + 1])
        assert level[i] == pytest.approx(expected[0][0], abs=1e-9)
        assert found[i] == pytest.approx(expected[1][0], abs=1e-9)


def test_watts_for_another_state_change_nothing() -> None:
    build = random_build(8, groups=3)
    speeds = random_speeds(build, np.random.default_rng(5), 2)
    plain = question(build).ask(speeds)
    other = question(build).ask(speeds, heat_change={("some other state", "cpu"): np.array([50.0, 50.0])})

    assert np.array_equal(plain[0], other[0])
    assert np.array_equal(plain[1], other[1])


def test_no_steady_state_is_the_worst_answer_and_never_a_number_that_could_win() -> None:
    build = plain_build(Opening(0.01, 2.0))
    state = replace(build.states[0], limits=Limits(coolant=330.0, enclosure_air={"box": 310.0}))
    starved = replace(build, states=(state,), air_paths=(build.air_paths[0], build.air_paths[2]))  # a way out only
    level, found = question(starved).ask(np.array([[15.0, 40.0]]))

    assert found[0, 1] == -np.inf
    assert not np.isnan(level).any()
    assert not np.isnan(found).any()


def test_every_solved_case_is_counted() -> None:
    build = three_states()
    asked = question(build)
    asked.ask(random_speeds(build, np.random.default_rng(6), 7))
    asked.ask(random_speeds(build, np.random.default_rng(7), 2))

    assert asked.tally.cases == (7 + 2) * 3


@pytest.mark.parametrize(
    ("speeds", "expected_rpm"),
    [
        (SpeedRange(500 / 60, 620 / 60, 20 / 60), [500, 520, 540, 560, 580, 600, 620]),
        (SpeedRange(500 / 60, 610 / 60, 20 / 60), [500, 520, 540, 560, 580, 600]),
        (SpeedRange(500 / 60, 600 / 60, 20 / 60, ((540 / 60, 560 / 60),)), [500, 520, 580, 600]),  # bands are closed
        (SpeedRange(500 / 60, 540 / 60, 20 / 60, may_stop=True), [0, 500, 520, 540]),
        (SpeedRange(0.0, 40 / 60, 20 / 60, may_stop=True), [0, 20, 40]),
        (SpeedRange(500 / 60, 500 / 60, 20 / 60), [500]),
    ],
)
def test_grids_hold_the_admissible_speeds(speeds: SpeedRange, expected_rpm: list[float]) -> None:
    """Counted by hand from the wording "min, min + step, ... up to max, closed bands to avoid, may stop adds 0"."""
    build = plain_build(Opening(0.01, 2.0))
    group = replace(build.fan_groups[0], speeds=speeds)
    grid = question(replace(build, fan_groups=(group,))).grids[0]

    assert (60.0 * grid).tolist() == pytest.approx(expected_rpm)


@pytest.mark.parametrize("seed", range(6))
def test_grids_of_random_builds_hold_the_admissible_speeds(seed: int) -> None:
    build = random_build(seed, limits=False)
    for grid, speeds in zip(question(build).grids, build.speed_ranges, strict=True):
        assert grid.tolist() == pytest.approx(admissible(speeds))
