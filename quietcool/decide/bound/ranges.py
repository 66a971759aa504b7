"""Ranges of everything a box leaves open: capacity rates, flows, conductances, heats and noise of every option."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.boxes import Boxes, Flags
from quietcool.decide.bound.energies import load_factor
from quietcool.decide.bound.flows import Pairs, StackRange, flow_range
from quietcool.decide.bound.frame import Frame, PathOptions
from quietcool.decide.bound.ring import Reach, heat_of, table_range
from quietcool.entry.build import Source
from quietcool.physics.network import REFERENCE
from quietcool.solve.airflow import machine_curve
from quietcool.solve.heat import forced_conductance

Floats = NDArray[np.float64]


class RingRanges(NamedTuple):
    """Coolant side of every box."""

    flow: Floats  # of every branch, (branches, boxes, 2) [m3/s]
    branch_capacity: Floats  # (branches, boxes, 2) [W/K]
    capacity: Floats  # of every stream, (streams, boxes, 2) [W/K]
    heat: Floats  # put in along every segment, (segments, boxes, 2) [W]
    ceiling: Floats  # upper end of every node from the limits, (nodes, boxes) [K]

    def take(self, picked: NDArray[np.intp]) -> RingRanges:
        """The picked boxes."""
        return RingRanges(*(field[:, picked] for field in self))


def ring_ranges(frame: Frame, boxes: Boxes) -> RingRanges:
    """Flows and capacity rates at the mean coolant temperatures that the box allows, and what the limits leave."""
    tables, ring = frame.tables, frame.ring
    coolant = boxes.coolant_temp
    temp = np.stack([coolant[..., 0].min(axis=1) - 50.0, coolant[..., 1].max(axis=1)], axis=-1)
    for _ in range(2):
        capacity = table_range(tables.capacity, tables.temps, boxes.pump, temp)
        branch = table_range(tables.branch_capacity, tables.temps, boxes.pump, temp)
        temp = _mean_temp(frame, boxes, capacity, branch)
    flow = table_range(tables.flow, tables.temps, boxes.pump, temp)
    heat = np.array([heat_of(frame.state, tables, segment.stations, boxes.pump) for segment in ring.segments])
    ceiling = _ceilings(frame, boxes, capacity, flow, branch)
    return RingRanges(flow, branch, capacity, heat, ceiling)


def _mean_temp(frame: Frame, boxes: Boxes, capacity: Floats, branch: Floats) -> Floats:
    """Range of the plain mean of (in + out)/2 over all stations, by the nodes next to them, (boxes, 2) [K]."""
    ring, coolant = frame.ring, boxes.coolant_temp
    # Coolant leaves a radiator between its inlet and the air it met; sources heat it, but no setting beyond the limit.
    known = np.concatenate([coolant, boxes.air_temp, np.full((boxes.count, 1, 2), frame.room_temp)], axis=1)
    everywhere = np.stack([known[..., 0].min(axis=1), np.full(boxes.count, frame.coolant_limit)], axis=-1)
    ends = []
    for reach in ring.reaches:
        inlet = reach_range(frame, boxes, reach, capacity)
        own = heat_of(frame.state, frame.tables, (reach.station,), boxes.pump)
        rise = own / branch[ring.branches.branch_of(reach.station)][:, ::-1]
        ends += [inlet, inlet + np.maximum(rise, 0.0)]
    for segment in ring.segments:
        for path in segment.radiators:
            inlet = coolant[:, ring.radiator_node[path]]
            alone = segment.whole and segment.source == ring.radiator_node[path]
            heat = heat_of(frame.state, frame.tables, segment.stations, boxes.pump)
            drop = (heat / capacity[segment.stream][:, ::-1])[:, ::-1]
            ends += [inlet, coolant[:, segment.target] - drop if alone else everywhere]
    count = 2 * sum(len(names) for names in ring.branches.elements)
    ends += [everywhere] * (count - len(ends))
    mean: Floats = np.mean(ends, axis=0)
    return mean


def reach_range(frame: Frame, boxes: Boxes, reach: Reach, capacity: Floats) -> Floats:
    """Range of a station's inlet temperature, (boxes, 2) [K]."""
    return boxes.coolant_temp[:, reach.node] + _offset(frame, boxes, reach, capacity)


def _offset(frame: Frame, boxes: Boxes, reach: Reach, capacity: Floats) -> Floats:
    """Range of a station's inlet over its node, (boxes, 2) [K]."""
    total = np.zeros((boxes.count, 2))
    for stream, stations in reach.added:
        total = total + heat_of(frame.state, frame.tables, stations, boxes.pump) / capacity[stream][:, ::-1]
    for stream, stations in reach.taken:
        total = total - (heat_of(frame.state, frame.tables, stations, boxes.pump) / capacity[stream][:, ::-1])[:, ::-1]
    return total


def _ceilings(frame: Frame, boxes: Boxes, capacity: Floats, flow: Floats, branch: Floats) -> Floats:
    """Upper end of every node from the coolant limit and from the limits of the sensing points, (nodes, boxes) [K]."""
    ring = frame.ring
    ceiling = np.full((len(ring.nodes), boxes.count), frame.coolant_limit)
    sources = {source.name: source for source in frame.build.sources}
    for reach in ring.reaches:
        offset = _offset(frame, boxes, reach, capacity)[:, 0]
        index = ring.branches.branch_of(reach.station)
        own = heat_of(frame.state, frame.tables, (reach.station,), boxes.pump)[:, 0]
        least_rise = np.maximum(own, 0.0) / branch[index][:, 1]
        allowed = frame.coolant_limit - least_rise
        if reach.station in sources:
            allowed = np.minimum(allowed, _warmest_inlet(frame, sources[reach.station], flow[index][:, 1]))
        ceiling[reach.node] = np.minimum(ceiling[reach.node], allowed - offset)
    return ceiling + 1e-9


def _warmest_inlet(frame: Frame, source: Source, most_flow: Floats) -> Floats:
    """Warmest inlet with which the limits of a source's sensing points can be kept, (boxes,) [K]."""
    warmest = np.full(most_flow.shape, np.inf)
    for point in source.points:
        if point.limit is not None:
            plate, watts = source.plate, float(frame.state.heat.get(source.name, 0.0))
            plate_resistance = plate.r0 + plate.c * (most_flow / plate.reference_flow) ** -plate.n
            warmest = np.minimum(warmest, point.limit - watts * (point.share * point.resistance + plate_resistance))
    return warmest


class PathRanges(NamedTuple):
    """One path at every option; (boxes, options) or with a last axis of 2."""

    possible: Flags
    flow: Floats  # [kg/s]
    by_pressure: Floats  # about the share of the flow's range that the pressures' ranges make, (boxes, options) [-]
    conductance: Floats  # forced [W/K]
    passive: float  # least conductance of the radiator, 0 without one [W/K]
    rise_forward: Floats  # by fans before the core, forward [K]
    rise_reverse: Floats  # [K]
    energy: Floats  # least noise energy, (boxes, options) [-]
    elsewhere: Floats  # likewise at limited positions, (limits, boxes, options) [-]
    forced: Floats  # heat given to the air stream by the radiator [W]
    spare: Floats  # heat given to the source node besides [W]

    def take(self, picked: NDArray[np.intp]) -> PathRanges:
        """The picked boxes."""
        return PathRanges(
            possible=self.possible[picked],
            flow=self.flow[picked],
            by_pressure=self.by_pressure[picked],
            conductance=self.conductance[picked],
            passive=self.passive,
            rise_forward=self.rise_forward[picked],
            rise_reverse=self.rise_reverse[picked],
            energy=self.energy[picked],
            elsewhere=self.elsewhere[:, picked],
            forced=self.forced[picked],
            spare=self.spare[picked],
        )


def path_ranges(
    frame: Frame, boxes: Boxes, index: int, possible: Flags, ring: RingRanges, *, from_afar: bool
) -> PathRanges:
    """Ranges of one path; impossible options keep what was known."""
    options = frame.paths[index]
    box, option = np.nonzero(possible)
    pairs = _pairs(frame, boxes, index, box, option)
    found, by_pressure, forward, reverse = flow_range(
        frame.build, options, pairs, frame.ambient_pressure, from_afar=from_afar
    )
    real = found[:, 0] <= found[:, 1]
    found = np.where(real[:, None], found, pairs.flow)
    size = np.stack(
        [np.maximum(np.maximum(found[:, 0], -found[:, 1]), 0.0), np.maximum(found[:, 1], -found[:, 0])], axis=-1
    )
    conductance = _conductances(frame, index, size, ring, box, pairs.conductance)
    energy, elsewhere = _energies(frame, options, option, found, forward)
    passive = 0.0
    if options.path.core is not None:
        radiator = options.path.core.radiator
        passive = float(radiator.passive_conductance) * radiator.fan_sections
    forced, spare = _heats(options, pairs, found, conductance, passive, (forward, reverse))
    shape = possible.shape
    whole = PathRanges(
        possible=possible.copy(),
        flow=boxes.flow[index].copy(),
        by_pressure=np.zeros(shape),
        conductance=boxes.conductance[index].copy(),
        passive=passive,
        rise_forward=_scatter(shape, box, option, forward.core_fan_rise),
        rise_reverse=_scatter(shape, box, option, reverse.core_fan_rise),
        energy=np.full(shape, np.inf),
        elsewhere=np.full((len(elsewhere), *shape), np.inf),
        forced=_scatter(shape, box, option, forced),
        spare=_scatter(shape, box, option, spare),
    )
    whole.possible[box, option], whole.by_pressure[box, option] = real, by_pressure
    whole.flow[box, option], whole.conductance[box, option] = found, conductance
    whole.energy[box, option], whole.elsewhere[:, box, option] = energy, elsewhere
    return whole


def _pairs(frame: Frame, boxes: Boxes, index: int, box: NDArray[np.intp], option: NDArray[np.intp]) -> Pairs:
    """What the flows of one path depend on, of pairs of a box and an option."""
    options = frame.paths[index]
    source, target = options.source, options.target
    source_temp, target_temp = (_node_temp(frame, boxes, node)[box] for node in (source, target))
    up, down = (_node_pressure(boxes, node)[box] for node in (source, target))
    drive = np.stack([up[:, 0] - down[:, 1], up[:, 1] - down[:, 0]], axis=-1)
    return Pairs(
        option=option,
        drive=np.zeros_like(drive) if source == target else drive,
        source_temp=source_temp,
        target_temp=target_temp,
        coolant_temp=boxes.coolant_temp[:, frame.ring.radiator_node[index]][box] if options.path.core else source_temp,
        flow=boxes.flow[index][box, option],
        conductance=boxes.conductance[index][box, option],
    )


def _scatter(shape: tuple[int, ...], box: NDArray[np.intp], option: NDArray[np.intp], values: Floats) -> Floats:
    full = np.zeros((*shape, 2))
    full[box, option] = values
    return full


def _node_temp(frame: Frame, boxes: Boxes, node: int) -> Floats:
    if node == REFERENCE:
        return np.full((boxes.count, 2), frame.room_temp)
    return boxes.air_temp[:, node]


def _node_pressure(boxes: Boxes, node: int) -> Floats:
    return np.zeros((boxes.count, 2)) if node == REFERENCE else boxes.pressure[:, node]


def _conductances(
    frame: Frame, index: int, size: Floats, ring: RingRanges, box: NDArray[np.intp], known: Floats
) -> Floats:
    """Forced conductance rises with both flows: its ends are at theirs."""
    if frame.paths[index].path.core is None:
        return np.zeros_like(size)
    low, high = (radiator_conductance_at(frame, index, size[:, end], ring, box, end) for end in (0, 1))
    left = 1.0 - 1e-9 - frame.conductance_slack[index]
    return np.stack([np.maximum(low * left, known[:, 0]), np.minimum(high / left, known[:, 1])], axis=-1)


def radiator_conductance_at(
    frame: Frame, index: int, flow: Floats, ring: RingRanges, box: NDArray[np.intp] | slice, end: int
) -> Floats:
    """Forced conductance of a path's radiator at an air flow and one end of the coolant's flow [W/K]."""
    core, branch = frame.paths[index].path.core, frame.ring.branches.branch_of(frame.paths[index].path.name)
    if core is None:
        return np.zeros_like(flow)
    return forced_conductance(core.radiator, flow, ring.flow[branch][box, end], ring.branch_capacity[branch][box, end])


def _energies(
    frame: Frame, options: PathOptions, option: NDArray[np.intp], flow: Floats, forward: StackRange
) -> tuple[Floats, Floats]:
    """Least noise energy of the path's rows: the load adder at the greatest share that the flow allows."""
    energy = np.zeros(option.size)
    limits = frame.pump_elsewhere.shape[0]
    elsewhere = np.zeros((limits, option.size))
    for i, row in enumerate(options.rows):
        sheet = frame.build.fan_groups[row.fan_group].fan.curve
        curve = machine_curve(sheet)
        free = curve.free_flow * row.speed[option] / curve.speed * sheet.flow_scale
        most = np.maximum(flow[:, 1], 0.0) / (forward.hot.density[i] * row.count)
        share = most / np.where(free > 0.0, free, 1.0)
        factor = load_factor(row.load_adder, share if row.load_adder >= 0.0 else 0.0 * share)
        energy += row.energy[option] * factor
        elsewhere += row.elsewhere[:, option] * factor
    return energy, elsewhere


def _product(a: Floats, b: Floats) -> Floats:
    """Range of a product of two ranges."""
    corners = [a[..., i] * b[..., j] for i in (0, 1) for j in (0, 1)]
    return np.stack([np.minimum.reduce(corners), np.maximum.reduce(corners)], axis=-1)


def _heats(
    options: PathOptions,
    pairs: Pairs,
    flow: Floats,
    conductance: Floats,
    passive: float,
    stacks: tuple[StackRange, StackRange],
) -> tuple[Floats, Floats]:
    """Ranges of the forced and the passive heat of a path's radiator, over the directions its air may take."""
    if options.path.core is None:
        return np.zeros_like(flow), np.zeros_like(flow)
    spare = np.maximum(passive - conductance[:, ::-1], 0.0)
    least, most = np.full(len(flow), np.inf), np.full(len(flow), -np.inf)
    upstream = (pairs.source_temp, pairs.target_temp)
    for temp, stack, taken in zip(upstream, stacks, (flow[:, 1] >= 0.0, flow[:, 0] < 0.0), strict=True):
        inlet = temp + stack.core_fan_rise
        heat = _product(conductance, pairs.coolant_temp - inlet[:, ::-1])
        least = np.where(taken, np.minimum(least, heat[:, 0]), least)
        most = np.where(taken, np.maximum(most, heat[:, 1]), most)
    return np.stack([least, most], axis=-1), _product(spare, pairs.coolant_temp - pairs.source_temp[:, ::-1])
