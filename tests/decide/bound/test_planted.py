"""No box loses a setting that lies in it, and no bound lies above the energy of one, at any prices.

The truth is solved apart from the bound: by the batched solver, and for some builds by the tests' scalar second
opinion, which shares nothing with either but the records. Thousands of trials: tests/profiles/bound_profile.py.
"""

from __future__ import annotations

import numpy as np
import pytest

from quietcool.decide.bound.boxes import root_box
from quietcool.decide.bound.propagation import examine
from quietcool.decide.bound.relaxation import price_count
from tests.decide.bound.planted import (
    boxes_round,
    check_build,
    check_truth,
    frame_of,
    losses,
    second_truth,
    solved_truths,
    without_limits,
)
from tests.plain_builds import pressurised_saddle
from tests.random_builds import random_build

SERIES, PARALLEL, SADDLES = (0, 3, 5, 10), (2, 4, 12), (1, 6)


@pytest.mark.parametrize("seed", SERIES + PARALLEL)
def test_random_settings_stay_in_random_boxes_below_no_bound(seed: int) -> None:
    tried, wrong = check_build(random_build(seed, limits=False), seed, 3)

    assert tried >= 12
    assert wrong == []


@pytest.mark.parametrize("seed", SADDLES)
def test_settings_with_a_saddle_stay_too(seed: int) -> None:
    tried, wrong = check_build(random_build(seed, saddle=True, limits=False), seed, 3)

    assert tried >= 12
    assert wrong == []


def test_a_fan_that_another_one_stalls_stays_in_its_boxes() -> None:
    build = without_limits(pressurised_saddle())
    frame = frame_of(build)
    rng = np.random.default_rng(5)
    truths = solved_truths(build, frame, rng, 6)

    assert len(truths) >= 4
    assert [sentence for truth in truths for sentence in check_truth(frame, truth, rng)[1]] == []


@pytest.mark.parametrize("seed", [8, 13])
def test_settings_whose_air_flows_backwards_through_fans_or_radiators_stay(seed: int) -> None:
    build = without_limits(random_build(seed, limits=False))
    frame = frame_of(build)
    rng = np.random.default_rng(seed)
    driven = [i for i, path in enumerate(build.air_paths) if path.fan_rows]
    truths = [one for one in solved_truths(build, frame, rng, 80) if np.any(one.mass_flow[driven] < 0.0)][:6]

    assert len(truths) == 6
    assert [sentence for truth in truths for sentence in check_truth(frame, truth, rng)[1]] == []


@pytest.mark.parametrize("seed", [0, 4])
def test_settings_of_the_scalar_second_opinion_stay(seed: int) -> None:
    build = without_limits(random_build(seed, limits=False))
    frame = frame_of(build)
    rng = np.random.default_rng(seed)
    truth = second_truth(build, [int(rng.integers(0, grid.size)) for grid in frame.question.grids])

    assert truth is not None
    assert check_truth(frame, truth, rng)[1] == []


@pytest.mark.parametrize("seed", [0, 2])
def test_the_root_holds_every_setting(seed: int) -> None:
    build = without_limits(random_build(seed, limits=False))
    frame = frame_of(build)
    root = root_box(frame, price_count(frame))
    for truth in solved_truths(build, frame, np.random.default_rng(seed), 8):
        seen = examine(frame, root, truth.energy * (1.0 + 1e-7), from_afar=True)

        assert list(losses(frame, truth, seen, 1)) == []


@pytest.mark.parametrize("seed", [0, 4])
def test_a_wrong_truth_is_found_out(seed: int) -> None:
    # The check itself must be able to fail: a setting that is not the box's own, or a lower energy.
    build = without_limits(random_build(seed, limits=False))
    frame = frame_of(build)
    rng = np.random.default_rng(seed)
    first, second = solved_truths(build, frame, rng, 8)[:2]
    narrow = boxes_round(frame, first, rng, [1e-3])
    seen = examine(frame, narrow, np.inf, from_afar=True)

    assert list(losses(frame, first, seen, 1)) == []
    assert list(losses(frame, second, seen, 1)) != []
