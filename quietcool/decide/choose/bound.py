"""How quiet each combination of a catalogue could be at best: a bound on all of them at once.

A slice is a range of coolant capacity rate, of enclosure pressure and of its air temperature. In each slice the bound
of a combination is a sum over its places (`prices.py`), and the bound of the combination is the least over the slices.
Slices in which no combination can be quieter than the goal are closed; the range of the others is sliced again.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.boxes import root_box
from quietcool.decide.bound.frame import Frame, make_frame
from quietcool.decide.bound.relaxation import price_count
from quietcool.decide.choose.options import Option, Options, with_options
from quietcool.decide.choose.prices import PRICES, CoolantSlice, Terms
from quietcool.decide.choose.ring import Coolant, coolant_of, row_of
from quietcool.decide.question import Question
from quietcool.entry.build import ROOM, Build, Radiator, State
from quietcool.entry.catalogue_records import Catalogue

Floats = NDArray[np.float64]

UNIT = 30.0  # level of energy 1 [dB(A)]
ROUNDS = (1.0, 1.0, 0.5, 0.5, 0.25, 0.12, 0.06)  # of the search for prices, in parts of their scales
MOST_BEFORE = 1.0  # price of what is done before over that of the whole
STEEPNESS = 6.0  # noise energy over heat, about: sets the first prices only


class Rig:
    """What no slice changes: frames of all options, coolant of all sets of radiators."""

    def __init__(self, build: Build, catalogue: Catalogue, state: State, position: int, options: Options) -> None:
        self.build, self.catalogue, self.state, self.options = build, catalogue, state, options
        self.position = position
        longest = max(len(column) for column in options)
        self.frames = [self._frame([column[min(k, len(column) - 1)] for column in options]) for k in range(longest)]
        self.places = [place.path for place in catalogue.places]
        self.rest = _clusters(self.frames[0], self.places)
        self.radiators: list[list[Radiator]] = []
        self.radiator_of: list[NDArray[np.intp]] = []
        for column in options:
            models = list({one.radiator.name: one.radiator for one in column}.values())
            self.radiators.append(models)
            self.radiator_of.append(np.array([models.index(one.radiator) for one in column]))
        self.row = row_of(build)
        self.sets = self._coolants()
        self.bent = self._bent()

    def _frame(self, chosen: Sequence[Option]) -> Frame:
        rig = with_options(self.build, self.catalogue, chosen)
        return make_frame(Question(rig, (self.state,), self.position), self.state, UNIT)

    def _coolants(self) -> list[Coolant]:
        """Coolant of every set of radiators, the last place counting fastest."""
        shape = [len(models) for models in self.radiators]
        first = [
            [column[int(np.argmax(of == r))] for r in range(len(models))]
            for column, of, models in zip(self.options, self.radiator_of, self.radiators, strict=True)
        ]
        return [coolant_of(self._frame([first[p][i] for p, i in enumerate(index)])) for index in np.ndindex(*shape)]

    def _bent(self) -> str | None:
        """The radiator whose coolant's temperature counts: the first in the row that breathes enclosure air."""
        by_name = {path.name: path for path in self.build.air_paths}
        return next((name for name in self.row if by_name[name].source != ROOM), None)

    def role(self, paths: Sequence[str]) -> str:
        """How a place's drop counts, see `Terms`."""
        if self.bent is None or not any(name in self.row for name in paths):
            return "after"
        if self.bent in paths:
            return "inside" if len(paths) == 1 else "after"
        ranks = [self.row.index(name) for name in paths if name in self.row]
        return "before" if max(ranks) < self.row.index(self.bent) else "after"

    def root_cells(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Range of the enclosure's pressure and of its air over the room."""
        frame = self.frames[0]
        reach = max(float(root_box(one, price_count(one)).pressure.max(initial=0.0)) for one in self.frames)
        joined = len(self.build.enclosures) == 1
        limit = float(frame.enclosure_limit[0]) - frame.room_temp if joined else np.inf
        return (-reach, reach), (0.0, max(limit, 0.0) if joined else 1e4)


def _clusters(frame: Frame, chosen: Sequence[str]) -> list[list[str]]:
    """Names of the paths that nobody chooses; those that share groups stand together."""
    names = [path.name for path in frame.build.air_paths]
    clusters = [[names[i] for i in cluster.paths] for cluster in frame.clusters]
    return [cluster for cluster in clusters if not set(cluster) & set(chosen)]


@dataclass(frozen=True)
class Pool:
    """Coolant of one slice for every set of radiators at every pump step that falls into it; (sets, steps)."""

    energy: Floats
    asked: Floats
    heat: Floats

    def worth(self, prices: Floats) -> Floats:
        """Least value over the steps at prices (4, cells): (sets, cells)."""
        _, asked, _, warmth = prices
        value = np.full((len(self.energy), *asked.shape), np.inf)
        for energy, drop, heat in zip(self.energy.T, self.asked.T, self.heat.T, strict=True):
            with np.errstate(invalid="ignore"):
                found = energy[:, None] + asked * drop[:, None] + warmth * heat[:, None]
            value = np.fmin(value, np.where(np.isfinite(energy)[:, None], found, np.inf))
        return value


def coolant_slices(
    rig: Rig, sets: Sequence[Coolant], low: float, high: float, count: int
) -> Iterator[tuple[CoolantSlice, Pool]]:
    """Cut a range of capacity rates; slices without a pump step of any set are left out."""
    edges = np.geomspace(low, high, count + 1)
    edges[0], edges[-1] = low * (1.0 - 1e-9), high * (1.0 + 1e-9)
    extra = float(sum(np.asarray(watts) for watts in rig.state.air_heat.values()))
    for start, end in zip(edges[:-1], edges[1:], strict=True):
        picked = []
        for one in sets:
            inside = (one.capacity > start) & (one.capacity <= end) & np.isfinite(one.energy) & np.isfinite(one.asked)
            picked.append([column[inside] for column in (one.energy, one.asked, one.heat, one.flow, one.hottest)])
        longest = max(len(columns[0]) for columns in picked)
        if longest == 0:
            continue
        flow, hottest = (max(float(c[k].max(initial=0.0)) for c in picked) for k in (3, 4))
        most = max(float(c[1].max(initial=0.0)) for c in picked)
        energy, asks, heat = (
            np.array([np.pad(c[k], (0, longest - len(c[k])), constant_values=fill) for c in picked])
            for k, fill in ((0, np.inf), (1, most), (2, 0.0))
        )
        coolant = CoolantSlice(flow, float(start), float(end), hottest, most, bool(rig.row))
        yield coolant, Pool(energy, asks, heat + extra)


class Worth(NamedTuple):
    """Values at some prices; no combination has less than its sum."""

    places: tuple[Floats, ...]  # of every place, (options, cells)
    sets: Floats  # coolant and paths that nobody chooses, (sets of radiators, cells)

    @property
    def least(self) -> Floats:
        """No combination has less, (cells,)."""
        found: Floats = self.sets.min(axis=0) + np.sum([place.min(axis=0) for place in self.places], axis=0)
        return found


@dataclass(frozen=True)
class Part:
    """One slice of coolant with everything that may stand in it."""

    pool: Pool
    places: tuple[Terms, ...]
    rest: tuple[Terms, ...]

    def take(self, cells: NDArray[np.intp]) -> Part:
        """The picked cells."""
        return Part(self.pool, tuple(t.take(cells) for t in self.places), tuple(t.take(cells) for t in self.rest))

    def worth(self, prices: Floats) -> Worth:
        """What every option of every place, and every set of radiators, is worth at prices (4, cells)."""
        rest = np.sum([terms.worth(prices)[0] for terms in self.rest], axis=0)
        return Worth(tuple(terms.worth(prices) for terms in self.places), self.pool.worth(prices) + rest)

    def raised(self, prices: Floats, scales: Floats, chosen: Sequence[NDArray[np.intp]], goal: float) -> Floats:
        """Search prices at which some options of every place, (some, cells), are worth much, or enough: (4, cells)."""
        terms = [*(one.at(options) for one, options in zip(self.places, chosen, strict=True)), *self.rest]

        def value(at: Floats) -> Floats:
            total: Floats = self.pool.worth(at).min(axis=0)
            for one in terms:
                total = total + one.worth(at).min(axis=0)
            return total

        best, prices = value(prices), prices.copy()
        moves = np.concatenate([np.eye(PRICES), [[1.0, 1.0, 0.0, 0.0]]])
        for size in ROUNDS:
            for move in [sign * one * scales for one in moves for sign in (1.0, -1.0) if np.any(one * scales)]:
                trial = prices + size * move[:, None]
                trial[[0, 1, 3]] = np.maximum(trial[[0, 1, 3]], 0.0)
                trial[0] = np.minimum(trial[0], MOST_BEFORE * trial[1])
                found = value(trial)
                better = (found > best) & (best < goal)
                best = np.where(better, found, best)
                prices = np.where(better, trial, prices)
        return prices


def known_coolant(
    sets: Sequence[Coolant], near: float, span: tuple[float, float], row: bool
) -> tuple[float, float, float]:
    """Least temperature over the room, capacity rate and flow of coolant that is within `near` of its hottest."""
    coldest, capacity, flow = [], [], []
    for one in sets:
        inside = (one.capacity > span[0]) & (one.capacity <= span[1]) & np.isfinite(one.asked)
        inside &= np.isfinite(one.energy)
        if np.any(inside):
            least = one.least_capacity[inside]
            coldest.append(float((one.hottest[inside] - near - one.heat[inside] / least).min()))
            capacity.append(float(least.min()))
            flow.append(float(one.least_flow[inside].min()))
    if not row or not coldest:
        return 0.0, 0.0, 0.0
    return max(min(coldest), 0.0), min(capacity), min(flow)


def first_prices(rig: Rig, goal: float) -> tuple[Floats, Floats]:
    """Prices to start from and the scales of their search, from a noise energy that is about right."""
    asked = min(float(one.asked.min()) for one in rig.sets)
    heat = max(float(one.heat.max()) for one in rig.sets)
    flow = max(options.flow_scale for frame in rig.frames for options in frame.paths)
    price = STEEPNESS * goal / max(asked, 1e-9)
    scales = np.array([0.5 * price, 0.5 * price, STEEPNESS * goal / flow, 0.3 * STEEPNESS * goal / max(heat, 1.0)])
    if len(rig.build.enclosures) != 1:
        scales[2:] = 0.0  # conditions 2 and 3 are of one enclosure
    if rig.bent is None:
        scales[0] = 0.0
    return np.array([price if rig.bent else 0.0, price, 0.0, 0.0]), scales
