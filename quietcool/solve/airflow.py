"""Air paths between the enclosures: their fan rows, and the law of each, pressure gain over mass flow.

Things first, cases last: flows are (paths, cases). A law holds at the densities along the stacks of one moment, see
`stacks.py`; `saddles.py` solves the network of all paths.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.build import ROOM, AirPath, Build, Curve, FanRow
from quietcool.physics.curves import PressureCurve, PressureCurves, pressure_curve, pressure_rise, stack_curves
from quietcool.physics.network import REFERENCE

Floats = NDArray[np.float64]
Columns = NDArray[np.intp]

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


class RowBank(NamedTuple):
    """All rows of a build side by side, so that one call asks them all; from `bank_of`."""

    path: Columns  # (rows,)
    fans: Floats  # of every row, (rows, 1)
    curves: PressureCurves
    speed: Floats  # (rows, cases) [rev/s]
    flow_scale: Floats  # (rows, 1 or cases)
    pressure_scale: Floats
    efficiency: Floats

    def gain(self, flow: Floats, density: Floats, falling: frozenset[int]) -> tuple[Floats, Floats]:
        """Pressure gain [Pa] and its slope by mass flow [Pa s/kg], (rows, cases).

        Flows are mass flows of the rows [kg/s], densities those at their inlets [kg/m3], (rows, cases). Curves on
        `falling` paths are continued left of their last peaks by a falling line.
        """
        share = 1.0 / (density * self.fans)
        fan_flow = flow * share
        steep = None
        if falling:
            peak = self.curves.last_peak * (self.speed / self.curves.speed * self.flow_scale)
            replaced = np.isin(self.path, list(falling))[:, None] & (self.curves.last_peak > 0.0) & (fan_flow < peak)
            steep, short_of = np.where(replaced, self.curves.steep, 0.0), np.where(replaced, peak - fan_flow, 0.0)
            fan_flow = np.where(replaced, peak, fan_flow)
        pressure, slope = pressure_rise(
            self.curves, fan_flow, self.speed, density, flow_scale=self.flow_scale, pressure_scale=self.pressure_scale
        )
        if steep is not None:
            pressure, slope = pressure + steep * short_of, np.where(replaced, -steep, slope)
        factor = np.where(pressure > 0.0, self.efficiency, 1.0)
        return factor * pressure, factor * slope * share

    def columns(self, picked: Columns) -> RowBank:
        """The same rows for the picked cases."""

        def taken(scale: Floats) -> Floats:
            return scale[:, picked] if scale.shape[1] > 1 else scale

        return self._replace(
            speed=self.speed[:, picked],
            flow_scale=taken(self.flow_scale),
            pressure_scale=taken(self.pressure_scale),
            efficiency=taken(self.efficiency),
        )


def bank_of(rows: Sequence[Row]) -> RowBank | None:
    """Put rows side by side; their speeds are of the same cases. None without rows."""
    if not rows:
        return None

    def stacked(values: Sequence[float | Floats]) -> Floats:
        columns = [np.atleast_1d(np.asarray(value, dtype=np.float64)) for value in values]
        return np.stack(np.broadcast_arrays(*columns))

    return RowBank(
        path=np.array([row.path for row in rows], dtype=np.intp),
        fans=stacked([row.count for row in rows]),
        curves=stack_curves([row.curve for row in rows]),
        speed=stacked([row.speed for row in rows]),
        flow_scale=stacked([row.flow_scale for row in rows]),
        pressure_scale=stacked([row.pressure_scale for row in rows]),
        efficiency=stacked([row.efficiency for row in rows]),
    )


class AirLaw(NamedTuple):
    """The law of every path, pressure gain over mass flow, and the nodes that each runs between."""

    rows: tuple[Row, ...]
    bank: RowBank | None  # the same rows
    row_density: Floats  # at the inlet of each row, (rows, cases) [kg/m3]
    linear: Floats  # of all that is no fan, (paths, cases) [Pa s/kg]
    quadratic: Floats  # (paths, cases) [Pa s2/kg2]
    pressure_scale: Floats  # (cases,) [Pa]
    flow_scale: Floats  # (cases,) [kg/s]
    falling: frozenset[int]  # paths whose curves are replaced left of their last peak by a falling line
    source: tuple[int, ...]  # node of every path
    target: tuple[int, ...]
    node_count: int  # enclosures

    def gain(self, flow: Floats) -> tuple[Floats, Floats]:
        """Pressure gain (paths, cases) [Pa] and its slope [Pa s/kg] at mass flows (paths, cases) [kg/s]."""
        size = np.maximum(np.abs(flow), LINEAR_PART * self.flow_scale)
        gain = -flow * (self.linear + self.quadratic * size)
        slope = -self.linear - self.quadratic * np.where(size > np.abs(flow), size, 2.0 * size)
        if self.bank is not None:
            row_gain, row_slope = self.bank.gain(flow[self.bank.path], self.row_density, self.falling)
            for i, path in enumerate(self.bank.path.tolist()):
                gain[path] += row_gain[i]
                slope[path] += row_slope[i]
        # Only a saddle's rise is left as it is: a path that rests on one is polished by Newton's own steps.
        least = LEAST_SLOPE * self.pressure_scale / self.flow_scale
        return gain, np.where(slope > least, slope, np.minimum(slope, -least))

    def columns(self, picked: Columns) -> AirLaw:
        """The same law for the picked cases, in that order; a case may be picked more than once."""
        return self._replace(
            rows=tuple(_row_columns(row, picked) for row in self.rows),
            bank=None if self.bank is None else self.bank.columns(picked),
            row_density=self.row_density[:, picked],
            linear=self.linear[:, picked],
            quadratic=self.quadratic[:, picked],
            pressure_scale=self.pressure_scale[picked],
            flow_scale=self.flow_scale[picked],
        )

    def with_falling(self, paths: frozenset[int]) -> AirLaw:
        """The same law with the curves of these paths replaced left of their last peaks, of no others."""
        return self._replace(falling=paths)


def _row_columns(row: Row, picked: Columns) -> Row:
    values = vars(row) | {
        name: value[picked] for name, value in vars(row).items() if isinstance(value, np.ndarray) and value.ndim
    }
    return Row(**values)


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
