"""Counting speeds against writing them all down."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietcool.entry.speeds import admissible_count, band_complaint

SPEED = st.integers(0, 400).map(lambda n: 5.0 * n)


@given(SPEED, SPEED, st.integers(1, 60), st.lists(st.tuples(SPEED, SPEED).map(lambda b: (min(b), max(b))), max_size=6))
def test_count_is_the_number_of_speeds_outside_all_bands(
    low: float, high: float, step: int, bands: list[tuple[float, float]]
) -> None:
    low, high = min(low, high), max(low, high)
    grid = [low + step * i for i in range(3000) if low + step * i <= high]
    outside = [speed for speed in grid if not any(a <= speed <= b for a, b in bands)]

    assert admissible_count(low, high, step, bands) == len(outside)


def test_ends_of_a_band_belong_to_it() -> None:
    assert admissible_count(500.0, 700.0, 100.0, [(500.0, 600.0)]) == 1
    assert admissible_count(0.1, 0.4, 0.1, [(0.3, 0.4)]) == 2  # although 0.1 + 0.1 + 0.1 is not 0.3


@pytest.mark.parametrize(("bands", "wrong"), [([(1, 2), (4, 3)], 1), ([(2, 2)], None)])
def test_a_band_must_rise(bands: list[tuple[float, float]], wrong: int | None) -> None:
    complaint = band_complaint(bands)
    assert (None if complaint is None else complaint[1]) == wrong
