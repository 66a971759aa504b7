"""What the air meets along every stack: densities and resistance coefficients at the temperatures of one moment.

Things first, cases last. Air enters at its upstream node's temperature; a fan's power warms it where the fan stands;
the core is taken at the mean of its inlet and outlet. Reversed flow meets the elements backwards.
`operating_point.py` refreshes the temperatures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.build import AirPath, Core, FanRow, Opening, Radiator, Resistance, Screen
from quietcool.physics import air
from quietcool.physics.network import REFERENCE
from quietcool.physics.resistance import mass_flow_coefficients, opening_mass_flow_coefficient
from quietcool.solve.airflow import HIGHEST_FAN_RISE, LEAST_SCALE, AirLaw, Row, path_ends
from quietcool.solve.problem import Problem

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

LEAST_FLOW_SCALE = 1e-6  # flow that imbalances are measured by when nothing turns [kg/s]


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
    problem: Problem, flow: Floats, node_temp: Floats, core_share: Floats, core_coolant: Floats
) -> Stacks:
    """Densities, viscosities and resistance coefficients along every stack.

    Parameters
    ----------
    problem : Problem
        Build, rows, room temperature and ambient pressure of the cases.
    flow : ndarray, (paths, cases)
        Mass flows that tell directions and warming. [kg/s]
    node_temp : ndarray, (enclosures, cases)
        Air temperatures. [K]
    core_share, core_coolant : ndarray, (paths, cases)
        Part of the way from its own to the coolant's temperature that air goes in each core (0 without one), and
        that coolant temperature. [-, K]

    Returns
    -------
    Stacks
    """
    shape, ambient_pressure = flow.shape, problem.ambient_pressure
    found = Stacks(
        row_density=np.empty((len(problem.rows), shape[1])),
        linear=np.zeros(shape),
        quadratic=np.zeros(shape),
        upstream_temp=np.empty(shape),
        inlet_density=np.empty(shape),
        core_fan_rise=np.zeros(shape),
        core_density=np.full(shape, np.nan),
        fan_power=np.zeros(shape),
    )
    ends = list(zip(*path_ends(problem.build), strict=True))
    for i, path in enumerate(problem.build.air_paths):
        rows = {row.place: (index, row) for index, row in enumerate(problem.rows) if row.path == i}
        forward = flow[i] >= 0.0
        temps = [problem.room_temp if node == REFERENCE else node_temp[node] for node in ends[i]]
        found.upstream_temp[i] = np.where(forward, temps[0], temps[1])
        found.inlet_density[i] = air.density(found.upstream_temp[i], ambient_pressure)
        walk = _Walk(i, path, rows, forward, found.upstream_temp[i], ambient_pressure)
        warming = walk.warming(flow[i], core_share[i], core_coolant[i], found)
        walk.describe(warming, found)
    return found


@dataclass(frozen=True)
class _Walk:
    """The air's way along one stack."""

    index: int  # of the path
    path: AirPath
    rows: dict[int, tuple[int, Row]]  # place -> index and row
    forward: Flags  # (cases,)
    upstream_temp: Floats  # (cases,) [K]
    ambient_pressure: Floats  # (cases,) [Pa]

    def warming(self, flow: Floats, core_share: Floats, core_coolant: Floats, found: Stacks) -> list[float | Floats]:
        """By how much each element warms the air, in stack order; notes what fans before the core do [K]."""
        capacity = np.maximum(np.abs(flow) * air.SPECIFIC_HEAT, np.finfo(np.float64).tiny)
        warming: list[float | Floats] = [
            _fan_rise(self.rows[place][1].power, capacity) if place in self.rows else 0.0
            for place in range(len(self.path.stack))
        ]
        for place, element in enumerate(self.path.stack):
            if isinstance(element, Core):
                before = _rise_before(warming, place, self.forward)
                found.core_fan_rise[self.index] = before
                warming[place] = core_share * (core_coolant - self.upstream_temp - before)
        return warming

    def describe(self, warming: Sequence[float | Floats], found: Stacks) -> None:
        """Note densities, coefficients and fan power of every element."""
        i = self.index
        for place, element in enumerate(self.path.stack):
            inlet = self.upstream_temp + _rise_before(warming, place, self.forward)
            if isinstance(element, FanRow):
                number, row = self.rows[place]
                found.row_density[number] = air.density(inlet, self.ambient_pressure)
                found.fan_power[i] += row.power
            elif isinstance(element, Opening):
                density = air.density(inlet, self.ambient_pressure)
                found.quadratic[i] += opening_mass_flow_coefficient(element.loss_coefficient, element.area, density)
            elif isinstance(element, Core):
                mean = inlet + 0.5 * warming[place]
                found.core_density[i] = self._resist(element, element.radiator, element.radiator.face_area, mean, found)
            else:
                self._resist(element, element.resistance, element.area, inlet, found)

    def _resist(
        self, element: Core | Screen, sheet: Radiator | Resistance, area: float, temp: Floats, found: Stacks
    ) -> Floats:
        """Add a core's or a screen's coefficients; return the density that they hold at [kg/m3]."""
        density = air.density(temp, self.ambient_pressure)
        a, b = mass_flow_coefficients(sheet.a * element.dust, sheet.b, area, density, air.viscosity(temp))
        found.linear[self.index] += a
        found.quadratic[self.index] += b
        return density


def _fan_rise(power: Floats, capacity: Floats) -> Floats:
    return np.minimum(power, HIGHEST_FAN_RISE * capacity) / capacity


def _rise_before(warming: Sequence[float | Floats], place: int, forward: Flags) -> float | Floats:
    """Warming of the air before it reaches `place`, in the direction it takes."""
    ahead: float | Floats = 0.0
    behind: float | Floats = 0.0
    for other, rise in enumerate(warming):
        if other < place:
            ahead = ahead + rise
        elif other > place:
            behind = behind + rise
    return np.where(forward, ahead, behind)


def air_law(problem: Problem, stacks: Stacks) -> AirLaw:
    """The law of every path at the stacks' densities."""
    cases = stacks.linear.shape[1]
    pressure_scale = np.full(cases, LEAST_SCALE)
    flow_scale = np.full(cases, LEAST_FLOW_SCALE)
    for row, density in zip(problem.rows, stacks.row_density, strict=True):
        pressure_scale = np.maximum(pressure_scale, row.shutoff_pressure)
        flow_scale = np.maximum(flow_scale, row.free_flow * row.count * density)
    source, target = path_ends(problem.build)
    return AirLaw(
        rows=problem.rows,
        bank=problem.bank,
        row_density=stacks.row_density,
        linear=stacks.linear,
        quadratic=stacks.quadratic,
        pressure_scale=pressure_scale,
        flow_scale=flow_scale,
        falling=frozenset(row.path for row in problem.rows if row.curve.last_peak > 0.0),
        source=source,
        target=target,
        node_count=len(problem.build.enclosures),
    )
