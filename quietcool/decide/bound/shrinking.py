"""The rules by which boxes shrink; every one drops only what no setting quieter than the goal can use.

Settings in a box obey mass balance and heat balance of every enclosure, the heat balance of the ring, and the limits.
Each balance is read as an interval statement and used to shrink ranges and to strike options.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.boxes import Boxes, Flags
from quietcool.decide.bound.frame import HOTTEST, Frame
from quietcool.decide.bound.ranges import PathRanges, RingRanges
from quietcool.physics import air
from quietcool.physics.network import REFERENCE

Floats = NDArray[np.float64]

OUTWARD = 1e-9  # relative, of every interval


@dataclass
class Shrinking:
    """Ranges and options while the rules work on them."""

    frame: Frame
    boxes: Boxes
    ring: RingRanges
    paths: tuple[PathRanges, ...]
    coolant: Floats  # of every node, shrinks, (boxes, nodes, 2) [K]
    air_temp: Floats  # of every enclosure, shrinks, (boxes, enclosures, 2) [K]
    allowed: list[Flags]  # options of every cluster, (boxes, options) each
    energy: list[Floats]  # least noise energy of every option of every cluster, inf where struck [-]

    def alive(self) -> Flags:
        """Boxes in which every range and every choice is still open."""
        alive = np.ones(self.boxes.count, dtype=np.bool_)
        for span in (self.coolant, self.air_temp):
            alive &= np.all(span[..., 0] <= span[..., 1], axis=1)
        for allowed in self.allowed:
            alive &= np.any(allowed, axis=1)
        return alive

    def _of_cluster(self, number: int, values: list[tuple[int, Floats]]) -> Floats:
        """Sum of path ranges (boxes, options, 2) over a cluster's paths, at the cluster's options."""
        total: Floats | None = None
        for path, value in values:
            mine = self.frame.paths[path].at_cluster(value)
            total = mine if total is None else total + mine
        return np.zeros((*self.allowed[number].shape, 2)) if total is None else total

    def _span(self, number: int, value: Floats) -> Floats:
        """Range over the allowed options of one cluster, (boxes, 2)."""
        open_options = self.allowed[number]
        return np.stack(
            [
                np.where(open_options, value[..., 0], np.inf).min(axis=1),
                np.where(open_options, value[..., 1], -np.inf).max(axis=1),
            ],
            axis=-1,
        )

    def _span_of(self, path: int, value: Floats) -> Floats:
        """Range over the allowed options of a path's cluster of what (boxes, path options, 2) the path does."""
        return self._span(self.frame.cluster_of[path], self.frame.paths[path].at_cluster(value))

    def _strike(self, number: int, keep: Flags) -> None:
        self.allowed[number] &= keep
        self.energy[number] = np.where(self.allowed[number], self.energy[number], np.inf)

    def _strike_by_sum(self, per_cluster: list[Floats], least: Floats | float, most: Floats | float) -> None:
        """Strike options with which a sum over clusters cannot lie between two ends."""
        spans = [self._span(number, value) for number, value in enumerate(per_cluster)]
        total = np.sum(spans, axis=0)
        slack = OUTWARD * np.sum(np.abs(spans), axis=0).sum(axis=1) + 1e-15
        for number, value in enumerate(per_cluster):
            rest = total - spans[number]
            high = value[..., 1] + (rest[:, 1] + slack)[:, None] >= np.reshape(least, (-1, 1))
            low = value[..., 0] + (rest[:, 0] - slack)[:, None] <= np.reshape(most, (-1, 1))
            self._strike(number, high & low)

    def strike_by_mass(self) -> None:
        """What flows into an enclosure flows out of it."""
        for node in range(self.frame.enclosures):
            per_cluster = []
            for number, cluster in enumerate(self.frame.clusters):
                values = []
                for path in cluster.paths:
                    options = self.frame.paths[path]
                    if node in (options.source, options.target) and options.source != options.target:
                        flow = self.paths[path].flow
                        values.append((path, flow if options.target == node else -flow[..., ::-1]))
                per_cluster.append(self._of_cluster(number, values))
            self._strike_by_sum(per_cluster, 0.0, 0.0)

    def strike_by_noise(self, goal: Floats | float) -> None:
        """A setting as loud as the goal, or louder than a limit elsewhere, does not matter."""
        pump = least_from(self.frame.pump_energy, self.boxes.pump)
        self._strike_by_energy(self.energy, pump, goal)
        for i, pump_elsewhere in enumerate(self.frame.pump_elsewhere):
            elsewhere = [
                sum(
                    (self.frame.paths[p].at_cluster(self.paths[p].elsewhere[i]) for p in cluster.paths),
                    np.zeros(self.allowed[number].shape),
                )
                for number, cluster in enumerate(self.frame.clusters)
            ]
            self._strike_by_energy(elsewhere, least_from(pump_elsewhere, self.boxes.pump), 1.0 + OUTWARD)

    def _strike_by_energy(self, energy: list[Floats], pump: Floats, most: Floats | float) -> None:
        least = [np.where(a, e, np.inf).min(axis=1) for a, e in zip(self.allowed, energy, strict=True)]
        total = pump + np.sum(least, axis=0)
        for number, value in enumerate(energy):
            self._strike(number, value + (total - least[number])[:, None] < np.reshape(most, (-1, 1)))

    def strike_by_heat(self) -> None:
        """All radiators together give off what is put in."""
        put_in = sum(self.ring.heat[i] for i, s in enumerate(self.frame.ring.segments) if s.whole)
        per_cluster = [
            self._of_cluster(number, [(p, self.paths[p].forced + self.paths[p].spare) for p in cluster.paths])
            for number, cluster in enumerate(self.frame.clusters)
        ]
        slack = 1e-6 * (1.0 + np.abs(put_in[:, 1]))
        self._strike_by_sum(per_cluster, put_in[:, 0] - slack, put_in[:, 1] + slack)

    def shrink_coolant(self) -> None:
        """Follow the coolant from node to node, twice round the ring."""
        spans = {}
        for segment in self.frame.ring.segments:
            for path in segment.radiators:
                spans[path] = self._span_of(path, self.paths[path].forced + self.paths[path].spare)
        for _ in range(2):
            for i, segment in enumerate(self.frame.ring.segments):
                capacity, heat = self.ring.capacity[segment.stream], self.ring.heat[i]
                taken = sum((spans[p] for p in segment.radiators), np.zeros_like(heat))
                rise = _over(heat - taken[:, ::-1], capacity)
                source, target = self.coolant[:, segment.source], self.coolant[:, segment.target]
                self._narrow(self.coolant, segment.target, source + rise)
                self._narrow(self.coolant, segment.source, target - rise[:, ::-1])
                if len(segment.radiators) == 1:
                    self._mean_rule(i)

    def _mean_rule(self, index: int) -> None:
        """Behind a radiator the coolant is a mean of what entered it and of the air that met it."""
        segment = self.frame.ring.segments[index]
        path = segment.radiators[0]
        if self.frame.ring.radiator_node[path] != segment.source:
            return
        ranges = self.paths[path]
        span = self._span_of(path, np.maximum(ranges.conductance, ranges.passive))  # forced and passive together
        capacity = self.ring.capacity[segment.stream]
        share = np.clip(np.stack([span[:, 0] / capacity[:, 1], span[:, 1] / capacity[:, 0]], axis=-1), 0.0, 1.0)
        sink = self._sink(path)
        source, target = self.coolant[:, segment.source], self.coolant[:, segment.target]
        after = np.stack(
            [
                np.min([(1.0 - share[:, i]) * source[:, 0] + share[:, i] * sink[:, 0] for i in (0, 1)], axis=0),
                np.max([(1.0 - share[:, i]) * source[:, 1] + share[:, i] * sink[:, 1] for i in (0, 1)], axis=0),
            ],
            axis=-1,
        )
        rise = _over(self.ring.heat[index], capacity)
        holds = capacity[:, 0] > ranges.passive  # else the passive part could overshoot the sink
        self._narrow(self.coolant, segment.target, np.where(holds[:, None], after + rise, target))
        behind = target - rise[:, ::-1]
        sure = (share[:, 1] < 1.0 - 1e-6) & holds
        left = np.where(sure[:, None], 1.0 - share, 1.0)
        # Solved for the inlet: rising in what leaves, falling in the sink, monotone in the share.
        before = np.stack(
            [
                np.min([(behind[:, 0] - share[:, i] * sink[:, 1]) / left[:, i] for i in (0, 1)], axis=0),
                np.max([(behind[:, 1] - share[:, i] * sink[:, 0]) / left[:, i] for i in (0, 1)], axis=0),
            ],
            axis=-1,
        )
        self._narrow(self.coolant, segment.source, np.where(sure[:, None], before, source))

    def _sink(self, path: int) -> Floats:
        """Range of the air that a radiator may meet, its passive share included, (boxes, 2) [K]."""
        options, ranges = self.frame.paths[path], self.paths[path]
        flow = self._span_of(path, ranges.flow)
        least, most = self._node(options.source).T
        for node, taken, rise in (
            (options.source, (flow[:, 1] >= 0.0) | (ranges.passive > 0.0), ranges.rise_forward),
            (options.target, flow[:, 0] < 0.0, ranges.rise_reverse),
        ):
            low, high = self._node(node).T
            least = np.where(taken, np.minimum(least, low), least)
            most = np.where(taken, np.maximum(most, high + self._span_of(path, rise)[:, 1]), most)
        return np.stack([least, most], axis=-1)

    def _node(self, node: int) -> Floats:
        if node == REFERENCE:
            return np.full((self.boxes.count, 2), self.frame.room_temp)
        return self.air_temp[:, node]

    def _narrow(self, spans: Floats, place: int, to: Floats) -> None:
        slack = OUTWARD * np.abs(to)
        spans[:, place, 0] = np.fmax(spans[:, place, 0], to[:, 0] - slack[:, 0])
        spans[:, place, 1] = np.fmin(spans[:, place, 1], to[:, 1] + slack[:, 1])

    def shrink_air(self) -> None:
        """An enclosure's air is what flows in plus the heat put in, over the flow through it."""
        for node in range(self.frame.enclosures):
            inflow, outflow, warm = (np.zeros((self.boxes.count, 2)) for _ in range(3))
            warm += self._fixed_heat(node)
            for number, cluster in enumerate(self.frame.clusters):
                parts: list[list[tuple[int, Floats]]] = [[], [], []]
                for path in cluster.paths:
                    for kind, value in enumerate(self._delivery(path, node)):
                        parts[kind].append((path, value))
                for total, values in zip((inflow, outflow, warm), parts, strict=True):
                    total += self._span(number, self._of_cluster(number, values))
            through = np.stack(
                [np.maximum(inflow[:, 0], outflow[:, 0]), np.minimum(inflow[:, 1], outflow[:, 1])], axis=-1
            )
            through = np.maximum(through, 1e-15)
            rise = _over(warm, through * air.SPECIFIC_HEAT)
            rise = np.where(np.isfinite(rise), rise, [[-HOTTEST, HOTTEST]])
            self._narrow(self.air_temp, node, self.frame.room_temp + rise)
            self._narrow(self.air_temp, node, self._mixture(node, through))

    def _mixture(self, node: int, through: Floats) -> Floats:
        """Range of an enclosure's air: a mixture of what flows in, as warm as what it met, and heats over the flow."""
        least, most = np.full(self.boxes.count, np.inf), np.full(self.boxes.count, -np.inf)
        heat = self._fixed_heat(node)
        for number, cluster in enumerate(self.frame.clusters):
            for path in cluster.paths:
                options, ranges = self.frame.paths[path], self.paths[path]
                if node not in (options.source, options.target) or options.source == options.target:
                    continue
                towards = ranges.flow[..., 1] > 0.0 if options.target == node else ranges.flow[..., 0] < 0.0
                open_options = self.allowed[number]
                brings = np.any(options.at_cluster(towards) & open_options, axis=1)
                low, high = self._node(options.source if options.target == node else options.target).T
                if path in self.frame.ring.radiator_node:
                    coolant = self.coolant[:, self.frame.ring.radiator_node[path]]
                    low, high = np.minimum(low, coolant[:, 0]), np.maximum(high, coolant[:, 1])
                least = np.where(brings, np.minimum(least, low), least)
                most = np.where(brings, np.maximum(most, high), most)
                power = np.where(open_options, options.most_power[options.option_of_cluster], 0.0).max(axis=1)
                heat = heat + np.stack([np.zeros_like(power), power], axis=-1)
                if options.source == node:
                    spare = self._span_of(path, ranges.spare)
                    heat = heat + np.stack([np.minimum(spare[:, 0], 0.0), np.maximum(spare[:, 1], 0.0)], axis=-1)
        rise = _over(heat, through * air.SPECIFIC_HEAT)
        return np.stack([least + np.minimum(rise[:, 0], 0.0), most + np.maximum(rise[:, 1], 0.0)], axis=-1)

    def _fixed_heat(self, node: int) -> Floats:
        heat = np.full((self.boxes.count, 2), self.frame.air_heat[node])
        if self.frame.build.loop.pump_enclosure == self.frame.build.enclosures[node]:
            heat = heat + self.frame.tables.pump_rest[self.boxes.pump]
        return heat

    def _delivery(self, path: int, node: int) -> tuple[Floats, Floats, Floats]:
        """Flow into and out of a node by a path, and warmth over the room's that it brings [kg/s, kg/s, W]."""
        options, ranges = self.frame.paths[path], self.paths[path]
        nothing = np.zeros_like(ranges.flow)
        if node not in (options.source, options.target) or options.source == options.target:
            return nothing, nothing, nothing
        towards = ranges.flow if options.target == node else -ranges.flow[..., ::-1]
        come, go = np.maximum(towards, 0.0), np.maximum(-towards[..., ::-1], 0.0)
        other = options.source if options.target == node else options.target
        over = (self._node(other) - self.frame.room_temp)[:, None, :]
        least_power, most_power = options.power[None, :], options.most_power[None, :]
        warm = np.stack([come[..., 0] * over[..., 0], come[..., 1] * over[..., 1]], axis=-1) * air.SPECIFIC_HEAT
        brings, surely = come[..., 1] > 0.0, come[..., 0] > 0.0
        forced_low = np.where(surely, ranges.forced[..., 0], np.minimum(ranges.forced[..., 0], 0.0))
        warm[..., 0] += np.where(brings, forced_low, 0.0) + np.where(surely, least_power, 0.0)
        warm[..., 1] += np.where(brings, np.maximum(ranges.forced[..., 1], 0.0) + most_power, 0.0)
        if options.source == node:
            warm = warm + ranges.spare
        return come, go, warm


def _over(heat: Floats, capacity: Floats) -> Floats:
    """Range of heat over a positive capacity rate."""
    corners = [heat[:, i] / capacity[:, j] for i in (0, 1) for j in (0, 1)]
    return np.stack([np.minimum.reduce(corners), np.maximum.reduce(corners)], axis=-1)


def least_from(table: Floats, steps: NDArray[np.intp]) -> Floats:
    """Least value of a table over steps low..high."""
    tail = np.minimum.accumulate(table[::-1])[::-1]
    return np.where(steps[:, 0] == steps[:, 1], table[steps[:, 0]], tail[steps[:, 0]])
