"""The search itself: cuts lose nothing, and on a rig small enough to solve every setting the bound is what it says.

Truth: every admissible setting solved and judged by the tests' own reading of limits.
"""

from __future__ import annotations

import time
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from quietcool.decide.bound import search as search_module
from quietcool.decide.bound.boxes import Boxes
from quietcool.decide.bound.log import SearchLog
from quietcool.decide.bound.relaxation import price_count
from quietcool.decide.bound.search import SLICES, TOLERANCE, BoxSearch, prove
from quietcool.decide.incumbent import Incumbent, best_of, find_incumbent
from quietcool.decide.question import Question
from quietcool.entry.build import Build
from tests.decide.bound.planted import Truth, boxes_round, option_of, solved_truths, without_limits
from tests.decide.judged import coarse, every_setting, judged
from tests.decide.test_incumbent import tightened
from tests.random_builds import random_build

STEPS = 5


@lru_cache(maxsize=4)
def small(seed: int) -> tuple[Build, Question, Incumbent, float | None]:
    """A coarse rig, what is asked of it, the best setting known, and the least level of all settings."""
    build = coarse(random_build(seed, groups=2), STEPS)
    question = Question(build, build.states[:1], 0)
    quietest = judged(build, build.states[:1], every_setting(build)).quietest
    return build, question, find_incumbent(question).best, quietest[1] if quietest else None


@pytest.mark.parametrize("seed", [0, 5])
def test_a_closed_proof_lies_within_its_tolerance_below_the_quietest_of_all_settings(seed: int) -> None:
    _, question, best, quietest = small(seed)
    assert quietest is not None
    proof = prove(question, best, 60.0)
    assert proof.closed
    assert not proof.interrupted
    assert proof.boxes >= 1
    assert quietest - TOLERANCE - 1e-6 <= proof.lower_bound <= quietest + 1e-6
    assert proof.best.level == pytest.approx(quietest, abs=1e-6)


def test_a_proof_by_prices_alone_keeps_a_log_that_can_be_followed() -> None:
    # Between two coarse steps prices close nothing: the search ends with its time, and what it says holds all the same.
    _, question, best, quietest = small(0)
    log: dict[str, SearchLog] = {}
    proof = prove(question, best, 1.0, logs=log)
    (only,) = log.values()
    assert quietest is not None
    assert -np.inf < only.lower_bound == proof.lower_bound <= quietest + 1e-6
    # Every box that was bounded is the root's or a child of a cut, and each child of a cut is of one cut only.
    born = [child for cut in only.cuts.values() for child in cut.children]
    assert len(born) == len(set(born))
    assert set(only.prices) <= {0, *born}
    assert set(only.cuts) <= {0, *born}


def test_a_worse_start_is_bettered_on_the_way() -> None:
    build, question, best, quietest = small(0)
    every = every_setting(build)
    judgement = judged(build, build.states[:1], every)
    kept = np.flatnonzero(judgement.margin >= 0.0)
    loud = every[kept[np.argmax(judgement.level[kept])]]
    steps = np.array([[int(np.argmin(np.abs(grid - s))) for grid, s in zip(question.grids, loud, strict=True)]])
    start = best_of(question, steps)
    assert start.level > best.level + 1.0
    proof = prove(question, start, 60.0)
    assert proof.best.level == pytest.approx(quietest, abs=1e-6)
    assert proof.lower_bound <= quietest + 1e-6


def test_where_nothing_keeps_the_limits_the_bound_is_infinite() -> None:
    build, _, _, _ = small(0)
    margin = judged(build, build.states[:1], every_setting(build)).margin.max()
    build = tightened(build, max(float(margin), 0.0) + 3.0)
    question = Question(build, build.states[:1], 0)
    proof = prove(question, find_incumbent(question).best, 60.0)
    assert proof.closed
    assert proof.lower_bound == np.inf


def test_without_time_nothing_is_closed_and_the_bound_is_no_more_than_the_quietest_fans() -> None:
    _, question, best, quietest = small(0)
    proof = prove(question, best, 0.0)
    assert not proof.closed
    assert quietest is not None
    assert proof.lower_bound < quietest


def planted_search() -> tuple[BoxSearch, list[Truth]]:
    build = without_limits(random_build(2, limits=False))
    question = Question(build, build.states[:1], 0)
    nothing = np.zeros(1)
    rough = BoxSearch.__new__(BoxSearch)
    rough.__init__(  # type: ignore[misc]
        question,
        build.states[0].name,
        best_of(question, np.array([[len(grid) - 1 for grid in question.grids]])),
        time.monotonic() + 60.0,
        lambda level, bound: None,
        None,
        [nothing],
    )
    rough.pool = [np.zeros(price_count(rough.frame))]
    return rough, solved_truths(build, rough.frame, np.random.default_rng(3), 6)


def holds(boxes: Boxes, truth: Truth) -> np.ndarray:
    """Which boxes a true setting lies in."""
    inside = (boxes.pump[:, 0] <= truth.steps[-1]) & (truth.steps[-1] <= boxes.pump[:, 1])
    for spans, value in (
        (boxes.pressure, truth.pressure),
        (boxes.air_temp, truth.air_temp),
        (boxes.coolant_temp, truth.node_temp),
    ):
        inside &= np.all((spans[..., 0] <= value) & (value <= spans[..., 1]), axis=1)
    return inside


def test_a_split_box_holds_each_of_its_settings_in_one_child() -> None:
    search, truths = planted_search()
    rng = np.random.default_rng(4)
    for truth in truths:
        boxes = boxes_round(search.frame, truth, rng, [2.0, 0.4, 0.05])
        n = 2 * search.frame.enclosures + len(search.frame.ring.nodes)
        for place in range(n + 1):
            loss = np.full((3, n + 2), 1.0)
            loss[:, place] = 50.0
            loss[:, -1] = 99.0  # what blocks cost does not count here
            children = search._split(boxes, loss)
            assert children.count == 6
            inside = holds(children, truth).reshape(2, 3)
            assert np.all(inside.sum(axis=0) == 1)
            assert len(set(children.number.tolist())) == 6
            assert np.all(children.depth == 1)
            for box in range(3):
                spans = np.concatenate([boxes.pressure[box], boxes.air_temp[box], boxes.coolant_temp[box]])
                both = [
                    np.concatenate([children.pressure[i], children.air_temp[i], children.coolant_temp[i]])
                    for i in (box, box + 3)
                ]
                changed = [i for i in range(n) if any(not np.array_equal(one[i], spans[i]) for one in both)]
                ranged = boxes.pump[box, 0] < boxes.pump[box, 1]
                if place == n and ranged:  # the pump's range, where there is one
                    assert changed == []
                    first, last = boxes.pump[box]
                    assert children.pump[box].tolist() == [first, (first + last) // 2]
                    assert children.pump[box + 3].tolist() == [(first + last) // 2 + 1, last]
                elif place < n:
                    assert changed == [place]
                    middle = spans[place].mean()
                    assert both[0][place].tolist() == [spans[place, 0], middle]
                    assert both[1][place].tolist() == [middle, spans[place, 1]]


def test_a_range_too_narrow_to_split_is_left_and_the_next_is_taken() -> None:
    search, truths = planted_search()
    boxes = boxes_round(search.frame, truths[0], np.random.default_rng(5), [0.05])
    air = boxes.air_temp.copy()
    air[0, 0, 1] = air[0, 0, 0] + 1e-6
    boxes = replace(boxes, air_temp=air)
    n = search.frame.enclosures
    loss = np.zeros((1, 2 * n + len(search.frame.ring.nodes) + 2))
    loss[:, n], loss[:, 0] = 9.0, 1.0
    children = search._split(boxes, loss)
    assert np.array_equal(children.air_temp[0], children.air_temp[1])
    assert children.pressure[0, 0, 1] == children.pressure[1, 0, 0] == boxes.pressure[0, 0].mean()


def test_slices_of_a_pressure_hold_every_setting() -> None:
    search, truths = planted_search()
    rng = np.random.default_rng(6)
    for truth in truths[:3]:
        boxes = boxes_round(search.frames[0], truth, rng, [3.0])
        before = search.box_count
        found = search._slice_pressure(boxes, 0, trim=False)
        assert search.box_count == before + SLICES
        assert 1 <= found.count <= SLICES
        inside = holds(found, truth)
        assert inside.sum() == 1
        assert np.ptp(found.pressure[inside][0, 0]) == pytest.approx(3.0 / SLICES)
        for number in range(len(search.frame.clusters)):
            assert found.allowed[number][inside][0, option_of(search.frames[0], number, truth)]


def test_energies_and_levels_are_one_another_s_inverse() -> None:
    search, _ = planted_search()
    assert search.best.worst_margin >= 0.0
    assert search.unit == search.best.level
    assert search.level(search.goal) == pytest.approx(search.best.level - TOLERANCE, abs=1e-9)
    assert search.level(0.0) == -np.inf
    assert search._incumbent_energy() == 1.0  # of the level that energies are over


@pytest.mark.parametrize(("most", "stated"), [(10**6, True), (0, False)])
def test_a_program_too_large_to_write_down_is_left_alone(
    most: int, stated: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With 7,500 options of two shared stacks the linear program took gigabytes, and minutes past the time limit."""
    build, question, best, _ = small(0)
    called: list[int] = []
    monkeypatch.setattr(search_module, "POOL_FROM", 1)
    monkeypatch.setattr(search_module, "POOL_EVERY", 1)
    monkeypatch.setattr(search_module, "MOST_STATED", most)
    monkeypatch.setattr(search_module, "first_prices", lambda *_, **__: called.append(1))
    monkeypatch.setattr(search_module, "CHUNK", 1)  # so that boxes are still open after the first chunk
    search = BoxSearch(question, build.states[0].name, best, time.monotonic() + 60.0, lambda *_: None)
    search.run()

    assert bool(called) == stated
