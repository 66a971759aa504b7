"""The coolant ring: flow through every station at a pump speed.

Things first, cases last. The ring is a small network: pump, tube and everything on the main line are one branch,
each branch of a parallel section is one (or, with sections nested in it, several).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.build import PUMP, Build, LoopElement, Parallel
from quietcool.physics import coolant, resistance
from quietcool.physics.curves import pressure_rise
from quietcool.physics.network import REFERENCE, NetworkSolution, solve_network
from quietcool.solve.airflow import machine_curve

Floats = NDArray[np.float64]

LEAST_SCALE = 1.0  # pressure that imbalances are measured by when the pump rests [Pa]
LEAST_SLOPE = 1e-9  # slope that a branch keeps at least, in parts of pressure scale over flow scale [-]
MAIN = 0  # index of the branch with the pump
SECANT = 1e-6  # relative step of the tube's slope


@dataclass(frozen=True)
class Branches:
    """The ring as a network, from `ring_branches`."""

    elements: tuple[tuple[str, ...], ...]  # station names on each branch
    source: tuple[int, ...]
    target: tuple[int, ...]
    node_count: int

    def branch_of(self, station: str) -> int:
        """The branch a station stands on."""
        return next(i for i, names in enumerate(self.elements) if station in names)


def station_names(order: tuple[LoopElement, ...]) -> tuple[str, ...]:
    """Every station of the ring, branches in their order."""
    names: list[str] = []
    for element in order:
        if isinstance(element, Parallel):
            for branch in element.branches:
                names.extend(station_names(branch))
        else:
            names.append(element)
    return tuple(names)


def ring_branches(order: tuple[LoopElement, ...]) -> Branches:
    """Cut the ring into branches between junctions; where series elements stand in a chain does not change its flow."""
    elements: list[tuple[str, ...]] = []
    source: list[int] = []
    target: list[int] = []
    nodes = 0

    def new_node() -> int:
        nonlocal nodes
        nodes += 1
        return nodes - 1

    def add_chain(chain: tuple[LoopElement, ...], start: int, end: int) -> None:
        series = tuple(e for e in chain if isinstance(e, str))
        sections = [e for e in chain if isinstance(e, Parallel)]
        at = start
        if series or not sections:
            at = new_node() if sections else end
            elements.append(series)
            source.append(start)
            target.append(at)
        for place, section in enumerate(sections):
            leave = end if place == len(sections) - 1 else new_node()
            for branch in section.branches:
                add_chain(branch, at, leave)
            at = leave

    add_chain(order, REFERENCE, REFERENCE)
    return Branches(tuple(elements), tuple(source), tuple(target), nodes)


class CoolantLaw(NamedTuple):
    """Pressure gain of every branch over its volume flow, at the coolant's properties of the moment."""

    build: Build
    pump_speed: Floats  # (cases,) [rev/s]
    linear: Floats  # (branches, cases) [Pa s/m3]
    quadratic: Floats  # (branches, cases) [Pa s2/m6]
    density: Floats  # (cases,) [kg/m3]
    viscosity: Floats  # (cases,) [Pa s]
    pressure_scale: Floats  # (cases,) [Pa]
    flow_scale: Floats  # (cases,) [m3/s]

    def gain(self, flow: Floats) -> tuple[Floats, Floats]:
        """Pressure gain (branches, cases) [Pa] and its slope by flow [Pa s/m3]."""
        size = np.abs(flow)
        gain = -flow * (self.linear + self.quadratic * size)
        slope = -self.linear - 2.0 * self.quadratic * size
        main = flow[MAIN]
        curve = self.build.loop.pump.curve
        rise = pressure_rise(
            machine_curve(curve),
            main,
            self.pump_speed,
            self.density,
            flow_scale=curve.flow_scale,
            pressure_scale=curve.pressure_scale,
        )
        drop, drop_slope = self._tube_drop(main)
        gain[MAIN] += rise.pressure - drop
        slope[MAIN] += rise.slope - drop_slope
        return gain, np.minimum(slope, -LEAST_SLOPE * self.pressure_scale / self.flow_scale)

    def _tube_drop(self, flow: Floats) -> tuple[Floats, Floats]:
        """Pressure drop and its slope by a secant, both flows in one call."""
        tube, width = self.build.loop.tube, SECANT * (np.abs(flow) + SECANT * self.flow_scale)
        here, there = resistance.tube_pressure_drop(
            np.stack([flow, flow + width]), tube.bore, tube.length, tube.loss_coefficient, self.density, self.viscosity
        )
        return here, (there - here) / width


def coolant_law(
    build: Build, branches: Branches, pump_speed: Floats, properties: coolant.CoolantProperties
) -> CoolantLaw:
    """The ring's law. Sheets refer to water at 30 degC: a goes with viscosity, b with density."""
    viscous = properties.viscosity / coolant.REFERENCE_VISCOSITY
    inertial = properties.density / coolant.REFERENCE_DENSITY
    cases = np.broadcast_shapes(np.shape(viscous), np.shape(pump_speed))
    parts = {source.name: source.plate for source in build.sources} | {
        path.name: path.core.radiator for path in build.air_paths if path.core is not None
    }
    linear = np.zeros((len(branches.elements), *cases))
    quadratic = np.zeros_like(linear)
    for i, names in enumerate(branches.elements):
        for name in names:
            if name != PUMP:
                linear[i] += parts[name].coolant_a * viscous
                quadratic[i] += parts[name].coolant_b * inertial
    sheet = build.loop.pump.curve
    curve = machine_curve(sheet)
    ratio = pump_speed / curve.speed
    return CoolantLaw(
        build=build,
        pump_speed=np.broadcast_to(pump_speed, cases),
        linear=linear,
        quadratic=quadratic,
        density=np.broadcast_to(properties.density, cases),
        viscosity=np.broadcast_to(properties.viscosity, cases),
        pressure_scale=np.maximum(curve.shutoff_pressure * ratio**2 * sheet.pressure_scale, LEAST_SCALE),
        flow_scale=np.maximum(curve.free_flow * ratio * sheet.flow_scale, 1e-9),
    )


def solve_ring(branches: Branches, law: CoolantLaw, start: Floats | None = None) -> NetworkSolution:
    """Flows of every branch of the ring, (branches, cases) [m3/s]."""
    if start is None:
        start = np.broadcast_to(0.3 * law.flow_scale, law.linear.shape)
    return solve_network(
        law.gain,
        branches.source,
        branches.target,
        branches.node_count,
        start,
        pressure_scale=law.pressure_scale,
        flow_scale=law.flow_scale,
    )
