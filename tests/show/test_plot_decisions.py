"""Curves, layouts and causes as pictures: made from answers written by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from quietcool.decide.axes import Axis
from quietcool.decide.layouts import Difference, Layouts
from quietcool.decide.tradeoff import Present, Tradeoff, TradePoint
from quietcool.show.plot_decisions import Band, causes_of_error, layouts_compared, noise_over_temperature
from tests.show import invented_comparisons
from tests.show.solved_rigs import check_picture

AXIS = Axis("coolant", "coolant", over_room=False, value=318.15)
SPEEDS = np.array([10.0, 40.0])


def curve(**changes: object) -> Tradeoff:
    points = tuple(
        TradePoint(limit, SPEEDS, limit - 0.1, level, level - 0.05, 0.05, "proven", 1.0)
        for limit, level in ((313.15, 38.0), (315.15, 33.0), (317.15, 31.0), (321.15, 30.0))
    )
    fields = {
        "state": "render", "position": "desk", "axis": AXIS, "room_temp": 296.15, "points": points, "knee": 1,
        "present": Present(SPEEDS, 316.15, 34.0, 1.9, 1.4), "axis_limit": 318.15, "level_limit": 35.0,
        "solved_cases": 1, "boxes": 1, "interrupted": False,
    }  # fmt: skip
    return Tradeoff(**(fields | changes))  # type: ignore[arg-type]


def compared(value: float, half: float) -> Layouts:
    """A second row that is so much colder at equal noise, with its interval."""
    gain = Difference(value, value - half, value + half, 0.5)
    return invented_comparisons.layouts(gain, Difference(value, value, value, 0.5))


def test_the_front_is_in_celsius_with_its_marks() -> None:
    picture = noise_over_temperature(curve(), Band(1.0, 2.0), {"pull": curve()})
    check_picture(picture)
    front = next(t for t in picture.figure["data"] if t["name"] == "as built")
    assert front["x"] == pytest.approx([40.0, 42.0, 44.0, 48.0])
    assert "From 40.0 to 48.0 °C the rig gets 8.0 dB quieter" in picture.title
    assert "most of it by 42.0" in picture.title
    said = {note["text"] for note in picture.figure["layout"]["annotations"]}
    assert said >= {"knee", "present speeds", "pull", "as built", "limit 45.0", "limit 35.0 dB(A)"}
    band = next(t for t in picture.figure["data"] if t["name"] == "90 % interval")
    assert max(band["y"]) == 40.0
    assert min(band["y"]) == 28.0


def test_kelvins_over_the_room_are_counted_from_the_room() -> None:
    axis = Axis("coolant over room", "coolant", over_room=True, value=318.15)
    picture = noise_over_temperature(curve(axis=axis))
    assert picture.figure["data"][-3]["x"][0] == pytest.approx(17.0)
    assert "K over the room" in picture.title


def test_a_curve_without_points_says_so() -> None:
    picture = noise_over_temperature(curve(points=(), knee=None, present=None))
    assert picture.title == "No setting keeps the other limits in render"


def test_what_cannot_be_measured_reads_so_and_is_hollow() -> None:
    picture = layouts_compared(compared(0.3, 1.0), "side intake")
    check_picture(picture)
    assert "no layout is better than the present one by more than could be measured" in picture.title
    assert "no difference you could measure" in picture.alternative
    dot = next(t for t in picture.figure["data"] if t["mode"] == "markers")
    assert dot["marker"]["color"] != dot["marker"]["line"]["color"]


def test_a_layout_that_pays_is_in_the_title() -> None:
    picture = layouts_compared(compared(2.0, 0.7), "side intake")
    assert "push-pull, one speed is 2.0 K colder (+1.3 to +2.7)" in picture.title


def test_layouts_out_of_reach_are_not_drawn() -> None:
    picture = layouts_compared(compared(math.nan, 1.0), "side intake")
    assert "out of reach" in picture.alternative
    assert all(t["mode"] != "markers" for t in picture.figure["data"] if t.get("xaxis") == "x")


def test_causes_are_ranked_and_the_largest_is_to_be_measured_first() -> None:
    picture = causes_of_error("coolant", [("pump", 0.1), ("top radiator", 0.61), ("room", 0.001)])
    check_picture(picture)
    assert picture.title == "Measure top radiator first: it is 61 % of the error of the coolant"
    assert picture.figure["data"][0]["x"] == pytest.approx([61.0, 10.0])
    assert len(picture.rows) == 3
