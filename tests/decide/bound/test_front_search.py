"""What holds one box of a curve's search to one point of the curve, at true settings planted in boxes.

A setting helps the curve only where it is quieter than the point at the tightest limit that it keeps. So a box must be
held to that point or a louder one, for every setting in it; a small box to just that point.
"""

from __future__ import annotations

import time
from functools import lru_cache

import numpy as np
import pytest

from quietcool.decide.bound.boxes import join
from quietcool.decide.bound.front_search import LEAST_SLICE, MOST_SLICES, Limited, _FrontSearch
from quietcool.decide.bound.relaxation import price_count
from quietcool.decide.bound.search import TOLERANCE
from quietcool.decide.incumbent import best_of
from quietcool.decide.question import Question
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point
from tests.decide.bound.planted import Truth, boxes_round, frame_of, node_stations, solved_truths, without_limits
from tests.random_builds import random_build

BUILD = without_limits(random_build(2, limits=False))
FRAME = frame_of(BUILD)
AXES = {"coolant": Limited(), "point": Limited(source=0, point=0), "air": Limited(enclosure=0)}


@lru_cache(maxsize=1)
def settings() -> tuple[list[Truth], OperatingPoint]:
    truths = solved_truths(BUILD, FRAME, np.random.default_rng(4), 12)
    grids = FRAME.question.grids
    speeds = np.array([[grid[k] for grid, k in zip(grids, truth.steps, strict=True)] for truth in truths])
    return truths, solve_operating_point(BUILD, BUILD.states[0], speeds)


def temperatures(axis: str) -> np.ndarray:
    """Of the axis, at every true setting, by the solver [K]."""
    _, point = settings()
    if axis == "air":
        return np.asarray(point.enclosure_temp[:, 0])
    return np.asarray(point.coolant_temp_max if axis == "coolant" else point.point_temp[:, 0])


def search(axis: str) -> _FrontSearch:
    truths, _ = settings()
    temps = temperatures(axis)
    limits = np.linspace(temps.min() - 0.5, temps.max() - 0.5, 9)
    levels = np.linspace(40.0, 25.0, 9)
    question = Question(BUILD, BUILD.states[:1], 0)
    start = best_of(question, np.array([truths[0].steps]))
    nothing = [np.zeros(price_count(FRAME))]
    return _FrontSearch(
        question, AXES[axis], limits, levels, [start], time.monotonic() + 60.0, lambda level, bound: None, None, nothing
    )


@pytest.mark.parametrize("axis", AXES)
def test_a_box_is_held_to_the_point_that_its_coolest_setting_can_help(axis: str) -> None:
    one, rng, truths = search(axis), np.random.default_rng(1), settings()[0]
    beyond = compared = 0
    for truth, temp in zip(truths, temperatures(axis), strict=True):
        boxes = boxes_round(FRAME, truth, rng, [2.0, 0.2, 1e-4])
        lowest, goals = one._lowest(boxes), one.goals(boxes)
        assert np.all(lowest <= temp + 1e-6)
        assert lowest[-1] == pytest.approx(temp, abs=0.25)  # the ranges of flow keep a little width
        keeps = np.flatnonzero(one.limits >= temp)
        own = 10.0 ** ((one.levels[keeps[0]] - TOLERANCE - one.unit) / 10.0) if keeps.size else 0.0
        beyond += not keeps.size
        assert np.all(goals >= own * (1.0 - 1e-12))
        spacing = one.limits[1] - one.limits[0]
        if spacing > 0.3 and np.abs(one.limits - temp).min() > 0.3:  # no limit within what the small box leaves open
            assert goals[-1] == pytest.approx(own, rel=1e-12)
            compared += 1
    assert compared >= 3
    assert beyond >= 1


@pytest.mark.parametrize("axis", AXES)
def test_slices_cover_what_they_are_cut_from_and_are_as_narrow_as_asked(axis: str) -> None:
    one, rng = search(axis), np.random.default_rng(2)
    boxes = join([boxes_round(FRAME, truth, rng, [3.0, 0.3]) for truth in settings()[0][:3]])
    what = "air_temp" if axis == "air" else "coolant_temp"
    place = 0 if axis == "air" else one.node
    for width in (1.0, 0.01):
        found = one._sliced(boxes, width)
        spans = getattr(found, what)[:, place]
        most = np.ptp(getattr(boxes, what)[:, place], axis=1)
        assert np.all(np.ptp(spans, axis=1) <= np.maximum(width, most.max() / MOST_SLICES) * (1.0 + 1e-9))
        at = 0
        for box in range(boxes.count):
            pieces = int(np.clip(np.ceil(most[box] / width), 1, MOST_SLICES))
            mine = spans[at : at + pieces]
            assert mine[0, 0] == getattr(boxes, what)[box, place, 0]
            assert mine[-1, 1] == pytest.approx(getattr(boxes, what)[box, place, 1], rel=1e-15)
            assert np.allclose(mine[1:, 0], mine[:-1, 1], rtol=1e-15, atol=0.0)
            assert np.array_equal(found.pressure[at], boxes.pressure[box])
            at += pieces
        assert at == found.count
    assert LEAST_SLICE > 0.0


def test_the_axis_follows_the_node_of_its_source_or_the_warmest() -> None:
    truths, _ = settings()
    assert search("coolant").node == int(np.argmax(truths[0].node_temp))
    reach = next(r for r in FRAME.ring.reaches if r.station == BUILD.sources[0].name)
    assert search("point").node == reach.node
    assert len(node_stations(BUILD)) == len(FRAME.ring.nodes)


@pytest.mark.parametrize("axis", AXES)
def test_a_point_s_bound_is_its_goal_or_the_least_of_open_boxes_that_may_keep_its_limit(axis: str) -> None:
    one, rng = search(axis), np.random.default_rng(3)
    goals = one.levels - TOLERANCE
    assert one.bounds([]) == pytest.approx(goals, rel=1e-12)
    rest = [boxes_round(FRAME, truth, rng, [0.5, 0.1]) for truth in settings()[0][:3]]
    for boxes in rest:
        boxes.bound[:] = 10.0 ** ((rng.uniform(20.0, 45.0, boxes.count) - one.unit) / 10.0)
    found = one.bounds(rest)
    for place, limit in enumerate(one.limits):
        levels = [
            one.unit + 10.0 * np.log10(boxes.bound[i])
            for boxes in rest
            for i in range(boxes.count)
            if one._lowest(boxes)[i] - 1e-6 <= limit
        ]
        assert found[place] == pytest.approx(min([goals[place], *levels]), rel=1e-9)
    rest[0].bound[:] = 0.0
    assert np.all(one.bounds(rest)[one._lowest(rest[0]).min() <= one.limits] == -np.inf)
