"""The Lagrangian: a lower bound on the noise energy of every setting in a box, for any prices of the balances.

Priced are mass balance and heat balance of every enclosure and the heat balance of every segment of the ring. Each
path has copies of the temperatures it touches; a reference flow and conductance price the copies of enclosure air so
that copying costs only in second order. At a fixed option every term is affine in each of flow, conductance and
temperatures apart, so its least value lies at ends of their ranges. Temperatures are over the room's.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.frame import Frame
from quietcool.decide.bound.propagation import Examined
from quietcool.decide.bound.ranges import radiator_conductance_at
from quietcool.decide.bound.terms import PathArrays, Picked, PricedPath, Terms, block_part, least_point, least_value
from quietcool.physics import air
from quietcool.physics.network import REFERENCE

Floats = NDArray[np.float64]

ROUNDING = 1e-12  # of the priced terms, taken off every bound


class Reference(NamedTuple):
    """Flow and conductance of every path that the copies are priced at, (boxes, paths)."""

    flow: Floats  # [kg/s]
    conductance: Floats  # [W/K]


class Evaluation(NamedTuple):
    """A bound and what made it."""

    bound: Floats  # (boxes,)
    slope: Floats  # by every price, (boxes, prices)
    choice: tuple[NDArray[np.intp], ...]  # cheapest option of every cluster, (boxes,) each
    option_bound: tuple[Floats, ...]  # bound with an option forced, (boxes, options) each
    picked: tuple[Picked, ...]  # by path
    loss: Floats  # what widths may cost: pressures, airs, nodes, pump, blocks of steps, (boxes, coordinates + 1)
    price: Floats  # that it was made at, (boxes, prices)
    reference: Reference

    def take(self, picked: NDArray[np.intp] | NDArray[np.bool_]) -> Evaluation:
        """The picked boxes."""
        return Evaluation(
            self.bound[picked],
            self.slope[picked],
            tuple(choice[picked] for choice in self.choice),
            tuple(value[picked] for value in self.option_bound),
            tuple(Picked(*(field[picked] for field in one)) for one in self.picked),
            self.loss[picked],
            self.price[picked],
            Reference(*(part[picked] for part in self.reference)),
        )


class Relaxation:
    """Boxes with everything that the Lagrangian needs and prices do not change."""

    def __init__(self, frame: Frame, seen: Examined) -> None:
        self.frame, self.seen = frame, seen
        self.count = seen.boxes.count
        self.columns = [np.flatnonzero(np.any(e < np.inf, axis=0)) for e in seen.energy]
        self.energy = [e[:, c] for e, c in zip(seen.energy, self.columns, strict=True)]
        self.room = frame.room_temp
        self.air_over = seen.boxes.air_temp - self.room
        self.coolant_over = seen.boxes.coolant_temp - self.room
        self.middle = self.coolant_over.mean(axis=(1, 2))
        self.path_arrays = [self._path_arrays(i) for i in range(len(frame.paths))]

    def _path_arrays(self, index: int) -> PathArrays:
        """Ranges of a path at the columns of its cluster's options."""
        options, own = self.frame.paths[index], self._own_options(index)
        ranges = self.seen.paths[index]
        return PathArrays(
            flow=ranges.flow[:, own],
            by_pressure=ranges.by_pressure[:, own],
            conductance=ranges.conductance[:, own],
            rise_forward=ranges.rise_forward[:, own],
            rise_reverse=ranges.rise_reverse[:, own],
            power=np.broadcast_to(np.stack([options.power, options.most_power], -1)[own], (self.count, own.size, 2)),
        )

    def _own_options(self, index: int) -> NDArray[np.intp]:
        """Options of a path at the columns of its cluster's options."""
        return self.frame.paths[index].option_of_cluster[self.columns[self.frame.cluster_of[index]]]

    def prices(self, price: Floats) -> tuple[Floats, Floats, Floats]:
        """Prices of mass, of heat in enclosures, and of heat in segments, (boxes, n) each."""
        n = self.frame.enclosures
        return price[:, :n], price[:, n : 2 * n], price[:, 2 * n :]

    def evaluate(self, price: Floats, reference: Reference, *, weigh: bool = False) -> Evaluation:
        """Bound, slopes and minimisers at given prices, (boxes, prices); what widths cost only if asked to weigh it."""
        _, _, ring = self.prices(price)
        copies = self._copy_prices(price, reference)
        fixed, fixed_slope, air_pick, air_loss = self._fixed(price, copies)
        node_value, node_slopes, node_loss = self._free_nodes(ring)
        totals, choices, options = [], [], []
        points: dict[int, Picked] = {}
        rows = np.arange(self.count)
        for number, cluster in enumerate(self.frame.clusters):
            value = self.energy[number]
            for path in cluster.paths:
                value = value + least_value(self._priced(path, price, copies[path]))
            choice = np.argmin(value, axis=1)
            totals.append(value[rows, choice])
            choices.append(choice)
            options.append(value)
            for path in cluster.paths:
                found = least_point(self._priced(path, price, copies[path]).at(choice))
                points[path] = Picked(*(field[:, 0] for field in found))
        picks = [points[path] for path in range(len(self.frame.paths))]
        raw = fixed + node_value + np.sum(totals, axis=0)
        slack = ROUNDING * (np.abs(fixed) + np.abs(node_value) + np.abs(totals).sum(axis=0) + self._size(price))
        bound = raw - slack
        forced = tuple(
            self._whole(number, (bound - total)[:, None] + value)
            for number, (total, value) in enumerate(zip(totals, options, strict=True))
        )
        slope = self._slopes(price, reference, picks, air_pick, fixed_slope, node_slopes)
        loss = np.zeros((self.count, 2 * self.frame.enclosures + len(self.frame.ring.nodes) + 2))
        if weigh:
            self._add_losses(loss, price, picks, choices)
            loss[:, self.frame.enclosures : 2 * self.frame.enclosures] += air_loss
            loss[:, 2 * self.frame.enclosures : -2] += node_loss
        chosen = tuple(self.columns[number][choice] for number, choice in enumerate(choices))
        return Evaluation(bound, slope, chosen, forced, tuple(picks), loss, price, reference)

    def _size(self, price: Floats) -> Floats:
        mass, heat, ring = self.prices(price)
        flow = sum(np.abs(a.flow).max(axis=(1, 2), initial=0.0) for a in self.path_arrays)
        watts = np.abs(self.seen.ring.heat).sum(axis=(0, 2)) + 1e3
        spread = np.abs(self.coolant_over).max(axis=(1, 2)) * np.abs(self.seen.ring.capacity).max(axis=(0, 2))
        by_mass, by_heat = np.abs(mass).sum(axis=1), np.abs(heat).sum(axis=1) + np.abs(ring).sum(axis=1)
        size: Floats = by_mass * flow + by_heat * (watts + spread)
        return size

    def _whole(self, number: int, value: Floats) -> Floats:
        full = np.full((self.count, self.seen.energy[number].shape[1]), np.inf)
        full[:, self.columns[number]] = value
        return full

    def _radiator_price(self, path: int, ring: Floats) -> Floats:
        """Price of heat that a path's radiator takes from the ring, (boxes,)."""
        inside = [i for i, s in enumerate(self.frame.ring.segments) if path in s.radiators]
        price: Floats = ring[:, inside].sum(axis=1)
        return price

    def _at(self, node: int, values: Floats) -> Floats:
        return np.zeros(self.count) if node == REFERENCE else values[:, node]

    def _over_room(self, node: int) -> Floats:
        return np.zeros((self.count, 2)) if node == REFERENCE else self.air_over[:, node]

    def _copy_prices(self, price: Floats, reference: Reference) -> list[tuple[Floats, Floats]]:
        """Prices of each path's copies of its source's and target's temperature: slopes at the reference."""
        _, heat, ring = self.prices(price)
        found = []
        for index, options in enumerate(self.frame.paths):
            at_source, at_target = self._at(options.source, heat), self._at(options.target, heat)
            forward = reference.flow[:, index] >= 0.0
            down = np.where(forward, at_target, at_source)
            size, conductance = np.abs(reference.flow[:, index]) * air.SPECIFIC_HEAT, reference.conductance[:, index]
            spare = np.maximum(self.seen.paths[index].passive - conductance, 0.0)
            taken = self._radiator_price(index, ring)
            up_slope = down * size - (down - taken) * conductance
            down_slope = -down * size
            passive = (at_source - taken) * spare
            source = np.where(forward, up_slope, down_slope) - passive
            target = np.where(forward, down_slope, up_slope)
            found.append(
                (
                    source if options.source != REFERENCE else np.zeros(self.count),
                    target if options.target != REFERENCE else np.zeros(self.count),
                )
            )
        return found

    def _fixed(self, price: Floats, copies: list[tuple[Floats, Floats]]) -> tuple[Floats, Floats, Floats, Floats]:
        """Terms without a path: pump noise, heats put in, the common enclosure temperatures."""
        _, heat, ring = self.prices(price)
        frame, boxes = self.frame, self.seen.boxes
        tail = np.minimum.accumulate(frame.pump_energy[::-1])[::-1]
        single = boxes.pump[:, 0] == boxes.pump[:, 1]
        value = np.where(single, frame.pump_energy[boxes.pump[:, 0]], tail[boxes.pump[:, 0]])
        slope = np.zeros_like(price)
        total_copy = np.zeros((self.count, frame.enclosures))
        for (source, target), options in zip(copies, frame.paths, strict=True):
            if options.source != REFERENCE:
                total_copy[:, options.source] += source
            if options.target != REFERENCE:
                total_copy[:, options.target] += target
        high = total_copy < 0.0
        pick = np.where(high, self.air_over[..., 1], self.air_over[..., 0])
        value = value + (total_copy * pick).sum(axis=1)
        loss = np.abs(total_copy) * (self.air_over[..., 1] - self.air_over[..., 0])
        for node in range(frame.enclosures):
            put_in = np.full((self.count, 2), frame.air_heat[node])
            if frame.build.loop.pump_enclosure == frame.build.enclosures[node]:
                put_in = put_in + frame.tables.pump_rest[boxes.pump]
            chosen = np.where(heat[:, node] >= 0.0, put_in[:, 0], put_in[:, 1])
            value = value + heat[:, node] * chosen
            slope[:, frame.enclosures + node] = chosen
        put_in = self.seen.ring.heat
        chosen = np.where(ring.T >= 0.0, put_in[..., 0], put_in[..., 1])
        value = value + (ring.T * chosen).sum(axis=0)
        slope[:, 2 * frame.enclosures :] = chosen.T
        return value, slope, pick, loss

    def _node_weights(self, node: int, ring: Floats) -> list[tuple[int, Floats]]:
        """Price times sign of a node's temperature in every stream, as (stream, weight (boxes,))."""
        weights: dict[int, Floats] = {}
        for i, segment in enumerate(self.frame.ring.segments):
            if segment.source == segment.target:
                continue
            for place, sign in ((segment.source, 1.0), (segment.target, -1.0)):
                if place == node:
                    weights[segment.stream] = weights.get(segment.stream, 0.0) + sign * ring[:, i]
        return list(weights.items())

    def _node_value(self, node: int, ring: Floats, over: Floats) -> Floats:
        """Least of sum over streams of C (price) (temperature less the middle), at temperatures over the room."""
        away = over - self.middle.reshape(-1, *[1] * (over.ndim - 1))
        total = np.zeros_like(over)
        for stream, weight in self._node_weights(node, ring):
            term = weight.reshape(-1, *[1] * (over.ndim - 1)) * away
            low, high = (self.seen.ring.capacity[stream][:, e].reshape(-1, *[1] * (over.ndim - 1)) for e in (0, 1))
            total += np.where(term >= 0.0, low, high) * term
        return total

    def _free_nodes(self, ring: Floats) -> tuple[Floats, list[tuple[int, Floats]], Floats]:
        """Nodes that are no radiator's inlet stand alone: least value, picks and losses."""
        value = np.zeros(self.count)
        picks: list[tuple[int, Floats]] = []
        loss = np.zeros((self.count, len(self.frame.ring.nodes)))
        taken = set(self.frame.ring.radiator_node.values())
        for node in range(len(self.frame.ring.nodes)):
            if node not in taken:
                ends = self._node_value(node, ring, self.coolant_over[:, node])
                value += ends.min(axis=1)
                low, high = self.coolant_over[:, node].T
                picks.append((node, np.where(ends[:, 0] <= ends[:, 1], low, high)))
                loss[:, node] = np.abs(ends[:, 1] - ends[:, 0])
        return value, picks, loss

    def _priced(self, index: int, price: Floats, copies: tuple[Floats, Floats]) -> PricedPath:
        """One path at given prices."""
        options = self.frame.paths[index]
        mass, heat, ring = self.prices(price)
        terms = Terms(
            mass=(self._at(options.target, mass) - self._at(options.source, mass))[:, None],
            at_source=self._at(options.source, heat)[:, None],
            at_target=self._at(options.target, heat)[:, None],
            taken=self._radiator_price(index, ring)[:, None],
            copy_source=copies[0][:, None],
            copy_target=copies[1][:, None],
            source=self._over_room(options.source)[:, None, :],
            target=self._over_room(options.target)[:, None, :],
        )
        node = self.frame.ring.radiator_node.get(index)
        coolant = np.zeros((self.count, 2)) if node is None else self.coolant_over[:, node]
        ring_part = np.zeros((self.count, 2)) if node is None else self._node_value(node, ring, coolant)
        return PricedPath(
            terms=terms,
            arrays=self.path_arrays[index],
            coolant=coolant[:, None, :],
            ring_part=ring_part[:, None, :],
            passive=self.seen.paths[index].passive,
            has_core=node is not None,
        )

    def _slopes(
        self,
        price: Floats,
        reference: Reference,
        picks: list[Picked],
        air_pick: Floats,
        fixed_slope: Floats,
        node_picks: list[tuple[int, Floats]],
    ) -> Floats:
        """Slope of the bound by every price."""
        frame, n = self.frame, self.frame.enclosures
        _, heat, ring = self.prices(price)
        slope = fixed_slope.copy()
        node_temp = dict(node_picks)
        for index, one in enumerate(picks):
            self._add_path_slopes(slope, index, one, reference, air_pick)
            if index in frame.ring.radiator_node:
                node_temp[frame.ring.radiator_node[index]] = one.coolant_over
        for i, segment in enumerate(frame.ring.segments):
            if segment.source != segment.target:
                for place, sign in ((segment.source, 1.0), (segment.target, -1.0)):
                    away = node_temp[place] - self.middle
                    weight = next(w for s, w in self._node_weights(place, ring) if s == segment.stream)
                    low, high = self.seen.ring.capacity[segment.stream].T
                    slope[:, 2 * n + i] += sign * np.where(weight * away >= 0.0, low, high) * away
        return slope

    def _add_losses(self, loss: Floats, price: Floats, picks: list[Picked], choices: list[NDArray[np.intp]]) -> None:
        """What the pump's range, and the ranges of every path at its chosen option, may cost."""
        loss[:, -2] += 0.5 * np.abs(np.diff(self.frame.pump_energy[self.seen.boxes.pump], axis=1)[:, 0])
        for index, one in enumerate(picks):
            choice = choices[self.frame.cluster_of[index]]
            self._add_path_loss(loss, index, one, self.path_arrays[index].at(choice), price)
            for row in self.frame.paths[index].rows:
                loss[:, -1] += row.spread[self._own_options(index)[choice]]

    def _add_path_slopes(self, slope: Floats, index: int, one: Picked, reference: Reference, air_pick: Floats) -> None:
        options, n = self.frame.paths[index], self.frame.enclosures
        cp = air.SPECIFIC_HEAT
        forward = one.flow >= 0.0
        up, down = (
            np.where(forward, one.source_over, one.target_over),
            np.where(forward, one.target_over, one.source_over),
        )
        forced = one.conductance * (one.coolant_over - up - one.fan_rise)
        spare = one.spare * (one.coolant_over - one.source_over)
        brought = np.abs(one.flow) * cp * (up - down) + one.power + forced
        # The copies' prices move with the prices too: their part is what copies and common temperature differ by.
        gap_source = self._pick_at(options.source, air_pick) - one.source_over
        gap_target = self._pick_at(options.target, air_pick) - one.target_over
        gap_source = gap_source if options.source != REFERENCE else 0.0 * gap_source
        gap_target = gap_target if options.target != REFERENCE else 0.0 * gap_target
        ref_forward = reference.flow[:, index] >= 0.0
        size, conductance = np.abs(reference.flow[:, index]) * cp, reference.conductance[:, index]
        ref_spare = np.maximum(self.seen.paths[index].passive - conductance, 0.0)
        gap_up = np.where(ref_forward, gap_source, gap_target)
        gap_down = np.where(ref_forward, gap_target, gap_source)
        ref_brought = size * (gap_up - gap_down) - conductance * gap_up
        ref_taken = -conductance * gap_up - ref_spare * gap_source
        for node, sign, gets, ref_gets in (
            (options.target, 1.0, forward, ref_forward),
            (options.source, -1.0, ~forward, ~ref_forward),
        ):
            if node != REFERENCE:
                slope[:, node] += sign * one.flow
                slope[:, n + node] += np.where(gets, brought, 0.0) + np.where(ref_gets, ref_brought, 0.0)
        if options.source != REFERENCE:
            slope[:, n + options.source] += spare - ref_spare * gap_source
        for i, segment in enumerate(self.frame.ring.segments):
            if index in segment.radiators:
                slope[:, 2 * n + i] -= forced + spare + ref_taken

    def _pick_at(self, node: int, air_pick: Floats) -> Floats:
        return np.zeros(self.count) if node == REFERENCE else air_pick[:, node]

    def _add_path_loss(self, loss: Floats, index: int, one: Picked, chosen: PathArrays, price: Floats) -> None:
        """What the ranges of flow and conductance at the chosen option cost, put down to what makes them wide."""
        options, n = self.frame.paths[index], self.frame.enclosures
        mass, heat, ring = self.prices(price)
        forward = one.flow >= 0.0
        down = np.where(forward, self._at(options.target, heat), self._at(options.source, heat))
        taken = self._radiator_price(index, ring)
        up_over = np.where(forward, one.source_over, one.target_over)
        down_over = np.where(forward, one.target_over, one.source_over)
        by_flow = self._at(options.target, mass) - self._at(options.source, mass)
        by_flow = np.where(forward, by_flow, -by_flow) + down * air.SPECIFIC_HEAT * (up_over - down_over)
        flow_width, conductance_width = (np.diff(a[:, 0], axis=1)[:, 0] for a in (chosen.flow, chosen.conductance))
        by_conductance = np.abs((down - taken) * (one.coolant_over - up_over))
        cost = np.abs(by_flow) * flow_width + by_conductance * conductance_width
        blocks = block_part(chosen, one.flow, flow_width) * cost
        loss[:, -1] += blocks
        by_pressure = (cost - blocks) * chosen.by_pressure[:, 0]
        by_density = cost - blocks - by_pressure
        nodes = {options.source, options.target} - {REFERENCE}
        coolant_node = self.frame.ring.radiator_node.get(index)
        spans = np.sum([np.ptp(self.air_over[:, node], axis=1) for node in nodes], axis=0) + np.zeros(self.count)
        if coolant_node is not None:
            spans = spans + 0.5 * np.ptp(self.coolant_over[:, coolant_node], axis=1)
        by_kelvin = by_density / np.where(spans > 0.0, spans, 1.0)
        for node in nodes:
            loss[:, node] += by_pressure
            by_air = np.abs(down) * np.abs(one.flow) * air.SPECIFIC_HEAT + np.abs(down - taken) * one.conductance
            loss[:, n + node] += (0.25 * by_air + by_kelvin) * np.ptp(self.air_over[:, node], axis=1)
        if coolant_node is not None:
            span = np.ptp(self.coolant_over[:, coolant_node], axis=1)
            loss[:, 2 * n + coolant_node] += (np.abs((down - taken) * one.conductance) + 0.5 * by_kelvin) * span
            loss[:, -2] += by_conductance * self._pump_part(index, one.flow)

    def _pump_part(self, index: int, flow: Floats) -> Floats:
        """Range of a radiator's conductance that the pump range alone causes, at one flow [W/K]."""
        low, high = (
            radiator_conductance_at(self.frame, index, flow, self.seen.ring, slice(None), end) for end in (0, 1)
        )
        return high - low


def price_count(frame: Frame) -> int:
    """Number of prices: two for every enclosure, one for every segment of the ring."""
    return 2 * frame.enclosures + len(frame.ring.segments)
