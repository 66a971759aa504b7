"""Even draws, variance shares and intervals, held to published values and closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from quietcool.decide.sampling import IndexDesign, central_interval, index_design, latin_hypercube, variance_shares


def ishigami(x: np.ndarray, a: float = 7.0, b: float = 0.1) -> np.ndarray:
    return np.sin(x[:, 0]) + a * np.sin(x[:, 1]) ** 2 + b * x[:, 2] ** 4 * np.sin(x[:, 0])


def shares_of_ishigami(design: IndexDesign) -> tuple[np.ndarray, np.ndarray]:
    shares = variance_shares(design, ishigami(np.pi * (2.0 * design.scores - 1.0)))
    return shares.first, shares.total


def test_every_part_of_every_input_is_drawn_once() -> None:
    # McKay, Beckman & Conover, Technometrics 21 (1979), 239-245: the definition.
    scores = latin_hypercube(200, 7, seed=3)
    assert np.array_equal(np.sort(np.floor(200 * scores), axis=0), np.tile(np.arange(200.0)[:, None], 7))


def test_inputs_are_drawn_independently_of_each_other() -> None:
    scores = latin_hypercube(2000, 6, seed=5)
    off = np.corrcoef(scores.T)[~np.eye(6, dtype=bool)]
    assert np.abs(off).max() < 4.0 / np.sqrt(2000.0)  # four deviations of a correlation of nothing


def test_one_seed_one_draw_and_a_longer_list_begins_alike() -> None:
    assert np.array_equal(latin_hypercube(64, 3, seed=9), latin_hypercube(64, 3, seed=9))
    assert np.array_equal(latin_hypercube(64, 3, seed=9), latin_hypercube(64, 5, seed=9)[:, :3])
    assert not np.array_equal(latin_hypercube(64, 3, seed=9), latin_hypercube(64, 3, seed=10))


def test_shares_of_the_ishigami_function() -> None:
    # From T. Ishigami and T. Homma, "An importance quantification technique in uncertainty analysis for computer
    # models", ISUMA 1990, 398-403: partial variances of the function, with 7 and 0.1 for its two constants.
    a, b = 7.0, 0.1
    v1, v2 = 0.5 * (1.0 + b * np.pi**4 / 5.0) ** 2, a**2 / 8.0
    v13 = b**2 * np.pi**8 * (1.0 / 18.0 - 1.0 / 50.0)
    whole = v1 + v2 + v13
    first, total = shares_of_ishigami(index_design(2**15, 3, [[0], [1], [2]], seed=1))
    assert first == pytest.approx(np.array([v1, v2, 0.0]) / whole, abs=0.015)
    assert total == pytest.approx(np.array([v1 + v13, v2, v13]) / whole, abs=0.015)
    # The values as printed in A. Saltelli et al., "Global Sensitivity Analysis. The Primer", Wiley, 2008
    # (recalled, not re-read).
    assert np.array([v1, v2, 0.0]) / whole == pytest.approx([0.3139, 0.4424, 0.0], abs=5e-5)
    assert np.array([v1 + v13, v2, v13]) / whole == pytest.approx([0.5576, 0.4424, 0.2437], abs=5e-5)


def test_a_set_of_inputs_ranks_together() -> None:
    # Of a sum, the share of a set is the sum of its squares: closed form.
    weights = np.array([3.0, 2.0, 1.0, 1.0])
    design = index_design(2**13, 4, [[0], [1, 2], [3]], seed=2)
    found = variance_shares(design, design.scores @ weights)
    expected = np.array([9.0, 5.0, 1.0]) / 15.0
    assert found.first == pytest.approx(expected, abs=0.03)
    assert found.total == pytest.approx(expected, abs=0.03)


def test_shares_of_many_results_at_once_and_with_lost_cases() -> None:
    design = index_design(2**10, 3, [[0], [1], [2]], seed=3)
    x = np.pi * (2.0 * design.scores - 1.0)
    both = np.stack([ishigami(x), np.full(len(x), 4.0)], axis=-1)
    found = variance_shares(design, both)
    assert found.first[:, 0] == pytest.approx(shares_of_ishigami(design)[0], rel=1e-12)
    assert np.all(found.total[:, 1] == 0.0)
    both[[5, 700], 0] = np.nan
    assert variance_shares(design, both[:, 0]).total == pytest.approx(found.total[:, 0], abs=0.02)


def test_interval_of_a_normal_quantity() -> None:
    # The 95 % quantile of the normal distribution, 1.6449: any handbook of statistics.
    from statistics import NormalDist

    drawn = np.array([NormalDist(10.0, 2.0).inv_cdf(u) for u in latin_hypercube(2000, 1, seed=4)[:, 0]])
    low, high = central_interval(drawn)
    assert (float(low), float(high)) == pytest.approx((10.0 - 2.0 * 1.6449, 10.0 + 2.0 * 1.6449), abs=0.02)


def test_interval_of_draws_without_answers() -> None:
    low, high = central_interval(np.array([[1.0, np.nan], [2.0, np.nan], [np.nan, np.nan]]))
    assert 1.0 <= low[0] <= high[0] <= 2.0
    assert np.isnan(low[1])
    assert np.isnan(high[1])
    assert [float(end) for end in central_interval(np.full(9, -np.inf))] == [-np.inf, -np.inf]
