"""The rules that strike options, against plain loops; what balances say of a range that is left open.

An option is struck by a sum just when, whatever the other clusters do, the sum cannot lie where it must. Where all but
one range is tight round a true setting, the balance of heat alone must find that range again (first law; the setting
is the solver's).
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from quietcool.decide.bound.frame import Frame
from quietcool.decide.bound.propagation import examine
from quietcool.decide.bound.shrinking import Shrinking, _over, least_from
from tests.decide.bound.planted import Truth, boxes_round, frame_of, option_of, solved_truths, without_limits
from tests.random_builds import random_build

COUNTS = (5, 4, 6)  # options of three clusters


def open_rules(rng: np.random.Generator) -> Shrinking:
    nothing: Any = None
    allowed = [rng.uniform(size=(3, count)) < 0.8 for count in COUNTS]
    for one in allowed:
        one[:, 0] = True
    energy = [np.where(one, rng.uniform(size=one.shape), np.inf) for one in allowed]
    return Shrinking(nothing, nothing, nothing, (), nothing, nothing, allowed, energy)


@pytest.mark.parametrize("seed", range(4))
def test_an_option_is_struck_by_a_sum_just_when_no_combination_needs_it(seed: int) -> None:
    rng = np.random.default_rng(seed)
    rules = open_rules(rng)
    before = [one.copy() for one in rules.allowed]
    values = [
        np.sort(rng.normal(scale=0.4, size=(3, count, 2)) + rng.normal(size=(3, count, 1)), axis=2) for count in COUNTS
    ]
    least = np.array([-0.1, 0.5, -3.0])
    most = least + np.array([0.0, 0.2, 1.0])
    rules._strike_by_sum(values, least, most)
    struck = 0
    for box, number in itertools.product(range(3), range(len(COUNTS))):
        others = [c for c in range(len(COUNTS)) if c != number]
        for option in np.flatnonzero(before[number][box]):
            # The ends of the others may come from different options: the sum's interval is that of the hulls.
            low = sum(min(values[c][box, o, 0] for o in np.flatnonzero(before[c][box])) for c in others)
            high = sum(max(values[c][box, o, 1] for o in np.flatnonzero(before[c][box])) for c in others)
            low, high = low + values[number][box, option, 0], high + values[number][box, option, 1]
            kept = bool(rules.allowed[number][box, option])
            assert kept == (high >= least[box] and low <= most[box])
            assert np.isfinite(rules.energy[number][box, option]) == kept
            struck += not kept
        assert not np.any(rules.allowed[number][box] & ~before[number][box])
    assert struck > 0


@pytest.mark.parametrize("seed", range(4))
def test_an_option_is_struck_by_noise_just_when_every_combination_with_it_is_too_loud(seed: int) -> None:
    rng = np.random.default_rng([seed, 1])
    rules = open_rules(rng)
    energy, before = [one.copy() for one in rules.energy], [one.copy() for one in rules.allowed]
    pump, most = np.array([0.1, 0.0, 0.3]), np.array([0.9, 1.2, 5.0])
    rules._strike_by_energy(rules.energy, pump, most)
    for box, number in itertools.product(range(3), range(len(COUNTS))):
        for option in np.flatnonzero(before[number][box]):
            quietest = min(
                pump[box] + sum(float(energy[c][box, o]) for c, o in enumerate(chosen))
                for chosen in itertools.product(*(np.flatnonzero(one[box]) for one in before))
                if chosen[number] == option
            )
            assert rules.allowed[number][box, option] == (quietest < most[box])
    assert any(np.any(one != other) for one, other in zip(before, rules.allowed, strict=True))


def test_alive_are_boxes_with_every_range_and_every_cluster_open() -> None:
    rules = open_rules(np.random.default_rng(0))
    rules.boxes = type("Boxes", (), {"count": 3})()
    rules.coolant, rules.air_temp = np.tile([300.0, 301.0], (3, 2, 1)), np.tile([295.0, 295.0], (3, 1, 1))
    assert rules.alive().tolist() == [True, True, True]
    rules.coolant[0, 1] = 301.0, 300.0
    assert rules.alive().tolist() == [False, True, True]
    rules.air_temp[1, 0] = 296.0, 295.0
    assert rules.alive().tolist() == [False, False, True]
    rules.allowed[1][2] = False
    assert rules.alive().tolist() == [False, False, False]


def test_quotients_and_least_values_by_sampling() -> None:
    rng = np.random.default_rng(2)
    heat, capacity = np.sort(rng.normal(size=(20, 2)), axis=1), np.sort(rng.uniform(0.5, 3.0, size=(20, 2)), axis=1)
    found = _over(heat, capacity)
    ends = np.array([[h / c for h in heat[i] for c in capacity[i]] for i in range(20)])
    assert np.array_equal(found, np.stack([ends.min(axis=1), ends.max(axis=1)], axis=-1))
    table = rng.uniform(size=9)
    steps = np.array([[0, 8], [3, 3], [2, 5], [8, 8], [0, 0]])
    found = least_from(table, steps)
    assert found[[1, 3, 4]].tolist() == [table[3], table[8], table[0]]
    assert np.all(found <= [table[low : high + 1].min() for low, high in steps])
    assert found[0] == table.min()
    # Where louder steps follow quieter ones it is the quietest of the range itself.
    assert least_from(np.sort(table), steps).tolist() == [np.sort(table)[low] for low, _ in steps]


def tight(seed: int, width: float) -> tuple[Frame, Truth, Any]:
    """A box round a true setting with the true option of every cluster only."""
    build = without_limits(random_build(seed, limits=False))
    frame, rng = frame_of(build), np.random.default_rng([seed, 4])
    truth = solved_truths(build, frame, rng, 4)[0]
    boxes = boxes_round(frame, truth, rng, [width])
    allowed = tuple(np.zeros_like(one) for one in boxes.allowed)
    for number, one in enumerate(allowed):
        one[:, option_of(frame, number, truth)] = True
    step = int(truth.steps[-1])
    return frame, truth, replace(boxes, allowed=allowed, pump=np.array([[step, step]]))


@pytest.mark.parametrize("seed", [0, 2, 4])
def test_ranges_of_the_true_options_close_in_with_the_box(seed: int) -> None:
    # A box ten times narrower leaves a tenth of every flow: the laws are smooth, so their images shrink in step.
    widths: dict[float, list[float]] = {}
    for width in (0.1, 0.01):
        frame, truth, boxes = tight(seed, width)
        for visit in range(3):
            seen = examine(frame, boxes, np.inf, from_afar=visit == 0)
            assert seen.boxes.count == 1
            boxes = seen.boxes
        widths[width] = []
        for number, cluster in enumerate(frame.clusters):
            option = option_of(frame, number, truth)
            assert np.flatnonzero(np.isfinite(seen.energy[number][0])).tolist() == [option]
            for path in cluster.paths:
                own, ranges = frame.paths[path].option_of_cluster[option], seen.paths[path]
                widths[width].append(float(np.ptp(ranges.flow[0, own]) / frame.paths[path].flow_scale))
    wide, narrow = np.array(widths[0.1]), np.array(widths[0.01])
    plain = np.array([frame.paths[path].path.core is None for cluster in frame.clusters for path in cluster.paths])
    assert np.all(narrow[plain] <= 0.15 * wide[plain] + 2e-5)
    # What warms the air in a radiator keeps a part that the table of coolant flows adds, a kelvin wide.
    assert np.all(narrow[~plain] <= 0.5 * wide[~plain])
    assert np.all(wide <= 0.05)


@pytest.mark.parametrize("seed", [0, 2, 4])
@pytest.mark.parametrize("what", ["coolant_temp", "air_temp"])
def test_the_balance_of_heat_finds_a_temperature_that_is_left_open(seed: int, what: str) -> None:
    frame, truth, boxes = tight(seed, 0.01)
    true = truth.node_temp if what == "coolant_temp" else truth.air_temp
    for place in range(true.size):
        wide = getattr(boxes, what).copy()
        wide[0, place] = true[place] - 1.0, true[place] + 1.5
        open_box = replace(boxes, **{what: wide})
        for visit in range(4):
            seen = examine(frame, open_box, np.inf, from_afar=visit == 0)
            assert seen.boxes.count == 1
            open_box = seen.boxes
        low, high = getattr(open_box, what)[0, place]
        assert low <= true[place] <= high
        assert high - low < 1.0
