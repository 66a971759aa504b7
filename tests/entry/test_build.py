"""What the records themselves say."""

from __future__ import annotations

import pytest

from quietcool.entry.build import SpeedRange


@pytest.mark.parametrize(
    ("speeds", "counted"),
    [
        (SpeedRange(10.0, 20.0, 5.0), (10.0, 15.0, 20.0)),
        (SpeedRange(10.0, 19.0, 5.0), (10.0, 15.0)),  # the highest is no step
        (SpeedRange(10.0, 20.0, 5.0, may_stop=True), (0.0, 10.0, 15.0, 20.0)),
        (SpeedRange(0.0, 10.0, 5.0, may_stop=True), (0.0, 5.0, 10.0)),  # at rest once
        (SpeedRange(10.0, 30.0, 5.0, avoid=((15.0, 20.0),)), (10.0, 25.0, 30.0)),  # the ends of a band belong to it
        (SpeedRange(10.0, 30.0, 5.0, avoid=((9.0, 11.0), (26.0, 29.0))), (15.0, 20.0, 25.0, 30.0)),
        (SpeedRange(10.0, 20.0, 5.0, avoid=((0.0, 99.0),), may_stop=True), (0.0,)),
    ],
)
def test_admissible_speeds_counted_by_hand(speeds: SpeedRange, counted: tuple[float, ...]) -> None:
    assert speeds.admissible() == counted


def test_steps_of_a_third_still_end_at_the_highest_speed() -> None:
    """From 500 to 2000 rpm in steps of 20 rpm there are 76 speeds, although no step is a whole number of rev/s."""
    found = SpeedRange(500 / 60, 2000 / 60, 20 / 60).admissible()
    assert len(found) == 76
    assert found[-1] == pytest.approx(2000 / 60, rel=1e-12)
