"""What a state asks for: its limits by name, and how far a solved state keeps them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.build import Build, State
from quietcool.solve.listening import CriterionLimit, criterion_limits, criterion_margin, position_limits
from quietcool.solve.operating_point import OperatingPoint
from quietcool.solve.spectra import rig_spectrum

Floats = NDArray[np.float64]
Kind = Literal["point", "coolant", "enclosure air", "coolant flow", "position"]

SCALES: dict[str, float] = {"K": 1.0, "m3/s": 1e-4 / 60.0, "dB": 1.0}  # a margin that counts as one, by unit


@dataclass(frozen=True)
class Limit:
    """One limit of one state."""

    kind: Kind
    name: str  # as people say it: "gpu 1 core", "coolant", "tower air", "coolant flow", "booth microphone"
    unit: str  # of the margin: "K", "m3/s" or "dB"
    value: float  # [K, m3/s, dB(A), or the rating]
    index: int  # of the sensing point, enclosure or position; 0 otherwise
    criterion: Literal["dba", "nc", "nr"] = "dba"  # of a position: what `value` is


def limits(build: Build, state: State) -> tuple[Limit, ...]:
    """Every limit of a state, in a fixed order: sensing points, coolant, enclosure air, coolant flow, positions."""
    found: list[Limit] = []
    points = [(source.name, point) for source in build.sources for point in source.points]
    for index, (source, point) in enumerate(points):
        if point.limit is not None:
            found.append(Limit("point", f"{source} {point.name}", "K", point.limit, index))
    if state.limits.coolant is not None:
        found.append(Limit("coolant", "coolant", "K", state.limits.coolant, 0))
    for index, name in enumerate(build.enclosures):
        if name in state.limits.enclosure_air:
            found.append(Limit("enclosure air", f"{name} air", "K", state.limits.enclosure_air[name], index))
    if build.loop.min_flow > 0.0:
        found.append(Limit("coolant flow", "coolant flow", "m3/s", build.loop.min_flow, 0))
    for index, limit in enumerate(position_limits(build, state)):
        if limit < np.inf:
            found.append(Limit("position", build.positions[index].name, "dB", float(limit), index))
    for asked in criterion_limits(build, state):
        name = f"{build.positions[asked.position].name} {asked.criterion.upper()} {asked.value:g}"
        found.append(Limit("position", name, "dB", asked.value, asked.position, asked.criterion))
    return tuple(found)


def margins(build: Build, state: State, point: OperatingPoint) -> Floats:
    """Margins of a solved state, positive when kept; NaN where a quantity has no steady value.

    Parameters
    ----------
    build, state : Build, State
        What the point was solved for.
    point : OperatingPoint
        The solved state.

    Returns
    -------
    ndarray, (..., limits)
        Limit less value (coolant flow: value less limit; NC and NR: what every octave may rise), in the order of
        `limits`. [K, m3/s, dB]
    """
    asked = limits(build, state)
    by_octave = [limit for limit in asked if limit.criterion != "dba"]
    spectrum = rig_spectrum(build, point.speeds, point.load_share, state) if by_octave else np.zeros(0)
    columns = [_margin(limit, point, spectrum) for limit in asked]
    return np.stack(columns, axis=-1) if columns else np.zeros((*point.converged.shape, 0))


def _margin(limit: Limit, point: OperatingPoint, spectrum: Floats) -> Floats:
    if limit.kind == "point":
        return limit.value - point.point_temp[..., limit.index]
    if limit.kind == "coolant":
        return limit.value - point.coolant_temp_max
    if limit.kind == "enclosure air":
        return limit.value - point.enclosure_temp[..., limit.index]
    if limit.kind == "coolant flow":
        return point.coolant_flow - limit.value
    if limit.criterion != "dba":
        asked = CriterionLimit(limit.index, limit.criterion, limit.value)
        return criterion_margin(asked, spectrum[..., limit.index, :])
    return limit.value - point.level[..., limit.index]
