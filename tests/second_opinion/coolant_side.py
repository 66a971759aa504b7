"""Flows of the coolant ring at given properties: pump against tube, plates, radiators and branches."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from scipy.optimize import brentq

from quietcool.entry.build import PUMP, Build, LoopElement, Parallel, Plate, Radiator
from quietcool.physics.coolant import coolant_properties
from tests.second_opinion.laws import SheetCurve, churchill_friction_factor


@dataclass(frozen=True)
class Properties:
    """Of the coolant, at one temperature."""

    density: float  # [kg/m3]
    specific_heat: float  # [J/(kg K)]
    viscosity: float  # [Pa s]


def properties_at(temp: float, kind: str, mass_fraction: float) -> Properties:
    """Properties of the coolant at a temperature [K]."""
    found = coolant_properties(temp, kind, mass_fraction)
    return Properties(float(found.density), float(found.specific_heat), float(found.viscosity))


@dataclass
class Ring:
    """Pressure drops of the ring at given properties."""

    build: Build
    properties: Properties
    flows: dict[str, float] = field(default_factory=dict)  # by station [m3/s]

    def __post_init__(self) -> None:
        """Look up what stands where."""
        self.water_30 = properties_at(303.15, "water", 0.0)
        plates = {source.name: source.plate for source in self.build.sources}
        cores = {path.name: path.core.radiator for path in self.build.air_paths if path.core is not None}
        self.sheets: dict[str, Plate | Radiator] = {**plates, **cores}

    def coefficients(self, station: str) -> tuple[float, float]:
        """Of the pressure drop of one station: linear [Pa s/m3] and quadratic [Pa s2/m6]."""
        if station == PUMP:
            return 0.0, 0.0
        sheet = self.sheets[station]
        viscous = float(sheet.coolant_a) * self.properties.viscosity / self.water_30.viscosity
        return viscous, float(sheet.coolant_b) * self.properties.density / self.water_30.density

    def element_drop(self, element: LoopElement, flow: float) -> float:
        """Pressure drop of one element of the order [Pa]."""
        if isinstance(element, Parallel):
            return self.split(element, flow)[0]
        linear, quadratic = self.coefficients(element)
        return linear * flow + quadratic * flow * flow

    def series_drop(self, elements: tuple[LoopElement, ...], flow: float) -> float:
        """Pressure drop of elements one after another [Pa]."""
        return math.fsum(self.element_drop(element, flow) for element in elements)

    def branch_flow(self, branch: tuple[LoopElement, ...], drop: float, most: float) -> float:
        """Flow, below `most`, at which a branch takes a pressure drop [m3/s]."""
        if drop == 0.0:
            return 0.0
        if len(branch) == 1 and isinstance(branch[0], Parallel):
            return math.fsum(self.branch_flow(inner, drop, most) for inner in branch[0].branches)
        if all(isinstance(element, str) for element in branch):
            pairs = [self.coefficients(element) for element in branch if isinstance(element, str)]
            linear, quadratic = math.fsum(a for a, _ in pairs), math.fsum(b for _, b in pairs)
            return 2.0 * drop / (linear + math.sqrt(linear**2 + 4.0 * quadratic * drop))
        return float(brentq(lambda q: self.series_drop(branch, q) - drop, 0.0, most, xtol=1e-20, rtol=1e-15))

    def split(self, parallel: Parallel, flow: float) -> tuple[float, list[float]]:
        """Common pressure drop of branches [Pa] and the flow of each [m3/s]."""
        if flow == 0.0:
            return 0.0, [0.0 for _ in parallel.branches]

        def parts(drop: float) -> list[float]:
            return [self.branch_flow(branch, drop, 1.0001 * flow) for branch in parallel.branches]

        # The drop at which the easiest branch alone would carry everything is more than enough.
        most = min(self.series_drop(branch, flow) for branch in parallel.branches)
        drop = float(brentq(lambda p: math.fsum(parts(p)) - flow, 0.0, most, xtol=1e-12, rtol=1e-15))
        return drop, parts(drop)

    def tube_drop(self, flow: float) -> float:
        """Pressure drop of all tube and fittings [Pa]."""
        tube = self.build.loop.tube
        velocity = flow / (math.pi / 4.0 * tube.bore**2)
        if velocity == 0.0:
            return 0.0
        reynolds = self.properties.density * velocity * tube.bore / self.properties.viscosity
        friction = churchill_friction_factor(reynolds) * float(tube.length) / tube.bore
        return (friction + float(tube.loss_coefficient)) * self.properties.density * velocity**2 / 2.0

    def total_drop(self, flow: float) -> float:
        """Pressure drop of the whole ring [Pa]."""
        return self.tube_drop(flow) + self.series_drop(self.build.loop.order, flow)

    def solve(self, pump_speed: float) -> float:
        """Flow of the ring [m3/s]; the flow of every station is kept in `flows`."""
        curve = SheetCurve(self.build.loop.pump.curve)
        highest = curve.free_flow * pump_speed / curve.curve.speed
        flow = float(
            brentq(
                lambda q: curve.rise(q, pump_speed, self.properties.density) - self.total_drop(q),
                0.0, highest, xtol=1e-19, rtol=1e-15,
            )
        )  # fmt: skip
        self.pressure_residual = curve.rise(flow, pump_speed, self.properties.density) - self.total_drop(flow)
        self.spread(self.build.loop.order, flow)
        return flow

    def spread(self, elements: tuple[LoopElement, ...], flow: float) -> None:
        """Note the flow of every station."""
        for element in elements:
            if isinstance(element, Parallel):
                for branch, part in zip(element.branches, self.split(element, flow)[1], strict=True):
                    self.spread(branch, part)
            else:
                self.flows[element] = flow
