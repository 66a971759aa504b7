"""One path's terms in the Lagrangian and their least value over the ends of every range."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.physics import air

Floats = NDArray[np.float64]


class Terms(NamedTuple):
    """Prices that meet one path, (boxes, 1), and ranges of the temperatures at its ends over the room's, (boxes, 1, 2)."""

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
    conductance: Floats  # [W/K]
    rise_forward: Floats  # by fans before the core [K]
    rise_reverse: Floats  # [K]
    power: Floats  # of the fans [W]

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


def least_value(
    terms: Terms, arrays: PathArrays, coolant: Floats, ring_part: Floats, passive: float, *, has_core: bool
) -> Floats:
    """Least value of the path's terms at every option.

    Parameters
    ----------
    terms : Terms
        Prices and end temperatures.
    arrays : PathArrays
        Ranges of the options.
    coolant : ndarray, (boxes, 1, 2)
        Coolant inlet over the room. [K]
    ring_part : ndarray, (boxes, 1, 2)
        The ring's own terms at the ends of `coolant`.
    passive : float
        Least conductance of the radiator. [W/K]
    has_core : bool
        Whether there is a radiator.

    Returns
    -------
    ndarray, (boxes, options)
    """
    best = np.full(arrays.power.shape, np.inf)
    for forward, flow, conductance, spare, rises in _corners(arrays, passive, has_core=has_core):
        value = _value(terms, forward, flow, conductance, spare, rises, arrays.power, coolant, ring_part)[0]
        best = np.minimum(best, value)
    return best


def least_point(
    terms: Terms, arrays: PathArrays, coolant: Floats, ring_part: Floats, passive: float, *, has_core: bool
) -> Picked:
    """Where the path's terms are least; arguments as for `least_value`."""
    best = np.full(arrays.power.shape, np.inf)
    picked: list[Floats] = [np.zeros(arrays.power.shape) for _ in Picked._fields]
    for forward, flow, conductance, spare, rises in _corners(arrays, passive, has_core=has_core):
        value, ends = _value(terms, forward, flow, conductance, spare, rises, arrays.power, coolant, ring_part)
        better = value < best
        best = np.where(better, value, best)
        signed = flow if forward else -flow
        point = (signed, conductance, spare, *ends)
        picked = [np.where(better, new, old) for new, old in zip(point, picked, strict=True)]
    return Picked(*picked)


def _corners(
    arrays: PathArrays, passive: float, *, has_core: bool
) -> list[tuple[bool, Floats, Floats, Floats, Floats]]:
    """Every corner of flow and conductance in both directions; a flow of NaN marks a direction that is not open."""
    found = []
    low, high = arrays.flow[..., 0], arrays.flow[..., 1]
    for forward, least, most, rises in (
        (True, np.maximum(low, 0.0), np.where(high >= 0.0, high, np.nan), arrays.rise_forward),
        (False, np.maximum(-high, 0.0), np.where(low < 0.0, -low, np.nan), arrays.rise_reverse),
    ):
        if np.all(np.isnan(most)):
            continue
        least = np.where(np.isnan(most), np.nan, least)
        conductances = [arrays.conductance[..., 0], arrays.conductance[..., 1]] if has_core else [np.zeros_like(low)]
        if has_core and np.any(arrays.conductance[..., 0] < passive):
            # Forced and passive lie on a bent line: its corner is one more end.
            conductances.append(np.clip(passive, arrays.conductance[..., 0], arrays.conductance[..., 1]))
        for flow in (least, most):
            for conductance in conductances:
                found.append((forward, flow, conductance, np.maximum(passive - conductance, 0.0), rises))
    return found


def _value(
    terms: Terms,
    forward: bool,
    flow: Floats,
    conductance: Floats,
    spare: Floats,
    rises: Floats,
    power: Floats,
    coolant: Floats,
    ring_part: Floats,
) -> tuple[Floats, tuple[Floats, Floats, Floats, Floats]]:
    """Least value at one corner and the ends it is taken at: source, target and coolant over the room, fan rise."""
    down = terms.at_target if forward else terms.at_source
    carried = down * (flow * air.SPECIFIC_HEAT)
    forced = (down - terms.taken) * conductance
    passed = (terms.at_source - terms.taken) * spare
    value = (terms.mass if forward else -terms.mass) * flow + down * power
    by_up, by_down = carried - forced, -carried
    by_source = (by_up if forward else by_down) - passed - terms.copy_source
    by_target = (by_down if forward else by_up) - terms.copy_target
    source_part, source = _lower_end(by_source, terms.source)
    target_part, target = _lower_end(by_target, terms.target)
    rise_part, rise = _lower_end(-forced, rises)
    at_low = ring_part[..., 0] + (forced + passed) * coolant[..., 0]
    at_high = ring_part[..., 1] + (forced + passed) * coolant[..., 1]
    coolant_part = np.minimum(at_low, at_high)
    value = value + source_part + target_part + rise_part + coolant_part
    value = np.where(np.isnan(flow), np.inf, value)
    return value, (source, target, np.where(at_low <= at_high, coolant[..., 0], coolant[..., 1]), rise)


def _lower_end(weight: Floats, span: Floats) -> tuple[Floats, Floats]:
    """Least value of weight times a quantity in a range, and the end it is taken at."""
    end = np.where(weight >= 0.0, span[..., 0], span[..., 1])
    return weight * end, end
