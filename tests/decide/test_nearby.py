"""Settings of the step grid round a place: which they are, and that each is forecast under its own number."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from quietcool.decide.descent import Descent, look_round
from quietcool.decide.incumbent import grid_speeds, turning_ranges, turning_speeds
from quietcool.decide.nearby import nearby
from quietcool.decide.question import Question
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path

BUILD = read_build(demo_path("sample_room"))
QUESTION = Question(BUILD, (BUILD.state("bounce"),), 0)
RANGES = turning_ranges(QUESTION)
NOBODY = np.zeros(len(QUESTION.grids), dtype=np.bool_)


def end_at(place: list[float], stopped: NDArray[np.bool_]) -> Descent:
    return look_round(
        lambda places, _: QUESTION.ask(turning_speeds(places, RANGES, stopped)), np.array([place]), RANGES
    )[0]


def test_settings_lie_round_the_place_and_are_all_different() -> None:
    end = end_at([0.4, 0.5, 0.6], NOBODY)
    near = nearby(QUESTION, RANGES, end, NOBODY, 343)
    steps = near.steps(np.arange(near.level.size))
    speeds = grid_speeds(QUESTION, steps)
    at = turning_speeds(end.place, RANGES, NOBODY)

    assert len(steps) == 7**3  # seven of each group
    assert len(np.unique(steps, axis=0)) == len(steps)
    for group, grid in enumerate(QUESTION.grids):
        chosen = np.unique(speeds[:, group])
        others = np.setdiff1d(grid[grid > 0.0], chosen)
        assert np.abs(chosen - at[group]).max() <= np.abs(others - at[group]).min() + 1e-9


def test_a_forecast_stands_beside_its_own_setting() -> None:
    """Solved by the package's solver: near the place, forecast and answer agree; under other numbers they do not."""
    end = end_at([0.4, 0.5, 0.6], NOBODY)
    near = nearby(QUESTION, RANGES, end, NOBODY, 1000, widest=5)
    level, margins = QUESTION.ask(grid_speeds(QUESTION, near.steps(np.arange(125))))

    assert near.level.size == 125
    assert near.level == pytest.approx(level, abs=0.02)
    assert near.least == pytest.approx(margins.min(axis=1), abs=0.05)
    assert np.ptp(level) > 0.3


def test_groups_at_rest_stay_there_and_none_that_turns_is_stopped() -> None:
    stopped = np.array([grid[0] == 0.0 for grid in QUESTION.grids])
    near = nearby(QUESTION, RANGES, end_at([0.4, 0.0, 0.6], stopped), stopped, 500)
    speeds = grid_speeds(QUESTION, near.steps(np.arange(near.level.size)))

    assert 0 < stopped.sum() < stopped.size
    assert np.all(speeds[:, stopped] == 0.0)
    assert np.all(speeds[:, ~stopped] > 0.0)


def test_faster_ones_are_those_in_which_no_group_is_slower() -> None:
    end = end_at([0.4, 0.5, 0.6], NOBODY)
    near = nearby(QUESTION, RANGES, end, NOBODY, 343)
    speeds = grid_speeds(QUESTION, near.steps(np.arange(343)))
    none_slower = np.all(speeds >= turning_speeds(end.place, RANGES, NOBODY) - 1e-9, axis=1)

    assert near.faster().tolist() == none_slower.tolist()
    assert 0 < none_slower.sum() < 343


def test_a_group_with_one_speed_has_one_choice() -> None:
    pump = BUILD.loop.pump_speeds
    one = replace(pump, highest=pump.lowest)
    question = Question(
        replace(BUILD, loop=replace(BUILD.loop, pump_speeds=one)), QUESTION.states, 0
    )  # fmt: skip
    ranges = turning_ranges(question)
    end = look_round(lambda p, _: question.ask(turning_speeds(p, ranges, NOBODY)), np.array([[0.4, 0.5, 0.0]]), ranges)[
        0
    ]
    near = nearby(question, ranges, end, NOBODY, 64)

    assert near.choices[2].tolist() == [0]
    assert near.level.size == 16
