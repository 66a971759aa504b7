"""From coarse slices to fine ones: a bound on every combination, as fine as a goal asks for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.choose.bound import Part, Rig, Worth, coolant_slices, first_prices, known_coolant
from quietcool.decide.choose.places import Cells, Working, workings
from quietcool.decide.choose.prices import terms_of

Floats = NDArray[np.float64]

TRIES = 4
PRESSURES, TEMPS = 16, 6  # first cells of the enclosure
TRIAL_PRESSURES = 24  # slices in which air can be balanced at all
NEAR = 1.0  # coolant that is within this of its hottest is looked at apart: it is known to be warm [K]


class Node(NamedTuple):
    """A slice of coolant with the cells and options that are still open in it."""

    capacity: tuple[float, float]  # range of the coolant's capacity rate [W/K]
    cells: Cells
    options: tuple[NDArray[np.intp], ...]  # of every place
    colder: float  # the coolant is at least this much colder than its hottest [K]
    near: float  # and at most this much [K]


@dataclass(frozen=True)
class Bounds:
    """Sums over the places for every open cell; what a combination has at least is their least, see `of_all`."""

    places: tuple[Floats, ...]  # of every place, (cells, prices, all options), inf for struck ones [-]
    sets: Floats  # coolant and paths that nobody chooses, (cells, prices, sets of radiators) [-]
    closed: float  # no combination has less in any other cell [-]

    def of_all(self, set_of: NDArray[np.intp]) -> Floats:
        """Bound of every combination, an axis for each place: least over the cells of the greatest over the prices."""
        least: Floats = np.full(set_of.shape, self.closed)
        for number in range(len(self.sets)):
            best: Floats = np.full(set_of.shape, -np.inf)
            for k in range(self.sets.shape[1]):
                whole = self.sets[number, k][set_of]
                for axis, place in enumerate(self.places):
                    whole = whole + place[number, k].reshape([-1 if i == axis else 1 for i in range(set_of.ndim)])
                best = np.maximum(best, whole)
            least = np.minimum(least, best)
        return least


def root_node(rig: Rig) -> Node:
    """Everything that may hold a setting: pressures at which air can enter as much as it leaves, all coolant flows."""
    every = [c for one in rig.sets for c in one.capacity[np.isfinite(one.energy) & np.isfinite(one.asked)]]
    options = tuple(np.arange(len(column)) for column in rig.options)
    (low, high), temp = rig.root_cells()
    if len(rig.build.enclosures) != 1:
        cells = Cells(np.array([[low, high]]), np.array([temp]))
    else:
        edges = high * np.sinh(np.linspace(-7.0, 7.0, TRIAL_PRESSURES + 1)) / np.sinh(7.0)
        trial = Cells(np.stack([edges[:-1], edges[1:]], axis=-1), np.tile(temp, (TRIAL_PRESSURES, 1)))
        balanced = np.flatnonzero(_balanced(rig, trial))
        low, high = (edges[balanced[0]], edges[balanced[-1] + 1]) if balanced.size else (low, high)
        pressure, warm = np.linspace(low, high, PRESSURES + 1), np.linspace(*temp, TEMPS + 1)
        p, t = (axis.ravel() for axis in np.indices((PRESSURES, TEMPS)))
        cells = Cells(np.stack([pressure[p], pressure[p + 1]], axis=-1), np.stack([warm[t], warm[t + 1]], axis=-1))
    span = (min(every, default=1.0) * (1.0 - 1e-6), max(every, default=2.0) * (1.0 + 1e-6))
    return Node(span, cells, options, 0.0, np.inf)


def _balanced(rig: Rig, cells: Cells) -> NDArray[np.bool_]:
    """Cells in which some options at some speeds let as much air in as out."""
    low, high = np.zeros(cells.count), np.zeros(cells.count)
    for column, name in zip(rig.options, rig.places, strict=True):
        entering = [workings(rig.frames[k], [name], cells, np.inf)[0].entering for k in range(len(column))]
        low += np.min([one[..., 0].min(axis=1) for one in entering], axis=0)
        high += np.max([one[..., 1].max(axis=1) for one in entering], axis=0)
    for names in rig.rest:
        for one in workings(rig.frames[0], names, cells, np.inf):
            low, high = low + one.entering[..., 0].min(axis=1), high + one.entering[..., 1].max(axis=1)
    return np.asarray((low <= 0.0) & (high >= 0.0))


def set_numbers(rig: Rig) -> NDArray[np.intp]:
    """Number of the set of radiators of every combination, an axis for each place."""
    shape = [len(models) for models in rig.radiators]
    return np.asarray(np.ravel_multi_index(np.ix_(*rig.radiator_of), shape), dtype=np.intp)


def examine(rig: Rig, node: Node, goal: float, slices: int, tries: int = TRIES) -> tuple[list[Node], Bounds]:
    """Bound every cell of a node; return the slices of coolant that stay open, and the bounds of their cells.

    Parameters
    ----------
    rig : Rig
        The catalogue in its rig.
    node : Node
        What to look at.
    goal : float
        Noise energy from which a cell, or an option in it, is closed. [-]
    slices : int
        Of the coolant.
    tries : int
        How many prices each cell gets besides the first.
    """
    start, scales = first_prices(rig, goal)
    sets = [one._replace(hottest=one.hottest - node.colder) for one in rig.sets]
    coldest, capacity, flow = known_coolant(sets, node.near, node.capacity, bool(rig.row))
    cells = replace(node.cells, coldest=coldest, capacity=capacity, coolant_flow=flow)
    numbers = set_numbers(rig)[np.ix_(*node.options)]
    tables, rest = _tables(rig, node, cells, goal)
    found: list[Node] = []
    bounds: list[Bounds] = []
    for coolant, pool in coolant_slices(rig, sets, *node.capacity, slices):
        part = Part(
            pool,
            tuple(terms_of(t, rig.role([n]), cells, coolant) for n, t in zip(rig.places, tables, strict=True)),
            tuple(terms_of([paths], rig.role([one.path for one in paths]), cells, coolant) for paths in rest),
        )
        values = _values(part, start, scales, goal, tries)
        kept, options, bound = _still_open(rig, node, numbers, values, goal)
        bounds.append(bound)
        if kept.size:
            found.append(Node((coolant.low, coolant.high), node.cells.take(kept), options, node.colder, node.near))
    return found, joined(bounds, len(rig.places))


def _tables(rig: Rig, node: Node, cells: Cells, goal: float) -> tuple[list[list[list[Working]]], list[list[Working]]]:
    """What the open options of every place do, and what the paths that nobody chooses do."""
    chosen = [
        [workings(rig.frames[int(k)], [name], cells, goal) for k in picked]
        for name, picked in zip(rig.places, node.options, strict=True)
    ]
    return chosen, [workings(rig.frames[0], names, cells, goal) for names in rig.rest]


def _values(part: Part, start: Floats, scales: Floats, goal: float, tries: int) -> tuple[tuple[Floats, ...], Floats]:
    """Worth of every open option, (prices, options, cells), and of every set of radiators, at prices that suit.

    Each time prices are raised for the options that the last ones left too cheap, in the cells that are still open.
    """
    count = part.places[0].energy.shape[1]
    prices = np.repeat(start[:, None], count, axis=1)
    now = part.worth(prices)
    before, best = now, now.least
    seen = [np.zeros((0, count), dtype=np.intp) for _ in part.places]
    for _ in range(tries):
        open_cells = np.flatnonzero(best < goal)
        if open_cells.size == 0:
            break
        cheap = [place.argmin(axis=0)[None] for place in now.places]
        seen = [np.vstack([old, new]) for old, new in zip(seen, cheap, strict=True)]
        inside = part.take(open_cells)
        raised = inside.raised(prices[:, open_cells], scales, [one[:, open_cells] for one in seen], goal)
        prices[:, open_cells] = raised
        new = inside.worth(raised)
        before, now = now, _patched(now, new, open_cells)
        best = np.maximum(best, now.least)
    places = tuple(np.stack([old, new]) for old, new in zip(before.places, now.places, strict=True))
    return places, np.stack([before.sets, now.sets])


def _patched(old: Worth, new: Worth, cells: NDArray[np.intp]) -> Worth:
    """The old values with new ones in some cells."""
    whole = Worth(tuple(place.copy() for place in old.places), old.sets.copy())
    for place, fresh in zip(whole.places, new.places, strict=True):
        place[:, cells] = fresh
    whole.sets[:, cells] = new.sets
    return whole


def _still_open(
    rig: Rig, node: Node, numbers: NDArray[np.intp], values: tuple[tuple[Floats, ...], Floats], goal: float
) -> tuple[NDArray[np.intp], tuple[NDArray[np.intp], ...], Bounds]:
    """Cells that may hold something below the goal, options that may in one of them, and the bounds of these cells."""
    places, sets = values
    used = np.unique(numbers)
    rest = sets[:, used].min(axis=1)
    least = [place.min(axis=1) for place in places]
    with np.errstate(invalid="ignore"):  # where nothing is open in a cell infinities meet
        whole = rest + np.sum(least, axis=0)
    by_cell = whole.max(axis=0)
    kept = np.flatnonzero(by_cell < goal)
    closed = float(by_cell[by_cell >= goal].min(initial=np.inf))
    options = []
    full = []
    for place, own, picked, column in zip(places, least, node.options, rig.options, strict=True):
        value = (place[:, :, kept] + (whole[:, kept] - own[:, kept])[:, None]).max(axis=0)  # (options, cells)
        stays = np.any(value < goal, axis=1) if kept.size else np.zeros(picked.size, dtype=np.bool_)
        closed = min(closed, float(value[~stays].min(initial=np.inf)))
        options.append(picked[stays])
        wide = np.full((kept.size, len(place), len(column)), np.inf)
        wide[:, :, picked[stays]] = np.moveaxis(place[:, stays][:, :, kept], 2, 0)
        full.append(wide)
    return kept, tuple(options), Bounds(tuple(full), np.moveaxis(sets[:, :, kept], 2, 0), closed)


def joined(parts: Sequence[Bounds], places: int) -> Bounds:
    """Bounds of several slices together."""
    full = [one for one in parts if len(one.sets)]
    closed = min((one.closed for one in parts), default=np.inf)
    if not full:
        return Bounds(tuple(np.zeros((0, 1, 1)) for _ in range(places)), np.zeros((0, 1, 1)), closed)
    return Bounds(
        tuple(np.concatenate([one.places[i] for one in full]) for i in range(places)),
        np.concatenate([one.sets for one in full]),
        closed,
    )
