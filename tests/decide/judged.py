"""Levels and limits of settings as the tests read them, without the package's reading of limits.

Many settings at once by the batched solver, one setting by the second opinion, which shares nothing with the solver.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.build import Build, Position, SpeedRange, State
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point
from tests.second_opinion.whole import Opinion, second_opinion

Floats = NDArray[np.float64]

TENTH_OF_A_LITRE = 1e-4 / 60.0  # per minute [m3/s]: a lack of coolant flow that weighs as much as one kelvin
AGREED = 2e-6  # solver and second opinion end on 1e-7 K and 1e-10 K: what they may differ by [K, dB]

# Octaves 63 Hz to 8 kHz of a small fan (Long, M., "Architectural Acoustics", 2nd ed., Academic Press 2014, Table 13.5,
# recalled, not re-read) and A-weights as IEC 61672-1:2013, Table 3, prints them [dB]. The printed weights are rounded.
FAN_SHAPE = (48.0, 47.0, 49.0, 53.0, 52.0, 51.0, 43.0, 40.0)
A_WEIGHTS = (-26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1)
AGREED_BY_OCTAVE = 0.05  # [dB]


class Judged(NamedTuple):
    """Settings judged by the batched solver; no steady state is infinitely loud and infinitely bad."""

    level: Floats  # worst over the states, (cases,) [dB(A)]
    margin: Floats  # least, in K, dB or tenths of a litre per minute, (cases,)

    @property
    def quietest(self) -> tuple[int, float] | None:
        """Case and level of the quietest setting that keeps every limit."""
        kept = np.where(self.margin >= 0.0, self.level, np.inf)
        case = int(np.argmin(kept))
        return (case, float(kept[case])) if np.isfinite(kept[case]) else None


def all_margins(build: Build, state: State, point: OperatingPoint) -> dict[str, Floats]:
    """Margin of every limit of a state by the name that people call it [K, m3/s, dB]."""
    found: dict[str, Floats] = {}
    spots = [(f"{source.name} {spot.name}", spot.limit) for source in build.sources for spot in source.points]
    found |= {name: lim - point.point_temp[..., i] for i, (name, lim) in enumerate(spots) if lim is not None}
    if state.limits.coolant is not None:
        found["coolant"] = state.limits.coolant - point.coolant_temp_max
    for i, name in enumerate(build.enclosures):
        if name in state.limits.enclosure_air:
            found[f"{name} air"] = state.limits.enclosure_air[name] - point.enclosure_temp[..., i]
    if build.loop.min_flow > 0.0:
        found["coolant flow"] = point.coolant_flow - build.loop.min_flow
    for i, place in enumerate(build.positions):
        limit = state.limits.position.get(place.name, place.limit)
        if limit is not None:
            found[place.name] = limit - point.level[..., i]
    return found


def second_margins(build: Build, state: State, opinion: Opinion) -> dict[str, float]:
    """The same margins by the second opinion [K, m3/s, dB]."""
    assert opinion.temps is not None
    found: dict[str, float] = {}
    for source in build.sources:
        for spot in source.points:
            if spot.limit is not None:
                found[f"{source.name} {spot.name}"] = spot.limit - opinion.source_points[source.name, spot.name]
    if state.limits.coolant is not None:
        found["coolant"] = state.limits.coolant - opinion.hottest_coolant
    for name, limit in state.limits.enclosure_air.items():
        found[f"{name} air"] = limit - opinion.temps.enclosure[name]
    if build.loop.min_flow > 0.0:
        found["coolant flow"] = opinion.coolant_flow - build.loop.min_flow
    for place in build.positions:
        limit_heard = state.limits.position.get(place.name, place.limit)
        if limit_heard is not None:
            found[place.name] = limit_heard - opinion.level[place.name]
    return found


def judged(build: Build, states: Sequence[State], speeds: Floats, position: int = 0) -> Judged:
    """Judge many settings, (cases, groups + 1) [rev/s]."""
    level = np.full(len(speeds), -np.inf)
    margin = np.full(len(speeds), np.inf)
    for state in states:
        point = solve_operating_point(build, state, speeds)
        heard = point.level[:, position]
        level = np.maximum(level, np.where(np.isnan(heard), np.inf, heard))
        for name, one in all_margins(build, state, point).items():
            scaled = one / TENTH_OF_A_LITRE if name == "coolant flow" else one
            margin = np.minimum(margin, np.where(np.isnan(scaled) | ~point.converged, -np.inf, scaled))
    return Judged(level, margin)


def with_plain_partitions(build: Build) -> Build:
    """Replace partitions given by octave by what they take from the A-weighted level of a fan: one number."""

    def plain(place: Position) -> Position:
        if not isinstance(place.partition, tuple):
            return place
        before = [10.0 ** ((s + a) / 10.0) for s, a in zip(FAN_SHAPE, A_WEIGHTS, strict=True)]
        behind = [e * 10.0 ** (-d / 10.0) for e, d in zip(before, place.partition, strict=True)]
        return replace(place, partition=10.0 * math.log10(math.fsum(before) / math.fsum(behind)))

    return replace(build, positions=tuple(plain(place) for place in build.positions))


def broken_by_second_opinion(build: Build, states: Sequence[State], speeds: Floats) -> dict[tuple[str, str], float]:
    """Limits that one setting breaks in the eyes of the second opinion, by state and name."""
    broken = {}
    agreed = {place.name: AGREED_BY_OCTAVE for place in build.positions if isinstance(place.partition, tuple)}
    agreed["coolant flow"] = AGREED * TENTH_OF_A_LITRE
    plain = with_plain_partitions(build)
    for state in states:
        opinion = second_opinion(plain, state, speeds.tolist())
        assert opinion.converged
        for name, margin in second_margins(plain, state, opinion).items():
            if margin < -agreed.get(name, AGREED):
                broken[state.name, name] = margin
    return broken


def loudest_by_second_opinion(build: Build, states: Sequence[State], speeds: Floats, position: int = 0) -> float:
    """Level of one setting at a position, worst over the states [dB(A)]."""
    heard, build = build.positions[position].name, with_plain_partitions(build)
    return max(second_opinion(build, state, speeds.tolist()).level[heard] for state in states)


def coarse(build: Build, steps: int) -> Build:
    """Return the build with about this many speeds a group; bands and stops as they are."""

    def thinned(speeds: SpeedRange) -> SpeedRange:
        return replace(speeds, step=(speeds.highest - speeds.lowest) / (steps - 1))

    groups = tuple(replace(group, speeds=thinned(group.speeds)) for group in build.fan_groups)
    return replace(build, fan_groups=groups, loop=replace(build.loop, pump_speeds=thinned(build.loop.pump_speeds)))


def admissible(speeds: SpeedRange) -> list[float]:
    """Count up from the lowest speed, leave out the bands, put rest first: as the contract for build files words it."""
    counted = [speeds.lowest + i * speeds.step for i in range(10_000)]
    inside = [s for s in counted if s <= speeds.highest * (1.0 + 1e-9)]
    allowed = [s for s in inside if all(not low * (1 - 1e-9) <= s <= high * (1 + 1e-9) for low, high in speeds.avoid)]
    return [0.0, *allowed] if speeds.may_stop else allowed


def every_setting(build: Build) -> Floats:
    """All combinations of admissible speeds, (settings, groups + 1) [rev/s]."""
    axes = np.meshgrid(*(admissible(speeds) for speeds in build.speed_ranges), indexing="ij")
    return np.stack([axis.ravel() for axis in axes], axis=-1)
