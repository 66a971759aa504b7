"""What a search writes down of itself, word for word."""

from __future__ import annotations

import math

import numpy as np

from quietcool.decide.bound.log import Cut, Prices, SearchLog


def test_a_log_keeps_cuts_prices_and_the_end_as_they_were_told() -> None:
    log = SearchLog()
    assert math.isnan(log.unit)
    assert math.isnan(log.lower_bound)
    log.trim(1, np.array([0.5, 1.5]))
    log.split(np.array([0, 3]), np.array([2, 4]), np.array([[300.0], [7.0]]), np.array([[1, 2], [5, 6]]))
    log.bound(
        np.array([5, 6]), np.array([[0.1, 0.2], [0.3, 0.4]]), (np.array([[1.0], [2.0]]), np.array([[3.0], [4.0]]))
    )
    log.end(31.0, 29.5)
    assert log.trims == [(1, (0.5, 1.5))]
    assert log.cuts == {0: Cut(2, (300.0,), (1, 2)), 3: Cut(4, (7.0,), (5, 6))}
    assert log.prices == {5: Prices((0.1, 0.2), (1.0,), (3.0,)), 6: Prices((0.3, 0.4), (2.0,), (4.0,))}
    assert (log.unit, log.lower_bound) == (31.0, 29.5)
    assert all(type(part) is int for cut in log.cuts.values() for part in (cut.coordinate, *cut.children))
