"""Every picture of a rig: an answer, words, numbers, units; and markup in a name is a name."""

from __future__ import annotations

from dataclasses import replace

import pytest

from quietcool.show import plots
from quietcool.show.look import Picture
from quietcool.solve.operating_point import solve_operating_point
from tests.show.solved_rigs import HOSTILE, check_picture, hostile, solved, texts_of


def pictures(build, state, point) -> list[Picture]:
    blown = [path.name for path in build.air_paths if path.fan_rows]
    return [
        plots.air_map(build, state, point),
        plots.heat_flow(build, state, point),
        plots.coolant_ring(build, state, point),
        plots.loudest(build, state, point),
        plots.spectrum(build, state, point, build.positions[0].name),
        plots.speed_plane(build, state, point, build.group_names[:2]),
        *(plots.fan_curves(build, state, point, path) for path in blown),
    ]


@pytest.mark.parametrize(("name", "state"), [("booth_wall", "render"), ("sample_room", "bounce")])
def test_every_picture_of_the_demos_is_whole(name: str, state: str) -> None:
    found = pictures(*solved(name, state))
    for picture in found:
        check_picture(picture)
    assert len({picture.name for picture in found}) == len(found)


def test_markup_in_names_is_escaped_in_every_picture() -> None:
    """Plotly obeys a few tags in texts, a browser all of them in a drawing: neither may see one from a name."""
    build = hostile(solved("sample_room", "bounce")[0])
    state = build.states[2]
    point = solve_operating_point(build, state, [speeds.present for speeds in build.speed_ranges])
    seen = 0
    for picture in pictures(build, state, point):
        for text in texts_of(picture.figure):
            assert "<" not in text.replace("<extra></extra>", "").replace("<br>", ""), text
        seen += any("&lt;script" in text for text in texts_of(picture.figure))
        drawing = picture.drawing or ""
        assert "<script" not in drawing
        assert "<img" not in drawing
    assert seen >= 2  # ring and levels hold names of points and positions


def test_numbers_in_a_figure_are_never_nan() -> None:
    import json

    for picture in pictures(*solved()):
        json.dumps(picture.figure, allow_nan=False)


def test_a_rig_without_enclosure_or_positions_can_be_drawn() -> None:
    build, state, point = solved("sample_room", "bounce")
    bare = replace(build, positions=())
    point = solve_operating_point(bare, state, point.speeds)
    assert "No position" in plots.loudest(bare, state, point).title
    assert HOSTILE not in plots.air_map(bare, state, point).title
