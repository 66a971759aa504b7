"""The checker's Lagrangian: noise energy plus priced balances, made as small as the ranges of a box allow.

For a true setting every balance is zero, so any prices leave its energy as it is. Each path has a copy of every
temperature it touches; with its choice of speeds, flow and conductance fixed, its terms are affine in each temperature
apart, and with these fixed affine in flow and conductance: the least value lies at ends of ranges. Temperatures over
the room's.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.checker.case import Box, Case, Table, Water
from quietcool.physics.air import SPECIFIC_HEAT

Floats = NDArray[np.float64]

ROUNDING = 1e-11  # of the size of all terms, off every bound


class Seen(NamedTuple):
    """A box with its tables."""

    box: Box
    water: Water
    tables: list[Table]
    energy: list[Floats]  # least noise energy of every option of every cluster, inf where struck


class _Priced(NamedTuple):
    """Prices that meet one path."""

    mass: float  # of its flow: target less source
    at_source: float  # of heat brought to the source node
    at_target: float
    taken: float  # of heat taken from the ring
    copy_source: float  # of its copy of the source's temperature
    copy_target: float


def least_energy(
    case: Case, seen: Seen, price: tuple[float, ...], flows: tuple[float, ...], conductances: tuple[float, ...]
) -> tuple[float, list[Floats]]:
    """Bound on the noise energy of every setting in a box, and the bound with each option of each cluster forced.

    Parameters
    ----------
    case : Case
        The state.
    seen : Seen
        The box.
    price : tuple of float
        Of the mass balances, then the heat balances of the enclosures, then those of the ring; any numbers.
    flows, conductances : tuple of float
        By path: what the copies of temperatures are priced at; any numbers. [kg/s, W/K]
    """
    n, balances = len(case.enclosures), case.ring.balances
    mass, heat, ring = price[:n], price[n : 2 * n], price[2 * n :]
    priced = [
        _prices(case, path, mass, heat, ring, flow, conductance)
        for path, (flow, conductance) in enumerate(zip(flows, conductances, strict=True))
    ]
    steps = slice(seen.box.pump[0], seen.box.pump[1] + 1)
    terms = [float(case.fixed_energy[0]), float(case.pump_energy[steps, 0].min())]
    for e in range(n):
        copies = sum((p.copy_source if s == e else 0.0) + (p.copy_target if t == e else 0.0)
                     for p, (s, t) in zip(priced, case.ends, strict=True))  # fmt: skip
        terms.append(min(copies * (end - case.room) for end in seen.box.air[e]))
        fixed, rest = float(case.state.air_heat.get(case.enclosures[e], 0.0)), case.pump_rest[list(seen.box.pump)]
        own = case.build.loop.pump_enclosure == case.enclosures[e]
        terms.append(min(heat[e] * (fixed + (r if own else 0.0)) for r in rest))
    for mu, balance in zip(ring, balances, strict=True):
        terms.append(min(mu * put_in for put_in in case.heat(balance.stations, seen.box.pump)))
    middle = float(seen.box.coolant.mean()) - case.room
    nodes = [[_node_term(case, seen, node, ring, end - case.room - middle) for end in span]
             for node, span in enumerate(seen.box.coolant)]  # fmt: skip
    terms += [min(ends) for node, ends in enumerate(nodes) if node not in case.ring.node_of.values()]
    values = []
    for c, (_, paths) in enumerate(case.clusters):
        value = seen.energy[c]
        for path in paths:
            value = value + _path_term(case, seen, path, priced[path], nodes)[case.of_cluster[path]]
        values.append(np.where(seen.energy[c] < np.inf, value, np.inf))
    least = [float(value.min()) for value in values]
    bound = sum(terms) + sum(least)
    bound -= ROUNDING * (sum(map(abs, terms)) + sum(map(abs, least)) + _size(case, seen, price))
    return bound, [bound - one + value for one, value in zip(least, values, strict=True)]


def _size(case: Case, seen: Seen, price: tuple[float, ...]) -> float:
    """What the priced terms may come to, for the rounding of their sums."""
    n = len(case.enclosures)
    spread = float(np.abs(seen.box.coolant - case.room).max()) * max(rate[1] for rate in seen.water.streams.values())
    return sum(map(abs, price[:n])) * 10.0 * case.scale + sum(map(abs, price[n:])) * (1e4 + spread)


def _prices(
    case: Case, path: int, mass: tuple[float, ...], heat: tuple[float, ...], ring: tuple[float, ...],
    flow: float, conductance: float,
) -> _Priced:  # fmt: skip
    """Prices of one path; those of its copies are the slopes of its terms at the references."""
    source, target = case.ends[path]
    name = case.paths[path].name
    taken = sum(mu for mu, balance in zip(ring, case.ring.balances, strict=True) if name in balance.radiators)
    at_source, at_target = (0.0 if node is None else heat[node] for node in (source, target))
    down = at_target if flow >= 0.0 else at_source
    carried = down * abs(flow) * SPECIFIC_HEAT
    up_slope, down_slope = carried - (down - taken) * conductance, -carried
    passive = (at_source - taken) * max(case.passive[path] - conductance, 0.0)
    by_source, by_target = (up_slope, down_slope) if flow >= 0.0 else (down_slope, up_slope)
    moved = (0.0 if target is None else mass[target]) - (0.0 if source is None else mass[source])
    return _Priced(
        moved, at_source, at_target, taken,
        0.0 if source is None else by_source - passive, 0.0 if target is None else by_target,
    )  # fmt: skip


def _node_term(case: Case, seen: Seen, node: int, ring: tuple[float, ...], over: float) -> float:
    """Least of the priced capacity rates times a node's temperature over the middle of the ring."""
    weights: dict[tuple[str, ...], float] = {}
    for mu, balance in zip(ring, case.ring.balances, strict=True):
        if balance.source != balance.target:
            sign = (balance.source == node) - (balance.target == node)
            weights[balance.stream] = weights.get(balance.stream, 0.0) + mu * sign
    return sum(min(rate * weight * over for rate in seen.water.streams[s]) for s, weight in weights.items())


def _path_term(case: Case, seen: Seen, path: int, priced: _Priced, nodes: list[list[float]]) -> Floats:
    """Least value of one path's terms at every option."""
    table, passive = seen.tables[path], case.passive[path]
    air = [np.array(case.node_air(seen.box, node)) - case.room for node in case.ends[path]]
    node = case.ring.node_of.get(case.paths[path].name)
    coolant = np.zeros(2) if node is None else seen.box.coolant[node] - case.room
    node_ends = [0.0, 0.0] if node is None else nodes[node]
    power = np.array([sum(row[3] for row in stack.rows) for stack in case.stacks[path]])
    best = np.full(power.shape, np.inf)
    low, high = table.flow.T
    ways = ((high >= 0.0, np.maximum(low, 0.0), high, True), (low < 0.0, np.maximum(-high, 0.0), -low, False))
    for open_way, least, most, forth in ways:
        if not np.any(open_way):
            continue
        down = priced.at_target if forth else priced.at_source
        rises = table.forth_rise if forth else table.back_rise
        for flow in (least, most):
            for conductance in (*table.conductance.T, np.clip(passive, *table.conductance.T)):
                forced = (down - priced.taken) * conductance
                passed = (priced.at_source - priced.taken) * np.maximum(passive - conductance, 0.0)
                carried = down * flow * SPECIFIC_HEAT
                up, below = carried - forced, -carried
                by_source = (up if forth else below) - passed - priced.copy_source
                by_target = (below if forth else up) - priced.copy_target
                value = (priced.mass if forth else -priced.mass) * flow + down * power
                value = value + np.minimum(by_source * air[0][0], by_source * air[0][1])
                value = value + np.minimum(by_target * air[1][0], by_target * air[1][1])
                value = value + np.minimum(-forced * rises[:, 0], -forced * rises[:, 1])
                at_ends = [e + (forced + passed) * t for e, t in zip(node_ends, coolant, strict=True)]
                best = np.where(open_way, np.minimum(best, value + np.minimum(*at_ends)), best)
    return best
