"""The ring's segments and reaches against solved operating points, and against rings cut by hand.

Energy balance of a steady stream: C (T_from - T_to) + heat put in - heat given off = 0 (first law of thermodynamics for
a stream without work). A solved state must obey it on every segment, and every station's inlet must be what its reach
says. The nodes' places are found by the tests' own walk round the ring (`planted.node_stations`).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool.decide.bound.ring import Ring, describe_ring, ring_tables, table_range
from quietcool.entry.build import PUMP, Build, LoopElement, Parallel
from quietcool.physics.coolant import coolant_properties
from quietcool.physics.pumps import electrical_power
from quietcool.solve.loop import station_names
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point
from tests.decide.bound.planted import node_stations, without_limits
from tests.random_builds import random_build

HEAT = 2e-5  # properties are refreshed until temperatures rest within 1e-7 K; 300 W/K times that [W]
TEMPERATURE = 1e-6  # [K]

BUILD = without_limits(random_build(9, radiators=3, groups=3, limits=False))
RADIATORS = [path.name for path in BUILD.air_paths if path.core is not None]
SOURCES = [source.name for source in BUILD.sources]
A, B, C = RADIATORS
RINGS: dict[str, tuple[LoopElement, ...]] = {
    "series": (PUMP, *SOURCES, A, B, C),
    "series, pump in between": (A, *SOURCES, PUMP, B, C),
    "parallel sources": (PUMP, Parallel(tuple((name,) for name in SOURCES)), A, B, C),
    "radiators in branches": (PUMP, *SOURCES, Parallel(((A,), (B,))), C),
    "sources before and after in a branch": (PUMP, Parallel(((SOURCES[0], A, *SOURCES[1:]), (B,))), C),
    "all in branches": (PUMP, *SOURCES, Parallel(((A,), (B,), (C,)))),
    "nested": (PUMP, SOURCES[0], Parallel(((A, Parallel(((B,), (C,)))), tuple(SOURCES[1:])))),
    "nested first": (PUMP, *SOURCES[1:], Parallel(((Parallel(((A,), (SOURCES[0], B))),), (C,)))),
}


class Solved:
    """Heats, capacity rates and node temperatures of a solved point."""

    def __init__(self, build: Build) -> None:
        self.build, self.ring = build, describe_ring(build)
        self.state = build.states[0]
        speeds = [0.6 * r.highest + 0.4 * r.lowest for r in build.speed_ranges]
        self.point: OperatingPoint = solve_operating_point(build, self.state, speeds)
        self.names = station_names(build.loop.order)
        electric = build.loop.pump.electric
        pump = build.loop.pump.coolant_share * electrical_power(electric.power, speeds[-1], electric.speed)
        self.heat = {name: float(watts) for name, watts in self.state.heat.items()} | {PUMP: float(pump)}
        mean = 0.5 * (self.point.station_temp_in + self.point.station_temp_out).mean()
        liquid = coolant_properties(mean, build.loop.coolant.kind, build.loop.coolant.mass_fraction)
        self.by_flow = float(liquid.density * liquid.specific_heat)

    def at(self, station: str) -> int:
        return self.names.index(station)

    def stream(self, index: int) -> float:
        """Capacity rate of a stream of the ring."""
        members = self.ring.streams[index]
        stations = [next(iter(self.ring.branches.elements[branch])) for branch in members]
        return float(sum(self.point.station_flow[self.at(name)] for name in stations)) * self.by_flow

    def node(self, index: int) -> float:
        return float(self.point.station_temp_in[self.at(node_stations(self.build)[index])])

    def heats(self, stations: tuple[str, ...]) -> float:
        return sum(self.heat.get(name, 0.0) for name in stations)


def solved_rings() -> list[object]:
    cases = [
        pytest.param(replace(BUILD, loop=replace(BUILD.loop, order=order)), id=name) for name, order in RINGS.items()
    ]
    drawn = [without_limits(random_build(seed, parallel=True, radiators=3, limits=False)) for seed in range(8)]
    return cases + [pytest.param(build, id=f"random {seed}") for seed, build in enumerate(drawn)]


@pytest.mark.parametrize("build", solved_rings())
def test_segments_and_reaches_hold_at_a_solved_state(build: Build) -> None:
    solved = Solved(build)
    ring = solved.ring

    assert solved.point.converged
    for segment in ring.segments:
        given = sum(solved.point.heat_rate[path] for path in segment.radiators)
        carried = solved.stream(segment.stream) * (solved.node(segment.source) - solved.node(segment.target))
        assert carried + solved.heats(segment.stations) - given == pytest.approx(0.0, abs=HEAT)
    for reach in ring.reaches:
        offset = sum(solved.heats(stations) / solved.stream(stream) for stream, stations in reach.added)
        offset -= sum(solved.heats(stations) / solved.stream(stream) for stream, stations in reach.taken)
        inlet = float(solved.point.station_temp_in[solved.at(reach.station)])
        assert inlet == pytest.approx(solved.node(reach.node) + offset, abs=TEMPERATURE)
    for path, node in ring.radiator_node.items():
        inlet = float(solved.point.station_temp_in[solved.at(build.air_paths[path].name)])
        assert inlet == pytest.approx(solved.node(node), abs=TEMPERATURE)


@pytest.mark.parametrize("build", solved_rings())
def test_the_whole_segments_hold_every_heat_of_the_ring_once(build: Build) -> None:
    ring = describe_ring(build)
    whole = [segment for segment in ring.segments if segment.whole]
    stations = [name for segment in whole for name in segment.stations]
    radiators = [path for segment in whole for path in segment.radiators]

    assert sorted(stations) == sorted([PUMP, *(source.name for source in build.sources)])
    assert sorted(radiators) == [i for i, path in enumerate(build.air_paths) if path.core is not None]
    assert sorted(ring.radiator_node) == sorted(radiators)
    assert len(ring.nodes) == len(node_stations(build))


def described(order: tuple[LoopElement, ...]) -> Ring:
    return describe_ring(replace(BUILD, loop=replace(BUILD.loop, order=order)))


def test_a_series_ring_by_hand() -> None:
    ring = described(RINGS["series"])
    paths = [BUILD.air_paths.index(next(p for p in BUILD.air_paths if p.name == name)) for name in RADIATORS]

    assert [(s.source, s.target, s.radiators, s.stations) for s in ring.segments] == [
        (0, 1, (paths[0],), ()),
        (1, 2, (paths[1],), ()),
        (2, 0, (paths[2],), (PUMP, *SOURCES)),
    ]
    assert {reach.station: reach.node for reach in ring.reaches} == {name: 0 for name in (PUMP, *SOURCES)}
    assert next(r for r in ring.reaches if r.station == PUMP).taken == ((0, (PUMP, *SOURCES)),)
    assert next(r for r in ring.reaches if r.station == SOURCES[-1]).taken == ((0, (SOURCES[-1],)),)


def test_sources_behind_a_radiator_in_a_branch_have_no_reach() -> None:
    # Their inlet depends on what that radiator gives off, so no offset from a node can be right.
    order: tuple[LoopElement, ...] = (PUMP, *SOURCES[1:], Parallel(((A, SOURCES[0]), (B,))), C)

    assert SOURCES[0] not in {reach.station for reach in described(order).reaches}


@pytest.mark.parametrize("build", [BUILD, without_limits(random_build(4, parallel=True, limits=False))])
def test_flows_between_the_ladder_lie_within_the_range_read_off_it(build: Build) -> None:
    # Truth: the ring of the solver itself, at pump steps and temperatures that are not on the ladder.
    ring = describe_ring(build)
    speeds = np.array(build.loop.pump_speeds.admissible())
    tables = ring_tables(build, ring, speeds, 293.15, 340.0)
    off = ring_tables(build, ring, speeds, 293.15 + 0.37, 340.0)  # another ladder: every rung lies between two of these
    rng = np.random.default_rng(3)
    count = 200
    low = rng.integers(0, speeds.size, size=count)
    high = np.minimum(low + rng.integers(0, 4, size=count), speeds.size - 1)
    rung = rng.integers(4, off.temps.size - 4, size=count)
    temp = off.temps[rung]
    at = np.stack([temp - rng.uniform(0.0, 2.0, count), temp + rng.uniform(0.0, 2.0, count)], axis=-1)
    for table, truth in (
        (tables.flow, off.flow),
        (tables.capacity, off.capacity),
        (tables.branch_capacity, off.branch_capacity),
    ):
        found = table_range(table, tables.temps, np.stack([low, high], axis=-1), at)
        for step in (low, high):
            inside = truth[:, step, rung]

            assert np.all(found[..., 0] <= inside)
            assert np.all(inside <= found[..., 1])
            assert np.all(found[..., 1] - found[..., 0] < 0.6 * np.abs(inside) + 1e-12)
