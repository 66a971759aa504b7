"""A dead fan: a path split into sections is the path, and a fan at rest is in the way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool import demo_path, read_build, solve_operating_point
from quietcool.decide.dead_fan import DEAD, _beside, split_path, with_dead_fan
from quietcool.entry.build import Build, Parallel


@pytest.fixture(scope="module")
def rig() -> Build:
    return read_build(str(demo_path("booth_wall")))


def present(build: Build) -> np.ndarray:
    return np.array([ranges.present for ranges in build.speed_ranges])


def split(build: Build, number: int) -> Build:
    path = build.air_paths[number]
    one, other = split_path(path, path.fan_rows[0].count - 1, path.fan_rows[0].count)
    paths = tuple(one if i == number else p for i, p in enumerate(build.air_paths))
    order = _beside(build.loop.order, path.name, other.name)
    return replace(build, air_paths=(*paths, other), loop=replace(build.loop, order=order))


@pytest.mark.parametrize("number", [0, 1, 2])
def test_sections_side_by_side_are_the_path(rig, number):
    # Resistances, areas and fans in parallel: closed form. Only the plain mean over stations, at which coolant
    # properties are taken, has one station more; that is worth less than a hundredth of a kelvin.
    state = rig.state("render")
    whole = solve_operating_point(rig, state, present(rig))
    parts = solve_operating_point(split(rig, number), state, present(rig))
    assert float(parts.coolant_temp_max) == pytest.approx(float(whole.coolant_temp_max), abs=0.01)
    assert parts.air_flow[number] + parts.air_flow[-1] == pytest.approx(whole.air_flow[number], rel=1e-4)
    assert parts.level == pytest.approx(whole.level, abs=1e-4)
    assert float(parts.coolant_flow) == pytest.approx(float(whole.coolant_flow), rel=2e-3)


def test_a_fan_at_rest_lets_air_back_and_warms_the_coolant(rig):
    # Common practice, no source: the dead fan of an intake under pressure is a hole through which air returns.
    state = rig.state("render")
    healthy = solve_operating_point(rig, state, present(rig))
    dead = with_dead_fan(rig, "side intake", 0, "free-wheeling")
    assert dead.group_names[-2:] == (DEAD, "pump")
    speeds = np.array([*present(rig)[:-1], 0.0, present(rig)[-1]])
    point = solve_operating_point(dead, state, speeds)
    assert point.air_flow[-1] < 0.0
    assert point.coolant_temp_max > healthy.coolant_temp_max
    assert point.air_flow[0] < healthy.air_flow[0]
    assert point.level[0] < healthy.level[0]  # three fans instead of four


def test_a_blocked_section_lets_nothing_through(rig):
    point = solve_operating_point(with_dead_fan(rig, "side intake", 0, "blocked"), rig.state("render"), present(rig))
    assert point.converged
    assert abs(point.air_flow[-1]) < 1e-5 * point.air_flow[0]


def test_the_dead_fan_keeps_the_ring_whole(rig):
    order = with_dead_fan(rig, "top exhaust", 0, "blocked").loop.order
    assert order[-1] == Parallel((("top exhaust",), ("top exhaust, dead fan",)))
    nested = Parallel((("a", Parallel((("b",), ("c",)))),))
    assert _beside((nested,), "c", "d")[0].branches[0][1].branches[1] == (Parallel((("c",), ("d",))),)


def test_a_lone_fan_cannot_leave_its_row(rig):
    lone = replace(rig.air_paths[2], stack=(replace(rig.air_paths[2].stack[0], count=1), rig.air_paths[2].stack[1]))
    with pytest.raises(ValueError, match="at least 2"):
        with_dead_fan(replace(rig, air_paths=(*rig.air_paths[:2], lone, rig.air_paths[3])), "top exhaust", 0, "blocked")
