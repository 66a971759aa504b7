"""The air map tells who breathes whose air."""

from __future__ import annotations

import numpy as np
import pytest

from quietcool.show.plot_air import air_map, breathed, draws_from
from quietcool.solve.operating_point import solve_operating_point
from tests.show.solved_rigs import check_picture, solved


def test_shares_of_an_enclosure_are_those_of_the_mass_flows() -> None:
    """Shares of what flows in, by hand: m1 / (m1 + m2), and they make one."""
    build, _, point = solved()
    flows = {path.name: float(m) for path, m in zip(build.air_paths, point.mass_flow, strict=True)}
    shares = dict(breathed(build, point)["tower"])
    both = flows["side intake"] + flows["bottom intake"]
    assert shares == pytest.approx(
        {"side intake": flows["side intake"] / both, "bottom intake": flows["bottom intake"] / both}
    )
    assert sum(shares.values()) == pytest.approx(1.0)


def test_the_picture_is_whole_and_names_the_warm_radiator() -> None:
    build, state, point = solved()
    picture = air_map(build, state, point)
    check_picture(picture)
    assert "top exhaust breathes tower air" in picture.title
    tower = float(point.enclosure_temp[0]) - 273.15
    assert f"{tower:.1f} °C" in picture.title


def test_reversed_flow_turns_the_path_round() -> None:
    """With the side fans alone against stopped ones, air leaves backwards through the bottom intake."""
    build, state, _ = solved()
    speeds = np.array([2000.0, 0.0, 0.0, 3600.0]) / 60.0
    point = solve_operating_point(build, state, speeds)
    i = [path.name for path in build.air_paths].index("bottom intake")
    assert point.mass_flow[i] < 0.0
    assert draws_from(build.air_paths[i], float(point.mass_flow[i])) == "tower"
    picture = air_map(build, state, point)
    row = next(row for row in picture.rows if row[0] == "bottom intake")
    assert row[2:4] == ("tower", "room")
    assert "reversed" in (picture.drawing or "")
