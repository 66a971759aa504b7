"""Operating points as an engineer would script them: a nest of brentq for each case, or all equations to scipy's root.

Both take their equations from the second opinion of the tests, which is the same physics as the package's, scalar. It
is written for exactness; here it is made lean, so that the comparison is with a script written for speed: tolerances as
wide as the package's own (1e-7 K), and exchanger effectiveness from a table instead of a double integral.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RectBivariateSpline
from scipy.optimize import root

from quietcool.entry.build import PUMP, Build, State
from tests.second_opinion.coolant_side import Ring, properties_at
from tests.second_opinion.heat import HeatBalance
from tests.second_opinion.laws import SheetCurve, air_density, cross_unmixed_effectiveness
from tests.second_opinion.whole import Case, Opinion, mean_coolant, second_opinion

Floats = NDArray[np.float64]

FLOW_TOLERANCE = 1e-10  # [kg/s]
PRESSURE_TOLERANCE = 1e-8  # [Pa]
REST = 1e-7  # [K]
GRAMS = 1e-3  # flows of the full system are counted in [g/s]
LITRES = 1e-3 / 60.0  # and [L/min]


def effectiveness_table() -> RectBivariateSpline:
    """Exact effectiveness over the logarithm of the transfer units and the ratio of the capacity rates."""
    units, ratios = np.geomspace(1e-3, 60.0, 90), np.linspace(0.0, 1.0, 41)
    values = [[cross_unmixed_effectiveness(float(n), float(c)) for c in ratios] for n in units]
    return RectBivariateSpline(np.log(units), ratios, np.array(values))


@contextmanager
def lean() -> Iterator[None]:
    """Make the second opinion as fast as its construction allows."""
    table = effectiveness_table()

    def looked_up(ntu: float, ratio: float) -> float:
        if not 1e-3 <= ntu <= 60.0:
            return cross_unmixed_effectiveness(ntu, ratio)
        return float(table(np.array(np.log(ntu)), np.array(ratio), grid=False))

    with (
        patch("tests.second_opinion.heat.cross_unmixed_effectiveness", looked_up),
        patch("tests.second_opinion.air_side.FLOW_TOLERANCE", FLOW_TOLERANCE),
        patch("tests.second_opinion.air_side.PRESSURE_TOLERANCE", PRESSURE_TOLERANCE),
        patch("tests.second_opinion.whole.CLOSE", REST),
    ):
        yield


def nest(build: Build, state: State, speeds: Floats) -> Opinion:
    """Solve one case by nested brentq and a fixed point over the temperatures."""
    return second_opinion(build, state, speeds.tolist())


class FullSystem:
    """One case as one system: path flows, enclosure pressures, ring flow, coolant mean, every element's temperature."""

    def __init__(self, build: Build, state: State, speeds: Floats) -> None:
        self.build, self.state = build, state
        self.by_group = dict(zip(build.group_names, speeds.tolist(), strict=True))
        self.case = Case(build, state, self.by_group)
        self.pump = SheetCurve(build.loop.pump.curve)
        self.hottest = np.nan
        self.counts = [len(path.stack) for path in build.air_paths]

    def start(self) -> Floats:
        """Half of the free delivery of the weakest row, everything a little warm."""
        room = float(self.state.room_temp)
        flows = []
        for path in self.build.air_paths:
            rows = [
                row.count * curve.free_flow * self.by_group[row.group] / curve.curve.speed
                for row in path.fan_rows
                for curve in [self.case.network.fans.curve[row.group]]
            ]
            flows.append(0.5 * min(rows) * air_density(room, self.case.air_pressure) if rows else 0.01)
        ring = 0.5 * self.pump.free_flow * self.by_group[PUMP] / self.pump.curve.speed
        pressures = np.zeros(len(self.build.enclosures))
        temps = np.full(sum(self.counts) + 1, room + 6.0)
        return np.concatenate([np.array(flows) / GRAMS, pressures, [ring / LITRES], temps])

    def residual(self, x: Floats) -> Floats:
        """What is not balanced, in Pa, g/s and K."""
        build, network = self.build, self.case.network
        paths, enclosures = len(build.air_paths), len(build.enclosures)
        flows, pressure, ring_flow = x[:paths] * GRAMS, x[paths : paths + enclosures], x[paths + enclosures] * LITRES
        mean, temps = x[paths + enclosures + 1], x[paths + enclosures + 2 :]
        parts = np.split(temps, np.cumsum(self.counts)[:-1])
        network.set_temps({path.name: list(part) for path, part in zip(build.air_paths, parts, strict=True)})
        network.pressure = dict(zip(build.enclosures, pressure, strict=True))
        network.mass_flow = {path.name: float(m) for path, m in zip(build.air_paths, flows, strict=True)}
        laws = [
            network.node_pressure(p.source) - network.node_pressure(p.target) + network.laws[p.name](m)
            for p, m in zip(build.air_paths, flows, strict=True)
        ]
        kept = [
            sum(m * ((p.target == e) - (p.source == e)) for p, m in zip(build.air_paths, flows, strict=True)) / GRAMS
            for e in build.enclosures
        ]
        fluid = properties_at(float(mean), build.loop.coolant.kind, build.loop.coolant.mass_fraction)
        ring = Ring(build, fluid)
        ring.spread(build.loop.order, max(float(ring_flow), 1e-9))
        drive = self.pump.rise(ring_flow, self.by_group[PUMP], fluid.density) - ring.total_drop(ring_flow)
        heat = HeatBalance(build, self.state, self.by_group, network.mass_flow, ring.flows, fluid).solve()
        self.hottest = max([*heat.station_in.values(), *heat.station_out.values()])
        seen = np.concatenate([heat.element[path.name] for path in build.air_paths])
        return np.concatenate([laws, kept, [drive * 1e-3, mean_coolant(heat) - mean], seen - temps])

    def solve(self) -> float:
        """Hottest coolant by scipy's root (hybrid method of MINPACK); NaN where it gives up [K]."""
        with np.errstate(all="ignore"):
            try:
                found = root(self.residual, self.start(), method="hybr", tol=1e-9)
            except (ValueError, ZeroDivisionError, OverflowError, np.linalg.LinAlgError):
                return float("nan")
            solved = bool(np.abs(self.residual(found.x)).max() < 1e-5)
        return self.hottest if solved else float("nan")
