"""Heat balance: temperature of the coolant at every station and of the air in every enclosure, for given flows.

Linear once the flows are known. The coolant is walked round the ring as an affine form in the unknowns (coolant
at the start of the ring, air of every enclosure); closing the ring and the enclosures gives one small system.
Things first, cases last: an affine form is (1 + enclosures + 1, cases), its last row the constant.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quietcool.entry.build import PUMP, Build, LoopElement, Parallel, Radiator
from quietcool.physics import air
from quietcool.physics.exchangers import radiator_conductance
from quietcool.physics.network import REFERENCE, solve_small
from quietcool.solve.airflow import node_index, path_ends
from quietcool.solve.loop import MAIN, Branches, station_names
from quietcool.solve.problem import Problem
from quietcool.solve.stacks import Stacks

Floats = NDArray[np.float64]

SHEET = (  # what the forced conductance asks of a radiator
    "face_area",
    "ua_air",
    "ua_air_velocity",
    "ua_air_exponent",
    "ua_coolant",
    "ua_coolant_flow",
    "ua_coolant_exponent",
)
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
    core_coolant: Floats  # coolant inlet of each radiator, 0 without one, (paths, cases) [K]
    through_flow: Floats  # mass flow into each enclosure, (enclosures, cases) [kg/s]


class Carriers(NamedTuple):
    """The flows that carry heat."""

    air_flow: Floats  # (paths, cases) [kg/s]
    stacks: Stacks  # for the warming by fans
    branch_flow: Floats  # of the coolant, (branches, cases) [m3/s]
    coolant_heat_capacity: Floats  # by volume, (cases,) [J/(m3 K)]

    @property
    def main_flow(self) -> Floats:
        """Coolant through the pump, never backwards, (cases,) [m3/s]."""
        flow: Floats = np.maximum(self.branch_flow[MAIN], 0.0)
        return flow


@dataclass(frozen=True)
class _Ring:
    """What the walk round the ring needs; forms are (unknowns + 1, cases)."""

    build: Build
    branches: Branches
    branch_flow: Floats  # (branches, cases) [m3/s]
    heat_capacity: Floats  # of the coolant by volume, (cases,) [J/(m3 K)]
    heat: Mapping[str, Floats]  # into the coolant by station [W]
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
            flow: Floats = np.maximum(self.branch_flow[self.branches.branch_of(first)], 0.0)
            return flow
        section = next(e for e in chain if isinstance(e, Parallel))
        total: Floats = np.sum([self._chain_flow(branch) for branch in section.branches], axis=0)
        return total

    def given_off(self) -> dict[str, tuple[Floats, Floats]]:
        """Forced and passive heat of every radiator as affine forms, by path name; after the walk [W]."""
        return {
            name: (
                self.forced[name][0] * (self.inlets[name] - self.forced[name][1]),
                self.passive[name][0] * (self.inlets[name] - self.passive[name][1]),
            )
            for name in self.forced
        }


def solve_heat(problem: Problem, carriers: Carriers) -> HeatSolution:
    """Solve the heat balance for given flows.

    Parameters
    ----------
    problem : Problem
        Build, state, ring, pump power and room temperature of the cases.
    carriers : Carriers
        The flows.

    Returns
    -------
    HeatSolution
    """
    air_flow, enclosures = carriers.air_flow, len(problem.build.enclosures)
    delivered = _deliveries(problem.build, air_flow)
    through = np.array([d.sum(axis=0) for d in delivered]).reshape(enclosures, air_flow.shape[1])
    ring = _ring(problem, carriers)
    start = _unknown(0, enclosures, air_flow.shape[1])
    end = ring.walk(problem.build.loop.order, start, carriers.main_flow)
    given = ring.given_off()
    matrix, right = _system(problem, carriers, end - start, given, delivered, through)
    # A ring that nothing cools has no steady state: the division by zero answers NaN or infinity, which is said below.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        unknowns = solve_small(matrix, right)
    unknowns = np.where(np.isfinite(unknowns), unknowns, np.nan)
    return _read_out(problem, carriers, ring, given, unknowns, through)


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


def _deliveries(build: Build, air_flow: Floats) -> list[Floats]:
    """Mass flow that each path delivers into each enclosure, a list over enclosures of (paths, cases) [kg/s]."""
    delivered = [np.zeros_like(air_flow) for _ in build.enclosures]
    for i, (source, target) in enumerate(zip(*path_ends(build), strict=True)):
        if source == target:
            continue
        if target != REFERENCE:
            delivered[target][i] = np.maximum(air_flow[i], 0.0)
        if source != REFERENCE:
            delivered[source][i] = np.maximum(-air_flow[i], 0.0)
    return delivered


def forced_conductance(radiator: Radiator, air_flow: Floats, coolant_flow: ArrayLike, capacity: ArrayLike) -> Floats:
    """Forced conductance of a sheet at mass flows of air [kg/s], flows [m3/s] and capacity rates of coolant [W/K]."""
    sheet = {name: getattr(radiator, name) for name in SHEET}
    return _conductance(air_flow, coolant_flow, capacity, sheet)


def forced_conductances(radiators: Sequence[Radiator], air_flow: Floats, coolant_flow: Floats, rate: Floats) -> Floats:
    """Forced conductances of several sheets by one call, (radiators, cases); the flows likewise."""
    columns = {name: [np.atleast_1d(getattr(radiator, name)) for radiator in radiators] for name in SHEET}
    sheet = {name: np.stack(np.broadcast_arrays(*values)) for name, values in columns.items()}
    return _conductance(air_flow, coolant_flow, rate, sheet)


def _conductance(air_flow: Floats, coolant_flow: ArrayLike, capacity: ArrayLike, sheet: Mapping[str, Any]) -> Floats:
    found: Floats = radiator_conductance(
        air_flow, coolant_flow, coolant_capacity_rate=capacity, air_specific_heat=air.SPECIFIC_HEAT, **sheet
    )
    return found


def _ring(problem: Problem, carriers: Carriers) -> _Ring:
    """The ring with the conductance of every radiator and the air that it meets."""
    build, state = problem.build, problem.state
    heat = {name: np.asarray(watts, dtype=np.float64) for name, watts in state.heat.items()}
    heat[PUMP] = build.loop.pump.coolant_share * problem.pump_power
    ring = _Ring(build, problem.branches, carriers.branch_flow, carriers.coolant_heat_capacity, heat, {}, {}, {}, {})
    enclosures = len(build.enclosures)
    cooled = [(i, path, path.core.radiator) for i, path in enumerate(build.air_paths) if path.core is not None]
    if not cooled:
        return ring
    branches = [problem.branches.branch_of(path.name) for _, path, _ in cooled]
    flows = np.maximum(carriers.branch_flow[branches], 0.0)
    air_flows = carriers.air_flow[[i for i, _, _ in cooled]]
    radiators = [radiator for _, _, radiator in cooled]
    conductances = forced_conductances(radiators, air_flows, flows, flows * carriers.coolant_heat_capacity)
    for (i, path, radiator), air_flow, flow, conductance in zip(cooled, air_flows, flows, conductances, strict=True):
        source = _node_form(node_index(build, path.source), problem.room_temp, enclosures)
        target = _node_form(node_index(build, path.target), problem.room_temp, enclosures)
        inlet = np.where(air_flow >= 0.0, source, target)
        inlet[-1] += carriers.stacks.core_fan_rise[i]
        ring.forced[path.name] = (conductance, inlet)
        least = radiator.passive_conductance * radiator.fan_sections
        ring.passive[path.name] = (np.maximum(least - conductance, 0.0) * (flow > 0.0), source)
    return ring


def _system(
    problem: Problem,
    carriers: Carriers,
    closure: Floats,
    given: dict[str, tuple[Floats, Floats]],
    delivered: list[Floats],
    through: Floats,
) -> tuple[Floats, Floats]:
    """Matrix and right-hand side: the ring closes, every enclosure's air is in balance."""
    enclosures, cases = len(delivered), problem.room_temp.size
    rows = [closure]
    for e, inflow in enumerate(delivered):
        parked = _unknown(1 + e, enclosures, cases)
        parked[-1] = -problem.room_temp  # a placeholder that keeps the system solvable; the answer there is NaN
        balance = _air_balance(problem, carriers, e, inflow, given)
        rows.append(np.where(through[e] < LEAST_THROUGH_FLOW, parked, balance))
    stacked = np.array(rows)
    return stacked[:, :-1], -stacked[:, -1]


def _air_balance(
    problem: Problem, carriers: Carriers, node: int, inflow: Floats, given: dict[str, tuple[Floats, Floats]]
) -> Floats:
    """Heat that an enclosure's air gets, as a form, from what (paths, cases) flows into it [W]."""
    build, room_temp = problem.build, problem.room_temp
    enclosures, name = len(build.enclosures), build.enclosures[node]
    own = _unknown(1 + node, enclosures, room_temp.size)
    balance = np.zeros_like(own)
    balance[-1] += problem.state.air_heat.get(name, 0.0)
    if build.loop.pump_enclosure == name:
        balance[-1] += (1.0 - build.loop.pump.coolant_share) * problem.pump_power
    ends = list(zip(*path_ends(build), strict=True))
    for i, path in enumerate(build.air_paths):
        arrives = inflow[i] > 0.0
        source, target = (_node_form(end, room_temp, enclosures) for end in ends[i])
        upstream = np.where(carriers.air_flow[i] >= 0.0, source, target)
        balance += inflow[i] * air.SPECIFIC_HEAT * (upstream - own)
        balance[-1] += np.where(arrives, carriers.stacks.fan_power[i], 0.0)
        if path.name in given:
            balance += np.where(arrives, given[path.name][0], 0.0)
            if path.source == name:
                balance += given[path.name][1]
    return balance


def _read_out(
    problem: Problem,
    carriers: Carriers,
    ring: _Ring,
    given: dict[str, tuple[Floats, Floats]],
    unknowns: Floats,
    through: Floats,
) -> HeatSolution:
    """Every temperature and heat rate from the unknowns."""
    build = problem.build
    stations = station_names(build.loop.order)

    def values(forms: Sequence[Floats]) -> Floats:
        stacked = np.array(forms)
        found: Floats = (stacked[:, :-1] * unknowns).sum(axis=1) + stacked[:, -1]
        return np.where(lost, np.nan, found)

    still = through < LEAST_THROUGH_FLOW
    lost = carriers.main_flow <= 0.0  # no flow, no steady coolant
    for i, name in enumerate(build.enclosures):
        for path in build.air_paths:
            if path.source == name and path.name in ring.passive:
                lost = lost | (still[i] & (ring.passive[path.name][0] > 0.0))
    coolant_in, coolant_out = (values([forms[s] for s in stations]) for forms in (ring.inlets, ring.outlets))
    shape = carriers.air_flow.shape
    conductance, forced, passive, core_coolant = (np.zeros(shape) for _ in range(4))
    for i, path in enumerate(build.air_paths):
        if path.name in given:
            conductance[i] = ring.forced[path.name][0]
            forced[i], passive[i] = values(given[path.name])
            core_coolant[i] = coolant_in[stations.index(path.name)]
    return HeatSolution(
        enclosure_temp=np.where(still, np.nan, unknowns[1:]),
        coolant_in=coolant_in,
        coolant_out=coolant_out,
        conductance=conductance,
        forced=forced,
        passive=passive,
        core_share=_core_share(build, carriers.air_flow, conductance),
        core_coolant=core_coolant,
        through_flow=through,
    )


def _core_share(build: Build, air_flow: Floats, conductance: Floats) -> Floats:
    """Part of the way to the coolant's temperature that air goes in each core, 0 without one, (paths, cases) [-]."""
    capacity = np.abs(air_flow) * air.SPECIFIC_HEAT
    # In still air the exchange is complete: that is the limit of effectiveness as flow goes to zero.
    has_core = np.array([[path.core is not None] for path in build.air_paths])
    share = np.where(capacity > 0.0, conductance / np.where(capacity > 0.0, capacity, 1.0), 1.0)
    return np.asarray(share * has_core)
