"""The ascent raises bounds towards the highest that the linear program knows, and never loses a box's best."""

from __future__ import annotations

import numpy as np
import pytest

from quietcool.decide.bound.ascent import ascend, first_reference, merge
from quietcool.decide.bound.prices import price_scales
from quietcool.decide.bound.relaxation import Relaxation, price_count
from quietcool.decide.bound.statement import state_relaxation
from tests.decide.bound.planted import planted_boxes, random_prices


@pytest.mark.parametrize("seed", [3, 12])
def test_the_ascent_comes_near_the_program_s_value_and_never_above_it(seed: int) -> None:
    # Weak duality (Boyd and Vandenberghe, Convex Optimization, 2004, section 5.2.2); the value is HiGHS's.
    for frame, truth, seen in planted_boxes(seed, (0.4,), count=1):
        value = state_relaxation(frame, seen).solve().value
        relaxation = Relaxation(frame, seen)
        start = np.zeros((1, price_count(frame)))
        nothing = relaxation.evaluate(start, first_reference(relaxation)).bound[0]
        assert value > nothing * (1.0 + 1e-6)  # else there is nothing to raise
        reached = []
        for steps in (0, 20, 200):
            price, found = ascend(relaxation, start, steps, np.array([2.0 * value]), price_scales(frame))
            assert found.bound[0] <= value + 1e-6 * truth.energy
            again = relaxation.evaluate(price, found.reference)
            assert again.bound[0] == pytest.approx(found.bound[0], rel=1e-9)
            assert np.allclose(price, found.price, rtol=1e-12, atol=0.0)
            reached.append(float(found.bound[0]))
        assert reached[0] == nothing
        assert reached[0] <= reached[1] <= reached[2]
        assert reached[2] - nothing > 0.3 * (value - nothing)


def test_a_box_at_its_goal_is_left_alone_and_time_ends_the_ascent() -> None:
    for frame, _, seen in planted_boxes(0, (0.02,), count=1):
        relaxation = Relaxation(frame, seen)
        start = np.zeros((1, price_count(frame)))
        low = relaxation.evaluate(start, first_reference(relaxation)).bound
        for goals, end in ((low, np.inf), (low * 10.0, -1.0)):
            price, found = ascend(relaxation, start, 50, goals, price_scales(frame), end)
            assert np.array_equal(price, start)
            assert np.array_equal(found.bound, low)


def test_merging_takes_the_better_bound_of_every_box_and_the_best_of_every_option() -> None:
    rng = np.random.default_rng(5)
    for frame, truth, seen in planted_boxes(4, (0.4,), count=1):
        relaxation = Relaxation(frame, seen)
        one, other = (relaxation.evaluate(*random_prices(relaxation, truth, rng)) for _ in range(2))
        for better, expected in ((np.array([True]), other), (np.array([False]), one)):
            found = merge(one, other, better)
            for name in ("bound", "slope", "loss", "price"):
                assert np.array_equal(getattr(found, name), getattr(expected, name))
            for place, option in enumerate(found.option_bound):
                assert np.array_equal(option, np.maximum(one.option_bound[place], other.option_bound[place]))
                assert np.array_equal(found.choice[place], expected.choice[place])
            assert all(np.array_equal(a, b) for a, b in zip(found.reference, expected.reference, strict=True))


def test_the_first_reference_is_in_the_middle_of_the_quietest_options() -> None:
    for frame, _, seen in planted_boxes(0, (0.4,), count=1):
        found = first_reference(Relaxation(frame, seen))
        for path, options in enumerate(frame.paths):
            quietest = int(np.argmin(seen.energy[frame.cluster_of[path]][0]))
            own = options.option_of_cluster[quietest]
            assert found.flow[0, path] == pytest.approx(seen.paths[path].flow[0, own].mean())
            assert found.conductance[0, path] == pytest.approx(seen.paths[path].conductance[0, own].mean())
