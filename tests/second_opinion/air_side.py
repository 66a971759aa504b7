"""Flows and pressures of the air network at given air temperatures: brentq inside brentq."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from quietcool.entry.build import ROOM, AirPath, Build, Core, FanRow, Opening, StackElement
from tests.second_opinion.laws import (
    SHEET_DENSITY,
    VISCOSITY_20,
    SheetCurve,
    air_density,
    air_viscosity,
    falling_root,
)

FLOW_TOLERANCE = 1e-16  # [kg/s]
PRESSURE_TOLERANCE = 1e-14  # [Pa]
SMALLEST_STEP = 1e-9  # of a bracket [kg/s]

Law = Callable[[float], float]  # mass flow [kg/s] -> pressure gained along the stack [Pa]


@dataclass(frozen=True)
class AirFlows:
    """A balanced air network."""

    mass_flow: dict[str, float]  # by path, positive along the stack [kg/s]
    pressure: dict[str, float]  # gauge, by enclosure [Pa]
    roots: tuple[tuple[float, bool], ...] = ()  # of the saddle path: mass flow [kg/s], statically stable


def resistance_law(linear: float, quadratic: float) -> Law:
    """Pressure gained (negative along the flow) through linear m + quadratic m|m|."""
    return lambda m: -(linear * m + quadratic * m * abs(m))


def in_series(laws: list[Law]) -> Law:
    """Pressure gained through elements one after another."""
    return lambda m: math.fsum(law(m) for law in laws)


def element_law(element: StackElement, temp: float, air_pressure: float, path: AirPath, fans: Fans) -> Law:
    """Pressure gained through one element whose air has the temperature `temp`."""
    density, viscosity_ratio = air_density(temp, air_pressure), air_viscosity(temp) / VISCOSITY_20
    if isinstance(element, Opening):
        return resistance_law(0.0, float(element.loss_coefficient) / (2.0 * density * float(element.area) ** 2))
    if isinstance(element, FanRow):
        curve, speed = fans.curve[element.group], fans.speed[element.group]
        efficiency = float(path.series_efficiency) if len(path.fan_rows) > 1 else 1.0

        def rise(m: float) -> float:
            gained = curve.rise(m / density / element.count, speed, density)
            return gained * efficiency if gained > 0.0 else gained

        return rise
    area = element.radiator.face_area if isinstance(element, Core) else element.area
    sheet = element.radiator if isinstance(element, Core) else element.resistance
    per_flow = 1.0 / (density * area)
    linear = float(sheet.a) * float(element.dust) * viscosity_ratio * per_flow
    return resistance_law(linear, float(sheet.b) * (density / SHEET_DENSITY) * per_flow**2)


@dataclass
class Fans:
    """Curves and present speeds by group."""

    curve: Mapping[str, SheetCurve]
    speed: Mapping[str, float]

    def saddle(self, path: AirPath) -> bool:
        """Whether a turning fan of the path has a saddle."""
        return any(self.curve[row.group].has_saddle and self.speed[row.group] > 0.0 for row in path.fan_rows)


@dataclass
class AirNetwork:
    """The network with the temperatures it was last given; flows and pressures start from the last answer."""

    build: Build
    fans: Fans
    air_pressure: float
    mass_flow: dict[str, float] = field(default_factory=dict)
    pressure: dict[str, float] = field(default_factory=dict)
    laws: dict[str, Law] = field(default_factory=dict)
    held: dict[str, float] = field(default_factory=dict)  # flows imposed while a saddle path is scanned
    roots: tuple[tuple[float, bool], ...] = ()

    def __post_init__(self) -> None:
        """Start from rest."""
        self.mass_flow = {path.name: 0.0 for path in self.build.air_paths}
        self.pressure = dict.fromkeys(self.build.enclosures, 0.0)
        turning = [path for path in self.build.air_paths if self.fans.saddle(path)]
        if len(turning) > 1:
            raise ValueError("the second opinion scans one saddle path only")
        self.saddle_path = turning[0] if turning else None

    def set_temps(self, temps: Mapping[str, list[float]]) -> None:
        """Make the stack laws for the temperature that each element sees, by path."""
        for path in self.build.air_paths:
            laws = [
                element_law(element, temp, self.air_pressure, path, self.fans)
                for element, temp in zip(path.stack, temps[path.name], strict=True)
            ]
            self.laws[path.name] = in_series(laws)

    def node_pressure(self, node: str) -> float:
        """Gauge pressure of a node [Pa]."""
        return 0.0 if node == ROOM else self.pressure[node]

    def path_flow(self, path: AirPath) -> float:
        """Mass flow of a path between the present node pressures [kg/s]."""
        if path.name in self.held:
            return self.held[path.name]
        law, driving = self.laws[path.name], self.node_pressure(path.source) - self.node_pressure(path.target)
        last = self.mass_flow[path.name]
        width = max(1e-4 * abs(last), SMALLEST_STEP)
        self.mass_flow[path.name] = falling_root(lambda m: driving + law(m), last, width, FLOW_TOLERANCE)
        return self.mass_flow[path.name]

    def net_inflow(self, enclosure: str) -> float:
        """Mass flow into an enclosure at the present pressures [kg/s]."""
        arriving = math.fsum(self.path_flow(path) for path in self.build.air_paths if path.target == enclosure)
        leaving = math.fsum(self.path_flow(path) for path in self.build.air_paths if path.source == enclosure)
        return arriving - leaving

    def balance(self, depth: int = 0) -> None:
        """Balance the enclosures from `depth` on: a brentq over one pressure, the others nested inside."""
        if depth == len(self.build.enclosures):
            return
        enclosure = self.build.enclosures[depth]

        def net(pressure: float) -> float:
            self.pressure[enclosure] = pressure
            self.balance(depth + 1)
            return self.net_inflow(enclosure)

        last = self.pressure[enclosure]
        width = max(1e-4 * abs(last), 1e-6)
        net(falling_root(net, last, width, PRESSURE_TOLERANCE))

    def shortfall(self, flow: float) -> float:
        """Driving pressure left over when the saddle path carries `flow` and the rest is balanced [Pa]."""
        path = self.saddle_path
        assert path is not None
        self.held = {path.name: flow}
        self.balance()
        self.held = {}
        driving = self.node_pressure(path.source) - self.node_pressure(path.target)
        return driving + self.laws[path.name](flow)

    def scan(self) -> None:
        """Find every operating point of the saddle path."""
        path = self.saddle_path
        assert path is not None
        grid = self.scan_grid(path)
        shortfall = [self.shortfall(m) for m in grid]
        roots = []
        for low, high, at_low, at_high in zip(grid, grid[1:], shortfall, shortfall[1:], strict=False):
            if at_low > 0.0 >= at_high:
                roots.append(
                    (falling_root(self.shortfall, 0.5 * (low + high), 0.5 * (high - low), FLOW_TOLERANCE), True)
                )
            elif at_low <= 0.0 < at_high:
                rising = falling_root(
                    lambda m: -self.shortfall(m), 0.5 * (low + high), 0.5 * (high - low), FLOW_TOLERANCE
                )
                roots.append((rising, False))
        self.roots = tuple(roots)

    def nearby_root(self, last: float) -> float | None:
        """Return the operating point of the saddle path close to the last one; None where it has gone."""
        for share in (1e-6, 1e-4, 1e-3, 1e-2):
            width = share * abs(last) + SMALLEST_STEP
            if self.shortfall(last - width) >= 0.0 >= self.shortfall(last + width):
                return falling_root(self.shortfall, last, width, FLOW_TOLERANCE)
        return None

    def scan_grid(self, path: AirPath) -> list[float]:
        """Flows fine enough for a saddle of every row, wide enough for any operating point [kg/s]."""
        density = air_density(300.0, self.air_pressure)
        marks = [0.0]
        for row in path.fan_rows:
            curve, ratio = (
                self.fans.curve[row.group],
                self.fans.speed[row.group] / self.fans.curve[row.group].curve.speed,
            )
            flows = np.asarray([*curve.knots, curve.free_flow]) * ratio * row.count * density
            for low, high in zip(flows, flows[1:], strict=False):
                marks.extend(np.linspace(low, high, 9))
        top = max(marks)
        marks.extend(np.linspace(-2.0 * top, 0.0, 12))
        marks.extend(np.linspace(top, 3.0 * top, 12))
        return sorted(set(marks))

    def solve(self, rescan: bool) -> AirFlows:
        """Balance the network at the temperatures set last; paths from room to room need no balance."""
        for path in self.build.air_paths:
            if path.source == path.target and path is not self.saddle_path:
                self.path_flow(path)
        if self.saddle_path is None:
            self.balance()
            return AirFlows(dict(self.mass_flow), dict(self.pressure))
        name = self.saddle_path.name
        chosen = None if rescan else self.nearby_root(self.mass_flow[name])
        if chosen is None:
            self.scan()
            chosen = max(m for m, stable in self.roots if stable)
        self.shortfall(chosen)
        self.mass_flow[name] = chosen
        return AirFlows(dict(self.mass_flow), dict(self.pressure), self.roots)
