"""Layouts compared as a picture: made from answers written by hand."""

from __future__ import annotations

import math

from quietcool.decide.layouts import Difference, Layouts
from quietcool.show.plot_layouts import layouts_compared
from tests.show import invented_comparisons
from tests.show.solved_rigs import check_picture


def compared(value: float, half: float) -> Layouts:
    """A second row that is so much colder at equal noise, with its interval."""
    gain = Difference(value, value - half, value + half, 0.5)
    return invented_comparisons.layouts(gain, Difference(value, value, value, 0.5))


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
    assert "push-pull, one speed: out of reach" in {note["text"] for note in picture.figure["layout"]["annotations"]}
