"""From what a chunk of cases has come to rest at, to what is said of them: the fields of an operating point."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.build import Build, State
from quietcool.physics import air
from quietcool.physics.fans import load_share
from quietcool.solve.airflow import face_velocity
from quietcool.solve.loop import MAIN, station_names
from quietcool.solve.noise import predict_noise
from quietcool.solve.problem import Problem

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Fields = dict[str, NDArray[Any]]


def describe_cases(problem: Problem, known: Fields, done: Flags, iterations: NDArray[np.int64]) -> Fields:
    """Fields of OperatingPoint with the cases first."""
    shares = _load_shares(problem, known)
    noise = predict_noise(problem.build, problem.speeds.T, shares.T, problem.state)
    things_first = _air_side(problem, known) | _coolant_side(problem, known) | {"load_share": shares}
    hot = np.maximum(known["coolant_in"], known["coolant_out"]).max(axis=0)
    cases_first = {name: np.moveaxis(value, 0, -1) for name, value in things_first.items()} | {
        "coolant_flow": known["branch_flow"][MAIN],
        "coolant_temp_max": hot,
        "level": noise.level,
        "total": noise.total,
        "contributions": noise.contributions,
        "converged": done,
        "iterations": iterations,
        "residual": known["residual"],
        "worst_path": known["worst"],
    }
    return _blank_unconverged(cases_first, done)


def _load_shares(problem: Problem, known: Fields) -> Floats:
    """Flow of each fan over its free delivery, (rows, cases) [-]."""
    shares = [
        load_share(known["flow"][row.path] / (density * row.count), row.free_flow)
        for row, density in zip(problem.rows, known["row_density"], strict=True)
    ]
    return np.array(shares).reshape(len(problem.rows), problem.speeds.shape[1])


def _air_side(problem: Problem, known: Fields) -> Fields:
    """Fields of paths and enclosures, things first."""
    flow = known["flow"]
    capacity = np.abs(flow) * air.SPECIFIC_HEAT
    warming = (known["fan_power"] + known["forced"]) / np.where(capacity > 0.0, capacity, np.inf)
    velocity = [
        face_velocity(path, flow[i], known["core_density"][i]) for i, path in enumerate(problem.build.air_paths)
    ]
    return {
        "speeds": problem.speeds,
        "mass_flow": flow,
        "air_flow": flow / known["inlet_density"],
        "face_velocity": np.array(velocity),
        "path_temp_in": known["upstream_temp"],
        "path_temp_out": known["upstream_temp"] + warming,
        "heat_rate": known["forced"] + known["passive"],
        "conductance": known["conductance"],
        "enclosure_temp": known["enclosure_temp"],
        "enclosure_pressure": known["pressure"],
        "left_of_peak": known["left"],
    }


def _coolant_side(problem: Problem, known: Fields) -> Fields:
    """Fields of stations and sensing points, things first."""
    stations = station_names(problem.build.loop.order)
    station_flow = np.array([known["branch_flow"][problem.branches.branch_of(name)] for name in stations])
    return {
        "station_flow": station_flow,
        "station_temp_in": known["coolant_in"],
        "station_temp_out": known["coolant_out"],
        "point_temp": _point_temps(problem.build, problem.state, known["coolant_in"], station_flow, stations),
    }


def _point_temps(
    build: Build, state: State, coolant_in: Floats, station_flow: Floats, stations: tuple[str, ...]
) -> Floats:
    """T = T_coolant,in + P (share R_point + r0 + c (q/q_ref)^-n) of every sensing point, (points, cases) [K]."""
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


def _blank_unconverged(values: Fields, done: Flags) -> Fields:
    """Put NaN wherever a case has not converged."""
    if np.all(done):
        return values
    lost = ~done
    for name in values.keys() - set(WITHOUT_ANSWER):
        value = np.array(values[name], dtype=np.float64)
        value[lost] = np.nan
        values[name] = value
    return values
