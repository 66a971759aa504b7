"""Rules of the checker: balances read as statements about ranges. A rule drops only what cannot be in the box at all.

Mass into an enclosure equals mass out of it; the radiators together give off what is put in; coolant and air follow
their heat; a setting as loud as the claim does not matter.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.checker.case import Box, Case, Table, Water
from quietcool.decide.checker.ring import Balance
from quietcool.decide.checker.tables import Span
from quietcool.physics.air import SPECIFIC_HEAT

Floats = NDArray[np.float64]

OUTWARD = 1e-9  # relative, of every range


class Rules:
    """Balances read as statements about ranges; they strike options of `box.allowed` and narrow `air` and `coolant`."""

    def __init__(self, case: Case, box: Box, water: Water, tables: list[Table]) -> None:
        self.case, self.box, self.water, self.tables = case, box, water, tables

    def run(self, goal: float) -> bool:
        """Every rule once; False if nothing is left."""
        with np.errstate(invalid="ignore"):
            main = [balance.stations for balance in self.case.ring.balances if balance.main]
            put_in = np.sum([self.case.heat(stations, self.box.pump) for stations in main], axis=0)
            given = {p: self.tables[p].forced + self.tables[p].spare for p in self._radiators()}
            slack = 1e-6 * (1.0 + abs(put_in[1]))
            alive = all(self._balanced(self._inflow(e), 0.0, 0.0) for e in range(len(self.case.enclosures)))
            alive = alive and self._quiet_enough(goal)
            alive = alive and self._balanced(given, put_in[0] - slack, put_in[1] + slack)
            if not alive:
                return False
            for _ in range(2):
                for balance in self.case.ring.balances:
                    self._follow(balance)
            for e in range(len(self.case.enclosures)):
                self._air(e)
        return not any(np.any(spans[:, 0] > spans[:, 1]) for spans in (self.box.air, self.box.coolant))

    def _radiators(self) -> list[int]:
        return [i for i, path in enumerate(self.case.paths) if path.name in self.case.ring.node_of]

    def _clusters(self, by_path: dict[int, Floats]) -> list[Floats]:
        """Ranges by path summed to ranges by option of every cluster, (options, 2)."""
        found = []
        for c, (_, paths) in enumerate(self.case.clusters):
            total = np.zeros((self.box.allowed[c].size, 2))
            for path in paths:
                if path in by_path:
                    total = total + by_path[path][self.case.of_cluster[path]]
            found.append(total)
        return found

    def _hull(self, by_path: dict[int, Floats]) -> list[Floats]:
        """Range of every cluster over its allowed options."""
        return [
            np.array([value[a, 0].min(), value[a, 1].max()])
            for a, value in zip(self.box.allowed, self._clusters(by_path), strict=True)
        ]

    def _balanced(self, by_path: dict[int, Floats], least: float, most: float) -> bool:
        """Strike options with which a sum over all paths cannot come to between two values."""
        values, hulls = self._clusters(by_path), self._hull(by_path)
        total = np.sum(hulls, axis=0)
        slack = OUTWARD * float(np.abs(hulls).sum()) + 1e-15
        for a, value, hull in zip(self.box.allowed, values, hulls, strict=True):
            a &= value[:, 1] + total[1] - hull[1] + slack >= least
            a &= value[:, 0] + total[0] - hull[0] - slack <= most
        return all(a.any() for a in self.box.allowed)

    def _inflow(self, enclosure: int) -> dict[int, Floats]:
        """Flow into an enclosure by path."""
        found = {}
        for path, (source, target) in enumerate(self.case.ends):
            if source != target and enclosure in (source, target):
                flow = self.tables[path].flow
                found[path] = flow if target == enclosure else -flow[:, ::-1]
        return found

    def energy(self) -> list[Floats]:
        """Least noise energy of every option of every cluster."""
        return [value[:, 0] for value in self._clusters({p: _twice(t.energy) for p, t in enumerate(self.tables)})]

    def _quiet_enough(self, goal: float) -> bool:
        """Strike options that make every setting as loud as the goal, or louder than a limit elsewhere."""
        steps = slice(self.box.pump[0], self.box.pump[1] + 1)
        for limit, most in [(0, goal)] + [(i, 1.0 + OUTWARD) for i in range(1, len(self.case.fixed_energy))]:
            by_path = {p: _twice(t.energy if limit == 0 else t.elsewhere[limit - 1]) for p, t in enumerate(self.tables)}
            values, hulls = self._clusters(by_path), self._hull(by_path)
            total = self.case.pump_energy[steps, limit].min() + self.case.fixed_energy[limit] + sum(h[0] for h in hulls)
            for a, value, hull in zip(self.box.allowed, values, hulls, strict=True):
                a &= value[:, 0] + total - hull[0] < most
            if not all(a.any() for a in self.box.allowed):
                return False
        return True

    def _narrow(self, spans: Floats, row: int, low: float, high: float) -> None:
        spans[row, 0] = max(spans[row, 0], low - OUTWARD * abs(low)) if np.isfinite(low) else spans[row, 0]
        spans[row, 1] = min(spans[row, 1], high + OUTWARD * abs(high)) if np.isfinite(high) else spans[row, 1]

    def _follow(self, balance: Balance) -> None:
        """Follow the coolant along one balance, and back."""
        coolant, names = self.box.coolant, [path.name for path in self.case.paths]
        heat, rate = self.case.heat(balance.stations, self.box.pump), self.water.streams[balance.stream]
        inside = {p: self.tables[p].forced + self.tables[p].spare for p in map(names.index, balance.radiators)}
        taken = np.sum(self._hull(inside), axis=0)
        rise = _over((heat[0] - taken[1], heat[1] - taken[0]), rate)
        source, target = coolant[balance.source].copy(), coolant[balance.target].copy()
        self._narrow(coolant, balance.target, source[0] + rise[0], source[1] + rise[1])
        self._narrow(coolant, balance.source, target[0] - rise[1], target[1] - rise[0])
        if len(inside) == 1 and self.case.ring.node_of[balance.radiators[0]] == balance.source:
            self._mean(balance, next(iter(inside)), _over(heat, rate))

    def _mean(self, balance: Balance, path: int, rise: Span) -> None:
        """Behind a radiator the coolant is a mean of what entered it and of the air it met: share z of the way."""
        coolant, (low, high), passive = self.box.coolant, self.water.streams[balance.stream], self.case.passive[path]
        if low <= passive:  # then the passive part could overshoot the air
            return
        reach = np.sum(self._hull({path: np.maximum(self.tables[path].conductance, passive)}), axis=0)
        shares, air = (min(reach[0] / high, 1.0), min(reach[1] / low, 1.0)), self._met(path)
        source, target = coolant[balance.source].copy(), coolant[balance.target].copy()
        after = [[(1.0 - z) * source[e] + z * air[e] for z in shares] for e in (0, 1)]
        self._narrow(coolant, balance.target, min(after[0]) + rise[0], max(after[1]) + rise[1])
        if shares[1] < 1.0 - 1e-6:
            behind = target[0] - rise[1], target[1] - rise[0]
            before = [[(behind[e] - z * air[1 - e]) / (1.0 - z) for z in shares] for e in (0, 1)]
            self._narrow(coolant, balance.source, min(before[0]), max(before[1]))

    def _met(self, path: int) -> Span:
        """Range of the air that a radiator gives its heat to, the source node of its passive part included [K]."""
        (source, target), table = self.case.ends[path], self.tables[path]
        of, open_options = self.case.of_cluster[path], self.box.allowed[self.case.cluster_of(path)]
        mine = np.unique(of[open_options])
        low, high = self.case.node_air(self.box, source)
        spans = [(low, high)]
        if table.flow[mine, 1].max() >= 0.0:
            spans.append((low, high + table.forth_rise[mine, 1].max()))
        if table.flow[mine, 0].min() < 0.0:
            back = self.case.node_air(self.box, target)
            spans.append((back[0], back[1] + table.back_rise[mine, 1].max()))
        return min(s[0] for s in spans), max(s[1] for s in spans)

    def _fixed_heat(self, enclosure: int) -> Floats:
        """Heat put into an enclosure's air by what is no path [W]."""
        name = self.case.enclosures[enclosure]
        heat = float(self.case.state.air_heat.get(name, 0.0))
        rest = self.case.pump_rest[list(self.box.pump)] if self.case.build.loop.pump_enclosure == name else np.zeros(2)
        return heat + rest

    def _air(self, enclosure: int) -> None:
        """An enclosure's air: heat put in over the flow through it; and a mixture of what flows in, warmed."""
        inflow = self._inflow(enclosure)
        come = {p: np.maximum(flow, 0.0) for p, flow in inflow.items()}
        go = {p: np.maximum(-flow[:, ::-1], 0.0) for p, flow in inflow.items()}
        into, out = (np.sum(self._hull(by_path), axis=0) for by_path in (come, go))
        through = max(into[0], out[0], 1e-15), max(min(into[1], out[1]), 1e-15)
        fixed = self._fixed_heat(enclosure)
        warm = fixed + np.sum(self._hull({p: self._brought(p, enclosure, come[p]) for p in inflow}), axis=0)
        rise = _over((warm[0], warm[1]), (through[0] * SPECIFIC_HEAT, through[1] * SPECIFIC_HEAT))
        self._narrow(self.box.air, enclosure, self.case.room + rise[0], self.case.room + rise[1])
        mixed = self._mixture(enclosure, come, fixed, through)
        self._narrow(self.box.air, enclosure, *mixed)

    def _brought(self, path: int, enclosure: int, come: Floats) -> Floats:
        """Heat over room temperature that a path brings to an enclosure, by option [W]."""
        source, target = self.case.ends[path]
        table = self.tables[path]
        other = self.case.node_air(self.box, source if target == enclosure else target)
        power = np.array([sum(row[3] for row in stack.rows) for stack in self.case.stacks[path]])
        maybe, surely = come[:, 1] > 0.0, come[:, 0] > 0.0
        low = come[:, 0] * (other[0] - self.case.room) * SPECIFIC_HEAT
        high = come[:, 1] * (other[1] - self.case.room) * SPECIFIC_HEAT
        forced = np.nan_to_num(table.forced)
        low = low + np.where(maybe, np.where(surely, forced[:, 0], np.minimum(forced[:, 0], 0.0)), 0.0)
        low = low + np.where(surely, power, 0.0)
        high = high + np.where(maybe, np.maximum(forced[:, 1], 0.0) + power, 0.0)
        brought = np.stack([low, high], axis=-1)
        return brought + np.nan_to_num(table.spare) if source == enclosure else brought

    def _mixture(self, enclosure: int, come: dict[int, Floats], fixed: Floats, through: Span) -> Span:
        """Every part of the mixture lies between what it started from and the coolant it met."""
        least, most, heat = np.inf, -np.inf, fixed.copy()
        for path, flow in come.items():
            open_options = self.box.allowed[self.case.cluster_of(path)]
            mine = np.unique(self.case.of_cluster[path][open_options])
            source, target = self.case.ends[path]
            if np.any(flow[mine, 1] > 0.0):
                low, high = self.case.node_air(self.box, source if target == enclosure else target)
                node = self.case.ring.node_of.get(self.case.paths[path].name)
                if node is not None:
                    low, high = min(low, self.box.coolant[node, 0]), max(high, self.box.coolant[node, 1])
                least, most = min(least, low), max(most, high)
            heat[1] += max(sum(row[3] for row in self.case.stacks[path][k].rows) for k in mine)
            if source == enclosure and self.case.passive[path] > 0.0:
                spare = self.tables[path].spare[mine]
                heat += np.array([min(spare[:, 0].min(), 0.0), max(spare[:, 1].max(), 0.0)])
        rise = _over((heat[0], heat[1]), (through[0] * SPECIFIC_HEAT, through[1] * SPECIFIC_HEAT))
        return least + min(rise[0], 0.0), most + max(rise[1], 0.0)


def _twice(values: Floats) -> Floats:
    return np.stack([values, values], axis=-1)


def _over(heat: Span, rate: Span) -> Span:
    """Range of heat over a positive capacity rate."""
    corners = [h / r for h in heat for r in rate]
    return min(corners), max(corners)
