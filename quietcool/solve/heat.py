"""Heat balance: temperature of the coolant at every station and of the air in every enclosure, for given flows.

Linear once the flows are known. The coolant is walked round the ring as an affine form in the unknowns (coolant
at the start of the ring, air of every enclosure); closing the ring and the enclosures gives one small system.
Things first, cases last: an affine form is (1 + enclosures + 1, cases), its last row the constant.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.build import PUMP, Build, LoopElement, Parallel, State
from quietcool.physics import air
from quietcool.physics.exchangers import radiator_conductance
from quietcool.physics.network import REFERENCE, solve_small
from quietcool.solve.airflow import Stacks, node_index, path_ends
from quietcool.solve.loop import Branches, station_names

Floats = NDArray[np.float64]

LEAST_THROUGH_FLOW = 1e-9  # below it an enclosure has no steady temperature of its own [kg/s]
LEAST_CAPACITY_RATE = 1e-9  # keeps the arithmetic finite where no coolant flows; the answer there is NaN [W/K]


class HeatSolution(NamedTuple):
    """Temperatures and heat rates."""

    enclosure_temp: Floats  # NaN without through-flow, (enclosures, cases) [K]
    coolant_in: Floats  # at every station, (stations, cases) [K]
    coolant_out: Floats  # (stations, cases) [K]
    conductance: Floats  # forced, of every path's radiator, (paths, cases) [W/K]
    forced: Floats  # heat that each radiator gives to its air stream, (paths, cases) [W]
    passive: Floats  # heat that it gives to the path's source node besides, (paths, cases) [W]
    core_share: Floats  # part of the way to the coolant's temperature that air goes in each core, (paths, cases) [-]
    core_coolant: Floats  # coolant inlet of each radiator, room temperature without one, (paths, cases) [K]
    through_flow: Floats  # mass flow into each enclosure, (enclosures, cases) [kg/s]


@dataclass(frozen=True)
class _Ring:
    """What the walk round the ring needs; forms are (unknowns + 1, cases)."""

    build: Build
    branches: Branches
    branch_flow: Floats  # (branches, cases) [m3/s]
    heat_capacity: Floats  # of the coolant by volume, (cases,) [J/(m3 K)]
    heat: dict[str, Floats | float]  # into the coolant by station [W]
    forced: dict[str, tuple[Floats, Floats]]  # path name -> conductance and air inlet form
    passive: dict[str, tuple[Floats, Floats]]  # path name -> conductance and source node form
    inlets: dict[str, Floats]  # filled by the walk: coolant inlet form of each station
    outlets: dict[str, Floats]

    def walk(self, order: tuple[LoopElement, ...], form: Floats, flow: Floats) -> Floats:
        """Carry the coolant's form through a chain of stations."""
        for element in order:
            form = self._section(element, form) if isinstance(element, Parallel) else self._station(element, form, flow)
        return form

    def _station(self, name: str, form: Floats, flow: Floats) -> Floats:
        self.inlets[name] = form
        capacity = np.maximum(flow * self.heat_capacity, LEAST_CAPACITY_RATE)
        given_off = np.zeros_like(form)
        for conductance, sink in (pair[name] for pair in (self.forced, self.passive) if name in pair):
            given_off += conductance * (form - sink)
        form = form - given_off / capacity
        form[-1] += self.heat.get(name, 0.0) / capacity
        self.outlets[name] = form
        return form

    def _section(self, section: Parallel, form: Floats) -> Floats:
        """Branches side by side share their inlet and mix by flow."""
        mixed, total = np.zeros_like(form), np.zeros_like(self.heat_capacity)
        for branch in section.branches:
            flow = self._chain_flow(branch)
            mixed += flow * self.walk(branch, form, flow)
            total = total + flow
        return mixed / np.maximum(total, np.finfo(np.float64).tiny)

    def _chain_flow(self, chain: tuple[LoopElement, ...]) -> Floats:
        """Flow through a chain: that of a series station in it, else the sum over its first section."""
        first = next((e for e in chain if isinstance(e, str)), None)
        if first is not None:
            return np.maximum(self.branch_flow[self.branches.branch_of(first)], 0.0)
        section = next(e for e in chain if isinstance(e, Parallel))
        return np.sum([self._chain_flow(branch) for branch in section.branches], axis=0)


def solve_heat(
    build: Build,
    state: State,
    *,
    air_flow: Floats,
    stacks: Stacks,
    branches: Branches,
    branch_flow: Floats,
    coolant_heat_capacity: Floats,
    pump_power: Floats,
    room_temp: Floats,
) -> HeatSolution:
    """Solve the heat balance for given flows.

    Parameters
    ----------
    build, state : Build, State
        Their numbers may be arrays (cases,).
    air_flow : ndarray, (paths, cases)
        [kg/s]
    stacks : Stacks
        For the warming by fans.
    branches : Branches
        The ring as a network.
    branch_flow : ndarray, (branches, cases)
        [m3/s]
    coolant_heat_capacity : ndarray, (cases,)
        By volume. [J/(m3 K)]
    pump_power : ndarray, (cases,)
        Electrical. [W]
    room_temp : ndarray, (cases,)
        [K]

    Returns
    -------
    HeatSolution
    """
    cases = air_flow.shape[1]
    enclosures = len(build.enclosures)
    ends = list(zip(*path_ends(build), strict=True))
    delivered = _deliveries(ends, air_flow, enclosures)
    through = np.array([d.sum(axis=0) for d in delivered]).reshape(enclosures, cases)
    still = through < LEAST_THROUGH_FLOW
    ring = _ring(build, state, air_flow, stacks, branches, branch_flow, coolant_heat_capacity, pump_power, room_temp)
    start = _unknown(0, enclosures, cases)
    main_flow = np.maximum(branch_flow[0], 0.0)
    end = ring.walk(build.loop.order, start, main_flow)
    given = _given_off(ring, build, air_flow.shape)
    matrix, right = _system(
        build, state, ring, end - start, given, delivered, still, stacks, air_flow, pump_power, room_temp
    )
    # A ring that nothing cools has no steady state: the division by zero answers NaN or infinity, which is said below.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        unknowns = solve_small(matrix, right)
    unknowns = np.where(np.isfinite(unknowns), unknowns, np.nan)
    return _read_out(build, ring, given, unknowns, still, through, stacks, air_flow, main_flow)


def _unknown(index: int, enclosures: int, cases: int) -> Floats:
    form = np.zeros((enclosures + 2, cases))
    form[index] = 1.0
    return form


def _node_form(node: int, room_temp: Floats, enclosures: int) -> Floats:
    form = np.zeros((enclosures + 2, room_temp.size))
    if node == REFERENCE:
        form[-1] = room_temp
    else:
        form[1 + node] = 1.0
    return form


def _deliveries(ends: list[tuple[int, int]], air_flow: Floats, enclosures: int) -> list[Floats]:
    """Mass flow that each path delivers into each enclosure, a list over enclosures of (paths, cases) [kg/s]."""
    delivered = [np.zeros_like(air_flow) for _ in range(enclosures)]
    for i, (source, target) in enumerate(ends):
        if source == target:
            continue
        if target != REFERENCE:
            delivered[target][i] = np.maximum(air_flow[i], 0.0)
        if source != REFERENCE:
            delivered[source][i] = np.maximum(-air_flow[i], 0.0)
    return delivered


def _ring(
    build: Build,
    state: State,
    air_flow: Floats,
    stacks: Stacks,
    branches: Branches,
    branch_flow: Floats,
    heat_capacity: Floats,
    pump_power: Floats,
    room_temp: Floats,
) -> _Ring:
    enclosures = len(build.enclosures)
    forced, passive = {}, {}
    for i, path in enumerate(build.air_paths):
        if path.core is None:
            continue
        radiator = path.core.radiator
        flow = np.maximum(branch_flow[branches.branch_of(path.name)], 0.0)
        conductance = radiator_conductance(
            air_flow[i],
            flow,
            face_area=radiator.face_area,
            ua_air=radiator.ua_air,
            ua_air_velocity=radiator.ua_air_velocity,
            ua_air_exponent=radiator.ua_air_exponent,
            ua_coolant=radiator.ua_coolant,
            ua_coolant_flow=radiator.ua_coolant_flow,
            ua_coolant_exponent=radiator.ua_coolant_exponent,
            coolant_capacity_rate=flow * heat_capacity,
            air_specific_heat=air.SPECIFIC_HEAT,
        )
        source = _node_form(node_index(build, path.source), room_temp, enclosures)
        target = _node_form(node_index(build, path.target), room_temp, enclosures)
        inlet = np.where(air_flow[i] >= 0.0, source, target)
        inlet[-1] += stacks.core_fan_rise[i]
        forced[path.name] = (conductance, inlet)
        least = radiator.passive_conductance * radiator.fan_sections
        passive[path.name] = (np.maximum(least - conductance, 0.0) * (flow > 0.0), source)
    heat = {name: np.asarray(watts, dtype=np.float64) for name, watts in state.heat.items()}
    heat[PUMP] = build.loop.pump.coolant_share * pump_power
    return _Ring(build, branches, branch_flow, heat_capacity, heat, forced, passive, {}, {})


def _given_off(ring: _Ring, build: Build, shape: tuple[int, ...]) -> dict[str, tuple[Floats, Floats]]:
    """Forced and passive heat of every radiator as affine forms, by path name [W]."""
    return {
        name: (
            ring.forced[name][0] * (ring.inlets[name] - ring.forced[name][1]),
            ring.passive[name][0] * (ring.inlets[name] - ring.passive[name][1]),
        )
        for name in ring.forced
    }


def _system(
    build: Build,
    state: State,
    ring: _Ring,
    closure: Floats,
    given: dict[str, tuple[Floats, Floats]],
    delivered: list[Floats],
    still: NDArray[np.bool_],
    stacks: Stacks,
    air_flow: Floats,
    pump_power: Floats,
    room_temp: Floats,
) -> tuple[Floats, Floats]:
    """Matrix and right-hand side: the ring closes, every enclosure's air is in balance."""
    enclosures, cases = len(build.enclosures), room_temp.size
    ends = list(zip(*path_ends(build), strict=True))
    rows = [closure]
    for e, name in enumerate(build.enclosures):
        balance = np.zeros((enclosures + 2, cases))
        balance[-1] += state.air_heat.get(name, 0.0)
        if build.loop.pump_enclosure == name:
            balance[-1] += (1.0 - build.loop.pump.coolant_share) * pump_power
        for i, path in enumerate(build.air_paths):
            inflow = delivered[e][i]
            arrives = inflow > 0.0
            upstream = np.where(
                air_flow[i] >= 0.0,
                _node_form(ends[i][0], room_temp, enclosures),
                _node_form(ends[i][1], room_temp, enclosures),
            )
            balance += inflow * air.SPECIFIC_HEAT * (upstream - _unknown(1 + e, enclosures, cases))
            balance[-1] += np.where(arrives, stacks.fan_power[i], 0.0)
            if path.name in given:
                balance += np.where(arrives, given[path.name][0], 0.0)
                if path.source == name:
                    balance += given[path.name][1]
        parked = _unknown(1 + e, enclosures, cases)
        parked[-1] = -room_temp  # a placeholder that keeps the system solvable; the answer there is NaN
        rows.append(np.where(still[e], parked, balance))
    stacked = np.array(rows)
    return stacked[:, :-1], -stacked[:, -1]


def _read_out(
    build: Build,
    ring: _Ring,
    given: dict[str, tuple[Floats, Floats]],
    unknowns: Floats,
    still: NDArray[np.bool_],
    through: Floats,
    stacks: Stacks,
    air_flow: Floats,
    main_flow: Floats,
) -> HeatSolution:
    stations = station_names(build.loop.order)
    enclosure_temp = np.where(still, np.nan, unknowns[1:])

    def value(form: Floats) -> Floats:
        return (form[:-1] * unknowns).sum(axis=0) + form[-1]

    lost = main_flow <= 0.0  # no flow, no steady coolant
    for i, name in enumerate(build.enclosures):
        for path in build.air_paths:
            if path.source == name and path.name in ring.passive:
                lost = lost | (still[i] & (ring.passive[path.name][0] > 0.0))
    coolant_in = np.array([np.where(lost, np.nan, value(ring.inlets[s])) for s in stations])
    coolant_out = np.array([np.where(lost, np.nan, value(ring.outlets[s])) for s in stations])
    shape = air_flow.shape
    conductance, forced, passive = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    for i, path in enumerate(build.air_paths):
        if path.name in given:
            conductance[i] = ring.forced[path.name][0]
            forced[i], passive[i] = (np.where(lost, np.nan, value(form)) for form in given[path.name])
    capacity = np.abs(air_flow) * air.SPECIFIC_HEAT
    # In still air the exchange is complete: that is the limit of effectiveness as flow goes to zero.
    has_core = np.array([[path.core is not None] for path in build.air_paths])
    core_share = np.where(capacity > 0.0, conductance / np.where(capacity > 0.0, capacity, 1.0), 1.0) * has_core
    core_coolant = np.zeros(shape)
    for i, path in enumerate(build.air_paths):
        if path.core is not None:
            core_coolant[i] = coolant_in[stations.index(path.name)]
    return HeatSolution(
        enclosure_temp, coolant_in, coolant_out, conductance, forced, passive, core_share, core_coolant, through
    )
