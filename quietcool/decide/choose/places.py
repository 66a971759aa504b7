"""What every option of a place does in slices of the enclosure's pressure and air temperature.

Flows and noise come from the tables of the bound (`decide/bound`): a range of flow that holds every true one, and the
least noise at the greatest load share. Nothing here depends on what stands in the other places.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.boxes import FARTHEST
from quietcool.decide.bound.energies import load_factor
from quietcool.decide.bound.flows import Pairs, StackRange, flow_range
from quietcool.decide.bound.frame import Frame, PathOptions
from quietcool.entry.build import Radiator
from quietcool.physics import air
from quietcool.physics.network import REFERENCE
from quietcool.solve.airflow import machine_curve
from quietcool.solve.heat import forced_conductance

Floats = NDArray[np.float64]

VISITS = 2
ROUNDING = 1e-9  # of a conductance
WIDER = 1.05  # of the greatest capacity rate in the ring's table: outward


@dataclass(frozen=True)
class Cells:
    """Boxes of the one enclosure's pressure and of its air temperature, and what the coolant does in all of them."""

    pressure: Floats  # range, (cells, 2) [Pa]
    temp: Floats  # range over the room, (cells, 2) [K]
    coldest: float = 0.0  # least that the coolant at any radiator's inlet is over the room [K]
    capacity: float = 0.0  # least capacity rate of the coolant through any radiator [W/K]
    coolant_flow: float = 0.0  # likewise [m3/s]

    @property
    def count(self) -> int:
        """Number of cells."""
        return len(self.pressure)

    def take(self, picked: NDArray[np.intp]) -> Cells:
        """The picked cells."""
        return replace(self, pressure=self.pressure[picked], temp=self.temp[picked])

    def quartered(self) -> Cells:
        """Every cell cut in two both ways."""
        halves = [_halves(self.pressure), _halves(self.temp)]
        pressure = np.concatenate([halves[0][i] for i in (0, 0, 1, 1)])
        temp = np.concatenate([halves[1][i] for i in (0, 1, 0, 1)])
        return replace(self, pressure=pressure, temp=temp)


def _halves(spans: Floats) -> tuple[Floats, Floats]:
    middle = spans.mean(axis=1)
    return np.stack([spans[:, 0], middle], axis=-1), np.stack([middle, spans[:, 1]], axis=-1)


@dataclass(frozen=True)
class Working:
    """One path with one option at the steps of its groups that may be quiet enough; arrays are (cells, steps)."""

    path: str
    radiator: Radiator | None
    breathes: int  # node that its air comes from when it runs forward
    blows: int  # node that it goes to
    flow: Floats  # range, with a last axis of 2 [kg/s]
    energy: Floats  # least noise energy; inf where no flow is possible [-]
    slack: float  # of the frame: part by which conductance may fall though a flow rises [-]

    @property
    def entering(self) -> Floats:
        """Range of the air that it brings into the enclosure, like `flow` [kg/s]."""
        if (self.breathes == REFERENCE) == (self.blows == REFERENCE):
            return np.zeros_like(self.flow)
        return self.flow if self.breathes == REFERENCE else -self.flow[..., ::-1]

    def conductance(self, coolant_flow: float, capacity: float) -> Floats:
        """Most forced conductance, (cells, steps) [W/K]."""
        if self.radiator is None:
            return np.zeros(self.flow.shape[:-1])
        size = np.abs(self.flow).max(axis=-1)
        return forced_conductance(self.radiator, size, coolant_flow, capacity) / (1.0 - ROUNDING - self.slack)

    def sure_conductance(self, coolant_flow: float, capacity: float) -> Floats:
        """Least forced conductance, (cells, steps) [W/K]."""
        low, high = self.flow[..., 0], self.flow[..., 1]
        if self.radiator is None or capacity <= 0.0:
            return np.zeros(low.shape)
        size = np.where(low * high > 0.0, np.minimum(np.abs(low), np.abs(high)), 0.0)
        return forced_conductance(self.radiator, size, coolant_flow, capacity) * (1.0 - ROUNDING - self.slack)

    @property
    def passive(self) -> float:
        """Least conductance of the radiator [W/K]."""
        return 0.0 if self.radiator is None else float(self.radiator.passive_conductance) * self.radiator.fan_sections


def workings(frame: Frame, names: Sequence[str], cells: Cells, quiet: float) -> list[Working]:
    """Tabulate the paths of one cluster of groups, each at every combination of steps that is below a noise energy."""
    number = next(i for i, c in enumerate(frame.clusters) if frame.paths[c.paths[0]].path.name in names)
    members = frame.clusters[number].paths
    loudness = sum(_loudness(frame.paths[i])[frame.paths[i].option_of_cluster] for i in members)
    kept = np.flatnonzero(np.asarray(loudness) < quiet)
    found = []
    for index in members:
        options = frame.paths[index]
        own, at = np.unique(options.option_of_cluster[kept], return_inverse=True)
        flow, energy = _ranges(frame, index, cells, own)
        core = options.path.core
        radiator = None if core is None else core.radiator
        ends, slack = (options.source, options.target), frame.conductance_slack[index]
        found.append(Working(options.path.name, radiator, *ends, flow[:, at], energy[:, at], slack))
    return found


def _loudness(options: PathOptions) -> Floats:
    """Least noise energy of a path's own options whatever the air does."""
    total = np.zeros(options.power.size)
    for row in options.rows:
        total = total + row.energy * min(1.0, float(load_factor(row.load_adder, np.zeros(1))[0]))
    return total


def _ranges(frame: Frame, index: int, cells: Cells, own: NDArray[np.intp]) -> tuple[Floats, Floats]:
    """Range of flow and least energy of a path's own options in every cell."""
    options = frame.paths[index]
    shape = (cells.count, own.size)
    cell, column = (axis.ravel() for axis in np.indices(shape))
    option = own[column]
    slack = frame.conductance_slack[index]
    pairs = _pairs(frame, options, cells.pressure[cell], cells.temp[cell] + frame.room_temp, option)
    coolant = [frame.room_temp + cells.coldest, max(frame.coolant_limit, frame.room_temp + cells.coldest)]
    pairs = pairs._replace(coolant_temp=np.tile(coolant, (option.size, 1)))
    found = flow_range(frame.build, options, pairs, frame.ambient_pressure, from_afar=True)
    for _ in range(VISITS):  # known flows tell how warm fans and coolant make the air, and so the flows
        real = found.flow[:, 0] <= found.flow[:, 1]
        known = np.where(real[:, None], found.flow, pairs.flow)
        pairs = pairs._replace(flow=known, conductance=_conductance(frame, options, known, cells, slack))
        found = flow_range(frame.build, options, pairs, frame.ambient_pressure, from_afar=False)
    flow = found.flow
    real = flow[:, 0] <= flow[:, 1]
    energy = np.where(real, _energy(frame, options, option, flow, found.forward), np.inf)
    return np.where(real[:, None], flow, 0.0).reshape(*shape, 2), energy.reshape(shape)


def _pairs(frame: Frame, options: PathOptions, pressure: Floats, air_temp: Floats, option: NDArray[np.intp]) -> Pairs:
    still = np.zeros_like(pressure)
    room = np.full_like(pressure, frame.room_temp)
    source, target = options.source == REFERENCE, options.target == REFERENCE
    up, down = (still if source else pressure), (still if target else pressure)
    drive = np.stack([up[:, 0] - down[:, 1], up[:, 1] - down[:, 0]], axis=-1)
    known = np.tile([-FARTHEST, FARTHEST], (option.size, 1)) * options.flow_scale
    core = options.path.core is not None
    return Pairs(
        option=option,
        drive=np.zeros_like(drive) if options.source == options.target else drive,
        source_temp=room if source else air_temp,
        target_temp=room if target else air_temp,
        coolant_temp=room,
        flow=known,
        conductance=np.tile([0.0, np.inf if core else 0.0], (option.size, 1)),
    )


def _conductance(frame: Frame, options: PathOptions, flow: Floats, cells: Cells, slack: float) -> Floats:
    """Range of forced conductance over all that the coolant may do, (n, 2) [W/K]."""
    core = options.path.core
    if core is None:
        return np.zeros_like(flow)
    low, high = np.sort(np.abs(flow), axis=1).T
    most = np.minimum(high * air.SPECIFIC_HEAT, float(frame.tables.capacity[0].max()) * WIDER)
    least = np.zeros_like(most)
    if cells.capacity > 0.0:
        sure = np.where(flow[:, 0] * flow[:, 1] > 0.0, low, 0.0)
        forced = forced_conductance(core.radiator, sure, cells.coolant_flow, cells.capacity)
        least = np.minimum(forced * (1.0 - ROUNDING - slack), most)
    return np.stack([least, most], axis=-1)


def _energy(frame: Frame, options: PathOptions, option: NDArray[np.intp], flow: Floats, forward: StackRange) -> Floats:
    """Least noise energy: the load adder at the greatest share that the flow allows."""
    energy = np.zeros(option.size)
    for i, row in enumerate(options.rows):
        sheet = frame.build.fan_groups[row.fan_group].fan.curve
        free = machine_curve(sheet).free_flow * row.speed[option] / sheet.speed * sheet.flow_scale
        share = np.maximum(flow[:, 1], 0.0) / (forward.hot.density[i] * row.count) / np.where(free > 0.0, free, 1.0)
        energy += row.energy[option] * load_factor(row.load_adder, share if row.load_adder >= 0.0 else 0.0 * share)
    return energy
