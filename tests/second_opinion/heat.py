"""Temperatures at given flows: one small linear system, written with affine expressions of its unknowns."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.build import PUMP, ROOM, AirPath, Build, Core, FanRow, LoopElement, Parallel, State
from tests.second_opinion.coolant_side import Properties
from tests.second_opinion.laws import AIR_SPECIFIC_HEAT, SHEET_DENSITY, cross_unmixed_effectiveness

Affine = NDArray[np.float64]  # coefficients of the unknowns, then a constant


@dataclass(frozen=True)
class Conductances:
    """Of one radiator."""

    forced: float  # between coolant inlet and air inlet [W/K]
    passive: float  # what is missing of the passive value, to the path's source node [W/K]


def radiator_conductances(path: AirPath, mass_flow: float, flow: float, coolant: Properties) -> Conductances:
    """Forced and passive conductance of the radiator of a path."""
    core = path.core
    assert core is not None
    sheet = core.radiator
    least = float(sheet.passive_conductance) * sheet.fan_sections
    if mass_flow == 0.0 or flow == 0.0:
        return Conductances(0.0, least)
    air_flux_ratio = abs(mass_flow) / (sheet.face_area * SHEET_DENSITY * sheet.ua_air_velocity)
    air_side = float(sheet.ua_air) * air_flux_ratio ** float(sheet.ua_air_exponent)
    coolant_side = float(sheet.ua_coolant) * (flow / sheet.ua_coolant_flow) ** float(sheet.ua_coolant_exponent)
    air_rate = abs(mass_flow) * AIR_SPECIFIC_HEAT
    coolant_rate = coolant.density * flow * coolant.specific_heat
    smaller, larger = min(air_rate, coolant_rate), max(air_rate, coolant_rate)
    ntu = air_side * coolant_side / (air_side + coolant_side) / smaller
    forced = cross_unmixed_effectiveness(ntu, smaller / larger) * smaller
    return Conductances(forced, max(least - forced, 0.0))


def machine_power(power: float, speed: float, sheet_speed: float) -> float:
    """Electrical power by the cube of the speed [W]."""
    return power * (speed / sheet_speed) ** 3


@dataclass
class Temperatures:
    """Everything that has a temperature."""

    enclosure: dict[str, float]  # [K]
    station_in: dict[str, float]  # [K]
    station_out: dict[str, float]  # [K]
    element: dict[str, list[float]]  # by path: the temperature that each element of the stack sees [K]
    core_air_in: dict[str, float]  # by path with a radiator [K]
    core_air_out: dict[str, float]  # [K]
    delivered: dict[str, float]  # by path: air that leaves the stack [K]
    forced_heat: dict[str, float]  # by path with a radiator [W]
    passive_heat: dict[str, float]  # [W]


@dataclass
class HeatBalance:
    """The linear system of one state at given flows."""

    build: Build
    state: State
    speeds: dict[str, float]
    mass_flow: dict[str, float]
    flows: dict[str, float]
    coolant: Properties
    inlet: dict[str, Affine] = field(default_factory=dict)
    outlet: dict[str, Affine] = field(default_factory=dict)
    heat: dict[str, tuple[Affine, Affine]] = field(default_factory=dict)  # forced and passive, by path

    def __post_init__(self) -> None:
        """Count the unknowns: the enclosures, then the inlet of the first element of the ring."""
        self.size = len(self.build.enclosures) + 2
        self.paths = {path.name: path for path in self.build.air_paths}
        self.fans = {group.name: group.fan for group in self.build.fan_groups}
        self.conductance = {
            path.name: radiator_conductances(path, self.mass_flow[path.name], self.flows[path.name], self.coolant)
            for path in self.build.air_paths
            if path.core is not None
        }

    def constant(self, value: float) -> Affine:
        """Return an expression without unknowns."""
        expression = np.zeros(self.size)
        expression[-1] = value
        return expression

    def unknown(self, index: int) -> Affine:
        """Return the expression that is one unknown."""
        expression = np.zeros(self.size)
        expression[index] = 1.0
        return expression

    def node(self, name: str) -> Affine:
        """Air temperature of a node."""
        if name == ROOM:
            return self.constant(float(self.state.room_temp))
        return self.unknown(self.build.enclosures.index(name))

    def row_power(self, row: FanRow) -> float:
        """Electrical power of a fan row [W]."""
        electric = self.fans[row.group].electric
        return row.count * machine_power(float(electric.power), self.speeds[row.group], electric.speed)

    def walk_stack(self, path: AirPath) -> tuple[dict[int, tuple[Affine, Affine]], Affine]:
        """Air in and out of every element of a stack, by its place, and the air delivered."""
        m = self.mass_flow[path.name]
        places = list(range(len(path.stack)))
        air = self.node(path.source if m >= 0.0 else path.target)
        passed = {}
        for place in places if m >= 0.0 else reversed(places):
            element, entering = path.stack[place], air
            if m != 0.0 and isinstance(element, FanRow):
                air = air + self.constant(self.row_power(element) / (abs(m) * AIR_SPECIFIC_HEAT))
            elif m != 0.0 and isinstance(element, Core):
                forced = self.conductance[path.name].forced * (self.inlet[path.name] - air)
                air = air + forced / (abs(m) * AIR_SPECIFIC_HEAT)
            passed[place] = (entering, air)
        return passed, air

    def core_air_inlet(self, path: AirPath) -> Affine:
        """Air that enters the radiator of a path."""
        m = self.mass_flow[path.name]
        stack = list(path.stack) if m >= 0.0 else list(reversed(path.stack))
        air = self.node(path.source if m >= 0.0 else path.target)
        for element in stack:
            if isinstance(element, Core):
                break
            if isinstance(element, FanRow) and m != 0.0:
                air = air + self.constant(self.row_power(element) / (abs(m) * AIR_SPECIFIC_HEAT))
        return air

    def pump_power(self) -> float:
        """Electrical power of the pump [W]."""
        electric = self.build.loop.pump.electric
        return machine_power(float(electric.power), self.speeds[PUMP], electric.speed)

    def pass_station(self, name: str, entering: Affine) -> Affine:
        """Coolant out of one station."""
        rate = self.coolant.density * self.flows[name] * self.coolant.specific_heat
        if name == PUMP:
            gained = self.constant(float(self.build.loop.pump.coolant_share) * self.pump_power())
        elif name in self.paths:
            path, conductance = self.paths[name], self.conductance[name]
            forced = conductance.forced * (entering - self.core_air_inlet(path))
            passive = conductance.passive * (entering - self.node(path.source))
            self.heat[name] = (forced, passive)
            gained = -(forced + passive)
        else:
            gained = self.constant(float(self.state.heat.get(name, 0.0)))
        self.inlet[name], self.outlet[name] = entering, entering + gained / rate
        return self.outlet[name]

    def pass_series(self, elements: tuple[LoopElement, ...], entering: Affine) -> Affine:
        """Coolant out of elements one after another."""
        for element in elements:
            if isinstance(element, Parallel):
                parts = [self.branch_flow(branch) for branch in element.branches]
                ends = [self.pass_series(branch, entering) for branch in element.branches]
                entering = np.average(ends, axis=0, weights=parts)
            else:
                entering = self.pass_station(element, entering)
        return entering

    def branch_flow(self, branch: tuple[LoopElement, ...]) -> float:
        """Flow of a branch [m3/s]."""
        first = branch[0]
        if isinstance(first, Parallel):
            return sum(self.branch_flow(inner) for inner in first.branches)
        return self.flows[first]

    def enclosure_balance(self, enclosure: str) -> Affine:
        """Heat that stays in an enclosure's air; zero when steady [W]."""
        kept = self.constant(float(self.state.air_heat.get(enclosure, 0.0)))
        if self.build.loop.pump_enclosure == enclosure:
            kept = kept + self.constant((1.0 - float(self.build.loop.pump.coolant_share)) * self.pump_power())
        for path in self.build.air_paths:
            m = self.mass_flow[path.name]
            if (path.target if m >= 0.0 else path.source) == enclosure:
                delivered = self.walk_stack(path)[1]
                kept = kept + abs(m) * AIR_SPECIFIC_HEAT * (delivered - self.node(enclosure))
            if path.core is not None and path.source == enclosure:
                kept = kept + self.heat[path.name][1]
        return kept

    def solve(self) -> Temperatures:
        """Close the ring and the enclosures."""
        start = self.unknown(self.size - 2)
        end = self.pass_series(self.build.loop.order, start)
        equations = [end - start, *(self.enclosure_balance(name) for name in self.build.enclosures)]
        matrix = np.array([equation[:-1] for equation in equations])
        solution = np.linalg.solve(matrix, -np.array([equation[-1] for equation in equations]))
        values = np.append(solution, 1.0)

        def value(expression: Affine) -> float:
            return float(expression @ values)

        passed = {path.name: self.walk_stack(path) for path in self.build.air_paths}
        element, core_in, core_out = {}, {}, {}
        for path in self.build.air_paths:
            seen = []
            for place, part in enumerate(path.stack):
                entering, leaving = (value(air) for air in passed[path.name][0][place])
                seen.append(0.5 * (entering + leaving) if isinstance(part, Core) else entering)
                if isinstance(part, Core):
                    core_in[path.name], core_out[path.name] = entering, leaving
            element[path.name] = seen
        return Temperatures(
            enclosure={name: value(self.node(name)) for name in self.build.enclosures},
            station_in={name: value(air) for name, air in self.inlet.items()},
            station_out={name: value(air) for name, air in self.outlet.items()},
            element=element,
            core_air_in=core_in,
            core_air_out=core_out,
            delivered={name: value(air) for name, (_, air) in passed.items()},
            forced_heat={name: value(forced) for name, (forced, _) in self.heat.items()},
            passive_heat={name: value(passive) for name, (_, passive) in self.heat.items()},
        )
