"""Fan curves meet what the path takes where the solver says that the path rests."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool.show.plot_curves import fan_curves, path_curves
from quietcool.solve.operating_point import solve_operating_point
from tests.show.solved_rigs import check_picture, solved


def test_the_curves_cross_at_the_operating_point() -> None:
    """At rest what fans give is what the path takes (static equilibrium): the drawn curves must say so too."""
    build, state, point = solved()
    found = path_curves(build, state, point, "side intake", layouts=False)
    flow, rise = found.rests[-1]
    assert flow == pytest.approx(float(point.air_flow[0]), rel=1e-9)
    assert float(np.interp(flow, found.flow, found.taken)) == pytest.approx(rise, rel=3e-3)
    assert float(np.interp(flow, found.flow, found.rises[-1])) == pytest.approx(rise, rel=3e-3)


def test_a_fan_curve_follows_the_fan_laws() -> None:
    """Pressure at zero flow goes with the square of the speed (fan laws; ISO 5801:2017, clause on conversion,
    recalled, not re-read)."""
    build, state, point = solved()
    found = path_curves(build, state, point, "side intake", layouts=False)
    at_rest = found.rises[:, 0]
    assert at_rest / at_rest[-1] == pytest.approx((found.speeds / found.speeds[-1]) ** 2, rel=1e-6)


def test_a_kelvin_takes_what_is_marked() -> None:
    """Set a speed that gives the marked flow, solve the whole rig again: the coolant is that much colder."""
    build, state, point = solved()
    found = path_curves(build, state, point, "side intake", layouts=False)
    assert {k for k, _ in found.needed} >= {-1, 1}
    speeds = np.linspace(500.0, 2000.0, 1501) / 60.0
    asked = np.tile(point.speeds, (speeds.size, 1))
    asked[:, 0] = speeds
    batch = solve_operating_point(build, state, asked)
    for kelvins, flow in found.needed:
        at = int(np.argmin(np.abs(batch.air_flow[:, 0] - flow)))
        assert float(batch.coolant_temp_max[at] - point.coolant_temp_max) == pytest.approx(kelvins, abs=0.1)


def test_layouts_are_those_of_the_whole_rig() -> None:
    build, state, point = solved()
    found = path_curves(build, state, point, "side intake", layouts=True)
    named = {name: rest for name, _, rest in found.layouts}
    assert set(named) == {"pull", "push-pull"}
    # Two rows in series never move less than one (pressures add): the second one is no brake at the same speed.
    assert named["push-pull"][0] > found.rests[-1][0]


def test_the_stall_side_begins_at_the_last_peak() -> None:
    """A saddle curve by hand: its last peak lies at 60 of 105 m3/h on the sheet, at half speed at 30 of each fan."""
    build, state, point = solved()
    saddle = tuple(q / 3600.0 for q in (0.0, 15.0, 30.0, 45.0, 60.0, 75.0, 90.0, 105.0))
    pressure = (30.0, 24.0, 17.0, 19.0, 21.0, 17.0, 9.0, 0.0)
    group = build.fan_groups[0]
    fan = replace(group.fan, curve=replace(group.fan.curve, flow=saddle, pressure=pressure, speed=2000.0 / 60.0))
    changed = replace(build, fan_groups=(replace(group, fan=fan), *build.fan_groups[1:]))
    speeds = point.speeds.copy()
    speeds[0] = 1000.0 / 60.0
    solved_again = solve_operating_point(changed, state, speeds)
    found = path_curves(changed, state, solved_again, "side intake", layouts=False)
    assert found.peak * 3600.0 == pytest.approx(4 * 30.0, rel=1e-3)
    picture = fan_curves(changed, state, solved_again, "side intake", layouts=False)
    assert any(trace.get("fill") == "toself" for trace in picture.figure["data"])
    assert "fans stall" in picture.alternative


@pytest.mark.parametrize("path", ["side intake", "bottom intake", "top exhaust"])
def test_the_picture_is_whole(path: str) -> None:
    check_picture(fan_curves(*solved(), path))


def test_a_path_without_fans_has_no_curves() -> None:
    with pytest.raises(ValueError, match="no fans"):
        fan_curves(*solved(), "rear slots")
