"""Demos with coarse steps, so that every admissible setting can be solved: the truth that curves are held to."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool import demo_path, read_build
from quietcool.decide.axes import Axis, temp_along
from quietcool.entry.build import Build, SpeedRange, State
from quietcool.solve.operating_point import solve_operating_point

Floats = NDArray[np.float64]


def coarser(build: Build, times: tuple[float, ...]) -> Build:
    """Make the steps of every group so many times as long, the pump last."""

    def stretched(speeds: SpeedRange, factor: float) -> SpeedRange:
        return replace(speeds, step=speeds.step * factor)

    groups = tuple(
        replace(group, speeds=stretched(group.speeds, factor))
        for group, factor in zip(build.fan_groups, times, strict=False)
    )
    pump = stretched(build.loop.pump_speeds, times[-1])
    return replace(build, fan_groups=groups, loop=replace(build.loop, pump_speeds=pump))


def sample_room(*times: float) -> Build:
    return coarser(read_build(str(demo_path("sample_room"))), times)


class Truth(NamedTuple):
    """Every admissible setting of a build: level, temperature of an axis, and whether all other limits are kept."""

    level: Floats
    temp: Floats
    kept: NDArray[np.bool_]

    def quietest(self, limit: float) -> float:
        """Return the least level of any setting that keeps a limit of the axis."""
        return float(np.min(np.where(self.kept & (self.temp <= limit), self.level, np.inf)))


def solve_everything(build: Build, state: State, axis: Axis, position: int = 0) -> Truth:
    """Solve every setting; the limits are read here anew: points, coolant, enclosures, flow, other positions."""
    speeds = np.array(list(itertools.product(*(ranges.admissible() for ranges in build.speed_ranges))))
    point = solve_operating_point(build, state, speeds)
    kept = point.converged & (point.coolant_flow >= build.loop.min_flow)
    places = [(source.name, spot) for source in build.sources for spot in source.points]
    for i, (source, spot) in enumerate(places):
        if spot.limit is not None and f"{source} {spot.name}" != axis.name:
            kept &= point.point_temp[:, i] <= spot.limit
    if state.limits.coolant is not None and axis.limit != "coolant":
        kept &= point.coolant_temp_max <= state.limits.coolant
    for name, limit in state.limits.enclosure_air.items():
        if f"{name} air" != axis.name:
            kept &= point.enclosure_temp[:, build.enclosures.index(name)] <= limit
    for i, place in enumerate(build.positions):
        limit = state.limits.position.get(place.name, place.limit)
        if limit is not None and i != position:
            kept &= point.level[:, i] <= limit
    return Truth(point.level[:, position], temp_along(build, axis, point), kept)
