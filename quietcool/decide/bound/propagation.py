"""Propagation: every rule drops only what no setting quieter than the goal can use.

Settings in a box obey mass balance and heat balance of every enclosure, the heat balance of the ring, and the limits.
Each balance is read as an interval statement and used to shrink ranges and to strike options.
"""

from __future__ import annotations

from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.boxes import Boxes, Flags
from quietcool.decide.bound.frame import HOTTEST, Frame, PathOptions, load_factor
from quietcool.decide.bound.ranges import PathRanges, RingRanges, path_ranges, ring_ranges
from quietcool.physics import air
from quietcool.physics.network import REFERENCE

Floats = NDArray[np.float64]
AnyArray = TypeVar("AnyArray", bound=NDArray[Any])

OUTWARD = 1e-9  # relative, of every interval
ROUNDS = 2  # of the rules, for one set of flow ranges


class Examined(NamedTuple):
    """Boxes that may still hold a better setting, with the ranges of everything in them."""

    boxes: Boxes
    ring: RingRanges
    paths: tuple[PathRanges, ...]
    energy: tuple[Floats, ...]  # least noise energy of every option of every cluster, inf if struck [-]


def examine(frame: Frame, boxes: Boxes, goal: Floats | float, *, from_afar: bool = False) -> Examined:
    """Work out the ranges of boxes and shrink them; boxes that can hold nothing better are left out.

    Parameters
    ----------
    frame : Frame
        The state.
    boxes : Boxes
        Any number.
    goal : ndarray, (boxes,), or float
        Noise energy that a setting in a box must undercut to matter. [-]
    from_afar : bool
        True where the flow ranges known so far are wide, at the root.

    Returns
    -------
    Examined
    """
    ring = ring_ranges(frame, boxes)
    coolant = boxes.coolant_temp.copy()
    coolant[..., 1] = np.minimum(coolant[..., 1], ring.ceiling.T)
    allowed = _quiet_enough(frame, boxes, goal)
    paths = []
    for index, options in enumerate(frame.paths):
        cluster = _cluster_of(frame, index)
        possible = (
            allowed[cluster].copy()
            if options.same_as_cluster
            else _path_options_allowed(allowed[cluster], options.option_of_cluster, options.power.size)
        )
        found = path_ranges(frame, boxes._replace(coolant_temp=coolant), index, possible, ring, from_afar=from_afar)
        allowed[cluster] &= at_cluster(options, found.possible)
        paths.append(found)
    energy = [_cluster_energy(frame, number, paths, np.where(a, 0.0, np.inf)) for number, a in enumerate(allowed)]
    state = _Shrinking(frame, boxes, ring, tuple(paths), coolant, boxes.air_temp.copy(), allowed, energy)
    with np.errstate(all="ignore"):  # boxes without options left carry infinities until they go
        for _ in range(ROUNDS):
            state.strike_by_mass()
            state.strike_by_noise(goal)
            state.strike_by_heat()
            state.shrink_coolant()
            state.shrink_air()
    alive = state.alive()
    shrunk = boxes._replace(
        coolant_temp=state.coolant,
        air_temp=state.air_temp,
        allowed=tuple(state.allowed),
        flow=tuple(p.flow for p in paths),
        conductance=tuple(p.conductance for p in paths),
    )
    return pick(Examined(shrunk, ring, tuple(paths), tuple(state.energy)), np.flatnonzero(alive))


def _quiet_enough(frame: Frame, boxes: Boxes, goal: Floats | float) -> list[Flags]:
    """Options that are not too loud even at the least load adders: struck before anything dearer is worked out."""
    energy = []
    for cluster, allowed in zip(frame.clusters, boxes.allowed, strict=True):
        own = np.zeros(allowed.shape[1])
        for path in cluster.paths:
            options = frame.paths[path]
            for row in options.rows:
                own = own + (row.energy * min(1.0, load_factor(row.load_adder, np.zeros(1))[0]))[options.option_of_cluster]
        energy.append(np.where(allowed, own, np.inf))
    least = [e.min(axis=1) for e in energy]
    rest = _least_from(frame.pump_energy, boxes.pump) + np.sum(least, axis=0)
    with np.errstate(invalid="ignore"):
        return [e + (rest - low)[:, None] < np.reshape(goal, (-1, 1)) for e, low in zip(energy, least, strict=True)]


def pick(seen: Examined, picked: NDArray[np.intp]) -> Examined:
    """The picked boxes."""
    ring = RingRanges(
        seen.ring.flow[:, picked],
        seen.ring.branch_capacity[:, picked],
        seen.ring.capacity[:, picked],
        seen.ring.heat[:, picked],
        seen.ring.ceiling[:, picked],
    )
    paths = tuple(
        PathRanges(
            p.possible[picked],
            p.flow[picked],
            p.conductance[picked],
            p.passive,
            p.rise_forward[picked],
            p.rise_reverse[picked],
            p.energy[picked],
            p.elsewhere[:, picked],
            p.forced[picked],
            p.spare[picked],
        )
        for p in seen.paths
    )
    return Examined(seen.boxes.take(picked), ring, paths, tuple(e[picked] for e in seen.energy))


def _cluster_of(frame: Frame, path: int) -> int:
    return next(i for i, cluster in enumerate(frame.clusters) if path in cluster.paths)


def at_cluster(options: PathOptions, values: AnyArray) -> AnyArray:
    """Values (boxes, path options, ...) at the options of the path's cluster; the same array where these are its own."""
    return values if options.same_as_cluster else values[:, options.option_of_cluster]


def _path_options_allowed(allowed: Flags, option_of_cluster: NDArray[np.intp], count: int) -> Flags:
    """Options of a path that some allowed option of its cluster uses."""
    found = np.zeros((allowed.shape[0], count), dtype=np.bool_)
    for option in range(count):
        found[:, option] = np.any(allowed[:, option_of_cluster == option], axis=1)
    return found


def _cluster_energy(frame: Frame, number: int, paths: list[PathRanges], start: Floats) -> Floats:
    energy = start
    for path in frame.clusters[number].paths:
        energy = energy + at_cluster(frame.paths[path], paths[path].energy)
    return energy


class _Shrinking:
    """Ranges and options while the rules work on them."""

    def __init__(
        self,
        frame: Frame,
        boxes: Boxes,
        ring: RingRanges,
        paths: tuple[PathRanges, ...],
        coolant: Floats,
        air_temp: Floats,
        allowed: list[Flags],
        energy: list[Floats],
    ) -> None:
        self.frame, self.boxes, self.ring, self.paths = frame, boxes, ring, paths
        self.coolant, self.air_temp, self.allowed, self.energy = coolant, air_temp, allowed, energy

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
            mine = at_cluster(self.frame.paths[path], value)
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
        pump = _least_from(self.frame.pump_energy, self.boxes.pump)
        self._strike_by_energy(self.energy, pump, goal)
        for i, pump_elsewhere in enumerate(self.frame.pump_elsewhere):
            elsewhere = [
                sum(
                    (self.paths[p].elsewhere[i][:, self.frame.paths[p].option_of_cluster] for p in cluster.paths),
                    np.zeros(self.allowed[number].shape),
                )
                for number, cluster in enumerate(self.frame.clusters)
            ]
            self._strike_by_energy(elsewhere, _least_from(pump_elsewhere, self.boxes.pump), 1.0 + OUTWARD)

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
                number = _cluster_of(self.frame, path)
                spans[path] = self._span(
                    number, self._of_cluster(number, [(path, self.paths[path].forced + self.paths[path].spare)])
                )
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
        number = _cluster_of(self.frame, path)
        reach = np.maximum(ranges.conductance, ranges.passive)  # forced and passive together
        span = self._span(number, self._of_cluster(number, [(path, reach)]))
        capacity = self.ring.capacity[segment.stream]
        share = np.clip(np.stack([span[:, 0] / capacity[:, 1], span[:, 1] / capacity[:, 0]], axis=-1), 0.0, 1.0)
        sink = self._sink(number, path)
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

    def _sink(self, number: int, path: int) -> Floats:
        """Range of the air that a radiator may meet, its passive share included, (boxes, 2) [K]."""
        options, ranges = self.frame.paths[path], self.paths[path]
        flow = self._span(number, self._of_cluster(number, [(path, ranges.flow)]))
        rise = [
            self._span(number, self._of_cluster(number, [(path, r)]))[:, 1]
            for r in (ranges.rise_forward, ranges.rise_reverse)
        ]
        least, most = self._node(options.source).T
        for node, taken, warm in (
            (options.source, (flow[:, 1] >= 0.0) | (ranges.passive > 0.0), rise[0]),
            (options.target, flow[:, 0] < 0.0, rise[1]),
        ):
            low, high = self._node(node).T
            least = np.where(taken, np.minimum(least, low), least)
            most = np.where(taken, np.maximum(most, high + warm), most)
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
        """An enclosure's air is a mixture of what flows in, each no warmer than the warmest it met, plus heats over flow."""
        least, most = np.full(self.boxes.count, np.inf), np.full(self.boxes.count, -np.inf)
        heat = self._fixed_heat(node)
        for number, cluster in enumerate(self.frame.clusters):
            for path in cluster.paths:
                options, ranges = self.frame.paths[path], self.paths[path]
                if node not in (options.source, options.target) or options.source == options.target:
                    continue
                towards = ranges.flow[..., 1] > 0.0 if options.target == node else ranges.flow[..., 0] < 0.0
                open_options = self.allowed[number]
                brings = np.any(towards[:, options.option_of_cluster] & open_options, axis=1)
                low, high = self._node(options.source if options.target == node else options.target).T
                if path in self.frame.ring.radiator_node:
                    coolant = self.coolant[:, self.frame.ring.radiator_node[path]]
                    low, high = np.minimum(low, coolant[:, 0]), np.maximum(high, coolant[:, 1])
                least = np.where(brings, np.minimum(least, low), least)
                most = np.where(brings, np.maximum(most, high), most)
                power = np.where(open_options, options.power[options.option_of_cluster], 0.0).max(axis=1)
                heat = heat + np.stack([np.zeros_like(power), power], axis=-1)
                if options.source == node:
                    spare = self._span(number, self._of_cluster(number, [(path, ranges.spare)]))
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
        power = options.power[None, :]
        warm = np.stack([come[..., 0] * over[..., 0], come[..., 1] * over[..., 1]], axis=-1) * air.SPECIFIC_HEAT
        brings, surely = come[..., 1] > 0.0, come[..., 0] > 0.0
        forced_low = np.where(surely, ranges.forced[..., 0], np.minimum(ranges.forced[..., 0], 0.0))
        warm[..., 0] += np.where(brings, forced_low, 0.0) + np.where(surely, power, 0.0)
        warm[..., 1] += np.where(brings, np.maximum(ranges.forced[..., 1], 0.0) + power, 0.0)
        if options.source == node:
            warm = warm + ranges.spare
        return come, go, warm


def _over(heat: Floats, capacity: Floats) -> Floats:
    """Range of heat over a positive capacity rate."""
    corners = [heat[:, i] / capacity[:, j] for i in (0, 1) for j in (0, 1)]
    return np.stack([np.minimum.reduce(corners), np.maximum.reduce(corners)], axis=-1)


def _least_from(table: Floats, steps: NDArray[np.intp]) -> Floats:
    """Least value of a table over steps low..high."""
    tail = np.minimum.accumulate(table[::-1])[::-1]
    return np.where(steps[:, 0] == steps[:, 1], table[steps[:, 0]], tail[steps[:, 0]])
