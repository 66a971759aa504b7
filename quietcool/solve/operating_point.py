"""The whole state of a build at given speeds: airflow, coolant, heat and noise, properties refreshed until they rest.

One call solves one case or a hundred thousand. Outside, the last axis counts things and leading axes are cases;
inside, things come first and the cases last, in chunks that stay in the processor's cache.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quietcool.entry.build import Build, State
from quietcool.physics import coolant
from quietcool.solve.airflow import first_guess, path_ends
from quietcool.solve.cases import CHUNK, any_case, case_shape, flatten_cases
from quietcool.solve.description import describe_cases
from quietcool.solve.heat import Carriers, solve_heat
from quietcool.solve.loop import coolant_law, solve_ring
from quietcool.solve.problem import Problem, pose
from quietcool.solve.saddles import solve_air_network
from quietcool.solve.stacks import air_law, describe_stacks

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Columns = NDArray[np.intp]
Fields = dict[str, NDArray[Any]]

REST = 1e-7  # nothing may move by more between two refreshes of the properties [K]
MAX_REFRESHES = 60
PROPERTY_TEMPS = (200.0, 800.0)  # properties are taken inside; answers outside are said to be absurd elsewhere [K]
SHARE_SCALE = 30.0  # a core share of 1 counts so much [K]
FLOW_SCALE = 300.0  # a kilogram of air in a second counts so much [K s/kg]
SECANT_REACH = 0.5  # bound on the weight of the last step [-]
FIRST_AIR_RISE = 5.0  # of enclosures over the room, to start from [K]
FIRST_CORE_SHARE = 0.7
FIRST_COOLANT_RISE = 12.0  # [K]


@dataclass(frozen=True)
class OperatingPoint:
    """Everything about a build at given speeds; leading axes are cases. NaN where a case has no answer."""

    speeds: Floats  # as asked, (..., groups + 1) [rev/s]
    mass_flow: Floats  # positive in stack direction, (..., paths) [kg/s]
    air_flow: Floats  # at the density of the air that enters the path, (..., paths) [m3/s]
    face_velocity: Floats  # at the core's mean density, NaN without a core, (..., paths) [m/s]
    path_temp_in: Floats  # air that enters the path, (..., paths) [K]
    path_temp_out: Floats  # air that leaves it, (..., paths) [K]
    heat_rate: Floats  # that the path's radiator gives off, forced and passive, (..., paths) [W]
    conductance: Floats  # forced, (..., paths) [W/K]
    enclosure_temp: Floats  # (..., enclosures) [K]
    enclosure_pressure: Floats  # gauge, (..., enclosures) [Pa]
    coolant_flow: Floats  # through the pump, (...) [m3/s]
    station_flow: Floats  # (..., stations) [m3/s]
    station_temp_in: Floats  # (..., stations) [K]
    station_temp_out: Floats  # (..., stations) [K]
    coolant_temp_max: Floats  # hottest station, (...) [K]
    point_temp: Floats  # sensing points, source by source, (..., points) [K]
    load_share: Floats  # flow of each fan over its free delivery, (..., rows) [-]
    left_of_peak: Flags  # path rests left of the last peak of a fan's curve, (..., paths)
    level: Floats  # the rig's share, (..., positions) [dB(A)]
    total: Floats  # with background and microphone, (..., positions) [dB(A)]
    contributions: Floats  # (..., groups + 1, positions) [dB(A)]
    converged: Flags  # (...)
    iterations: NDArray[np.int64]  # refreshes of the properties, (...)
    residual: Floats  # largest scaled imbalance of air and coolant networks, (...) [-]
    worst_path: NDArray[np.int64]  # air path with the largest pressure imbalance, (...)


def solve_operating_point(build: Build, state: State, speeds: ArrayLike) -> OperatingPoint:
    """Solve a build in one state at given speeds.

    Parameters
    ----------
    build : Build
        Any number in it may be an array of case axes.
    state : State
        Likewise.
    speeds : array_like, (..., groups + 1)
        In the order of `build.group_names`, the pump last; 0 is a fan group at rest. [rev/s]

    Returns
    -------
    OperatingPoint
        Case axes are those of the speeds and of every array in build and state, broadcast together.

    Raises
    ------
    ValueError
        If the last axis of the speeds does not fit the build, or a speed is negative or not finite.
    """
    given = np.asarray(speeds, dtype=np.float64)
    groups = len(build.group_names)
    if given.ndim == 0 or given.shape[-1] != groups:
        raise ValueError(
            f"speeds: the last axis must have {groups} entries "
            f"({', '.join(build.group_names)}); got shape {given.shape}"
        )
    if not np.all(np.isfinite(given)) or np.any(given < 0.0):
        raise ValueError("speeds: every speed must be finite and at least 0 rev/s")
    varied = case_shape(build, state)
    shape = np.broadcast_shapes(given.shape[:-1], varied or ())
    if 0 in shape:  # every field of one case, less that case
        one = solve_operating_point(any_case(build), any_case(state), np.ones((1, groups)))
        values = {field.name: getattr(one, field.name) for field in fields(one)}
        return OperatingPoint(**{name: value[:0].reshape(*shape, *value.shape[1:]) for name, value in values.items()})
    if varied is not None:
        build, state = flatten_cases(build, shape), flatten_cases(state, shape)
    columns = np.broadcast_to(given, (*shape, groups)).reshape(-1, groups).T
    count = columns.shape[1]
    whole: Fields = {}
    for start in range(0, count, CHUNK):
        part = slice(start, min(start + CHUNK, count))
        problem = pose(build, state, columns, part if varied is not None else None, part)
        _put(whole, _solve_chunk(problem), part, count)
    values = {name: value.reshape((*shape, *value.shape[1:])) for name, value in whole.items()}
    return OperatingPoint(**{field.name: values[field.name] for field in fields(OperatingPoint)})


class _Guess(NamedTuple):
    """What the properties are taken at, and the flows to start from."""

    node_temp: Floats  # (enclosures, cases) [K]
    core_coolant: Floats  # (paths, cases) [K]
    coolant_mean: Floats  # (1, cases) [K]
    core_share: Floats  # (paths, cases) [-]
    air_flow: Floats  # (paths, cases) [kg/s]
    branch_flow: Floats | None  # (branches, cases) [m3/s]

    @property
    def unknowns(self) -> Floats:
        """Everything that the properties depend on, shares and flows by the kelvins they stand for, (n, cases) [K]."""
        shares, flows = SHARE_SCALE * self.core_share, FLOW_SCALE * self.air_flow
        return np.concatenate([self.node_temp, self.core_coolant, self.coolant_mean, shares, flows])

    def with_unknowns(self, unknowns: Floats) -> _Guess:
        """The same guess at other unknowns."""
        enclosures, paths = self.node_temp.shape[0], self.air_flow.shape[0]
        ends = np.cumsum([enclosures, paths, 1, paths])
        node_temp, core_coolant, coolant_mean, shares, flows = np.split(unknowns, ends)
        return self._replace(
            node_temp=node_temp,
            core_coolant=core_coolant,
            coolant_mean=coolant_mean,
            core_share=np.clip(shares / SHARE_SCALE, 0.0, 1.0),
            air_flow=flows / FLOW_SCALE,
        )

    def columns(self, picked: Columns) -> _Guess:
        """The same guess for the picked cases."""
        return _Guess(
            node_temp=self.node_temp[:, picked],
            core_coolant=self.core_coolant[:, picked],
            coolant_mean=self.coolant_mean[:, picked],
            core_share=self.core_share[:, picked],
            air_flow=self.air_flow[:, picked],
            branch_flow=None if self.branch_flow is None else self.branch_flow[:, picked],
        )


def _solve_chunk(problem: Problem) -> Fields:
    """Solve up to CHUNK cases; returns the fields of OperatingPoint, cases first.

    The properties are refreshed by the secant step of each case on its own (Anderson's method with one memory);
    cases that have come to rest are dropped from the arrays once they are the most.
    """
    known: Fields = {}
    count = problem.room_temp.size
    done = np.zeros(count, dtype=np.bool_)
    iterations = np.zeros(count, dtype=np.int64)
    columns = np.arange(count)
    part, guess = problem, _first_guess(problem)
    last_moved = last_unknowns = np.empty(0)
    for refresh in range(1, MAX_REFRESHES + 1):
        values, found = _refresh(part, guess)
        unknowns = found.unknowns
        moved = unknowns - guess.unknowns
        iterations[columns[~done[columns]]] = refresh
        resting = (np.max(np.abs(moved), axis=0) <= REST) & values["sound"]
        ended = ~done[columns] & (resting | (refresh == MAX_REFRESHES))
        _write(known, values, columns, ended, count)
        done[columns] |= resting
        if np.all(done):
            break
        ahead = unknowns if refresh == 1 else _secant(unknowns, moved, last_unknowns, last_moved)
        last_moved, last_unknowns, guess = moved, unknowns, found.with_unknowns(ahead)
        open_cases = ~done[columns]
        if 2 * np.count_nonzero(open_cases) <= columns.size:
            picked = np.flatnonzero(open_cases)
            columns = columns[picked]
            varied = columns if problem.varied else None
            part = pose(problem.build, problem.state, problem.speeds, varied, columns)
            guess = guess.columns(picked)
            last_moved, last_unknowns = last_moved[:, picked], last_unknowns[:, picked]
    return describe_cases(problem, known, done, iterations)


def _first_guess(problem: Problem) -> _Guess:
    """Warm everywhere, half of free delivery through the fans."""
    paths, cases = problem.build.air_paths, problem.room_temp.size
    has_core = np.array([[path.core is not None] for path in paths])
    node_temp = np.broadcast_to(problem.room_temp + FIRST_AIR_RISE, (len(problem.build.enclosures), cases))
    core_coolant = np.where(has_core, problem.room_temp + FIRST_COOLANT_RISE, problem.room_temp)
    core_share = FIRST_CORE_SHARE * np.broadcast_to(has_core, core_coolant.shape)
    free = np.full(core_coolant.shape, np.inf)
    stacks = describe_stacks(problem, free, node_temp, core_share, core_coolant)
    flow = first_guess(air_law(problem, stacks))
    return _Guess(node_temp, core_coolant, (problem.room_temp + FIRST_COOLANT_RISE)[None], core_share, flow, None)


def _refresh(problem: Problem, guess: _Guess) -> tuple[Fields, _Guess]:
    """Flows at the properties of these temperatures, then the temperatures of these flows."""
    stacks = describe_stacks(problem, guess.air_flow, guess.node_temp, guess.core_share, guess.core_coolant)
    solution = solve_air_network(air_law(problem, stacks), guess.air_flow)
    network = solution.network
    fluid = problem.build.loop.coolant
    liquid = coolant.coolant_properties(guess.coolant_mean[0], fluid.kind, fluid.mass_fraction)
    law = coolant_law(problem.build, problem.branches, problem.speeds[-1], liquid)
    ring = solve_ring(problem.branches, law, guess.branch_flow)
    heat = solve_heat(problem, Carriers(network.flow, stacks, ring.flow, liquid.density * liquid.specific_heat))
    values: Fields = {
        "flow": network.flow,
        "pressure": network.pressure,
        "residual": np.maximum(network.residual, ring.residual),
        "worst": network.worst_branch,
        "left": solution.left_of_peak,
        "sound": network.converged & ring.converged,
        "branch_flow": ring.flow,
        "row_density": stacks.row_density,
        "upstream_temp": _upstream(problem, network.flow, heat.enclosure_temp),
        "inlet_density": stacks.inlet_density,
        "core_density": stacks.core_density,
        "fan_power": stacks.fan_power,
    } | heat._asdict()
    mean = 0.5 * (heat.coolant_in + heat.coolant_out).mean(axis=0, keepdims=True)
    node_temp, core_coolant, coolant_mean = (
        _known(temp, problem.room_temp) for temp in (heat.enclosure_temp, heat.core_coolant, mean)
    )
    return values, _Guess(node_temp, core_coolant, coolant_mean, heat.core_share, network.flow, ring.flow)


def _upstream(problem: Problem, flow: Floats, enclosure_temp: Floats) -> Floats:
    """Temperature of the node that each path draws from, (paths, cases) [K]."""
    nodes = np.concatenate([enclosure_temp, problem.room_temp[None]])  # the room last
    source, target = (np.array(ends) for ends in path_ends(problem.build))
    upstream: Floats = np.where(flow >= 0.0, nodes[source], nodes[target])
    return upstream


def _known(temp: Floats, room_temp: Floats) -> Floats:
    """Temperatures to take properties at: the room's where there is no steady one, none beyond all sense."""
    return np.clip(np.where(np.isnan(temp), room_temp, temp), *PROPERTY_TEMPS)


def _secant(unknowns: Floats, moved: Floats, last_unknowns: Floats, last_moved: Floats) -> Floats:
    """Unknowns to refresh at next: where the last two movements would have met, case by case, step bounded."""
    change = moved - last_moved
    square = (change * change).sum(axis=0)
    weight = (moved * change).sum(axis=0) / np.where(square > 0.0, square, 1.0)
    ahead: Floats = unknowns - np.clip(weight, -SECANT_REACH, SECANT_REACH) * (unknowns - last_unknowns)
    return ahead


def _write(known: Fields, values: Fields, columns: Columns, ended: Flags, count: int) -> None:
    """Take over a refresh for the cases that end with it."""
    if not np.any(ended):
        return
    picked = columns[ended]
    for name, value in values.items():
        if name not in known:
            known[name] = np.zeros((*value.shape[:-1], count), dtype=value.dtype)
        known[name][..., picked] = value[..., ended]


def _put(whole: Fields, chunk: Fields, part: slice, count: int) -> None:
    """Put a chunk into its place in the answer, so that chunks and answer never stand side by side in memory."""
    for name, value in chunk.items():
        if name not in whole:
            whole[name] = np.empty((count, *value.shape[1:]), dtype=value.dtype)
        whole[name][part] = value
