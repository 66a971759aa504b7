"""What no box changes: options of every cluster of groups, rows with their speeds and noise energies, and limits."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.energies import energy_of, over_blocks
from quietcool.decide.bound.facts import conductance_slack
from quietcool.decide.bound.ring import Ring, RingTables, describe_ring, ring_tables
from quietcool.decide.question import Question
from quietcool.entry.build import AirPath, Build, FanRow, State
from quietcool.physics import air
from quietcool.physics.coolant import TEMP_RANGE
from quietcool.physics.pumps import electrical_power
from quietcool.physics.sound import LOAD_ADDER_MAX
from quietcool.solve.airflow import machine_curve, path_ends
from quietcool.solve.noise import fixed_heard_levels, position_limits, pump_heard_levels, row_heard_levels
from quietcool.solve.spectra import fixed_band_levels, pump_band_levels, row_band_levels

Floats = NDArray[np.float64]
Kind = TypeVar("Kind", np.float64, np.bool_)

HOTTEST = 2000.0  # settings with an enclosure above this are not considered [K]
MOST_OPTIONS = 20_000  # of one cluster of groups that share a path, at the finest level
FEW_OPTIONS = 200  # of such a cluster, at the coarsest level


class TooManyOptions(Exception):
    """A cluster of groups has more combinations than the bound can list."""


@dataclass(frozen=True)
class RowOptions:
    """A fan row of a path at every option of the path."""

    place: int
    count: int
    speed: Floats  # the slowest, (options,) [rev/s]
    fastest: Floats  # (options,) [rev/s]
    energy: Floats  # least noise energy at the position with a full load share, over the goal's unit, (options,) [-]
    spread: Floats  # greatest less least noise energy, (options,) [-]
    elsewhere: Floats  # least noise energy at positions with a limit, over that limit, (limits, options) [-]
    load_adder: float  # greatest load adder [dB]
    row: FanRow
    fan_group: int


@dataclass(frozen=True)
class PathOptions:
    """A path at every combination of the steps, or blocks of steps, of its own groups."""

    path: AirPath
    source: int
    target: int
    rows: tuple[RowOptions, ...]
    power: Floats  # of all rows, the least, (options,) [W]
    most_power: Floats  # (options,) [W]
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
        order = np.argsort(self.option_of_cluster, kind="stable")
        firsts = np.searchsorted(self.option_of_cluster[order], np.arange(self.power.size))
        found: NDArray[np.bool_] = np.logical_or.reduceat(allowed[:, order], firsts, axis=1)
        return found

    def narrowed(self, kept: NDArray[np.intp]) -> tuple[PathOptions, NDArray[np.intp]]:
        """The path at some options of its cluster only, and which of its own options those use."""
        own, option_of_cluster = np.unique(self.option_of_cluster[kept], return_inverse=True)
        option_of_cluster = option_of_cluster.reshape(-1)
        rows = tuple(
            replace(
                row,
                speed=row.speed[own],
                fastest=row.fastest[own],
                energy=row.energy[own],
                spread=row.spread[own],
                elsewhere=row.elsewhere[:, own],
            )
            for row in self.rows
        )
        narrow = replace(
            self,
            rows=rows,
            power=self.power[own],
            most_power=self.most_power[own],
            option_of_cluster=option_of_cluster,
            same_as_cluster=bool(np.array_equal(option_of_cluster, np.arange(own.size))),
        )
        return narrow, own


@dataclass(frozen=True)
class Cluster:
    """Groups that share paths, with all combinations of their steps, or of blocks of neighbouring steps."""

    groups: tuple[int, ...]
    blocks: NDArray[np.intp]  # first and last step, (options, groups, 2)
    paths: tuple[int, ...]

    @property
    def count(self) -> int:
        """Number of options."""
        return len(self.blocks)

    @property
    def steps(self) -> NDArray[np.intp]:
        """The step of every option, or the middle of its block, (options, groups)."""
        middle: NDArray[np.intp] = self.blocks.sum(axis=2) // 2
        return middle

    def holding(self, finer: Cluster) -> NDArray[np.intp]:
        """Option that holds each option of a finer cluster of the same groups, (finer options,)."""
        found = np.zeros(finer.count, dtype=np.intp)
        size = 1
        for place in reversed(range(len(self.groups))):
            firsts = np.unique(self.blocks[:, place, 0])
            found += size * (np.searchsorted(firsts, finer.blocks[:, place, 0], side="right") - 1)
            size *= firsts.size
        return found


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
    conductance_slack: tuple[float, ...]  # of every path: part by which its conductance's ranges are widened [-]
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

    @property
    def exact(self) -> bool:
        """Whether every option is one setting of its groups."""
        return all(bool(np.all(cluster.blocks[..., 0] == cluster.blocks[..., 1])) for cluster in self.clusters)

    def narrowed(self, kept: list[NDArray[np.intp]]) -> tuple[Frame, list[NDArray[np.intp]]]:
        """The same with some options of every cluster only, and which of their own options the paths keep."""
        clusters = tuple(
            replace(cluster, blocks=cluster.blocks[mine]) for cluster, mine in zip(self.clusters, kept, strict=True)
        )
        narrow = [path.narrowed(kept[number]) for path, number in zip(self.paths, self.cluster_of, strict=True)]
        paths = tuple(path for path, _ in narrow)
        return replace(self, clusters=clusters, paths=paths), [own for _, own in narrow]


def make_frame(question: Question, state: State, unit: float) -> Frame:
    """Prepare one state for boxes; energies are relative to a level of `unit` dB(A).

    Raises
    ------
    TooManyOptions
        If groups that share paths have more combinations of steps than can be listed.
    """
    frame = make_frames(question, state, unit)[-1]
    if not frame.exact:
        names = [question.build.group_names[g] for cluster in frame.clusters for g in cluster.groups]
        raise TooManyOptions(f"groups {', '.join(names)} have too many combinations of steps")
    return frame


def make_frames(question: Question, state: State, unit: float) -> tuple[Frame, ...]:
    """Prepare one state for boxes, coarsely first.

    Groups that share paths have as many options as their steps have combinations, too many to look at in every box.
    At the coarser levels blocks of neighbouring steps stand for their settings.

    Returns
    -------
    tuple of Frame
        From the coarsest level to the finest; one only where no groups share a path. The finest is not exact where
        even then groups that share paths have more combinations than can be listed.
    """
    widths = [_block_widths([question.grids[g] for g in groups]) for groups in sharing_groups(question.build)]
    levels = max((len(own) for own in widths), default=1)
    return tuple(
        make_block_frame(question, state, unit, [own[max(level - levels, -len(own))] for own in widths])
        for level in range(levels)
    )


def make_block_frame(question: Question, state: State, unit: float, widths: Sequence[int]) -> Frame:
    """Frame with blocks of one width of steps, for each tuple of `sharing_groups` its own."""
    build = question.build
    sharing = sharing_groups(build)
    ends = list(zip(*path_ends(build), strict=True))
    grids = question.grids
    clusters = _clusters(build, grids, sharing, widths)
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
    tables = ring_tables(build, ring, grids[-1], room, min(limit, TEMP_RANGE[1]))
    return Frame(
        question=question,
        build=build,
        state=state,
        clusters=clusters,
        cluster_of=cluster_of,
        paths=paths,
        ring=ring,
        tables=tables,
        conductance_slack=tuple(_slack(path.path, scale, ring, tables) for path in paths),
        pump_energy=pump_energy,
        pump_elsewhere=pump_elsewhere,
        ambient_pressure=float(air.isa_pressure(build.room.altitude)),
        room_temp=room,
        air_heat=np.array([float(state.air_heat.get(name, 0.0)) for name in build.enclosures]),
        enclosure_limit=np.array([state.limits.enclosure_air.get(name, HOTTEST) for name in build.enclosures]),
        coolant_limit=limit,
        unit=unit,
    )


def _slack(path: AirPath, scale: float, ring: Ring, tables: RingTables) -> float:
    if path.core is None:
        return 0.0
    branch = ring.branches.branch_of(path.name)
    return conductance_slack(path.core.radiator, scale, tables.flow[branch], tables.branch_capacity[branch])


def _pump_energies(question: Question, state: State, unit: float) -> tuple[Floats, Floats]:
    """Noise energies of the pump at every step; what no speed changes goes with it, for the pump is always there."""
    build, place, speeds = question.build, question.position, question.grids[-1]
    limited, limits = _limited_positions(build, state)
    pump, fixed = pump_heard_levels(build, speeds), fixed_heard_levels(build, state)
    elsewhere = energy_of(pump[:, limited].T - limits[:, None])
    if fixed.size:
        elsewhere = elsewhere + energy_of(fixed[:, limited].T - limits[:, None]).sum(axis=1, keepdims=True)
    if question.band is None:
        goal, rest = pump[:, place], fixed[:, place]
    else:
        goal = pump_band_levels(build, speeds)[:, place, question.band]
        rest = fixed_band_levels(build, state)[:, place, question.band]
    energy = energy_of(goal - unit)
    return (energy + energy_of(rest - unit).sum() if rest.size else energy), elsewhere


def _limited_positions(build: Build, state: State) -> tuple[NDArray[np.intp], Floats]:
    limits = position_limits(build, state)
    limited = np.flatnonzero(np.isfinite(limits))
    return limited, limits[limited]


def sharing_groups(build: Build) -> list[tuple[int, ...]]:
    """Fan groups joined by the paths they share."""
    names = build.group_names
    members = [sorted({names.index(row.group) for row in path.fan_rows}) for path in build.air_paths]
    label = list(range(len(names)))
    for sharing in members:
        for group in sharing[1:]:
            old, new = label[group], label[sharing[0]]
            label = [new if x == old else x for x in label]
    keys = sorted({label[g] for sharing in members for g in sharing})
    return [tuple(g for g in range(len(names) - 1) if label[g] == key) for key in keys]


def _block_widths(grids: list[Floats]) -> list[int]:
    """Steps in a block at every level, from coarse to fine: halved until single, or options become too many."""
    widths = [1]
    while len(grids) > 1 and _combinations(grids, widths[0]) > FEW_OPTIONS:
        widths.insert(0, 2 * widths[0])
    return [width for width in widths if width == widths[0] or _combinations(grids, width) <= MOST_OPTIONS]


def _combinations(grids: list[Floats], width: int) -> int:
    return int(np.prod([len(_blocks(grid, width)) for grid in grids]))


def _blocks(grid: Floats, width: int) -> NDArray[np.intp]:
    """First and last step of every block of a group, (blocks, 2); rest is a block of its own."""
    first = np.arange(int(grid[0] == 0.0), grid.size, width)
    if grid[0] == 0.0:
        first = np.append(0, first)
    return np.stack([first, np.append(first[1:], grid.size) - 1], axis=-1)


def _clusters(
    build: Build, grids: tuple[Floats, ...], sharing: list[tuple[int, ...]], widths: Sequence[int]
) -> tuple[Cluster, ...]:
    """Groups that share paths, with their options; each path without fans is a cluster of its own with one option."""
    names = build.group_names
    members = [{names.index(row.group) for row in path.fan_rows} for path in build.air_paths]
    found = []
    for groups, width in zip(sharing, widths, strict=True):
        blocks = np.array(list(itertools.product(*(_blocks(grids[g], width) for g in groups))), dtype=np.intp)
        found.append(Cluster(groups, blocks, tuple(i for i, m in enumerate(members) if m & set(groups))))
    still = [Cluster((), np.zeros((1, 0, 2), dtype=np.intp), (i,)) for i, m in enumerate(members) if not m]
    return (*found, *still)


def _path_options(
    question: Question, state: State, index: int, ends: tuple[int, int], cluster: Cluster, unit: float
) -> PathOptions:
    build, grids, path = question.build, question.grids, question.build.air_paths[index]
    rows_of = {build.group_names.index(row.group) for row in path.fan_rows}
    mine = [place for place, group in enumerate(cluster.groups) if group in rows_of]
    own, option_of_cluster = np.unique(cluster.blocks[:, mine], axis=0, return_inverse=True)
    blocks_of = {cluster.groups[place]: own[:, k] for k, place in enumerate(mine)}
    rows, power, scale, number = [], np.zeros((2, len(own))), 1e-6, 0
    density = air.density(float(state.room_temp), air.isa_pressure(build.room.altitude))
    for place, element in enumerate(path.stack):
        if not isinstance(element, FanRow):
            continue
        group = build.group_names.index(element.group)
        fan, blocks = build.fan_groups[group].fan, blocks_of[group]
        rows.append(_row_options(question, state, path, number, place, element, group, blocks, unit))
        power = power + element.count * electrical_power(fan.electric.power, grids[group][blocks.T], fan.electric.speed)
        free = machine_curve(fan.curve).free_flow * grids[group][-1] / fan.curve.speed * fan.curve.flow_scale
        scale = max(scale, float(free * element.count * density))
        number += 1
    option_of_cluster = option_of_cluster.reshape(-1)
    same = bool(np.array_equal(option_of_cluster, np.arange(len(own))))
    return PathOptions(path, *ends, tuple(rows), power[0], power[1], scale, option_of_cluster, same)


def _row_options(
    question: Question,
    state: State,
    path: AirPath,
    number: int,
    place: int,
    element: FanRow,
    group: int,
    blocks: NDArray[np.intp],
    unit: float,
) -> RowOptions:
    """A row at blocks (options, 2) of its group's steps; least and greatest noise are looked up, not reasoned."""
    build, speed = question.build, question.grids[group]
    unloaded = np.full(speed.shape, np.inf)
    heard = row_heard_levels(build, path, number, speed, unloaded)
    goal = heard[:, question.position]
    if question.band is not None:
        goal = row_band_levels(build, path, number, speed, unloaded)[:, question.position, question.band]
    limited, limits = _limited_positions(build, state)
    scale = float(build.fan_groups[group].fan.sound.load_adder_scale)
    energy = energy_of(goal - unit)
    least = over_blocks(np.minimum, energy, blocks)
    return RowOptions(
        place=place,
        count=element.count,
        speed=speed[blocks[:, 0]],
        fastest=speed[blocks[:, 1]],
        energy=least,
        spread=over_blocks(np.maximum, energy, blocks) - least,
        elsewhere=over_blocks(np.minimum, energy_of(heard[:, limited].T - limits[:, None]), blocks),
        load_adder=LOAD_ADDER_MAX * scale,
        row=element,
        fan_group=group,
    )
