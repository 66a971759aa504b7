"""The plane of two groups' speeds holds what single solves say, and shades what breaks a limit."""

from __future__ import annotations

import numpy as np
import pytest

from quietcool.decide.limits import margins
from quietcool.show.plot_plane import solve_plane, speed_plane
from quietcool.solve.operating_point import solve_operating_point
from tests.show.solved_rigs import check_picture, solved


def test_a_point_of_the_plane_is_a_case_by_itself() -> None:
    build, state, point = solved()
    plane = solve_plane(build, state, point, ("bottom", "pump"))
    j, i = 7, 11
    speeds = point.speeds.copy()
    speeds[1], speeds[3] = plane.speeds[0][i], plane.speeds[1][j]
    alone = solve_operating_point(build, state, speeds)
    assert plane.level[j, i] == pytest.approx(float(alone.level[0]), abs=1e-9)
    assert plane.temp[j, i] == pytest.approx(float(alone.coolant_temp_max), abs=1e-9)
    assert plane.margins[j, i] == pytest.approx(margins(build, state, alone), abs=1e-9)


def test_the_picture_is_whole_and_shows_bands_to_avoid() -> None:
    build, state, point = solved()
    picture = speed_plane(build, state, point, ("side", "bottom"))
    check_picture(picture)
    (band,) = [shape for shape in picture.figure["layout"]["shapes"] if shape["type"] == "rect"]
    assert (band["x0"], band["x1"]) == pytest.approx((810.0, 870.0))
    assert "breaks a limit" in picture.title


def test_what_breaks_a_limit_is_shaded_where_it_does() -> None:
    build, state, point = solved()
    plane = solve_plane(build, state, point, ("side", "bottom"))
    picture = speed_plane(build, state, point, ("side", "bottom"))
    trace = next(trace for trace in picture.figure["data"] if trace["name"] == "a limit is broken")
    worst = np.array(trace["z"], float)
    assert np.array_equal(worst < 0.0, np.any(plane.margins < 0.0, axis=-1))
    assert trace["contours"]["operation"] == ">="  # plotly fills what is outside the constraint


def test_nothing_is_shaded_where_every_limit_is_kept() -> None:
    build, state, point = solved("sample_room", "idle")
    plane = solve_plane(build, state, point, ("front", "pump"))
    kept = np.all(plane.margins >= 0.0)
    picture = speed_plane(build, state, point, ("front", "pump"))
    assert any(t["name"] == "a limit is broken" for t in picture.figure["data"]) != kept
