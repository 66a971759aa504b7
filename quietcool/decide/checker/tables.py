"""Tables of the certificate's checker, by scalar solvers of its own: curves, stacks, exchangers and the coolant ring.

Written a second time on purpose, and plainly: nothing here comes from the search. Shared with the rest of the house are
the records and the properties of air and coolant.
"""

from __future__ import annotations

import functools
import math
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from quietcool.entry.build import PUMP, AirPath, Build, Core, Curve, FanRow, LoopElement, Opening, Parallel
from quietcool.physics.air import SPECIFIC_HEAT, SUTHERLAND_FACTOR, SUTHERLAND_TEMP
from quietcool.physics.coolant import coolant_properties

Span = tuple[float, float]

SHEET_DENSITY, SHEET_TEMP = 1.2, 293.15  # of resistances [kg/m3, K]
WATER_TEMP = 303.15  # of coolant-side sheets [K]
GAS_CONSTANT = 287.05287  # of dry air; ISO 2533:1975 (recalled, not re-read) [J/(kg K)]
MOST_FAN_RISE = 1000.0  # of air that hardly moves [K]
RUNG = 1.0  # of the ladder of coolant temperatures [K]
BETWEEN = 0.02  # part of the difference of neighbouring rungs that a flow may stray from the line between them, or
KINK = 0.5  # part of the difference of such differences: a kink between two rungs strays by no more


def viscosity(temp: float) -> float:
    """Dynamic viscosity of air by Sutherland's law, [K] -> [Pa s]."""
    return float(SUTHERLAND_FACTOR * temp**1.5 / (temp + SUTHERLAND_TEMP))


class SheetCurve:
    """A curve at its own speed and density, with its continuations, and the falling curves above and below it."""

    def __init__(self, curve: Curve) -> None:
        self.speed, self.density = curve.speed, curve.density
        self.knots: list[float]
        self.points: list[float]
        flow = np.asarray(curve.flow) * float(curve.flow_scale)
        pressure = np.asarray(curve.pressure) * float(curve.pressure_scale)
        spline = PchipInterpolator(flow, pressure)
        self.knots, self.points = flow.tolist(), pressure.tolist()
        self.pieces = spline.c.T.tolist()
        end = float(spline.derivative()(flow[-1]))
        self.end_slope = end if end < 0.0 else float((pressure[-1] - pressure[-2]) / (flow[-1] - flow[-2]))
        self.free_flow = self.knots[-1] - self.points[-1] / self.end_slope
        self.bend = -self.end_slope / (2.0 * self.free_flow)
        rising = np.flatnonzero(np.diff(pressure) > 0.0) + 1
        self.peak = self.knots[rising[-1]] if rising.size else 0.0  # left of it the curve does not only fall
        self.highest = max(self.points)
        self.valley = min(p for q, p in zip(self.knots, self.points, strict=True) if q <= self.peak)

    def at(self, flow: float) -> float:
        """Pressure rise at a flow of 0 or more [m3/s] -> [Pa]."""
        if flow >= self.free_flow:
            return -self.bend * (flow * flow - self.free_flow * self.free_flow)
        if flow >= self.knots[-1]:
            return self.points[-1] + self.end_slope * (flow - self.knots[-1])
        place = bisect_right(self.knots, flow) - 1
        x = flow - self.knots[place]
        c3, c2, c1, c0 = self.pieces[place]
        return float(c0 + x * (c1 + x * (c2 + x * c3)))

    def falling(self, flow: float, ratio: float, *, above: bool) -> float:
        """Falling curve above (below) the pressure rise at a speed ratio, flow of 0 or more [m3/s] -> [Pa]."""
        if ratio <= 0.0:
            return -self.bend * flow * flow
        own = flow / ratio
        rise = self.at(own)
        if self.peak > 0.0:
            rise = (self.highest if own < self.peak else rise) if above else min(rise, self.valley)
        return ratio * ratio * rise


@functools.lru_cache(maxsize=256)
def sheet_curve(curve: Curve) -> SheetCurve:
    """The curve of a sheet, made once."""
    return SheetCurve(curve)


class Side(NamedTuple):
    """A stack with every temperature at one end of its range."""

    densities: tuple[float, ...]  # of the fan rows
    linear: float
    quadratic: float


class Air(NamedTuple):
    """What the air may meet in a stack, in one direction."""

    cold: Side
    hot: Side
    fan_rise: Span  # before the core [K]


@dataclass(frozen=True)
class Stack:
    """An air path at one choice of speeds."""

    path: AirPath
    rows: tuple[tuple[SheetCurve, float, int, float], ...]  # curve, speed ratio, count, power of the row [W]
    ambient: float  # pressure [Pa]
    width: float  # by what every root is moved outward [kg/s]

    def air(self, upstream: Span, coolant: Span, flow: Span, conductance: Span, *, reverse: bool) -> Air:
        """Ranges along the stack for flows of size `flow`."""
        least, most = (max(abs_flow, 0.0) * SPECIFIC_HEAT + 1e-12 for abs_flow in flow)
        share = (min(conductance[0] / most, 1.0), min(conductance[1] / least, 1.0))
        places = list(enumerate(self.path.stack))
        row = len(self.rows) if reverse else -1
        low, high = upstream
        before: Span = (0.0, 0.0)
        temps: dict[int, Span] = {}
        for place, element in reversed(places) if reverse else places:
            temps[place] = (low, high)
            if isinstance(element, FanRow):
                row += -1 if reverse else 1
                power = self.rows[row][3]
                low, high = low + min(power / most, MOST_FAN_RISE), high + min(power / least, MOST_FAN_RISE)
            elif isinstance(element, Core):
                before = (low - upstream[0], high - upstream[1])
                temps[place] = _towards((low, high), coolant, (0.5 * share[0], 0.5 * share[1]))
                low, high = _towards((low, high), coolant, share)
        cold, hot = (self._side({place: span[end] for place, span in temps.items()}) for end in (0, 1))
        return Air(cold, hot, before)

    def _side(self, temps: dict[int, float]) -> Side:
        densities, linear, quadratic = [], 0.0, 0.0
        for place, element in enumerate(self.path.stack):
            density = self.ambient / (GAS_CONSTANT * temps[place])
            if isinstance(element, FanRow):
                densities.append(density)
            elif isinstance(element, Opening):
                quadratic += float(element.loss_coefficient) / (2.0 * density * float(element.area) ** 2)
            else:
                sheet = element.radiator if isinstance(element, Core) else element.resistance
                area = element.radiator.face_area if isinstance(element, Core) else element.area
                viscous = float(element.dust) * viscosity(temps[place]) / viscosity(SHEET_TEMP)
                linear += float(sheet.a) * viscous / (density * area)
                quadratic += float(sheet.b) * (density / SHEET_DENSITY) / (density * area) ** 2
        return Side(tuple(densities), linear, quadratic)

    @property
    def efficiency(self) -> float:
        """Factor on positive pressure rises."""
        return float(self.path.series_efficiency) if len(self.rows) > 1 else 1.0

    def forth(self, flow: float, air: Air, *, above: bool) -> float:
        """Bound from above (below) of the pressure gained along the stack by a flow of 0 or more; falls with it."""
        side = air.cold if above else air.hot
        total = -flow * (side.linear + side.quadratic * flow)
        for (curve, ratio, count, _), density in zip(self.rows, side.densities, strict=True):
            rise = density / curve.density * curve.falling(flow / (density * count), ratio, above=above)
            total += rise * self.efficiency if rise > 0.0 else rise
        return total

    def back(self, flow: float, air: Air, *, above: bool) -> float:
        """The same for a flow of 0 or less: what a fan holds goes with density, what it resists against it."""
        drop, size = air.hot if above else air.cold, -flow
        total = size * (drop.linear + drop.quadratic * size)
        for (curve, ratio, count, _), cold, hot in zip(self.rows, air.cold.densities, air.hot.densities, strict=True):
            held, passed = (cold, hot) if above else (hot, cold)
            still = held / curve.density * ratio * ratio * curve.points[0]
            resisted = curve.bend / (curve.density * passed * count * count) * size * size
            total += self.efficiency * (still + resisted)
        return total

    def flow(self, drive: Span, known: Span, forward: Air, reverse: Air) -> Span | None:
        """Range of the mass flow under pressure differences in `drive`, within what is known; None if there is none."""
        most = self._greatest(drive[1], known, forward, reverse)
        least = self._least(drive[0], known, forward, reverse)
        if most is None or least is None:
            return None
        low, high = max(least - self.width, known[0]), min(most + self.width, known[1])
        return (low, high) if low <= high else None

    def _greatest(self, drive: float, known: Span, forward: Air, reverse: Air) -> float | None:
        """Last flow at which the upper law can be met; each half of the law falls, at 0 it may jump either way."""
        low, high = known

        def forth(flow: float) -> float:
            return self.forth(flow, forward, above=True) + drive

        def back(flow: float) -> float:
            return self.back(flow, reverse, above=True) + drive

        if high >= 0.0 and forth(max(low, 0.0)) >= 0.0:
            return high if forth(high) >= 0.0 else self._zero(forth, max(low, 0.0), high)
        if low < 0.0 and back(low) >= 0.0:
            return min(high, 0.0) if back(min(high, 0.0)) >= 0.0 else self._zero(back, low, min(high, 0.0))
        return None

    def _least(self, drive: float, known: Span, forward: Air, reverse: Air) -> float | None:
        """First flow at which the lower law can be met."""
        low, high = known

        def forth(flow: float) -> float:
            return self.forth(flow, forward, above=False) + drive

        def back(flow: float) -> float:
            return self.back(flow, reverse, above=False) + drive

        if low < 0.0 and back(min(high, 0.0)) <= 0.0:
            return low if back(low) <= 0.0 else self._zero(back, low, min(high, 0.0))
        if high >= 0.0 and forth(high) <= 0.0:
            return max(low, 0.0) if forth(max(low, 0.0)) <= 0.0 else self._zero(forth, max(low, 0.0), high)
        return None

    def _zero(self, law: Callable[[float], float], low: float, high: float) -> float:
        return float(brentq(law, low, high, xtol=1e-3 * self.width, rtol=1e-13))


def _towards(start: Span, goal: Span, share: Span) -> Span:
    """Range of start + share (goal - start)."""
    low = [start[0] + part * (goal[0] - start[0]) for part in share]
    high = [start[1] + part * (goal[1] - start[1]) for part in share]
    return min(low), max(high)


def effectiveness(ntu: float, ratio: float) -> float:
    """Cross-flow, both streams unmixed: the series of Mason 1955, summed until its terms vanish."""
    if ntu <= 0.0:
        return 0.0
    far = ntu * ratio
    if far < 1e-9:
        return -math.expm1(-ntu)
    term_a, term_b = math.exp(-ntu), math.exp(-far)
    left_a, left_b = -math.expm1(-ntu), -math.expm1(-far)  # 1 less the terms of the exponential series so far
    total, n = left_a * left_b, 0
    while n < 2000:
        n += 1
        term_a, term_b = term_a * ntu / n, term_b * far / n
        left_a, left_b = max(left_a - term_a, 0.0), max(left_b - term_b, 0.0)
        total += left_a * left_b
        if n > far and left_a * left_b < 1e-13 * total:
            break
    return total / far


def conductance(path: AirPath, mass_flow: float, coolant_flow: float, coolant_rate: float) -> float:
    """Heat per kelvin between the inlets of a radiator [W/K]; it rises with either flow."""
    core, air_rate = path.core, mass_flow * SPECIFIC_HEAT
    smaller, larger = min(air_rate, coolant_rate), max(air_rate, coolant_rate)
    if core is None or smaller <= 0.0:
        return 0.0
    sheet = core.radiator
    flux = mass_flow / (SHEET_DENSITY * sheet.face_area * sheet.ua_air_velocity)
    air_side = float(sheet.ua_air) * flux ** float(sheet.ua_air_exponent)
    coolant_side = float(sheet.ua_coolant) * (coolant_flow / sheet.ua_coolant_flow) ** float(sheet.ua_coolant_exponent)
    return effectiveness(1.0 / (1.0 / air_side + 1.0 / coolant_side) / smaller, smaller / larger) * smaller


class Stream(NamedTuple):
    """Coolant of one station at one pump step and temperature."""

    flow: float  # [m3/s]
    rate: float  # capacity rate [W/K]


class Coolant:
    """Flows of the ring at any pump step, by brentq on pump and drops, laid down on a ladder of temperatures."""

    def __init__(self, build: Build, steps: list[float]) -> None:
        self.build, self.steps = build, steps
        self.curve = sheet_curve(build.loop.pump.curve)
        self.parts = {source.name: source.plate for source in build.sources} | {
            path.name: path.core.radiator for path in build.air_paths if path.core is not None
        }
        self.solved: dict[tuple[int, int], dict[str, Stream]] = {}

    def ends(self, stations: tuple[str, ...], steps: tuple[int, int], temps: Span) -> tuple[Span, Span]:
        """Range of flow and capacity rate of stations together, over pump steps and mean temperatures."""
        first, last = math.floor(temps[0] / RUNG), math.floor(temps[1] / RUNG) + 1
        flows, rates, stray = [], [], [0.0, 0.0]
        # Where the pump's curve only falls, its pressure at a given flow rises with speed (r^2 f(q/r), f >= 0 >= f'),
        # so the ring's flow does, and with it every branch's: the ends of the range will do.
        for step in set(steps) if self.curve.peak == 0.0 else range(steps[0], steps[1] + 1):
            rungs = [self._sum(stations, step, rung) for rung in range(first, last + 1)]
            for (rung, here), after in zip(enumerate(rungs, start=first), rungs[1:], strict=False):
                inside = [temp / RUNG - rung for temp in temps if 0.0 <= temp / RUNG - rung <= 1.0]
                kept = [part for part in (0.0, 1.0) if temps[0] <= (rung + part) * RUNG <= temps[1]]
                for part in inside + kept:
                    flows.append(here.flow + part * (after.flow - here.flow))
                    rates.append(here.rate + part * (after.rate - here.rate))
                by = (BETWEEN * abs(after.flow - here.flow), BETWEEN * abs(after.rate - here.rate))
                stray = [max(old, new) for old, new in zip(stray, by, strict=True)]
            for rung in range(first, last + 1):
                before, here, after = (self._sum(stations, step, rung + side) for side in (-1, 0, 1))
                stray[0] = max(stray[0], KINK * abs(before.flow - 2.0 * here.flow + after.flow))
                stray[1] = max(stray[1], KINK * abs(before.rate - 2.0 * here.rate + after.rate))
        away_flow, away_rate = stray
        return (min(flows) - away_flow, max(flows) + away_flow), (min(rates) - away_rate, max(rates) + away_rate)

    def _sum(self, stations: tuple[str, ...], step: int, rung: int) -> Stream:
        if (step, rung) not in self.solved:
            self.solved[step, rung] = self._solve(self.steps[step], rung * RUNG)
        here = self.solved[step, rung]
        return Stream(sum(here[name].flow for name in stations), sum(here[name].rate for name in stations))

    def _solve(self, pump_speed: float, temp: float) -> dict[str, Stream]:
        kind, fraction = self.build.loop.coolant.kind, self.build.loop.coolant.mass_fraction
        liquid, water = coolant_properties(temp, kind, fraction), coolant_properties(WATER_TEMP, "water")
        ring = _RingAt(
            self, float(liquid.density), float(liquid.viscosity), float(liquid.viscosity / water.viscosity),
            float(liquid.density / water.density),
        )  # fmt: skip
        flows: dict[str, float] = {}
        ring.spread(self.build.loop.order, ring.flow(pump_speed / self.curve.speed), flows)
        heat = float(liquid.density * liquid.specific_heat)
        return {name: Stream(flow, flow * heat) for name, flow in flows.items()}


@dataclass(frozen=True)
class _RingAt:
    """The ring at one temperature of the coolant."""

    coolant: Coolant
    density: float
    viscosity: float
    viscous: float  # over water's at the sheets' temperature
    inertial: float

    def flow(self, ratio: float) -> float:
        """Flow of the pump at a speed ratio [m3/s]."""
        curve, order = self.coolant.curve, self.coolant.build.loop.order

        def over(flow: float) -> float:
            rise = self.density / curve.density * ratio * ratio * curve.at(flow / ratio)
            return rise - self.tube(flow) - sum(self.drop(element, flow) for element in order)

        return float(brentq(over, 1e-12, curve.free_flow * ratio, xtol=1e-18, rtol=1e-12)) if ratio > 0.0 else 0.0

    def tube(self, flow: float) -> float:
        """Drop of tube and fittings, friction by Churchill 1977, Chemical Engineering 84(24), 91-92 [Pa]."""
        tube = self.coolant.build.loop.tube
        velocity = flow / (math.pi / 4.0 * tube.bore**2)
        reynolds = self.density * velocity * tube.bore / self.viscosity
        if reynolds < 1.0:
            friction = 64.0 / reynolds
        else:
            a, b = (2.457 * math.log((reynolds / 7.0) ** 0.9)) ** 16, (37530.0 / reynolds) ** 16
            friction = 8.0 * ((8.0 / reynolds) ** 12 + (a + b) ** -1.5) ** (1.0 / 12.0)
        loss = friction * float(tube.length) / tube.bore + float(tube.loss_coefficient)
        return loss * self.density * velocity**2 / 2.0

    def drop(self, element: LoopElement, flow: float) -> float:
        """Pressure drop of one element [Pa]."""
        if isinstance(element, Parallel):
            return self.split(element, flow)[0]
        if element == PUMP:
            return 0.0
        part = self.coolant.parts[element]
        return float(part.coolant_a) * self.viscous * flow + float(part.coolant_b) * self.inertial * flow * flow

    def split(self, section: Parallel, flow: float) -> tuple[float, list[float]]:
        """Common drop of branches and the flow of each; the first ones give, the last one takes what is left."""
        if len(section.branches) == 1:
            return sum(self.drop(element, flow) for element in section.branches[0]), [flow]
        first, rest = section.branches[0], Parallel(section.branches[1:])

        def lacking(part: float) -> float:
            return sum(self.drop(element, part) for element in first) - self.split(rest, flow - part)[0]

        part = float(brentq(lacking, 0.0, flow, xtol=1e-13 * flow + 1e-30, rtol=1e-12)) if flow > 0.0 else 0.0
        drop, others = self.split(rest, flow - part)
        return drop, [part, *others]

    def spread(self, chain: tuple[LoopElement, ...], flow: float, flows: dict[str, float]) -> None:
        """Note the flow of every station of a chain."""
        for element in chain:
            if isinstance(element, Parallel):
                for branch, part in zip(element.branches, self.split(element, flow)[1], strict=True):
                    self.spread(branch, part, flows)
            else:
                flows[element] = flow
