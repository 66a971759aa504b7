"""Range of mass flow of every option of a path over a box, by brackets that are verified, not by formulas inverted.

A path's pressure gain falls with its flow, and at forward flow it falls with every temperature along the stack: so
the coldest stack at the most helpful pressure difference gives the greatest flow, the hottest at the least the
smallest. For reversed flow the terms are taken at their own worst ends. Curves with a saddle are replaced by the
falling curves above and below them, so that the range holds every flow that belongs to one pressure.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.frame import PathOptions, RowOptions
from quietcool.entry.build import Build, Core, Curve, FanRow, Opening, Radiator, Resistance
from quietcool.physics import air
from quietcool.physics.curves import PressureCurve, pressure_rise
from quietcool.physics.pumps import electrical_power
from quietcool.physics.resistance import mass_flow_coefficients, opening_mass_flow_coefficient
from quietcool.solve.airflow import HIGHEST_FAN_RISE, machine_curve

Floats = NDArray[np.float64]

SMALLEST = 1e-300  # a flow that is positive and nothing else [kg/s]
OUTWARD = 2e-6  # of the flow scale: covers the linear part of the law near zero and rounding
SETTLED = 0.1  # Newton has arrived when nothing moves by more, in parts of the outward width
NEWTON_STEPS = 4
NEWTON_STEPS_FROM_AFAR = 40


class Pairs(NamedTuple):
    """Boxes and options of one path that are still possible, with what their flows depend on; all (n,) or (n, 2)."""

    option: NDArray[np.intp]
    drive: Floats  # source less target pressure [Pa]
    source_temp: Floats  # [K]
    target_temp: Floats  # [K]
    coolant_temp: Floats  # inlet of the path's radiator; anything without one [K]
    flow: Floats  # range known before [kg/s]
    conductance: Floats  # range known before, 0 without a radiator [W/K]


class _Side(NamedTuple):
    """A stack with every temperature at one end."""

    density: tuple[Floats, ...]  # of each row [kg/m3]
    linear: Floats
    quadratic: Floats


class StackRange(NamedTuple):
    """Ranges along a stack in one direction."""

    cold: _Side
    hot: _Side
    core_fan_rise: Floats  # warming by fans before the core, (n, 2) [K]


class FlowRange(NamedTuple):
    """What mass flow a box leaves open."""

    flow: Floats  # first above second where nothing is possible, (n, 2) [kg/s]
    by_pressure: Floats  # about the share of the range that the range of the drive makes, (n,) [-]
    forward: StackRange  # what the air meets
    reverse: StackRange


def flow_range(
    build: Build, options: PathOptions, pairs: Pairs, ambient_pressure: float, *, from_afar: bool
) -> FlowRange:
    """Range of mass flow of every pair, never narrower than the truth and never wider than what was known."""
    forward = _stack_range(build, options, pairs, ambient_pressure, reverse=False)
    reverse = _stack_range(build, options, pairs, ambient_pressure, reverse=True)
    rows = [(row, machine_curve(build.fan_groups[row.fan_group].fan.curve)) for row in options.rows]
    law = _Law(build, options, rows, pairs.option, forward, reverse)
    steps = NEWTON_STEPS_FROM_AFAR if from_afar else NEWTON_STEPS
    width = OUTWARD * options.flow_scale
    low, high = pairs.flow.T
    most, most_slope = _outer_root(lambda m: law.upper(m, pairs.drive[:, 1]), low, high, width, steps)
    least, least_slope = _outer_root(lambda m: _mirrored(law.lower(-m, pairs.drive[:, 0])), -high, -low, width, steps)
    found = np.stack([np.maximum(-least, low), np.minimum(most, high)], axis=-1)
    by_pressure = (pairs.drive[:, 1] - pairs.drive[:, 0]) / -np.maximum(most_slope, least_slope)
    spread = found[:, 1] - found[:, 0]
    return FlowRange(found, np.minimum(by_pressure / np.where(spread > 0.0, spread, 1.0), 1.0), forward, reverse)


def _mirrored(value: tuple[Floats, Floats]) -> tuple[Floats, Floats]:
    return -value[0], value[1]


def _outer_root(
    function: Callable[[Floats], tuple[Floats, Floats]], low: Floats, high: Floats, width: float, steps: int
) -> tuple[Floats, Floats]:
    """A point in [low, high] (or a width beyond) past every zero, and the slope near it.

    The function falls left of 0 and right of 0.
    """
    inner, outer = low.copy(), high.copy()
    value, slope = function(high)
    reached = value >= 0.0  # the zero lies at or beyond the known end
    at = high.copy()
    crossing = (low < 0.0) & (high > 0.0)
    if np.any(crossing):  # the law may jump at 0: which side the last zero lies on is asked there
        just_right, _ = function(np.full_like(high, SMALLEST))
        inner = np.where(crossing & (just_right >= 0.0), 0.0, inner)
        outer = np.where(crossing & (just_right < 0.0), 0.0, outer)
    for _ in range(steps):
        there = np.clip(at - value / np.minimum(slope, -1e-30), inner, outer)
        moved, at = np.abs(there - at).max(initial=0.0), there
        value, slope = function(at)
        inner, outer = np.where(value >= 0.0, at, inner), np.where(value < 0.0, at, outer)
        if moved < SETTLED * width:
            break
    beyond = np.minimum(inner + width, outer)
    value, slope = function(beyond)
    outer = np.where(value < 0.0, beyond, outer)
    return np.where(reached, high, outer + width), np.minimum(slope, -1e-30)


def _stack_range(
    build: Build, options: PathOptions, pairs: Pairs, ambient_pressure: float, *, reverse: bool
) -> StackRange:
    """Temperatures along the stack as ranges, then what follows from them."""
    upstream = pairs.target_temp if reverse else pairs.source_temp
    known = np.maximum(-pairs.flow[:, ::-1] if reverse else pairs.flow, 0.0)
    capacity = np.maximum(known * air.SPECIFIC_HEAT, 1e-12)
    share = np.minimum(pairs.conductance / capacity[:, ::-1], 1.0)
    temp, core_fan_rise = upstream, np.zeros_like(upstream)
    by_place: dict[int, Floats] = {}
    elements = list(enumerate(options.path.stack))
    rows = {row.place: row for row in options.rows}
    for place, element in reversed(elements) if reverse else elements:
        if isinstance(element, FanRow):
            by_place[place] = temp
            temp = temp + _fan_rise(build, rows[place], pairs.option, capacity)
        elif isinstance(element, Core):
            core_fan_rise = temp - upstream
            half = _towards(temp, pairs.coolant_temp, 0.5 * share)
            by_place[place], temp = half, _towards(temp, pairs.coolant_temp, share)
        else:
            by_place[place] = temp
    cold, hot = (
        _side(options, {place: t[:, end] for place, t in by_place.items()}, ambient_pressure) for end in (0, 1)
    )
    return StackRange(cold, hot, core_fan_rise)


def _fan_rise(build: Build, row: RowOptions, option: NDArray[np.intp], capacity: Floats) -> Floats:
    electric = build.fan_groups[row.fan_group].fan.electric
    speed = np.stack([row.speed[option], row.fastest[option]], axis=-1)
    power = row.count * electrical_power(electric.power, speed, electric.speed)
    return np.minimum(power / capacity[:, ::-1], HIGHEST_FAN_RISE)


def _towards(start: Floats, goal: Floats, share: Floats) -> Floats:
    """Range of start + share (goal - start) for ranges of all three, 0 <= share <= 1."""
    least = start[:, :1] + share * (goal[:, :1] - start[:, :1])
    most = start[:, 1:] + share * (goal[:, 1:] - start[:, 1:])
    return np.stack([least.min(axis=1), most.max(axis=1)], axis=-1)


def _side(options: PathOptions, temps: dict[int, Floats], ambient_pressure: float) -> _Side:
    density, linear, quadratic = [], np.zeros(1), np.zeros(1)
    for place, element in enumerate(options.path.stack):
        rho = air.density(temps[place], ambient_pressure)
        if isinstance(element, FanRow):
            density.append(rho)
        elif isinstance(element, Opening):
            quadratic = quadratic + opening_mass_flow_coefficient(element.loss_coefficient, element.area, rho)
        else:
            sheet: Radiator | Resistance = element.radiator if isinstance(element, Core) else element.resistance
            area = element.radiator.face_area if isinstance(element, Core) else element.area
            a, b = mass_flow_coefficients(sheet.a * element.dust, sheet.b, area, rho, air.viscosity(temps[place]))
            linear, quadratic = linear + a, quadratic + b
    return _Side(tuple(density), linear, quadratic)


class _Law(NamedTuple):
    """Bounds of the pressure gain of pairs over their mass flow; falling in it."""

    build: Build
    options: PathOptions
    rows: list[tuple[RowOptions, PressureCurve]]
    option: NDArray[np.intp]
    forward: StackRange
    reverse: StackRange

    def upper(self, flow: Floats, drive: Floats) -> tuple[Floats, Floats]:
        """Greatest pressure gain plus drive, and its slope."""
        gain, slope = self._forward(flow, self.forward.cold, above=True)
        if np.any(flow < 0.0):
            back = self._backward(flow, most=True)
            gain, slope = (np.where(flow < 0.0, b, f) for b, f in zip(back, (gain, slope), strict=True))
        return gain + drive, slope

    def lower(self, flow: Floats, drive: Floats) -> tuple[Floats, Floats]:
        """Least pressure gain plus drive, and its slope."""
        gain, slope = self._forward(flow, self.forward.hot, above=False)
        if np.any(flow < 0.0):
            back = self._backward(flow, most=False)
            gain, slope = (np.where(flow < 0.0, b, f) for b, f in zip(back, (gain, slope), strict=True))
        return gain + drive, slope

    def _forward(self, flow: Floats, side: _Side, *, above: bool) -> tuple[Floats, Floats]:
        flow = np.maximum(flow, 0.0)
        gain = -flow * (side.linear + side.quadratic * flow)
        slope = -side.linear - 2.0 * side.quadratic * flow
        for (row, curve), density in zip(self.rows, side.density, strict=True):
            pressure, by_flow = self._row(row, curve, flow, density, above=above)
            gain, slope = gain + pressure, slope + by_flow
        return gain, slope

    def _row(
        self, row: RowOptions, curve: PressureCurve, flow: Floats, density: Floats, *, above: bool
    ) -> tuple[Floats, Floats]:
        sheet = self.build.fan_groups[row.fan_group].fan.curve
        # At one flow a falling curve's rise goes with speed: its derivative by the ratio r is 2 r p - Q p' >= 0.
        speed, share = (row.fastest if above else row.speed)[self.option], 1.0 / (density * row.count)
        pressure, slope = pressure_rise(
            curve, flow * share, speed, density, flow_scale=sheet.flow_scale, pressure_scale=sheet.pressure_scale
        )
        if curve.last_peak > 0.0:
            pressure, slope = _without_saddle(curve, sheet, flow * share, speed, density, pressure, slope, above=above)
        factor = np.where(pressure > 0.0, self._efficiency(), 1.0)
        return factor * pressure, factor * slope * share

    def _efficiency(self) -> float:
        return float(self.options.path.series_efficiency) if len(self.rows) > 1 else 1.0

    def _backward(self, flow: Floats, *, most: bool) -> tuple[Floats, Floats]:
        """Reversed flow: p(0) goes with density, the continuation k Q^2 against it, drops drive backwards."""
        size = np.maximum(-flow, 0.0)
        drop_side = self.reverse.hot if most else self.reverse.cold
        gain = size * (drop_side.linear + drop_side.quadratic * size)
        slope = -drop_side.linear - 2.0 * drop_side.quadratic * size
        for i, (row, curve) in enumerate(self.rows):
            sheet = self.build.fan_groups[row.fan_group].fan.curve
            ratio = (row.fastest if most else row.speed)[self.option] / curve.speed
            cold, hot = self.reverse.cold.density[i], self.reverse.hot.density[i]
            still = (cold if most else hot) / curve.density * ratio**2 * curve.shutoff_pressure
            rho = hot if most else cold
            bend = curve.resistance / (curve.density * rho * (row.count * sheet.flow_scale) ** 2)
            factor = self._efficiency() * sheet.pressure_scale
            gain = gain + factor * (still + bend * size * size)
            slope = slope - factor * 2.0 * bend * size
        return gain, slope


def _without_saddle(
    curve: PressureCurve,
    sheet: Curve,
    fan_flow: Floats,
    speed: Floats,
    density: Floats,
    pressure: Floats,
    slope: Floats,
    *,
    above: bool,
) -> tuple[Floats, Floats]:
    """The falling curve above (below) one with a saddle: flat at its highest (lowest) pressure up to the last peak."""
    ratio = speed / curve.speed
    scale = density / curve.density * ratio**2 * sheet.pressure_scale
    knot_pressures = curve.coefficients[0, 1:]
    before_peak = fan_flow < curve.last_peak * ratio * sheet.flow_scale
    if above:
        flat = knot_pressures.max() * scale
        return np.where(before_peak, flat, pressure), np.where(before_peak, 0.0, slope)
    valley = knot_pressures[curve.knots <= curve.last_peak].min() * scale
    return np.minimum(pressure, valley), np.where(pressure > valley, 0.0, slope)
