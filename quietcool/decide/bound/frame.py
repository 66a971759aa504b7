"""What no box changes: options of every cluster of groups, rows with their speeds and noise energies, and limits."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.ring import Ring, RingTables, describe_ring, ring_tables
from quietcool.decide.question import Question
from quietcool.entry.build import AirPath, Build, FanRow, State
from quietcool.physics import air
from quietcool.physics.coolant import TEMP_RANGE
from quietcool.physics.pumps import electrical_power
from quietcool.physics.sound import LOAD_ADDER_MAX, LOAD_ADDER_ONSET
from quietcool.solve.airflow import machine_curve, path_ends
from quietcool.solve.noise import fixed_heard_levels, position_limits, pump_heard_levels, row_heard_levels
from quietcool.solve.spectra import fixed_band_levels, pump_band_levels, row_band_levels

Floats = NDArray[np.float64]
Kind = TypeVar("Kind", np.float64, np.bool_)

HOTTEST = 2000.0  # settings with an enclosure above this are not considered [K]
MOST_OPTIONS = 20_000  # of one cluster of groups that share a path


class TooManyOptions(Exception):
    """A cluster of groups has more combinations than the bound can list."""


@dataclass(frozen=True)
class RowOptions:
    """A fan row of a path at every option of the path."""

    place: int
    count: int
    speed: Floats  # (options,) [rev/s]
    energy: Floats  # noise energy at the position with a full load share, over the goal's unit, (options,) [-]
    elsewhere: Floats  # noise energy at positions with a limit, over that limit, (limits, options) [-]
    load_adder: float  # greatest load adder [dB]
    row: FanRow
    fan_group: int


@dataclass(frozen=True)
class PathOptions:
    """A path at every combination of the steps of its own groups."""

    path: AirPath
    source: int
    target: int
    rows: tuple[RowOptions, ...]
    power: Floats  # of all rows, (options,) [W]
    flow_scale: float  # [kg/s]
    option_of_cluster: NDArray[np.intp]  # (cluster options,)
    same_as_cluster: bool  # the path's options are the cluster's, one by one

    def at_cluster(self, values: NDArray[Kind]) -> NDArray[Kind]:
        """Values (boxes, options, ...) at the options of the path's cluster; the same array where these are its own."""
        return values if self.same_as_cluster else values[:, self.option_of_cluster]

    def used_by(self, allowed: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Own options (boxes, options) that some allowed option (boxes, cluster options) of the cluster uses."""
        if self.same_as_cluster:
            return allowed.copy()
        found = np.zeros((allowed.shape[0], self.power.size), dtype=np.bool_)
        for option in range(self.power.size):
            found[:, option] = np.any(allowed[:, self.option_of_cluster == option], axis=1)
        return found


@dataclass(frozen=True)
class Cluster:
    """Groups that share paths, with all combinations of their steps."""

    groups: tuple[int, ...]
    steps: NDArray[np.intp]  # (options, groups)
    paths: tuple[int, ...]


@dataclass(frozen=True)
class Frame:
    """One state of a question, ready for boxes."""

    question: Question
    build: Build
    state: State
    clusters: tuple[Cluster, ...]
    cluster_of: tuple[int, ...]  # cluster of every path
    paths: tuple[PathOptions, ...]
    ring: Ring
    tables: RingTables
    pump_energy: Floats  # (pump steps,) [-]
    pump_elsewhere: Floats  # (limits, pump steps) [-]
    ambient_pressure: float
    room_temp: float
    air_heat: Floats  # (enclosures,) [W]
    enclosure_limit: Floats  # (enclosures,) [K]
    coolant_limit: float  # [K]
    unit: float  # level of energy 1 [dB(A)]

    @property
    def enclosures(self) -> int:
        """Number of enclosures."""
        return len(self.build.enclosures)


def make_frame(question: Question, state: State, unit: float) -> Frame:
    """Prepare one state for boxes; energies are relative to a level of `unit` dB(A).

    Raises
    ------
    TooManyOptions
        If groups that share paths have more combinations of steps than can be listed.
    """
    build = question.build
    ends = list(zip(*path_ends(build), strict=True))
    grids = question.grids
    clusters = _clusters(build, grids)
    cluster_of = tuple(
        next(number for number, cluster in enumerate(clusters) if i in cluster.paths) for i in range(len(ends))
    )
    paths = tuple(
        _path_options(question, state, i, ends[i], clusters[number], unit) for i, number in enumerate(cluster_of)
    )
    scale = max(options.flow_scale for options in paths)  # one scale: an opening sees the flow of every fan
    paths = tuple(replace(options, flow_scale=scale) for options in paths)
    ring = describe_ring(build)
    room = float(state.room_temp)
    limit = HOTTEST if state.limits.coolant is None else float(state.limits.coolant)
    pump_energy, pump_elsewhere = _pump_energies(question, state, unit)
    return Frame(
        question=question,
        build=build,
        state=state,
        clusters=clusters,
        cluster_of=cluster_of,
        paths=paths,
        ring=ring,
        tables=ring_tables(build, ring, grids[-1], room, min(limit, TEMP_RANGE[1])),
        pump_energy=pump_energy,
        pump_elsewhere=pump_elsewhere,
        ambient_pressure=float(air.isa_pressure(build.room.altitude)),
        room_temp=room,
        air_heat=np.array([float(state.air_heat.get(name, 0.0)) for name in build.enclosures]),
        enclosure_limit=np.array([state.limits.enclosure_air.get(name, HOTTEST) for name in build.enclosures]),
        coolant_limit=limit,
        unit=unit,
    )


def _pump_energies(question: Question, state: State, unit: float) -> tuple[Floats, Floats]:
    """Noise energies of the pump at every step; what no speed changes goes with it, for the pump is always there."""
    build, place, speeds = question.build, question.position, question.grids[-1]
    limited, limits = _limited_positions(build, state)
    pump, fixed = pump_heard_levels(build, speeds), fixed_heard_levels(build, state)
    elsewhere = _energy(pump[:, limited].T - limits[:, None])
    if fixed.size:
        elsewhere = elsewhere + _energy(fixed[:, limited].T - limits[:, None]).sum(axis=1, keepdims=True)
    if question.band is None:
        goal, rest = pump[:, place], fixed[:, place]
    else:
        goal = pump_band_levels(build, speeds)[:, place, question.band]
        rest = fixed_band_levels(build, state)[:, place, question.band]
    energy = _energy(goal - unit)
    return (energy + _energy(rest - unit).sum() if rest.size else energy), elsewhere


def _energy(level: Floats) -> Floats:
    return 10.0 ** (np.asarray(level) / 10.0)


def _limited_positions(build: Build, state: State) -> tuple[NDArray[np.intp], Floats]:
    limits = position_limits(build, state)
    limited = np.flatnonzero(np.isfinite(limits))
    return limited, limits[limited]


def _clusters(build: Build, grids: tuple[Floats, ...]) -> tuple[Cluster, ...]:
    """Groups joined by the paths they share; each path without fans is a cluster of its own with one option."""
    names = build.group_names
    members = [sorted({names.index(row.group) for row in path.fan_rows}) for path in build.air_paths]
    label = list(range(len(names)))
    for sharing in members:
        for group in sharing[1:]:
            old, new = label[group], label[sharing[0]]
            label = [new if x == old else x for x in label]
    found = []
    for key in sorted({label[g] for sharing in members for g in sharing}):
        groups = tuple(g for g in range(len(names) - 1) if label[g] == key)
        count = int(np.prod([grids[g].size for g in groups]))
        if count > MOST_OPTIONS:
            raise TooManyOptions(f"groups {', '.join(names[g] for g in groups)} have {count} combinations of steps")
        steps = np.array(list(itertools.product(*(range(grids[g].size) for g in groups))), dtype=np.intp)
        found.append(Cluster(groups, steps, tuple(i for i, m in enumerate(members) if m and label[m[0]] == key)))
    still = [Cluster((), np.zeros((1, 0), dtype=np.intp), (i,)) for i, m in enumerate(members) if not m]
    return (*found, *still)


def _path_options(
    question: Question, state: State, index: int, ends: tuple[int, int], cluster: Cluster, unit: float
) -> PathOptions:
    build, grids, path = question.build, question.grids, question.build.air_paths[index]
    rows_of = {build.group_names.index(row.group) for row in path.fan_rows}
    mine = [place for place, group in enumerate(cluster.groups) if group in rows_of]
    own, option_of_cluster = np.unique(cluster.steps[:, mine], axis=0, return_inverse=True)
    speed_of = {cluster.groups[place]: grids[cluster.groups[place]][own[:, k]] for k, place in enumerate(mine)}
    rows, power, scale, number = [], np.zeros(len(own)), 1e-6, 0
    density = air.density(float(state.room_temp), air.isa_pressure(build.room.altitude))
    for place, element in enumerate(path.stack):
        if not isinstance(element, FanRow):
            continue
        group = build.group_names.index(element.group)
        fan, speed = build.fan_groups[group].fan, speed_of[group]
        rows.append(_row_options(question, state, path, number, place, element, group, speed, unit))
        power = power + element.count * electrical_power(fan.electric.power, speed, fan.electric.speed)
        free = machine_curve(fan.curve).free_flow * speed.max() / fan.curve.speed * fan.curve.flow_scale
        scale = max(scale, float(free * element.count * density))
        number += 1
    option_of_cluster = option_of_cluster.reshape(-1)
    same = bool(np.array_equal(option_of_cluster, np.arange(len(own))))
    return PathOptions(path, *ends, tuple(rows), power, scale, option_of_cluster, same)


def _row_options(
    question: Question,
    state: State,
    path: AirPath,
    number: int,
    place: int,
    element: FanRow,
    group: int,
    speed: Floats,
    unit: float,
) -> RowOptions:
    build = question.build
    unloaded = np.full(speed.shape, np.inf)
    heard = row_heard_levels(build, path, number, speed, unloaded)
    goal = heard[:, question.position]
    if question.band is not None:
        goal = row_band_levels(build, path, number, speed, unloaded)[:, question.position, question.band]
    limited, limits = _limited_positions(build, state)
    scale = float(build.fan_groups[group].fan.sound.load_adder_scale)
    return RowOptions(
        place=place,
        count=element.count,
        speed=speed,
        energy=_energy(goal - unit),
        elsewhere=_energy(heard[:, limited].T - limits[:, None]),
        load_adder=LOAD_ADDER_MAX * scale,
        row=element,
        fan_group=group,
    )


def load_factor(adder: float, share: Floats) -> Floats:
    """Factor on noise energy of a load adder at a load share."""
    return 10.0 ** (adder * np.clip((LOAD_ADDER_ONSET - share) / LOAD_ADDER_ONSET, 0.0, 1.0) / 10.0)

