"""One path's terms in the Lagrangian and their least value over the ends of every range."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.physics import air

Floats = NDArray[np.float64]


class Terms(NamedTuple):
    """Prices that meet one path, (boxes, 1), and ranges over the room of its ends' temperatures, (boxes, 1, 2)."""

    mass: Floats  # of flow in stack direction: target's less source's
    at_source: Floats  # of heat brought to the source node
    at_target: Floats
    taken: Floats  # of heat taken from the ring
    copy_source: Floats  # of the copy of the source's temperature
    copy_target: Floats
    source: Floats  # [K]
    target: Floats  # [K]


class PathArrays(NamedTuple):
    """Ranges of one path at the options looked at, (boxes, options) or with a last axis of 2."""

    flow: Floats  # [kg/s]
    by_pressure: Floats  # share of the flow's range that the pressures make, (boxes, options) [-]
    conductance: Floats  # [W/K]
    rise_forward: Floats  # by fans before the core [K]
    rise_reverse: Floats  # [K]
    power: Floats  # of the fans, (boxes, options, 2) [W]

    def at(self, choice: NDArray[np.intp]) -> PathArrays:
        """The chosen option of every box, as the only one."""
        rows = np.arange(choice.size)
        return PathArrays(*(array[rows, choice][:, None] for array in self))


class Picked(NamedTuple):
    """What one path does where its terms are least, (boxes, options)."""

    flow: Floats  # signed [kg/s]
    conductance: Floats  # [W/K]
    spare: Floats  # passive conductance [W/K]
    source_over: Floats  # copy of the source's temperature over the room [K]
    target_over: Floats  # [K]
    coolant_over: Floats  # [K]
    fan_rise: Floats  # [K]
    power: Floats  # of the fans [W]


class PricedPath(NamedTuple):
    """One path with all that its terms depend on."""

    terms: Terms  # prices and end temperatures
    arrays: PathArrays  # ranges of the options
    coolant: Floats  # inlet of the radiator over the room, (boxes, 1, 2) [K]
    ring_part: Floats  # the ring's own terms at the ends of `coolant`, (boxes, 1, 2)
    passive: float  # least conductance of the radiator [W/K]
    has_core: bool

    def at(self, choice: NDArray[np.intp]) -> PricedPath:
        """The same path with the chosen option of every box as the only one."""
        return self._replace(arrays=self.arrays.at(choice))


class _Corner(NamedTuple):
    """A corner of flow and conductance in one direction, (boxes, options)."""

    forward: bool
    flow: Floats  # size; NaN marks a direction that is not open [kg/s]
    conductance: Floats  # [W/K]
    spare: Floats  # passive conductance [W/K]
    rises: Floats  # by fans before the core, with a last axis of 2 [K]


def least_value(path: PricedPath) -> Floats:
    """Least value of the path's terms at every option, (boxes, options)."""
    best = np.full(path.arrays.power.shape[:-1], np.inf)
    for corner in _corners(path):
        best = np.minimum(best, _value(path, corner)[0])
    return best


def least_point(path: PricedPath) -> Picked:
    """Where the path's terms are least at every option."""
    best = np.full(path.arrays.power.shape[:-1], np.inf)
    picked: list[Floats] = [np.zeros(best.shape) for _ in Picked._fields]
    for corner in _corners(path):
        value, ends = _value(path, corner)
        better = value < best
        best = np.where(better, value, best)
        signed = corner.flow if corner.forward else -corner.flow
        point = (signed, corner.conductance, corner.spare, *ends)
        picked = [np.where(better, new, old) for new, old in zip(point, picked, strict=True)]
    return Picked(*picked)


def _corners(path: PricedPath) -> list[_Corner]:
    """Every corner of flow and conductance in both directions."""
    found, arrays, passive = [], path.arrays, path.passive
    low, high = arrays.flow[..., 0], arrays.flow[..., 1]
    for forward, least, most, rises in (
        (True, np.maximum(low, 0.0), np.where(high >= 0.0, high, np.nan), arrays.rise_forward),
        (False, np.maximum(-high, 0.0), np.where(low < 0.0, -low, np.nan), arrays.rise_reverse),
    ):
        if np.all(np.isnan(most)):
            continue
        least = np.where(np.isnan(most), np.nan, least)
        conductances = [np.zeros_like(low)]
        if path.has_core:
            conductances = [arrays.conductance[..., 0], arrays.conductance[..., 1]]
            if np.any(arrays.conductance[..., 0] < passive):
                # Forced and passive lie on a bent line: its corner is one more end.
                conductances.append(np.clip(passive, arrays.conductance[..., 0], arrays.conductance[..., 1]))
        for flow in (least, most):
            for conductance in conductances:
                found.append(_Corner(forward, flow, conductance, np.maximum(passive - conductance, 0.0), rises))
    return found


def _value(path: PricedPath, corner: _Corner) -> tuple[Floats, tuple[Floats, ...]]:
    """Least value at one corner and the ends it is taken at: source, target, coolant over the room, fan rise, power."""
    terms, coolant, ring_part = path.terms, path.coolant, path.ring_part
    forward, flow = corner.forward, corner.flow
    down = terms.at_target if forward else terms.at_source
    carried = down * (flow * air.SPECIFIC_HEAT)
    forced = (down - terms.taken) * corner.conductance
    passed = (terms.at_source - terms.taken) * corner.spare
    power_part, power = _lower_end(down, path.arrays.power)
    value = (terms.mass if forward else -terms.mass) * flow + power_part
    by_up, by_down = carried - forced, -carried
    by_source = (by_up if forward else by_down) - passed - terms.copy_source
    by_target = (by_down if forward else by_up) - terms.copy_target
    source_part, source = _lower_end(by_source, terms.source)
    target_part, target = _lower_end(by_target, terms.target)
    rise_part, rise = _lower_end(-forced, corner.rises)
    at_low = ring_part[..., 0] + (forced + passed) * coolant[..., 0]
    at_high = ring_part[..., 1] + (forced + passed) * coolant[..., 1]
    coolant_part = np.minimum(at_low, at_high)
    value = value + source_part + target_part + rise_part + coolant_part
    value = np.where(np.isnan(flow), np.inf, value)
    return value, (source, target, np.where(at_low <= at_high, coolant[..., 0], coolant[..., 1]), rise, power)


def _lower_end(weight: Floats, span: Floats) -> tuple[Floats, Floats]:
    """Least value of weight times a quantity in a range, and the end it is taken at."""
    end = np.where(weight >= 0.0, span[..., 0], span[..., 1])
    return weight * end, end


def block_part(chosen: PathArrays, flow: Floats, flow_width: Floats) -> Floats:
    """Share of a flow's width that a block of speeds makes: flow goes about with speed, speed with power's root."""
    slow, fast = np.cbrt(chosen.power[:, 0]).T
    by_block = np.abs(flow) * (fast - slow) / np.where(fast > 0.0, fast, 1.0)
    part: Floats = np.minimum(by_block / np.where(flow_width > 0.0, flow_width, 1.0), 1.0)
    return part
