"""What a kelvin costs as a picture: made from answers written by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool.decide.axes import Axis
from quietcool.decide.tradeoff import Present, Tradeoff, TradePoint
from quietcool.show.plot_tradeoff import Band, noise_over_temperature
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


def test_every_layout_has_a_curve_a_name_and_its_numbers() -> None:
    """A curve that is lower by 2 dB everywhere is so at the limit of 45 degC too."""
    lower = tuple(replace(point, level=point.level - 2.0) for point in curve().points)
    picture = noise_over_temperature(curve(), None, {"push-pull": curve(points=lower)}, "side intake")
    check_picture(picture)
    traces = {t["name"]: t for t in picture.figure["data"]}
    assert np.subtract(traces["as built"]["y"], traces["push-pull"]["y"]) == pytest.approx([2.0] * 4)
    assert traces["push-pull"]["line"]["dash"] != "solid"
    assert "the fans of side intake placed otherwise: push-pull (−2.0 dB at the limit)" in picture.alternative
    assert [row[0] for row in picture.rows] == ["as built"] * 4 + ["push-pull"] * 4
