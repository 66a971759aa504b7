"""Temperatures that a trade-off curve can run along, and the question that asks for one of them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.limits import Limit, limits
from quietcool.entry.build import Build, Source, State
from quietcool.solve.operating_point import OperatingPoint

COOLANT = "coolant"
OVER_ROOM = "coolant over room"


@dataclass(frozen=True)
class Axis:
    """A temperature that may be limited."""

    name: str  # as it is asked for
    limit: str  # name of its limit
    over_room: bool  # printed as kelvins over the room
    value: float | None  # limit that the state sets itself [K]
    source: int = -1  # of a sensing point
    point: int = -1
    enclosure: str = ""


def axes_of(build: Build, state: State) -> tuple[Axis, ...]:
    """Every temperature of a build that can be an axis: coolant, coolant over room, sensing points, enclosure air."""
    own = state.limits
    points = [
        Axis(f"{source.name} {point.name}", f"{source.name} {point.name}", False, point.limit, i, k)
        for i, source in enumerate(build.sources)
        for k, point in enumerate(source.points)
    ]
    air = [
        Axis(f"{name} air", f"{name} air", False, own.enclosure_air.get(name), enclosure=name)
        for name in build.enclosures
    ]
    coolant = (Axis(COOLANT, COOLANT, False, own.coolant), Axis(OVER_ROOM, COOLANT, True, own.coolant))
    return (*coolant, *points, *air)


def axis_named(build: Build, state: State, name: str) -> Axis:
    """Return the axis of that name; KeyError if there is none."""
    return {axis.name: axis for axis in axes_of(build, state)}[name]


def limited_to(build: Build, state: State, axis: Axis, temp: float, position: int) -> tuple[Build, State]:
    """Return build and state with the axis limited to a temperature, and the level that is minimised left free.

    Parameters
    ----------
    build, state : Build, State
        As they are.
    axis : Axis
        Whose limit is set; every other limit stays.
    temp : float
        The limit. [K]
    position : int
        Where the level is minimised: it is the other axis of the curve, so its own limit does not cut the curve off.

    Returns
    -------
    tuple of Build and State
    """
    own = state.limits
    free = {**own.position, build.positions[position].name: math.inf}
    if axis.source >= 0:
        build = replace(
            build,
            sources=tuple(
                _with_point_limit(source, axis.point, temp) if i == axis.source else source
                for i, source in enumerate(build.sources)
            ),
        )
        own = replace(own, position=free)
    elif axis.enclosure:
        own = replace(own, position=free, enclosure_air={**own.enclosure_air, axis.enclosure: temp})
    else:
        own = replace(own, position=free, coolant=temp)
    return build, replace(state, limits=own)


def _with_point_limit(source: Source, index: int, temp: float) -> Source:
    points = tuple(replace(p, limit=temp) if k == index else p for k, p in enumerate(source.points))
    return replace(source, points=points)


def column_of(build: Build, state: State, axis: Axis) -> int:
    """Return the column of an axis' limit in the margins of a state that limits it."""
    kind = "point" if axis.source >= 0 else "enclosure air" if axis.enclosure else "coolant"
    found: tuple[Limit, ...] = limits(build, state)
    return next(i for i, limit in enumerate(found) if (limit.kind, limit.name) == (kind, axis.limit))


def temp_along(build: Build, axis: Axis, point: OperatingPoint) -> NDArray[np.float64]:
    """Temperature of an axis in solved states, (...) [K]."""
    if axis.source >= 0:
        before = sum(len(source.points) for source in build.sources[: axis.source])
        return point.point_temp[..., before + axis.point]
    if axis.enclosure:
        return point.enclosure_temp[..., build.enclosures.index(axis.enclosure)]
    return point.coolant_temp_max
