"""Limits in a box: set just above what a true setting needs, they must leave it its place, and close what lies beyond.

Truth: solved states. The planted settings of the other tests have all limits lifted; what limits strike is tried here.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool.decide.bound.flows import _without_saddle
from quietcool.decide.bound.frame import make_frame
from quietcool.decide.bound.ranges import reach_range, ring_ranges
from quietcool.decide.question import Question
from quietcool.entry.build import Build, Curve, Limits
from quietcool.physics.curves import pressure_curve, pressure_rise
from quietcool.solve.loop import station_names
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point
from tests.decide.bound.planted import UNIT, Truth, boxes_round, frame_of, solved_truths, without_limits
from tests.random_builds import random_build

SEEDS = (0, 2, 4, 10, 12)


def solved(build: Build, truth: Truth) -> OperatingPoint:
    grids = Question(build, build.states, 0).grids
    return solve_operating_point(build, build.states[0], [grid[k] for grid, k in zip(grids, truth.steps, strict=True)])


def just_kept(build: Build, point: OperatingPoint, spare: float) -> Build:
    """The rig with limits on every sensing point and on the coolant, a little above a solved state."""
    state = build.states[0]
    temps = iter(np.asarray(point.point_temp) + spare)
    sources = tuple(
        replace(source, points=tuple(replace(one, limit=float(next(temps))) for one in source.points))
        for source in build.sources
    )
    limits = Limits(coolant=float(point.coolant_temp_max) + spare)
    return replace(build, sources=sources, states=(replace(state, limits=limits),))


@pytest.mark.parametrize("seed", SEEDS)
def test_every_station_s_inlet_lies_in_what_its_reach_says(seed: int) -> None:
    build = without_limits(random_build(seed, limits=False))
    frame, rng = frame_of(build), np.random.default_rng(seed)
    for truth in solved_truths(build, frame, rng, 4):
        point, names = solved(build, truth), station_names(build.loop.order)
        boxes = boxes_round(frame, truth, rng)
        ring = ring_ranges(frame, boxes)
        for reach in frame.ring.reaches:
            inlet = point.station_temp_in[names.index(reach.station)]
            found = reach_range(frame, boxes, reach, ring.capacity)
            assert np.all((found[:, 0] <= inlet + 1e-6) & (inlet - 1e-6 <= found[:, 1]))
            assert np.ptp(found[-1]) < 0.1


@pytest.mark.parametrize("seed", SEEDS)
def test_limits_that_a_setting_just_keeps_leave_it_its_coolant(seed: int) -> None:
    build = without_limits(random_build(seed, limits=False))
    rng = np.random.default_rng([seed, 5])
    for truth in solved_truths(build, frame_of(build), rng, 4):
        limited = just_kept(build, solved(build, truth), 1e-5)
        frame = make_frame(Question(limited, limited.states, 0), limited.states[0], UNIT)
        boxes = boxes_round(frame, truth, rng)
        ceiling = ring_ranges(frame, boxes).ceiling
        assert np.all(ceiling >= truth.node_temp[:, None] - 1e-6)
        # In the smallest box some limit holds its node to where it is, but for what the table of flows adds; a source
        # behind a radiator of its branch has no reach, and where it is the hottest its limits are not seen.
        if {source.name for source in build.sources} <= {reach.station for reach in frame.ring.reaches}:
            assert np.min(ceiling[:, -1] - truth.node_temp) < 0.1


@pytest.mark.parametrize("seed", SEEDS)
def test_what_the_coolant_has_to_spare_is_what_the_limits_have(seed: int) -> None:
    # Every inlet goes with its node one for one: limits that are 3 K looser leave every node 3 K more.
    build = without_limits(random_build(seed, limits=False))
    rng = np.random.default_rng([seed, 6])
    truth = solved_truths(build, frame_of(build), rng, 4)[0]
    found = []
    for spare in (0.0, 3.0):
        limited = just_kept(build, solved(build, truth), spare)
        frame = make_frame(Question(limited, limited.states, 0), limited.states[0], UNIT)
        boxes = boxes_round(frame, truth, np.random.default_rng(1), [1e-4])
        found.append(ring_ranges(frame, boxes).ceiling[:, 0])
    assert found[1] - found[0] == pytest.approx(3.0, abs=0.05)


def test_a_limit_of_a_state_counts_as_one_of_the_position() -> None:
    build = without_limits(random_build(2, limits=False))
    name = build.positions[0].name
    by_state = replace(build, states=(replace(build.states[0], limits=Limits(position={name: 31.0})),))
    by_place = replace(
        build, positions=tuple(replace(p, limit=31.0 if p.name == name else None) for p in build.positions)
    )
    frames = [make_frame(Question(one, one.states[:1], 0), one.states[0], UNIT) for one in (by_state, by_place)]
    assert frames[0].pump_elsewhere.shape[0] == 1
    assert np.array_equal(frames[0].pump_elsewhere, frames[1].pump_elsewhere)
    # At the position that is asked for the limit's energies are the goal's, over another level.
    assert frames[0].pump_elsewhere[0] == pytest.approx(frames[0].pump_energy * 10.0 ** ((UNIT - 31.0) / 10.0))
    for one, other in zip(frames[0].paths, frames[1].paths, strict=True):
        for row, again in zip(one.rows, other.rows, strict=True):
            assert np.array_equal(row.elsewhere, again.elsewhere)


@pytest.mark.parametrize("speed", [5.0, 20.0, 31.0])
def test_the_falling_curves_round_a_saddle_touch_it(speed: float) -> None:
    # The curve scaled by the fan laws (any handbook of fans: flow with speed, pressure with its square and density).
    flow = (0.0, 0.004, 0.008, 0.012, 0.017, 0.021, 0.026, 0.03)
    pressure = (30.0, 24.0, 17.0, 19.0, 21.0, 17.0, 9.0, 0.0)
    sheet = Curve(flow, pressure, 20.0, 1.2, flow_scale=1.3, pressure_scale=0.9)
    curve = pressure_curve(flow, pressure, speed=20.0, density=1.2)
    density = 1.1
    grid = np.linspace(0.0, 0.03 * 1.3 * speed / 20.0, 4001)
    there, slope = pressure_rise(curve, grid, speed, density, flow_scale=1.3, pressure_scale=0.9)
    size = (speed / 20.0) ** 2 * density / 1.2 * 0.9
    peak_at = 0.017 * 1.3 * speed / 20.0
    above, above_slope = _without_saddle(curve, sheet, grid, speed, density, there, slope, above=True)
    below, below_slope = _without_saddle(curve, sheet, grid, speed, density, there, slope, above=False)
    assert np.all(below <= there + 1e-12)
    assert np.all(there <= above + 1e-12)
    for one, its_slope in ((above, above_slope), (below, below_slope)):
        assert np.all(np.diff(one) <= 1e-12)
        assert np.all(its_slope <= 1e-12)
    past = grid > peak_at * (1.0 + 1e-9)
    assert np.array_equal(above[past], there[past])
    assert above[0] == pytest.approx(30.0 * size, rel=1e-9)
    assert below[0] == pytest.approx(17.0 * size, rel=1e-9)
    assert np.array_equal(below[there <= 17.0 * size], there[there <= 17.0 * size])
