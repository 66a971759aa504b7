"""What drives an error as a picture: made from shares written by hand."""

from __future__ import annotations

import pytest

from quietcool.show.plot_causes import causes_of_error
from tests.show.solved_rigs import check_picture


def test_causes_are_ranked_and_the_largest_is_to_be_measured_first() -> None:
    picture = causes_of_error("coolant", [("pump", 0.1), ("top radiator", 0.61), ("room", 0.001)])
    check_picture(picture)
    assert picture.title == "Measure first: top radiator, 61 % of the error of the coolant"
    assert picture.figure["data"][0]["x"] == pytest.approx([61.0, 10.0])
    assert len(picture.rows) == 3
