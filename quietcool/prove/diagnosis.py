"""Which half to touch: the rise from coolant to chip, or the rise from room to coolant.

A few measured temperatures split the whole rise in two. Each half is held to what the model predicts for the same
watts, speeds and room, or, without a prediction, to what is common. Sensors differ by about as much as a repair
gains, so every verdict carries their error, and "not proven" is one of the verdicts.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from quietcool.entry.build import Build, State
from quietcool.solve.operating_point import OperatingPoint

SENSOR_ERROR = 0.5  # of one sensor against another, thermistors 0.5 to 1 K (common practice, no source) [K]
MODEL_ERROR = 0.20  # of a predicted rise, without calibration (common practice, no source) [-]
POWER_ERROR = 0.05  # of watts that software reports (common practice, no source) [-]
#: Common rise of a chip's core, the first point of its source, over the coolant at full load (common practice) [K]
COMMON_CHIP_RISE: Mapping[str, tuple[float, float]] = {"cpu": (25.0, 45.0), "gpu": (10.0, 20.0)}
#: Common rise of the coolant over the room at full load: 5 generous, 10 good, 15 quiet (common practice, no source) [K]
COMMON_COOLANT_RISE = (5.0, 15.0)

Judgement = Literal["high", "as expected", "low", "not proven", "no yardstick"]
Half = Literal["block side", "radiator side", "both sides", "neither side", "not proven"]
Basis = Literal["model", "common", "none"]
Sensor = Literal["hot", "cold"]


@dataclass(frozen=True)
class Measured:
    """What was read at one steady moment."""

    coolant: float  # [K]
    air: float  # that the rig breathes [K]
    points: Mapping[tuple[str, str], float]  # by source and sensing point [K]
    watts: Mapping[str, float]  # into the coolant, by source, where they were measured [W]
    sensor_error: float = SENSOR_ERROR  # of each sensor [K]
    sensor: Sensor = "hot"  # whether the coolant is read before the radiators, or behind them


@dataclass(frozen=True)
class Rise:
    """One measured difference and what it is held to."""

    name: str
    rise: float  # [K]
    error: float  # of the difference of two sensors [K]
    predicted: float | None  # by the model [K]
    expected: tuple[float, float] | None  # range that counts as sound [K]
    common: tuple[float, float] | None  # range at full load [K]
    basis: Basis
    judgement: Judgement

    @property
    def excess(self) -> float:
        """How far the rise lies above what counts as sound, 0 within [K]."""
        return 0.0 if self.expected is None else max(0.0, self.rise - self.expected[1])


@dataclass(frozen=True)
class Diagnosis:
    """The split of the rise, and which half to touch."""

    half: Half
    chips: tuple[Rise, ...]
    coolant: Rise
    heat: float  # into the coolant, measured where it was, else as the state says [W]
    conductance: tuple[float, float] | None  # heat over the rise of the coolant with its error [W/K]
    predicted_conductance: float | None  # [W/K]
    coolant_spread: float | None  # between hottest and coldest station, by the model [K]
    beyond_limit: tuple[str, ...]  # what was measured above its limit

    @property
    def larger(self) -> str | None:
        """Which rise lies furthest above what counts as sound."""
        worst = max((*self.chips, self.coolant), key=lambda rise: rise.excess)
        return worst.name if worst.excess > 0.0 else None


def difference_error(first: float, second: float) -> float:
    """Error of the difference of two independent readings.

    u = sqrt(u_1^2 + u_2^2)

    Parameters
    ----------
    first, second : float
        Errors of the two readings. [K]

    Returns
    -------
    float
        Error of their difference. [K]

    References
    ----------
    .. [1] JCGM 100:2008, "Guide to the expression of uncertainty in measurement", 5.1.2.

    Examples
    --------
    >>> round(difference_error(0.5, 0.5), 4)
    0.7071
    """
    return math.hypot(first, second)


def conductance(heat: float, rise: float, rise_error: float, heat_error: float = 0.0) -> tuple[float, float] | None:
    """Heat carried per kelvin, with its error; None where the rise is not proven to be above zero.

    G = P / dT; u_G = G sqrt((u_P/P)^2 + (u_dT/dT)^2)

    Parameters
    ----------
    heat : float
        Heat P. [W]
    rise : float
        Rise dT of the coolant over the air. [K]
    rise_error : float
        Error of the rise. [K]
    heat_error : float
        Error of the heat. [W]

    Returns
    -------
    tuple of float or None
        Conductance and its error. [W/K]

    References
    ----------
    .. [1] JCGM 100:2008, "Guide to the expression of uncertainty in measurement", 5.1.6.

    Examples
    --------
    >>> conductance(300.0, 10.0, 1.0)
    (30.0, 3.0)
    """
    if heat <= 0.0 or rise <= rise_error:
        return None
    value = heat / rise
    return value, value * math.hypot(heat_error / heat, rise_error / rise)


def judged(rise: float, error: float, expected: tuple[float, float] | None) -> Judgement:
    """What a measured rise says against a range, given its error.

    high: dT - u > upper; low: dT + u < lower; as expected: dT - u and dT + u within

    Parameters
    ----------
    rise : float
        Measured rise. [K]
    error : float
        Its error. [K]
    expected : tuple of float or None
        Lower and upper end of what counts as sound. [K]

    Returns
    -------
    Judgement
        "high", "low", "as expected", or "not proven" where the error spans an end.

    References
    ----------
    .. [1] JCGM 106:2012, "The role of measurement uncertainty in conformity assessment", 8.3: guarded acceptance and
       rejection (recalled, not re-read).

    Examples
    --------
    >>> judged(50.0, 0.7, (25.0, 45.0)), judged(45.2, 0.7, (25.0, 45.0))
    ('high', 'not proven')
    """
    if expected is None:
        return "no yardstick"
    low, high = expected
    if rise - error > high:
        return "high"
    if rise + error < low:
        return "low"
    return "as expected" if low <= rise - error and rise + error <= high else "not proven"


def diagnose(build: Build, state: State, measured: Measured, point: OperatingPoint | None = None) -> Diagnosis:
    """Split the measured rise in two and say which half to touch.

    Parameters
    ----------
    build, state : Build, State
        What was measured; watts that were not measured are those of the state.
    measured : Measured
        The readings.
    point : OperatingPoint, optional
        The model at the same watts, speeds and room (`measured_state`); without it, or where it has not converged,
        the common ranges count.

    Returns
    -------
    Diagnosis
        A verdict about each rise, and about the halves.
    """
    model = point if point is not None and bool(point.converged) else None
    reference = None if model is None else _sensed(model, measured.sensor)
    chips = tuple(_chip(build, key, measured, model, reference) for key in measured.points)
    coolant = _rise(
        "coolant over room",
        measured.coolant - measured.air,
        measured.sensor_error,
        None if reference is None else reference - measured.air,
        COMMON_COOLANT_RISE,
    )
    heat = sum(measured.watts.get(source.name, float(state.heat[source.name])) for source in build.sources)
    return Diagnosis(
        half=_half(chips, coolant),
        chips=chips,
        coolant=coolant,
        heat=heat,
        conductance=conductance(heat, coolant.rise, coolant.error, POWER_ERROR * heat),
        predicted_conductance=heat / coolant.predicted if coolant.predicted else None,
        coolant_spread=None if model is None else _sensed(model, "hot") - _sensed(model, "cold"),
        beyond_limit=tuple(_beyond(build, state, measured)),
    )


def measured_state(state: State, measured: Measured) -> State:
    """Return the state with the room and the watts that were measured, to solve the model at."""
    return replace(state, heat={**state.heat, **measured.watts}, room_temp=measured.air)


def _sensed(point: OperatingPoint, sensor: Sensor) -> float:
    """Coolant where the sensor sits: before the radiators it is hottest, behind them coldest [K]."""
    return float(point.coolant_temp_max if sensor == "hot" else np.min(point.station_temp_in))


def _chip(
    build: Build, key: tuple[str, str], measured: Measured, model: OperatingPoint | None, reference: float | None
) -> Rise:
    places = [(source, point) for source in build.sources for point in source.points]
    index = next(i for i, (source, point) in enumerate(places) if (source.name, point.name) == key)
    source, place = places[index]
    predicted = None if model is None or reference is None else float(model.point_temp[index]) - reference
    return _rise(
        f"{key[0]} {key[1]} over coolant",
        measured.points[key] - measured.coolant,
        measured.sensor_error,
        predicted,
        COMMON_CHIP_RISE.get(source.kind or "") if place is source.points[0] else None,
    )


def _rise(
    name: str, rise: float, sensor_error: float, predicted: float | None, common: tuple[float, float] | None
) -> Rise:
    error = difference_error(sensor_error, sensor_error)
    basis: Basis = "none" if common is None else "common"
    # Common ranges are those of full load; at less a rise may be anything down to zero.
    expected = None if common is None else (0.0, common[1])
    if predicted is not None and math.isfinite(predicted):
        spread = MODEL_ERROR * abs(predicted)
        expected, basis = (predicted - spread, predicted + spread), "model"
    return Rise(name, rise, error, predicted, expected, common, basis, judged(rise, error, expected))


def _half(chips: tuple[Rise, ...], coolant: Rise) -> Half:
    block = any(chip.judgement == "high" for chip in chips)
    radiator = coolant.judgement == "high"
    if block or radiator:
        return "both sides" if block and radiator else "block side" if block else "radiator side"
    unclear = any(rise.judgement in ("not proven", "no yardstick") for rise in (*chips, coolant))
    return "not proven" if unclear else "neither side"


def _beyond(build: Build, state: State, measured: Measured) -> list[str]:
    limits = {(source.name, point.name): point.limit for source in build.sources for point in source.points}
    pairs = ((" ".join(key), limits[key], temp) for key, temp in measured.points.items())
    found = [name for name, limit, temp in pairs if limit is not None and temp > limit]
    limit = state.limits.coolant
    return [*found, "coolant"] if limit is not None and measured.coolant > limit else found
