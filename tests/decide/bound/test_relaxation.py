"""The slopes of the bound: what they promise at other prices, and what the bound does when a price is moved a little.

At a given reference the bound is the least of functions that are affine in the prices, hence concave; its slope is a
supergradient, and where the bound is smooth its derivative (Boyd and Vandenberghe, Convex Optimization, 2004, section
3.2.3; Bertsekas, Nonlinear Programming, section on dual computation; recalled, not re-read).
"""

from __future__ import annotations

import numpy as np
import pytest

from quietcool.decide.bound.relaxation import Relaxation, price_count
from tests.decide.bound.planted import planted_boxes, random_prices

SEEDS = (0, 4, 12)


@pytest.mark.parametrize("seed", SEEDS)
def test_slopes_lie_above_the_bound_at_all_other_prices(seed: int) -> None:
    rng = np.random.default_rng(seed)
    for frame, truth, seen in planted_boxes(seed, (0.4, 0.02), count=1):
        relaxation = Relaxation(frame, seen)
        price, reference = random_prices(relaxation, truth, rng)
        here = relaxation.evaluate(price, reference)
        assert here.slope.shape == (1, price_count(frame))
        for size in (1e-3, 0.1, 1.0):
            for _ in range(6):
                other = price + size * random_prices(relaxation, truth, rng)[0]
                there = relaxation.evaluate(other, reference)
                promised = here.bound + (here.slope * (other - price)).sum(axis=1)
                assert np.all(there.bound <= promised + 1e-9 * (np.abs(promised) + truth.energy))


@pytest.mark.parametrize("seed", SEEDS)
def test_slopes_are_what_the_bound_does_where_it_is_smooth(seed: int) -> None:
    rng = np.random.default_rng([seed, 1])
    agreed = tried = 0
    for frame, truth, seen in planted_boxes(seed, (0.4, 0.02), count=1):
        relaxation = Relaxation(frame, seen)
        price, reference = random_prices(relaxation, truth, rng)
        here = relaxation.evaluate(price, reference)
        for place in range(price.shape[1]):
            step = np.zeros_like(price)
            step[:, place] = 1e-5 * np.abs(price[:, place])
            up = relaxation.evaluate(price + step, reference).bound
            down = relaxation.evaluate(price - step, reference).bound
            difference = (up - down) / (2.0 * step[:, place])
            tried += 1
            agreed += bool(
                np.allclose(difference, here.slope[:, place], rtol=1e-4, atol=1e-4 * np.abs(here.slope).max())
            )
    assert tried >= 4
    assert agreed >= 0.8 * tried  # a kink may lie within the step


@pytest.mark.parametrize("seed", SEEDS)
def test_the_cheapest_option_forced_is_no_dearer_and_struck_options_are_beyond_reach(seed: int) -> None:
    rng = np.random.default_rng([seed, 2])
    for frame, truth, seen in planted_boxes(seed, (0.4,), count=1):
        relaxation = Relaxation(frame, seen)
        found = relaxation.evaluate(*random_prices(relaxation, truth, rng))
        for number, forced in enumerate(found.option_bound):
            assert forced[0, found.choice[number][0]] == pytest.approx(found.bound[0], rel=1e-9)
            assert np.all(forced >= found.bound[:, None] - 1e-9 * truth.energy - 1e-9 * np.abs(found.bound[:, None]))
            assert np.array_equal(np.isfinite(forced), seen.boxes.allowed[number])


def test_no_price_of_anything_leaves_the_noise_of_the_quietest_options() -> None:
    # With every balance free of charge the bound is the sum of the least energies, listed here one by one.
    for frame, truth, seen in planted_boxes(0, (0.4,), count=1):
        relaxation = Relaxation(frame, seen)
        price = np.zeros((1, price_count(frame)))
        reference = random_prices(relaxation, truth, np.random.default_rng(0))[1]
        first, last = seen.boxes.pump[0]
        least = frame.pump_energy[first : last + 1].min() + sum(float(e.min()) for e in seen.energy)
        assert relaxation.evaluate(price, reference).bound[0] == pytest.approx(least, rel=1e-9)


def test_boxes_of_a_batch_are_the_boxes_alone() -> None:
    rng = np.random.default_rng(3)
    for frame, truth, seen in planted_boxes(4, (0.4,), count=1):
        relaxation = Relaxation(frame, seen)
        found = relaxation.evaluate(*random_prices(relaxation, truth, rng))
        again = found.take(np.array([0, 0]))
        assert again.bound.tolist() == [found.bound[0]] * 2
        for one, other in zip(again.option_bound, found.option_bound, strict=True):
            assert np.array_equal(one[1], other[0])
        assert np.array_equal(again.loss[1], found.loss[0])
        assert all(np.array_equal(a[1], b[0]) for a, b in zip(again.reference, found.reference, strict=True))
