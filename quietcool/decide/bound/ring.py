"""The coolant ring as the bound sees it: temperatures at a few nodes, segments between them, upper ends from limits.

A node is the inlet of a radiator, or the inlet of a parallel section that holds radiators. A segment runs from one
node to the next: C (x_from - x_to) + D - (heat given off in it) = 0. All radiators, sources and the pump are in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.build import PUMP, Build, LoopElement, Parallel, State
from quietcool.physics import coolant
from quietcool.physics.pumps import electrical_power
from quietcool.solve.loop import MAIN, Branches, coolant_law, ring_branches, solve_ring, station_names

Floats = NDArray[np.float64]

TEMP_SPACING = 1.0  # of the table of flows over coolant temperature [K]
WIDEN = 0.02  # of the difference between neighbours of that table, outward: flows are smooth in temperature


@dataclass(frozen=True)
class Segment:
    """Heat balance of the coolant between two nodes."""

    source: int  # node
    target: int  # node
    stream: int  # stream whose capacity rate it has
    radiators: tuple[int, ...]  # paths whose radiators give off heat in it
    stations: tuple[str, ...]  # sources and pump that put heat in
    whole: bool  # on the main line: these segments make up the ring; the others run inside a section


@dataclass(frozen=True)
class Reach:
    """A station's inlet as a node's temperature plus heats over capacity rates."""

    station: str
    node: int
    added: tuple[tuple[int, tuple[str, ...]], ...]  # + heat of the stations over a stream's capacity rate
    taken: tuple[tuple[int, tuple[str, ...]], ...]  # - likewise


@dataclass(frozen=True)
class Ring:
    """Topology of the ring for the bound."""

    nodes: tuple[str, ...]
    segments: tuple[Segment, ...]
    reaches: tuple[Reach, ...]
    radiator_node: dict[int, int]  # path -> node at its coolant inlet
    streams: tuple[tuple[int, ...], ...]  # branches of the network that make up each stream; the first is the main line
    branches: Branches


def describe_ring(build: Build) -> Ring:
    """Cut the ring at its radiators."""
    branches = ring_branches(build.loop.order)
    paths = {path.name: i for i, path in enumerate(build.air_paths)}
    order = build.loop.order
    first = next(i for i, element in enumerate(order) if _cools(element, paths))
    order = order[first:] + order[:first]
    draft = _Draft(paths, branches, [], [], [], {}, [(MAIN,)])
    cooling = [i for i, element in enumerate(order) if _cools(element, paths)]
    nodes = [draft.new_node(str(i)) for i in range(len(cooling))]
    for rank, start in enumerate(cooling):
        end = cooling[rank + 1] if rank + 1 < len(cooling) else len(order)
        target = nodes[(rank + 1) % len(nodes)]
        element, after = order[start], order[start + 1 : end]
        inside = draft.enter(element, nodes[rank])
        heating = tuple(name for name in station_names((element, *after)) if name not in paths)
        draft.segments.append(Segment(nodes[rank], target, 0, inside, heating, True))
        draft.look_back(after, target)
    return Ring(
        tuple(draft.nodes),
        tuple(draft.segments),
        tuple(draft.reaches),
        draft.radiator_node,
        tuple(draft.streams),
        branches,
    )


def _cools(element: LoopElement, paths: dict[str, int]) -> bool:
    return any(name in paths for name in station_names((element,)))


@dataclass
class _Draft:
    paths: dict[str, int]
    branches: Branches
    nodes: list[str]
    segments: list[Segment]
    reaches: list[Reach]
    radiator_node: dict[int, int]
    streams: list[tuple[int, ...]]

    def new_node(self, name: str) -> int:
        self.nodes.append(name)
        return len(self.nodes) - 1

    def enter(self, element: LoopElement, node: int) -> tuple[int, ...]:
        """Note a cooling element whose inlet is `node`; return the radiators in it."""
        if isinstance(element, str):
            self.radiator_node[self.paths[element]] = node
            return (self.paths[element],)
        inside: list[int] = []
        for branch in element.branches:
            inside += self.follow(branch, node)
        return tuple(inside)

    def follow(self, chain: tuple[LoopElement, ...], node: int) -> list[int]:
        """Walk a branch of a section that holds radiators, giving every cooling element in it a node."""
        inside: list[int] = []
        at = node
        since: list[str] = []
        given: tuple[int, ...] = ()
        index = self._stream(chain)
        for element in chain:
            if _cools(element, self.paths):
                inlet = self.new_node(f"{len(self.nodes)}")
                self.segments.append(Segment(at, inlet, index, given, tuple(since), False))
                given = self.enter(element, inlet)
                inside += given
                at = inlet
                since = [s for s in station_names((element,)) if s not in self.paths]
                continue
            if not given:  # nothing has cooled since the node: stations here are reached forward
                self._reach(element, at, index, tuple(since), forward=True)
            since += station_names((element,))
        return inside

    def look_back(self, chain: tuple[LoopElement, ...], node: int) -> None:
        """Express the stations between a cooling element and the next node by that node."""
        for place, element in enumerate(chain):
            rest = station_names(chain[place:])
            self._reach(element, node, 0, rest, forward=False)

    def _reach(self, element: LoopElement, node: int, branch: int, heats: tuple[str, ...], *, forward: bool) -> None:
        """Stations of an element whose inlet is the node's temperature plus (or less) some heats."""
        base = ((branch, heats),) if heats else ()
        added, taken = (base, ()) if forward else ((), base)
        self._reach_inside((element,), node, added, taken)

    def _reach_inside(
        self,
        chain: tuple[LoopElement, ...],
        node: int,
        added: tuple[tuple[int, tuple[str, ...]], ...],
        taken: tuple[tuple[int, tuple[str, ...]], ...],
    ) -> None:
        before: tuple[str, ...] = ()
        for element in chain:
            here = (*added, (self._stream(chain), before)) if before else added
            if isinstance(element, Parallel):
                for branch in element.branches:
                    self._reach_inside(branch, node, here, taken)
            else:
                self.reaches.append(Reach(element, node, here, taken))
            before = (*before, *station_names((element,)))

    def _stream(self, chain: tuple[LoopElement, ...]) -> int:
        """Index of the stream that runs through a chain."""
        stream = self._members(chain)
        if stream not in self.streams:
            self.streams.append(stream)
        return self.streams.index(stream)

    def _members(self, chain: tuple[LoopElement, ...]) -> tuple[int, ...]:
        first = next((e for e in chain if isinstance(e, str)), None)
        if first is not None:
            return (self.branches.branch_of(first),)
        section = next(e for e in chain if isinstance(e, Parallel))
        return tuple(i for branch in section.branches for i in self._members(branch))


class RingTables(NamedTuple):
    """Flows of the ring over pump step and mean coolant temperature, and the heats that go with the step."""

    temps: Floats  # (temperatures,) [K]
    flow: Floats  # (branches, steps, temperatures) [m3/s]
    capacity: Floats  # capacity rate of every stream, (streams, steps, temperatures) [W/K]
    branch_capacity: Floats  # of every branch, likewise [W/K]
    pump_heat: Floats  # into the coolant, (steps,) [W]
    pump_rest: Floats  # into the pump's enclosure, (steps,) [W]


def ring_tables(build: Build, ring: Ring, pump_speeds: Floats, lowest: float, highest: float) -> RingTables:
    """Solve the ring at every pump step and a ladder of coolant temperatures.

    Parameters
    ----------
    build : Build
        The rig.
    ring : Ring
        Its ring.
    pump_speeds : ndarray, (steps,)
        [rev/s]
    lowest, highest : float
        Range of the coolant's mean temperature. [K]

    Returns
    -------
    RingTables
    """
    highest = max(lowest, highest)  # the room may be hotter than the coolant is allowed to be
    temps = np.arange(lowest - TEMP_SPACING, highest + 2.0 * TEMP_SPACING, TEMP_SPACING)
    speed, temp = (axis.ravel() for axis in np.meshgrid(pump_speeds, temps, indexing="ij"))
    liquid = coolant.coolant_properties(temp, build.loop.coolant.kind, build.loop.coolant.mass_fraction)
    solved = solve_ring(ring.branches, coolant_law(build, ring.branches, speed, liquid))
    flow = solved.flow.reshape(-1, pump_speeds.size, temps.size)
    heat = (liquid.density * liquid.specific_heat).reshape(pump_speeds.size, temps.size)
    electric, share = build.loop.pump.electric, build.loop.pump.coolant_share
    power = electrical_power(electric.power, pump_speeds, electric.speed)
    flow = np.maximum(flow, 0.0)
    capacity = np.array([flow[list(members)].sum(axis=0) * heat for members in ring.streams])
    return RingTables(temps, flow, capacity, flow * heat, share * power, (1.0 - share) * power)


def table_range(table: Floats, temps: Floats, steps: NDArray[np.intp], temp_range: Floats) -> Floats:
    """Least and greatest value of a table over steps low..high and a range of temperatures, a little outward.

    Parameters
    ----------
    table : ndarray, (branches, steps, temperatures)
        [any]
    temps : ndarray, (temperatures,)
        [K]
    steps : ndarray, (boxes, 2)
        First and last pump step of every box.
    temp_range : ndarray, (boxes, 2)
        [K]

    Returns
    -------
    ndarray, (branches, boxes, 2)
        [any]
    """
    spacing = temps[1] - temps[0]
    low = np.clip(((temp_range[:, 0] - temps[0]) / spacing).astype(np.intp), 0, temps.size - 1)
    high = np.clip(np.ceil((temp_range[:, 1] - temps[0]) / spacing).astype(np.intp), 0, temps.size - 1)
    rises = np.maximum.accumulate(table, axis=1), np.minimum.accumulate(table[:, ::-1], axis=1)[:, ::-1]
    most = np.maximum(*(_between(rises[0], steps[:, 1], temps, t) for t in temp_range.T))
    least = np.minimum(*(_between(rises[1], steps[:, 0], temps, t) for t in temp_range.T))
    for inside in range(low.min() + 1, high.max()):  # a capacity rate may peak between the ends
        there = (low < inside) & (inside < high)
        most = np.where(there, np.maximum(most, rises[0][:, steps[:, 1], inside]), most)
        least = np.where(there, np.minimum(least, rises[1][:, steps[:, 0], inside]), least)
    # Between its ends a table leaves its chord by an eighth of the second difference where it is smooth, and where it
    # has a kink by no more than half of the larger one beside it: those of the build at hand are taken, or a part of
    # the first difference.
    bend = WIDEN * np.max(np.abs(np.diff(table, axis=2)), axis=2)
    if table.shape[2] > 2:
        bend = np.maximum(bend, 0.5 * np.max(np.abs(np.diff(table, n=2, axis=2)), axis=2))
    width = np.maximum(bend[:, steps[:, 0]], bend[:, steps[:, 1]])
    tiny = 1e-9 * np.abs(most)
    return np.stack([least - width - tiny, most + width + tiny], axis=-1)


def _between(table: Floats, steps: NDArray[np.intp], temps: Floats, at: Floats) -> Floats:
    place = np.clip((at - temps[0]) / (temps[1] - temps[0]), 0.0, temps.size - 1.0)
    left = np.minimum(place.astype(np.intp), temps.size - 2)
    part = place - left
    between: Floats = table[:, steps, left] * (1.0 - part) + table[:, steps, left + 1] * part
    return between


def heat_of(state: State, tables: RingTables, stations: tuple[str, ...], steps: NDArray[np.intp]) -> Floats:
    """Least and greatest heat that stations put into the coolant over pump steps low..high, (boxes, 2) [W]."""
    fixed = float(sum(np.asarray(state.heat.get(name, 0.0)) for name in stations if name != PUMP))
    heat = np.full(steps.shape, fixed)
    if PUMP in stations:
        heat += tables.pump_heat[steps]  # it rises with speed
    return heat
