"""What is said about a solved state, and that nothing is said where there is nothing to say.

The rig is made here of plain records, so that every expectation can be worked out by hand; all numbers are invented.
"""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from quietcool.entry import build as records
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.solve.findings import path_crossings, settled_law, state_findings
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point

DEMO = read_build(demo_path("booth_wall"))
RENDER = DEMO.state("render")
BRISK = (1100 / 60, 1100 / 60, 1100 / 60, 60.0)  # inside the trust of every sheet, on the grid [rev/s]


def said(build: records.Build = DEMO, state: records.State = RENDER, speeds: tuple[float, ...] = BRISK) -> list[str]:
    return list(state_findings(build, state, solve_operating_point(build, state, speeds)))


def solved(build: records.Build, state: records.State, speeds: tuple[float, ...]) -> OperatingPoint:
    return solve_operating_point(build, state, speeds)


def matching(findings: list[str], *words: str) -> list[str]:
    return [finding for finding in findings if all(word in finding for word in words)]


def test_ordinary_speeds_have_nothing_to_say() -> None:
    assert said() == []


def test_a_batch_is_refused() -> None:
    with pytest.raises(ValueError, match=r"\(1,\)"):
        state_findings(DEMO, RENDER, solve_operating_point(DEMO, RENDER, [BRISK]))


def test_trust_of_a_sheet_ends_at_four_tenths_and_at_three_halves() -> None:
    """The published contract of the build file: speeds outside 0.4 to 1.5 of a sheet's speed are extrapolated."""
    side = DEMO.fan_groups[0].fan.curve.speed
    for ratio, expected in ((0.39, 1), (0.41, 0), (1.49, 0), (1.51, 1), (0.0, 0)):
        found = matching(said(speeds=(ratio * side, *BRISK[1:])), "extrapolated", 'group "side"')
        assert len(found) == expected, ratio
        assert all(f"{ratio:.2f} of the 2000 rpm" in finding for finding in found)


def test_curve_and_level_are_told_apart() -> None:
    group = DEMO.fan_groups[0]
    sound = dataclasses.replace(group.fan.sound, speed=3.0 * group.fan.sound.speed)
    fan = dataclasses.replace(group.fan, sound=sound)
    build = dataclasses.replace(DEMO, fan_groups=(dataclasses.replace(group, fan=fan), *DEMO.fan_groups[1:]))
    (finding,) = said(build)
    assert "level extrapolated" in finding
    assert "curve" not in finding


def test_a_speed_that_cannot_be_set_is_said() -> None:
    assert matching(said(speeds=(1105 / 60, *BRISK[1:])), 'group "side"', "1105 rpm is none")
    assert matching(said(speeds=(*BRISK[:3], 3100 / 60)), 'group "pump"', "3100 rpm is none")  # inside a band to avoid
    assert not matching(said(speeds=(*BRISK[:2], 0.0, 60.0)), "is none")  # the top fans may stop


def test_a_stopped_intake_of_a_pressurised_tower_runs_backwards() -> None:
    speeds = (2000 / 60, 0.0, 0.0, 60.0)
    point = solved(DEMO, RENDER, speeds)
    assert point.mass_flow[1] < 0.0
    found = matching(said(speeds=speeds), "reversed flow")
    assert len(found) == 1
    assert "bottom intake" in found[0]
    assert "from tower to room" in found[0]
    assert f"{-3600 * point.air_flow[1]:.1f} m3/h" in found[0]


def test_fans_at_rest_leave_the_air_without_a_temperature() -> None:
    findings = said(speeds=(0.0, 0.0, 0.0, 60.0))
    assert matching(findings, 'enclosure "tower"', "nothing flows through")
    assert matching(findings, "nothing carries its heat away")
    assert matching(findings, "side intake", "passive")


def test_a_pump_at_rest_leaves_the_coolant_without_a_temperature() -> None:
    assert matching(said(speeds=(*BRISK[:3], 0.0)), "coolant: nothing flows")


def test_a_slow_second_row_is_a_brake() -> None:
    side, bottom, top, slots = DEMO.air_paths
    slow = records.FanRow("top", 3)
    build = dataclasses.replace(
        DEMO,
        air_paths=(
            dataclasses.replace(side, stack=(*side.stack, slow)),
            bottom,
            dataclasses.replace(top, stack=tuple(e for e in top.stack if not isinstance(e, records.FanRow))),
            slots,
        ),
    )
    speeds = (2000 / 60, 1100 / 60, 460 / 60, 60.0)
    found = matching(said(build, speeds=speeds), "brake")
    assert len(found) == 1
    assert "side intake" in found[0]
    assert '"top"' in found[0]
    # Free delivery of the slow fans by the fan laws, from the points of their sheet: the flow lies beyond it.
    top_fan = build.fan_groups[2].fan.curve
    free = top_fan.flow[-1] * speeds[2] / top_fan.speed
    assert top_fan.pressure[-1] == 0.0
    assert float(solved(build, RENDER, speeds).air_flow[0]) / slow.count > free


def test_a_row_at_rest_is_not_called_a_brake() -> None:
    assert not matching(said(speeds=(*BRISK[:2], 0.0, 60.0)), "brake")


def test_water_freezes_at_zero() -> None:
    """Water freezes at 273.15 K; the ring of a cold room without heat stands at the room's temperature."""
    cold = dataclasses.replace(RENDER, room_temp=268.15, heat=dict.fromkeys(RENDER.heat, 0.0), air_heat={})
    loop = dataclasses.replace(DEMO.loop, coolant=records.Coolant("water"))
    water = dataclasses.replace(DEMO, loop=loop)
    assert matching(said(water, cold), "freezing point of 0.0 degC")
    assert not matching(said(DEMO, cold), "freezing")  # a quarter of glycol: near -10 degC


def test_a_ring_near_boiling_is_said() -> None:
    hot = dataclasses.replace(RENDER, heat={name: 3.0 * watts for name, watts in RENDER.heat.items()})
    findings = said(state=hot)
    assert float(solved(DEMO, hot, BRISK).coolant_temp_max) > 363.15
    assert matching(findings, "near boiling")


def test_a_curve_of_two_numbers_is_an_estimate() -> None:
    group = DEMO.fan_groups[0]
    fan = dataclasses.replace(group.fan, curve=dataclasses.replace(group.fan.curve, estimated=True))
    build = dataclasses.replace(DEMO, fan_groups=(dataclasses.replace(group, fan=fan), *DEMO.fan_groups[1:]))
    assert matching(said(build), "fan-b-120x30", "estimate")


def test_an_unsolved_case_names_its_worst_path_first() -> None:
    point = solved(DEMO, RENDER, BRISK)
    lost = dataclasses.replace(
        point, converged=np.array(False), worst_path=np.array(2), residual=np.array(0.25), iterations=np.array(60)
    )
    first = state_findings(DEMO, RENDER, lost)[0]
    assert "did not converge" in first
    assert '"top exhaust"' in first
    assert "2.5e-01" in first


ONE_SADDLE = records.Curve((0.0, 0.006, 0.012, 0.018, 0.024, 0.03), (50.0, 28.0, 16.0, 30.0, 20.0, 0.0), 25.0, 1.2)
TWO_SADDLES = records.Curve((0.0, 0.004, 0.008, 0.012, 0.016, 0.03), (50.0, 12.0, 40.0, 12.0, 14.0, 0.0), 25.0, 1.2)


def saddle_rig(curve: records.Curve, a: float) -> records.Build:
    """One fan blowing from the room through a screen into the room; the other paths are the demo's."""
    fan = dataclasses.replace(DEMO.fan_groups[0].fan, curve=curve, electric=records.Electric())
    group = records.FanGroup("saddle", fan, records.SpeedRange(10.0, 40.0, 5.0))
    screen = records.Screen(records.Resistance("screen", "grille", a, 0.0), 0.0144)
    path = records.AirPath("saddle path", "room", "room", (records.FanRow("saddle", 1), screen))
    return dataclasses.replace(
        DEMO,
        fan_groups=(*DEMO.fan_groups, group),
        air_paths=(*DEMO.air_paths, path),
        room=dataclasses.replace(DEMO.room, altitude=0.0),
    )


def by_hand(sheet: records.Curve, a: float) -> list[float]:
    """Flows [m3/s] where the fan's curve meets the screen, from SciPy's interpolant and the two laws alone.

    p_fan(Q) = PCHIP(Q) rho / 1.2 at the speed of the sheet; p_screen = a (Q / A) mu(T) / mu(20 degC), b = 0.
    Density of the ideal gas at 101,325 Pa (R = 287.05 J/(kg K)), viscosity by Sutherland (ISO 2533:1975).
    """
    curve = PchipInterpolator(sheet.flow, sheet.pressure)
    rho = 101_325.0 / (287.05287 * 296.15)
    viscosity = (296.15 / 293.15) ** 1.5 * (293.15 + 110.4) / (296.15 + 110.4)

    def excess(flow: float) -> float:
        return float(curve(flow)) * rho / 1.2 - a * viscosity * flow / 0.0144

    grid = np.linspace(1e-6, 0.03, 4000)
    values = [excess(q) for q in grid]
    return [
        brentq(excess, low, high)
        for low, high, one, other in zip(grid[:-1], grid[1:], values[:-1], values[1:], strict=True)
        if one * other < 0.0
    ]


COOL = dataclasses.replace(RENDER, room_temp=296.15)
SADDLE_SPEEDS = (*BRISK[:3], 25.0, 60.0)


def test_a_saddle_has_every_operating_point() -> None:
    """Three crossings of curve and resistance; the outer two are statically stable.

    Stable where the fan's slope is below the system's: B. Eck, "Fans", Pergamon 1973 (recalled, not re-read).
    """
    flows = by_hand(ONE_SADDLE, 21.0)
    assert len(flows) == 3
    build = saddle_rig(ONE_SADDLE, 21.0)
    point = solved(build, COOL, SADDLE_SPEEDS)
    crossings = path_crossings(build, settled_law(build, COOL, point), point, 4)
    density = float(point.mass_flow[4] / point.air_flow[4])
    assert crossings.flow / density == pytest.approx(flows, rel=1e-4)
    assert crossings.stable.tolist() == [True, False, True]
    assert float(point.air_flow[4]) == pytest.approx(flows[-1], rel=1e-4)
    # It rests right of the last peak: no finding, though others exist.
    assert not matching(said(build, COOL, SADDLE_SPEEDS), "stall side")


def test_a_path_left_of_its_peak_is_called_stall_side_with_its_other_points() -> None:
    flows = by_hand(TWO_SADDLES, 55.0)
    assert len(flows) == 3
    (finding,) = matching(said(saddle_rig(TWO_SADDLES, 55.0), COOL, SADDLE_SPEEDS), "saddle path", "stall side")
    rests = float(re.findall(r"rests at ([\d.]+) m3/h", finding)[0])
    assert rests == pytest.approx(3600.0 * flows[-1], abs=0.06)
    listed = re.findall(r"([\d.]+) m3/h \((\w+)\)", finding)
    assert [float(flow) for flow, _ in listed] == pytest.approx([3600.0 * flow for flow in flows[:-1]], abs=0.06)
    assert [word for _, word in listed] == ["stable", "unstable"]


def test_a_single_point_left_of_the_peak_has_no_others() -> None:
    assert len(by_hand(ONE_SADDLE, 45.0)) == 1
    assert matching(said(saddle_rig(ONE_SADDLE, 45.0), COOL, SADDLE_SPEEDS), "stall side", "no other operating point")


def test_a_mixture_colder_or_stronger_than_its_properties_are_known_is_said() -> None:
    """60 % of ethylene glycol by volume (1.11 kg/L beside water's 1.00) are 62.5 % by mass: above the known 60 %."""
    strong = records.Coolant("ethylene_glycol", 1.11 * 0.6 / (1.11 * 0.6 + 0.4))
    assert strong.mass_fraction == pytest.approx(0.625, abs=5e-4)
    build = dataclasses.replace(DEMO, loop=dataclasses.replace(DEMO.loop, coolant=strong))
    cold = dataclasses.replace(RENDER, room_temp=258.15, heat=dict.fromkeys(RENDER.heat, 0.0), air_heat={})
    assert matching(said(build), "known up to 60% glycol by mass")
    # A ring near -15 degC: liquid (such a mixture freezes below -45 degC, ASHRAE Handbook; recalled, not re-read), but
    # below what is known.
    assert matching(said(build, cold), "leaves -10.0 degC to 100.0 degC", "held at that end")
    half = dataclasses.replace(strong, mass_fraction=0.5)
    build = dataclasses.replace(DEMO, loop=dataclasses.replace(DEMO.loop, coolant=half))
    assert said(build) == []
