"""The whole state of a build at given speeds: airflow, coolant, heat and noise, properties refreshed until they rest.

One call solves one case or a hundred thousand. Outside, the last axis counts things and leading axes are cases;
inside, things come first and the cases last, in chunks that stay in the processor's cache.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quietcool.entry.build import ROOM, Build, State
from quietcool.physics import air, coolant
from quietcool.physics.fans import load_share
from quietcool.physics.pumps import electrical_power
from quietcool.solve.airflow import (
    AirLaw,
    Row,
    Stacks,
    air_law,
    describe_stacks,
    face_velocity,
    fan_rows,
    first_guess,
    path_ends,
)
from quietcool.solve.cases import CHUNK, case_shape, flatten_cases, take_cases
from quietcool.solve.heat import HeatSolution, solve_heat
from quietcool.solve.loop import Branches, coolant_law, ring_branches, solve_ring, station_names
from quietcool.solve.noise import predict_noise
from quietcool.solve.saddles import AirSolution, solve_air_network

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

REST = 1e-7  # nothing may move by more between two refreshes of the properties [K]
MAX_REFRESHES = 60
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
            f"speeds: the last axis must have {groups} entries ({', '.join(build.group_names)}); got shape {given.shape}"
        )
    if not np.all(np.isfinite(given)) or np.any(given < 0.0):
        raise ValueError("speeds: every speed must be finite and at least 0 rev/s")
    shape = np.broadcast_shapes(given.shape[:-1], case_shape(build, state))
    flat_build, flat_state = flatten_cases(build, shape), flatten_cases(state, shape)
    columns = np.broadcast_to(given, (*shape, groups)).reshape(-1, groups).T
    count = columns.shape[1]
    chunks = []
    for start in range(0, count, CHUNK):
        part = slice(start, min(start + CHUNK, count))
        chunks.append(
            _solve_chunk(
                take_cases(flat_build, part), take_cases(flat_state, part), np.ascontiguousarray(columns[:, part])
            )
        )
    return _assemble(chunks, shape)


class _Progress(NamedTuple):
    """One refresh of a chunk: what is known of every case."""

    solution: AirSolution
    stacks: Stacks
    law: AirLaw
    heat: HeatSolution
    branch_flow: Floats  # (branches, cases) [m3/s]
    ring_residual: Floats  # (cases,)
    ring_converged: Flags  # (cases,)


def _solve_chunk(build: Build, state: State, speeds: Floats) -> dict[str, NDArray[np.generic]]:
    """Solve up to CHUNK cases; speeds (groups + 1, cases). Returns the fields of OperatingPoint, cases first."""
    cases = speeds.shape[1]
    room_temp = np.broadcast_to(np.asarray(state.room_temp, dtype=np.float64), (cases,))
    pressure = np.broadcast_to(air.isa_pressure(build.room.altitude), (cases,))
    rows = fan_rows(build, speeds)
    branches = ring_branches(build.loop.order)
    pump = build.loop.pump
    pump_power = electrical_power(pump.electric.power, speeds[-1], pump.electric.speed)
    node_temp = np.broadcast_to(room_temp + FIRST_AIR_RISE, (len(build.enclosures), cases))
    core_share = np.array([np.full(cases, FIRST_CORE_SHARE if p.core else 0.0) for p in build.air_paths])
    core_coolant = np.broadcast_to(room_temp + FIRST_COOLANT_RISE, core_share.shape)
    coolant_mean = room_temp + FIRST_COOLANT_RISE
    before: _Progress | None = None
    kept: _Kept | None = None
    for refresh in range(1, MAX_REFRESHES + 1):
        now = _refresh(
            build,
            state,
            speeds,
            rows,
            branches,
            pump_power,
            room_temp,
            pressure,
            node_temp,
            core_share,
            core_coolant,
            coolant_mean,
            before,
        )
        seen = _known(now.heat.enclosure_temp, room_temp)
        mean = _known(0.5 * (now.heat.coolant_in + now.heat.coolant_out).mean(axis=0), room_temp)
        hot = _known(now.heat.core_coolant, room_temp)
        moved = np.max(
            np.abs(np.concatenate([seen - node_temp, hot - core_coolant, (mean - coolant_mean)[None]])), axis=0
        )
        node_temp, core_share, core_coolant, coolant_mean, before = seen, now.heat.core_share, hot, mean, now
        kept = _keep(kept, now, moved <= REST, refresh)
        if np.all(kept.done):
            break
    return _describe(build, state, speeds, rows, branches, room_temp, pressure, kept)


def _known(temp: Floats, room_temp: Floats) -> Floats:
    """Temperatures to take properties at: the room's where there is no steady one."""
    return np.where(np.isnan(temp), room_temp, temp)


def _refresh(
    build: Build,
    state: State,
    speeds: Floats,
    rows: tuple[Row, ...],
    branches: Branches,
    pump_power: Floats,
    room_temp: Floats,
    pressure: Floats,
    node_temp: Floats,
    core_share: Floats,
    core_coolant: Floats,
    coolant_mean: Floats,
    before: _Progress | None,
) -> _Progress:
    """Flows at the properties of these temperatures, then the temperatures of these flows."""
    source, target = path_ends(build)
    if before is None:
        cold = describe_stacks(
            build,
            rows,
            np.full((len(source), speeds.shape[1]), np.inf),
            node_temp,
            room_temp,
            core_share,
            core_coolant,
            pressure,
        )
        air_start = first_guess(air_law(build, rows, cold))
    else:
        air_start = before.solution.network.flow
    stacks = describe_stacks(build, rows, air_start, node_temp, room_temp, core_share, core_coolant, pressure)
    law = air_law(build, rows, stacks)
    solution = solve_air_network(law, source, target, len(build.enclosures), air_start)
    liquid = coolant.coolant_properties(coolant_mean, build.loop.coolant.kind, build.loop.coolant.mass_fraction)
    ring_law = coolant_law(build, branches, speeds[-1], liquid)
    ring = solve_ring(branches, ring_law, None if before is None else before.branch_flow)
    heat = solve_heat(
        build,
        state,
        air_flow=solution.network.flow,
        stacks=stacks,
        branches=branches,
        branch_flow=ring.flow,
        coolant_heat_capacity=liquid.density * liquid.specific_heat,
        pump_power=pump_power,
        room_temp=room_temp,
    )
    return _Progress(solution, stacks, law, heat, ring.flow, ring.residual, ring.converged)


@dataclass
class _Kept:
    """What is known of every case, cases last; a case that has come to rest is left alone."""

    values: dict[str, NDArray[np.generic]]
    done: Flags
    iterations: NDArray[np.int64]


def _keep(kept: _Kept | None, now: _Progress, resting: Flags, refresh: int) -> _Kept:
    """Take over the refresh for every case that has not come to rest before."""
    network = now.solution.network
    sound = network.converged & now.ring_converged
    values: dict[str, NDArray[np.generic]] = {
        "flow": network.flow,
        "pressure": network.pressure,
        "residual": np.maximum(network.residual, now.ring_residual),
        "worst": network.worst_branch,
        "left": now.solution.left_of_peak,
        "sound": sound,
        "branch_flow": now.branch_flow,
        "row_density": now.law.row_density,
        "upstream_temp": now.stacks.upstream_temp,
        "inlet_density": now.stacks.inlet_density,
        "core_density": now.stacks.core_density,
        "fan_power": now.stacks.fan_power,
    } | {name: getattr(now.heat, name) for name in HeatSolution._fields}
    if kept is None:
        return _Kept(values, resting & sound, np.full(resting.shape, refresh))
    for name, value in values.items():
        np.copyto(value, kept.values[name], where=kept.done)
    iterations = np.where(kept.done, kept.iterations, refresh)
    return _Kept(values, kept.done | (resting & sound), iterations)


def _describe(
    build: Build,
    state: State,
    speeds: Floats,
    rows: tuple[Row, ...],
    branches: Branches,
    room_temp: Floats,
    pressure: Floats,
    kept: _Kept,
) -> dict[str, NDArray[np.generic]]:
    """Fields of OperatingPoint with the cases first."""
    known = kept.values
    flow = known["flow"]
    stations = station_names(build.loop.order)
    station_flow = np.array([known["branch_flow"][branches.branch_of(name)] for name in stations])
    shares = np.array(
        [
            load_share(flow[row.path] / (density * row.count), row.free_flow)
            for row, density in zip(rows, known["row_density"], strict=True)
        ]
    ).reshape(len(rows), speeds.shape[1])
    noise = predict_noise(build, speeds.T, shares.T)
    capacity = np.abs(flow) * air.SPECIFIC_HEAT
    warming = (known["fan_power"] + known["forced"]) / np.where(capacity > 0.0, capacity, np.inf)
    velocity = np.array([face_velocity(p, flow[i], known["core_density"][i]) for i, p in enumerate(build.air_paths)])
    things_first: dict[str, NDArray[np.generic]] = {
        "speeds": speeds,
        "mass_flow": flow,
        "air_flow": flow / known["inlet_density"],
        "face_velocity": velocity,
        "path_temp_in": known["upstream_temp"],
        "path_temp_out": known["upstream_temp"] + warming,
        "heat_rate": known["forced"] + known["passive"],
        "conductance": known["conductance"],
        "enclosure_temp": known["enclosure_temp"],
        "enclosure_pressure": known["pressure"],
        "station_flow": station_flow,
        "station_temp_in": known["coolant_in"],
        "station_temp_out": known["coolant_out"],
        "point_temp": _point_temps(build, state, known["coolant_in"], station_flow, stations),
        "load_share": shares,
        "left_of_peak": known["left"],
    }
    hot = np.maximum(known["coolant_in"], known["coolant_out"]).max(axis=0)
    cases_first = {name: np.moveaxis(value, 0, -1) for name, value in things_first.items()} | {
        "coolant_flow": known["branch_flow"][0],
        "coolant_temp_max": hot,
        "level": noise.level,
        "total": noise.total,
        "contributions": noise.contributions,
        "converged": kept.done,
        "iterations": kept.iterations,
        "residual": known["residual"],
        "worst_path": known["worst"],
    }
    return _blank_unconverged(cases_first, kept.done)


def _point_temps(
    build: Build, state: State, coolant_in: Floats, station_flow: Floats, stations: tuple[str, ...]
) -> Floats:
    """Temperature of every sensing point, T = T_coolant,in + P (share R_point + r0 + c (q/q_ref)^-n), (points, cases) [K]."""
    temps = []
    for source in build.sources:
        at = stations.index(source.name)
        flow, plate = station_flow[at], source.plate
        # A plate without flow has no steady temperature: NaN, not infinity.
        ratio = np.where(flow > 0.0, flow, np.nan) / plate.reference_flow
        resistance = plate.r0 + plate.c * ratio ** -np.asarray(plate.n)
        watts = state.heat.get(source.name, 0.0)
        temps += [coolant_in[at] + watts * (point.share * point.resistance + resistance) for point in source.points]
    return np.array(temps).reshape(len(temps), coolant_in.shape[1])


WITHOUT_ANSWER = ("speeds", "converged", "iterations", "residual", "worst_path", "left_of_peak")


def _blank_unconverged(values: dict[str, NDArray[np.generic]], done: Flags) -> dict[str, NDArray[np.generic]]:
    """Put NaN wherever a case has not converged."""
    if np.all(done):
        return values
    lost = ~done
    for name in values.keys() - set(WITHOUT_ANSWER):
        value = np.array(values[name], dtype=np.float64)
        value[lost] = np.nan
        values[name] = value
    return values


def _assemble(chunks: list[dict[str, NDArray[np.generic]]], shape: tuple[int, ...]) -> OperatingPoint:
    """Join chunks and give the case axes their shape back."""
    joined = {}
    for field in fields(OperatingPoint):
        whole = np.concatenate([chunk[field.name] for chunk in chunks])
        joined[field.name] = whole.reshape((*shape, *whole.shape[1:]))
    return OperatingPoint(**joined)
