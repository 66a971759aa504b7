"""One state as the certificate's checker sees it: every choice of speeds with its noise, and the tables of a box.

Independent of the search. What a level is comes from `solve.noise`, as for everybody; the rest is worked out here and
in `tables.py` and `ring.py` by scalar solvers.
"""

from __future__ import annotations

import itertools
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.checker.ring import Names, Ring
from quietcool.decide.checker.tables import Coolant, Span, Stack, conductance, sheet_curve
from quietcool.entry.build import PUMP, ROOM, AirPath, Build, State
from quietcool.physics.air import isa_pressure
from quietcool.physics.coolant import TEMP_RANGE
from quietcool.solve.noise import fixed_heard_levels, position_limits, pump_heard_levels, row_heard_levels

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

BEYOND = 2000.0  # no setting with anything hotter is considered [K]
MOST_FLOW = 20.0  # of a path, in free deliveries of the strongest row [-]
WIDTH = 2e-6  # by what flows are widened, in the same parts: the solver's laws are linear below 1e-6 of it


class Box(NamedTuple):
    """Ranges of what couples the groups, and what is left of the choices."""

    pressure: Floats  # (enclosures, 2) [Pa]
    air: Floats  # (enclosures, 2) [K]
    coolant: Floats  # (nodes, 2) [K]
    pump: tuple[int, int]  # first and last step
    allowed: tuple[Flags, ...]  # options of every cluster
    flow: tuple[Floats, ...]  # of every path at its options, (options, 2) [kg/s]
    conductance: tuple[Floats, ...]  # [W/K]


class Table(NamedTuple):
    """One path in a box at every option; what is impossible is NaN."""

    possible: Flags
    flow: Floats  # (options, 2) [kg/s]
    conductance: Floats  # [W/K]
    forth_rise: Floats  # by fans before the core, with the stack [K]
    back_rise: Floats  # against it [K]
    forced: Floats  # heat that the radiator gives to the stream [W]
    spare: Floats  # and to the source node besides [W]
    energy: Floats  # least noise energy, (options,) [-]
    elsewhere: Floats  # over the limits of other positions, (limits, options) [-]


class Water(NamedTuple):
    """The coolant in a box."""

    flow: dict[str, Span]  # by station [m3/s]
    rate: dict[str, Span]  # capacity rate [W/K]
    streams: dict[Names, Span]  # capacity rates of stations together [W/K]
    ceiling: Floats  # upper end of every node by the limits [K]


class Case:
    """One state, its clusters of groups and their options."""

    def __init__(self, build: Build, state: State, position: int, unit: float) -> None:
        self.build, self.state, self.unit = build, state, unit
        self.room, self.ambient = float(state.room_temp), float(isa_pressure(build.room.altitude))
        self.ring = Ring(build)
        self.grids = [list(speeds.admissible()) for speeds in build.speed_ranges]
        self.coolant = Coolant(build, self.grids[-1])
        self.enclosures = list(build.enclosures)
        self.limit = BEYOND if state.limits.coolant is None else float(state.limits.coolant)
        self.paths = build.air_paths
        self.ends = [(self._node(path.source), self._node(path.target)) for path in self.paths]
        self.passive = [
            0.0 if p.core is None else float(p.core.radiator.passive_conductance) * p.core.radiator.fan_sections
            for p in self.paths
        ]
        self.groups = [sorted({build.group_names.index(row.group) for row in path.fan_rows}) for path in self.paths]
        self.clusters = self._clusters()
        self.options = [list(itertools.product(*(range(len(self.grids[g])) for g in own))) for own in self.groups]
        self.of_cluster = [self._of_cluster(path) for path in range(len(self.paths))]
        self.scale = max([1e-6, *(self._free(path) for path in self.paths)])
        self.stacks = [[self._stack(path, option) for option in self.options[i]] for i, path in enumerate(self.paths)]
        self._sound(position)

    def _node(self, name: str) -> int | None:
        return None if name == ROOM else self.enclosures.index(name)

    def _clusters(self) -> list[tuple[tuple[int, ...], tuple[int, ...]]]:
        """Groups and paths that hang together, as (groups, paths); a path without fans is one of its own."""
        found: list[tuple[set[int], list[int]]] = []
        for path, own in enumerate(self.groups):
            joined = [pair for pair in found if pair[0] & set(own)]
            found = [pair for pair in found if pair not in joined]
            found.append((set(own).union(*(pair[0] for pair in joined)), sorted(sum((p[1] for p in joined), [path]))))
        return [(tuple(sorted(groups)), tuple(paths)) for groups, paths in found]

    def cluster_options(self, cluster: int) -> list[tuple[int, ...]]:
        """Every combination of the steps of a cluster's groups."""
        return list(itertools.product(*(range(len(self.grids[g])) for g in self.clusters[cluster][0])))

    def cluster_of(self, path: int) -> int:
        """The cluster a path belongs to."""
        return next(c for c, (_, paths) in enumerate(self.clusters) if path in paths)

    def _of_cluster(self, path: int) -> NDArray[np.intp]:
        """Option of a path at every option of its cluster."""
        cluster, own = self.cluster_of(path), self.groups[path]
        place = {option: i for i, option in enumerate(self.options[path])}
        columns = [self.clusters[cluster][0].index(g) for g in own]
        return np.array([place[tuple(o[c] for c in columns)] for o in self.cluster_options(cluster)], dtype=np.intp)

    def _fan(self, group: str) -> tuple[int, int]:
        names = self.build.group_names
        return names.index(group), [g.name for g in self.build.fan_groups].index(group)

    def _free(self, path: AirPath) -> float:
        """Greatest free delivery of a row of a path [kg/s]."""
        most = [0.0]
        for row in path.fan_rows:
            group, fan = self._fan(row.group)
            curve = sheet_curve(self.build.fan_groups[fan].fan.curve)
            density = self.ambient / (287.0 * self.room)
            most.append(curve.free_flow * max(self.grids[group]) / curve.speed * row.count * density)
        return max(most)

    def _stack(self, path: AirPath, option: tuple[int, ...]) -> Stack:
        step = dict(zip(self.groups[self.paths.index(path)], option, strict=True))
        rows = []
        for row in path.fan_rows:
            group, number = self._fan(row.group)
            fan, speed = self.build.fan_groups[number].fan, self.grids[group][step[group]]
            power = row.count * float(fan.electric.power) * (speed / fan.electric.speed) ** 3
            curve = sheet_curve(fan.curve)
            rows.append((curve, speed / curve.speed, row.count, power))
        return Stack(path, tuple(rows), self.ambient, WIDTH * self.scale)

    def _sound(self, position: int) -> None:
        """Noise energies with fans that move all they can: by row and option, by pump step, and of what never stops."""
        limits = np.asarray(position_limits(self.build, self.state))
        heard = [position, *np.flatnonzero(np.isfinite(limits))]
        over = np.array([self.unit, *limits[heard[1:]]])

        def energy(levels: Floats) -> Floats:
            return np.asarray(10.0 ** ((levels[..., heard] - over) / 10.0))

        self.row_energy: list[list[Floats]] = []
        self.load_adder: list[list[float]] = []
        for i, path in enumerate(self.paths):
            speeds = [[self.grids[g][k] for g, k in zip(self.groups[i], o, strict=True)] for o in self.options[i]]
            place = [self.groups[i].index(self._fan(row.group)[0]) for row in path.fan_rows]
            self.row_energy.append(
                [
                    energy(row_heard_levels(self.build, path, r, np.array([s[p] for s in speeds]), np.inf))
                    for r, p in enumerate(place)
                ]
            )
            fans = [self.build.fan_groups[self._fan(row.group)[1]].fan for row in path.fan_rows]
            self.load_adder.append([4.5 * float(fan.sound.load_adder_scale) for fan in fans])
        self.pump_energy = energy(pump_heard_levels(self.build, np.array(self.grids[-1])))
        self.fixed_energy = energy(fixed_heard_levels(self.build, self.state)).sum(axis=0)
        electric, share = self.build.loop.pump.electric, float(self.build.loop.pump.coolant_share)
        power = float(electric.power) * (np.array(self.grids[-1]) / electric.speed) ** 3
        self.pump_heat, self.pump_rest = share * power, (1.0 - share) * power

    def root(self) -> Box:
        """A box with every setting worth considering."""
        reach = 1.0
        for path in self.paths:
            for row in path.fan_rows:
                group, number = self._fan(row.group)
                curve = sheet_curve(self.build.fan_groups[number].fan.curve)
                reach += 1.5 * curve.highest * (max(self.grids[group]) / curve.speed) ** 2
        n, limits = len(self.enclosures), self.state.limits.enclosure_air
        most = MOST_FLOW * self.scale
        conducts = [np.inf if path.core else 0.0 for path in self.paths]
        return Box(
            np.tile([-reach, reach], (n, 1)),
            np.array([[self.room, min(limits.get(name, BEYOND), BEYOND)] for name in self.enclosures]).reshape(n, 2),
            np.tile([self.room, self.limit], (len(self.ring.nodes), 1)),
            (0, len(self.grids[-1]) - 1),
            tuple(np.ones(len(self.cluster_options(c)), dtype=np.bool_) for c in range(len(self.clusters))),
            tuple(np.tile([-most, most], (len(options), 1)) for options in self.options),
            tuple(np.tile([0.0, g], (len(options), 1)) for g, options in zip(conducts, self.options, strict=True)),
        )

    def heat(self, stations: Names, pump: tuple[int, int]) -> Span:
        """Heat that stations put into the coolant [W]."""
        fixed = sum(float(self.state.heat.get(name, 0.0)) for name in stations if name != PUMP)
        low, high = self.pump_heat[list(pump)] if PUMP in stations else (0.0, 0.0)
        return fixed + float(low), fixed + float(high)

    def node_air(self, box: Box, node: int | None) -> Span:
        """Range of a node's air temperature [K]."""
        return (self.room, self.room) if node is None else (float(box.air[node, 0]), float(box.air[node, 1]))

    def water(self, box: Box) -> Water:
        """Flows of the ring at the mean temperatures that a box allows, and what the limits leave to its nodes."""
        coldest = min([self.room, *box.coolant[:, 0], *box.air[:, 0]])
        temps: Span = (coldest, self.limit)
        wanted = {(name,) for name in self.ring.stations} | {b.stream for b in self.ring.balances} | {Ring.main}
        wanted |= {s for p in self.ring.places.values() for s, _ in (*p.plus, *p.less)}
        for _ in range(3):
            inside = (min(max(temps[0], TEMP_RANGE[0]), TEMP_RANGE[1]), min(temps[1], TEMP_RANGE[1]))
            both = {names: self.coolant.ends(names, box.pump, inside) for names in sorted(wanted)}
            rates = {names: rate for names, (_, rate) in both.items()}
            flows = {name: both[name,][0] for name in self.ring.stations}
            temps = self._mean(box, rates, (coldest, self.limit))
        return Water(flows, {n: rates[n,] for n in self.ring.stations}, rates, self._ceilings(box, rates, flows))

    def _offset(self, box: Box, station: str, rates: dict[Names, Span]) -> Span:
        """Range of a station's inlet over its node [K]."""
        low = high = 0.0
        place = self.ring.places[station]
        for sign, parts in ((1.0, place.plus), (-1.0, place.less)):
            for stream, stations in parts:
                heat, rate = self.heat(stations, box.pump), rates[stream]
                ends = sorted((sign * heat[0] / rate[1], sign * heat[1] / rate[0]))
                low, high = low + ends[0], high + ends[1]
        return low, high

    def _mean(self, box: Box, rates: dict[Names, Span], everywhere: Span) -> Span:
        """Range of the plain mean of (in + out)/2 over all stations [K]."""
        total = np.zeros(2)
        for name in self.ring.stations:
            inlet = outlet = np.array(everywhere)
            if name in self.ring.node_of:
                inlet = box.coolant[self.ring.node_of[name]]
                own = next((b for b in self.ring.balances if b.main and b.radiators == (name,)), None)
                if own is not None and own.source == self.ring.node_of[name]:
                    heat, rate = self.heat(own.stations, box.pump), rates[own.stream]
                    outlet = box.coolant[own.target] - np.array([heat[1] / rate[0], heat[0] / rate[1]])
            elif name in self.ring.places:
                inlet = box.coolant[self.ring.places[name].node] + self._offset(box, name, rates)
                heat, rate = self.heat((name,), box.pump), rates[name,]
                outlet = inlet + np.array([heat[0] / rate[1], heat[1] / rate[0]])
            total += 0.5 * (inlet + outlet)
        low, high = total / len(self.ring.stations)
        return float(low), float(max(low, high))

    def _ceilings(self, box: Box, rates: dict[Names, Span], flows: dict[str, Span]) -> Floats:
        """Upper end of every node: no station above the coolant limit, no sensing point above its own [K]."""
        ceiling = np.full(len(self.ring.nodes), self.limit)
        sources = {source.name: source for source in self.build.sources}
        for name, place in self.ring.places.items():
            allowed = self.limit - self.heat((name,), box.pump)[0] / rates[name,][1]
            source = sources.get(name)
            for point in source.points if source else ():
                if source is not None and point.limit is not None:
                    plate, watts = source.plate, float(self.state.heat.get(name, 0.0))
                    fastest = flows[name][1] / plate.reference_flow
                    resistance = float(plate.r0) + float(plate.c) * fastest ** -float(plate.n)
                    resistance += float(point.share) * float(point.resistance)
                    allowed = min(allowed, point.limit - watts * resistance)
            ceiling[place.node] = min(ceiling[place.node], allowed - self._offset(box, name, rates)[0])
        return ceiling + 1e-9

    def table(self, box: Box, path: int, wanted: Flags, water: Water) -> Table:
        """Everything about a path in a box, option by option."""
        source, target = self.ends[path]
        p_from, p_to = (np.zeros(2) if node is None else box.pressure[node] for node in (source, target))
        drive = (0.0, 0.0) if source == target else (float(p_from[0] - p_to[1]), float(p_from[1] - p_to[0]))
        air = self.node_air(box, source), self.node_air(box, target)
        name, count = self.paths[path].name, len(self.options[path])
        node = self.ring.node_of.get(name)
        coolant = air[0] if node is None else (float(box.coolant[node, 0]), float(box.coolant[node, 1]))
        made = _blank(count, len(self.fixed_energy) - 1)
        for k in np.flatnonzero(wanted).tolist():
            stack, known, conducts = self.stacks[path][k], tuple(box.flow[path][k]), tuple(box.conductance[path][k])
            forth = stack.air(air[0], coolant, known, conducts, reverse=False)
            back = stack.air(air[1], coolant, (-known[1], -known[0]), conducts, reverse=True)
            flow = stack.flow(drive, known, forth, back)
            if flow is None:
                continue
            made.possible[k], made.flow[k] = True, flow
            made.forth_rise[k], made.back_rise[k] = forth.fan_rise, back.fan_rise
            if node is not None:
                sizes = max(flow[0], -flow[1], 0.0), max(flow[1], -flow[0])
                low, high = (
                    conductance(self.paths[path], size, water.flow[name][end], water.rate[name][end])
                    for end, size in enumerate(sizes)
                )
                made.conductance[k] = max(low * (1.0 - 1e-9), conducts[0]), min(high * (1.0 + 1e-9), conducts[1])
            else:
                made.conductance[k] = 0.0
            self._heats(made, path, k, coolant, air)
            self._noise(made, path, k, forth.hot.densities)
        return made

    def _heats(self, made: Table, path: int, k: int, coolant: Span, air: tuple[Span, Span]) -> None:
        ends = []
        forth = air[0], made.forth_rise[k], made.flow[k, 1] >= 0.0
        back = air[1], made.back_rise[k], made.flow[k, 0] < 0.0
        for upstream, rise, open_way in (forth, back):
            if open_way:
                over = coolant[0] - upstream[1] - rise[1], coolant[1] - upstream[0] - rise[0]
                ends += [g * t for g in made.conductance[k] for t in over]
        made.forced[k] = min(ends), max(ends)
        spare = np.maximum(self.passive[path] - made.conductance[k], 0.0)
        ends = [g * t for g in spare for t in (coolant[0] - air[0][1], coolant[1] - air[0][0])]
        made.spare[k] = min(ends), max(ends)

    def _noise(self, made: Table, path: int, k: int, densities: tuple[float, ...]) -> None:
        """Least noise: every fan at the greatest share of its free delivery that the flow allows."""
        total = np.zeros(len(self.fixed_energy))
        for r, (curve, ratio, count, _) in enumerate(self.stacks[path][k].rows):
            free, adder = curve.free_flow * ratio, self.load_adder[path][r]
            share = max(made.flow[k, 1], 0.0) / (densities[r] * count) / free if free > 0.0 else 0.0
            lacking = min(max((0.6 - share) / 0.6, 0.0), 1.0) if adder >= 0.0 else 1.0
            total += self.row_energy[path][r][k] * 10.0 ** (adder * lacking / 10.0)
        made.energy[k], made.elsewhere[:, k] = total[0], total[1:]


def _blank(count: int, limits: int) -> Table:
    """A table in which nothing is possible yet."""

    def spans() -> Floats:
        return np.full((count, 2), np.nan)

    return Table(
        np.zeros(count, dtype=np.bool_), spans(), spans(), spans(), spans(), spans(), spans(),
        np.full(count, np.inf), np.full((limits, count), np.inf),
    )  # fmt: skip
