"""Air through the enclosures: mass flow of every path and gauge pressure of every enclosure, at given temperatures.

Things first, cases last: flows are (paths, cases), temperatures of the nodes (enclosures, cases). Density and
viscosity along each stack belong to the temperatures handed in; `operating_point.py` refreshes them.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.build import ROOM, AirPath, Build, Core, Curve, FanRow, Opening
from quietcool.physics import air
from quietcool.physics.curves import PressureCurve, pressure_curve, pressure_rise
from quietcool.physics.network import REFERENCE
from quietcool.physics.resistance import mass_flow_coefficients, opening_mass_flow_coefficient

Floats = NDArray[np.float64]

LEAST_SCALE = 1e-3  # pressure that imbalances are measured by when nothing turns [Pa]
LINEAR_PART = 1e-6  # below this part of the flow scale a quadratic law is made linear [-]
LEAST_SLOPE = 1e-7  # slope that a law keeps at least, in parts of pressure scale over flow scale [-]
HIGHEST_FAN_RISE = 1000.0  # a fan in almost still air warms it by no more than this [K]


@dataclass(frozen=True)
class Row:
    """A fan row with everything its law needs; arrays are (cases,) or numbers."""

    path: int
    place: int  # in the stack
    group: int
    count: int
    curve: PressureCurve
    speed: Floats  # [rev/s]
    flow_scale: float | Floats
    pressure_scale: float | Floats
    efficiency: float | Floats  # multiplies a positive pressure rise [-]
    power: Floats  # electrical, of the whole row [W]

    @property
    def reach(self) -> float | Floats:
        """By what the flows of the curve are stretched at this speed."""
        return self.speed / self.curve.speed * self.flow_scale

    @property
    def free_flow(self) -> float | Floats:
        """Free delivery of one fan at this speed [m3/s]."""
        return self.curve.free_flow * self.reach

    @property
    def shutoff_pressure(self) -> float | Floats:
        """Pressure at zero flow at this speed and the density of the sheet [Pa]."""
        return self.curve.shutoff_pressure * self.pressure_scale * (self.speed / self.curve.speed) ** 2


@functools.lru_cache(maxsize=256)
def _points_curve(flow: tuple[float, ...], pressure: tuple[float, ...], speed: float, density: float) -> PressureCurve:
    return pressure_curve(flow, pressure, speed=speed, density=density)


def machine_curve(curve: Curve) -> PressureCurve:
    """The piecewise cubic of a sheet's curve; made once for each set of points."""
    return _points_curve(curve.flow, curve.pressure, curve.speed, curve.density)


def fan_rows(build: Build, speeds: Floats) -> tuple[Row, ...]:
    """Every fan row of the build, path by path in stack order, at speeds (groups + 1, cases) [rev/s]."""
    rows = []
    for path_index, path in enumerate(build.air_paths):
        efficiency = path.series_efficiency if len(path.fan_rows) > 1 else 1.0
        for place, element in enumerate(path.stack):
            if isinstance(element, FanRow):
                group = build.group_names.index(element.group)
                fan = build.fan_groups[group].fan
                speed = speeds[group]
                rows.append(
                    Row(
                        path=path_index,
                        place=place,
                        group=group,
                        count=element.count,
                        curve=machine_curve(fan.curve),
                        speed=speed,
                        flow_scale=fan.curve.flow_scale,
                        pressure_scale=fan.curve.pressure_scale,
                        efficiency=efficiency,
                        power=element.count * fan.electric.power * (speed / fan.electric.speed) ** 3,
                    )
                )
    return tuple(rows)


def node_index(build: Build, name: str) -> int:
    """Index of a node among the enclosures; REFERENCE for the room."""
    return REFERENCE if name == ROOM else build.enclosures.index(name)


def path_ends(build: Build) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Source and target node of every path."""
    return (
        tuple(node_index(build, path.source) for path in build.air_paths),
        tuple(node_index(build, path.target) for path in build.air_paths),
    )


class Stacks(NamedTuple):
    """What the air meets in every stack at the temperatures of the moment."""

    row_density: Floats  # at the inlet of each row, (rows, cases) [kg/m3]
    linear: Floats  # of all that is no fan, (paths, cases) [Pa s/kg]
    quadratic: Floats  # (paths, cases) [Pa s2/kg2]
    upstream_temp: Floats  # of the node the air comes from, (paths, cases) [K]
    inlet_density: Floats  # of that air, (paths, cases) [kg/m3]
    core_fan_rise: Floats  # warming by fans before the core, (paths, cases) [K]
    core_density: Floats  # at the core's mean temperature; NaN without a core, (paths, cases) [kg/m3]
    fan_power: Floats  # electrical power of all rows, (paths, cases) [W]


def describe_stacks(
    build: Build,
    rows: Sequence[Row],
    flow: Floats,
    node_temp: Floats,
    room_temp: Floats,
    core_share: Floats,
    core_coolant: Floats,
    ambient_pressure: Floats,
) -> Stacks:
    """Densities, viscosities and resistance coefficients along every stack.

    Air enters at its upstream node's temperature; a fan's power warms it where the fan stands; the core is taken at
    the mean of its inlet and outlet. Reversed flow meets the elements backwards.

    Parameters
    ----------
    build : Build
        Its numbers may be arrays (cases,).
    rows : sequence of Row
        From `fan_rows`.
    flow : ndarray, (paths, cases)
        Mass flows that tell directions and warming. [kg/s]
    node_temp, room_temp : ndarray, (enclosures, cases), (cases,)
        Air temperatures. [K]
    core_share, core_coolant : ndarray, (paths, cases)
        Part of the way from its own to the coolant's temperature that air goes in each core (0 without one), and
        that coolant temperature. [-, K]
    ambient_pressure : ndarray, (cases,)
        [Pa]

    Returns
    -------
    Stacks
    """
    cases = flow.shape[1]
    shape = flow.shape
    row_density = np.empty((len(rows), cases))
    linear, quadratic = np.zeros(shape), np.zeros(shape)
    upstream, inlet_density = np.empty(shape), np.empty(shape)
    core_fan_rise, core_density = np.zeros(shape), np.full(shape, np.nan)
    fan_power = np.zeros(shape)
    ends = list(zip(*path_ends(build), strict=True))
    for i, path in enumerate(build.air_paths):
        forward = flow[i] >= 0.0
        temps = [room_temp if node == REFERENCE else node_temp[node] for node in ends[i]]
        upstream[i] = temps[0] if ends[i][0] == ends[i][1] else np.where(forward, temps[0], temps[1])
        inlet_density[i] = air.density(upstream[i], ambient_pressure)
        here = {row.place: index for index, row in enumerate(rows) if row.path == i}
        capacity = np.maximum(np.abs(flow[i]) * air.SPECIFIC_HEAT, np.finfo(np.float64).tiny)
        warming: list[float | Floats] = [
            _fan_rise(rows[here[place]].power, capacity) if place in here else 0.0 for place in range(len(path.stack))
        ]
        for place, element in enumerate(path.stack):
            if isinstance(element, Core):  # before the others: it warms what comes after it
                core_fan_rise[i] = _rise_before(warming, place, forward)
                warming[place] = core_share[i] * (core_coolant[i] - upstream[i] - core_fan_rise[i])
        for place, element in enumerate(path.stack):
            rise = _rise_before(warming, place, forward)
            if isinstance(element, FanRow):
                row_density[here[place]] = air.density(upstream[i] + rise, ambient_pressure)
                fan_power[i] += rows[here[place]].power
                continue
            mean = upstream[i] + rise + (0.5 * warming[place] if isinstance(element, Core) else 0.0)
            density = air.density(mean, ambient_pressure)
            if isinstance(element, Opening):
                quadratic[i] += opening_mass_flow_coefficient(element.loss_coefficient, element.area, density)
                continue
            part = element.radiator if isinstance(element, Core) else element.resistance
            area = part.face_area if isinstance(element, Core) else element.area
            a, b = mass_flow_coefficients(part.a * element.dust, part.b, area, density, air.viscosity(mean))
            linear[i] += a
            quadratic[i] += b
            if isinstance(element, Core):
                core_density[i] = density
    return Stacks(row_density, linear, quadratic, upstream, inlet_density, core_fan_rise, core_density, fan_power)


def _fan_rise(power: Floats, capacity: Floats) -> Floats:
    return np.minimum(power, HIGHEST_FAN_RISE * capacity) / capacity


def _rise_before(warming: Sequence[float | Floats], place: int, forward: NDArray[np.bool_]) -> float | Floats:
    """Warming of the air before it reaches `place`, in the direction it takes."""
    ahead: float | Floats = 0.0
    behind: float | Floats = 0.0
    for other, rise in enumerate(warming):
        if other < place:
            ahead = ahead + rise
        elif other > place:
            behind = behind + rise
    return np.where(forward, ahead, behind)


class AirLaw(NamedTuple):
    """The law of every path: pressure gain over mass flow. Callable; `columns` of cases can be taken out."""

    rows: tuple[Row, ...]
    row_density: Floats
    linear: Floats
    quadratic: Floats
    pressure_scale: Floats  # (cases,) [Pa]
    flow_scale: Floats  # (cases,) [kg/s]
    falling: frozenset[int]  # paths whose curves are replaced left of their last peak by a falling line

    def __call__(self, flow: Floats) -> tuple[Floats, Floats]:
        """Pressure gain (paths, cases) [Pa] and its slope [Pa s/kg] at mass flows (paths, cases) [kg/s]."""
        size = np.maximum(np.abs(flow), LINEAR_PART * self.flow_scale)
        gain = -flow * (self.linear + self.quadratic * size)
        slope = -self.linear - self.quadratic * np.where(size > np.abs(flow), size, 2.0 * size)
        for row, density in zip(self.rows, self.row_density, strict=True):
            row_gain, row_slope = self.row_gain(row, density, flow[row.path])
            gain[row.path] += row_gain
            slope[row.path] += row_slope
        return gain, np.minimum(slope, -LEAST_SLOPE * self.pressure_scale / self.flow_scale)

    def row_gain(self, row: Row, density: Floats, flow: Floats) -> tuple[Floats, Floats]:
        """Pressure gain of one row and its slope by mass flow."""
        share = 1.0 / (density * row.count)
        fan_flow = flow * share
        peak = row.curve.last_peak * row.reach
        replaced = row.path in self.falling and row.curve.last_peak > 0.0
        pressure, slope = pressure_rise(
            row.curve,
            np.maximum(fan_flow, peak) if replaced else fan_flow,
            row.speed,
            density,
            flow_scale=row.flow_scale,
            pressure_scale=row.pressure_scale,
        )
        if replaced:
            steep = 2.0 * row.curve.shutoff_pressure / row.curve.free_flow
            pressure = pressure + steep * np.maximum(peak - fan_flow, 0.0)
            slope = np.where(fan_flow < peak, -steep, slope)
        factor = np.where(pressure > 0.0, row.efficiency, 1.0)
        return factor * pressure, factor * slope * share

    def columns(self, picked: NDArray[np.intp]) -> AirLaw:
        """The same law for the picked cases, in that order; a case may be picked more than once."""
        return AirLaw(
            tuple(_row_columns(row, picked) for row in self.rows),
            self.row_density[:, picked],
            self.linear[:, picked],
            self.quadratic[:, picked],
            self.pressure_scale[picked],
            self.flow_scale[picked],
            self.falling,
        )


def _row_columns(row: Row, picked: NDArray[np.intp]) -> Row:
    values = vars(row) | {
        name: value[picked] for name, value in vars(row).items() if isinstance(value, np.ndarray) and value.ndim
    }
    return Row(**values)


def air_law(build: Build, rows: Sequence[Row], stacks: Stacks) -> AirLaw:
    """The law of every path at the stacks' densities."""
    cases = stacks.linear.shape[1]
    pressure_scale = np.full(cases, LEAST_SCALE)
    flow_scale = np.full(cases, 1e-6)
    for row, density in zip(rows, stacks.row_density, strict=True):
        pressure_scale = np.maximum(pressure_scale, row.shutoff_pressure)
        flow_scale = np.maximum(flow_scale, row.free_flow * row.count * density)
    saddles = frozenset(row.path for row in rows if row.curve.last_peak > 0.0)
    return AirLaw(tuple(rows), stacks.row_density, stacks.linear, stacks.quadratic, pressure_scale, flow_scale, saddles)


def first_guess(law: AirLaw) -> Floats:
    """Mass flows to start from: half the free delivery where fans turn, a small flow elsewhere [kg/s]."""
    flow = np.broadcast_to(0.05 * law.flow_scale, law.linear.shape).copy()
    for row, density in zip(law.rows, law.row_density, strict=True):
        flow[row.path] = np.maximum(flow[row.path], 0.5 * row.free_flow * row.count * density)
    return flow


def face_velocity(path: AirPath, flow: Floats, core_density: Floats) -> Floats:
    """Velocity on the core's face at its mean density; NaN without a core [m/s]."""
    core = path.core
    return np.full_like(flow, np.nan) if core is None else flow / (core_density * core.radiator.face_area)
