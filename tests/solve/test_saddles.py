"""Fans whose pressure rises with flow somewhere: where networks of them rest, held to SciPy's interpolant of the sheet.

What a fan does at its sheet's speed is `PchipInterpolator` of its points (Fritsch and Butland 1984) times density over
1.2 kg/m3; an opening takes zeta rho / 2 (Q / A)^2 (Idelchik, "Handbook of Hydraulic Resistance"). All builds invented.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from quietcool.entry.build import ROOM, AirPath, Build, Core, FanGroup, FanRow, Opening, SpeedRange
from quietcool.solve import saddles
from quietcool.solve.operating_point import solve_operating_point
from tests.plain_builds import pressurised_saddle
from tests.second_opinion.whole import second_opinion
from tests.solve.test_against_second_opinion import disagreements

Floats = NDArray[np.float64]

BASE = pressurised_saddle()
SADDLE = BASE.fan_groups[0].fan
DENSITY = 101_325.0 / (287.05287 * 293.15)  # of dry air at the plain room's 293.15 K (ISO 2533:1975) [kg/m3]
LAST_PEAK = 0.017  # of the sheet [m3/s]
ZETA = 2.0


def side_by_side(area: float, *, exhaust: bool = False) -> Build:
    """Two equal fans that blow into a box with an opening, or out of it."""
    source, target = ("box", ROOM) if exhaust else (ROOM, "box")
    ranges = SpeedRange(5.0, 20.0, 1.0)
    paths = (
        AirPath("one", source, target, (FanRow("one", 1),)),
        AirPath("two", source, target, (FanRow("two", 1),)),
        AirPath("opening", target, source, (Opening(area, ZETA),)),
        replace(BASE.air_paths[3], stack=(FanRow("two", 1), *BASE.air_paths[3].stack[1:])),
    )
    groups = (FanGroup("one", SADDLE, ranges), FanGroup("two", SADDLE, ranges))
    return replace(BASE, fan_groups=groups, air_paths=paths)


@pytest.mark.parametrize("exhaust", [False, True], ids=["in", "out"])
@pytest.mark.parametrize(
    ("area", "speeds", "left"),
    [
        (0.002, (20.0, 20.0), [True, True]),
        (0.004, (20.0, 18.0), [True, True]),
        (0.005, (20.0, 20.0), [True, True]),  # one rests where its curve rises, held by the opening's steeper one
        (0.006, (20.0, 20.0), [True, False]),
        (0.008, (20.0, 18.0), [False, True]),
        (0.02, (20.0, 20.0), [False, False]),
    ],
)
def test_two_fans_with_a_saddle_rest_where_both_curves_meet_the_opening(
    area: float, speeds: tuple[float, float], left: list[bool], exhaust: bool
) -> None:
    build = side_by_side(area, exhaust=exhaust)
    point = solve_operating_point(build, build.states[0], [*speeds, 50.0])
    assert point.converged
    assert point.iterations < 10
    flow, ratio = point.air_flow[:2], np.array(speeds) / 20.0
    sheet = PchipInterpolator(SADDLE.curve.flow, SADDLE.curve.pressure)
    rise = sheet(flow / ratio) * ratio**2 * DENSITY / 1.2
    assert rise[0] == pytest.approx(rise[1], rel=1e-5)  # one box for both
    assert rise[0] == pytest.approx(0.5 * ZETA * DENSITY * (flow.sum() / area) ** 2, rel=1e-4)
    assert point.left_of_peak[:2].tolist() == left
    assert (flow < LAST_PEAK * ratio).tolist() == left


def test_a_lone_path_with_a_saddle_needs_no_network() -> None:
    """The whole rig is one path from the room through a core to the room; the second opinion is a scan with brentq."""
    core = BASE.air_paths[3].stack[1]
    assert isinstance(core, Core)
    thick = replace(core, radiator=replace(core.radiator, a=40.0, b=0.0))
    path = replace(BASE.air_paths[3], stack=(FanRow("weak", 1), thick))
    build = replace(BASE, enclosures=(), air_paths=(path,), fan_groups=BASE.fan_groups[:1])
    point = solve_operating_point(build, build.states[0], [20.0, 50.0])
    opinion = second_opinion(build, build.states[0], [20.0, 50.0])
    assert point.converged
    assert point.left_of_peak.tolist() == [True]
    assert point.air_flow[0] < LAST_PEAK
    assert disagreements(build, point, opinion) == []


def test_operating_points_that_fall_together_are_found_as_closely_as_the_looks_allow() -> None:
    """Three crossings in one, (1 - Q)^3: regula falsi creeps there, and the search must end all the same."""
    looks = []

    class Merged(saddles._Scan):
        def excess(self, flow: Floats, fixed: Floats) -> Floats:
            looks.append(float(fixed[0, 0]))
            return (1.0 - fixed) ** 3

    scan = Merged(SimpleNamespace(flow_scale=np.ones(1)), 0, np.zeros(1, dtype=np.intp))  # type: ignore[arg-type]
    (found,) = scan.refine(np.zeros((1, 1)), np.array([0.3]), np.array([2.1]))
    assert len(looks) == 2 + saddles.REFINEMENTS
    assert found == pytest.approx(1.0, abs=1e-7)
