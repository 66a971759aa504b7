"""Propagation: work out the ranges of boxes, shrink them, and drop the boxes that can hold nothing better.

Whatever is dropped, no setting quieter than the goal can use: the rules are in `shrinking.py`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.boxes import Boxes, Flags
from quietcool.decide.bound.energies import load_factor
from quietcool.decide.bound.frame import Frame
from quietcool.decide.bound.ranges import PathRanges, RingRanges, path_ranges, ring_ranges
from quietcool.decide.bound.shrinking import Shrinking, least_from

Floats = NDArray[np.float64]

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
    cooler = replace(boxes, coolant_temp=coolant)
    allowed = _quiet_enough(frame, boxes, goal)
    paths = []
    for index, options in enumerate(frame.paths):
        cluster = frame.cluster_of[index]
        possible = options.used_by(allowed[cluster])
        found = path_ranges(frame, cooler, index, possible, ring, from_afar=from_afar)
        allowed[cluster] &= options.at_cluster(found.possible)
        paths.append(found)
    energy = [_cluster_energy(frame, number, paths, np.where(a, 0.0, np.inf)) for number, a in enumerate(allowed)]
    state = Shrinking(frame, boxes, ring, tuple(paths), coolant, boxes.air_temp.copy(), allowed, energy)
    with np.errstate(all="ignore"):  # boxes without options left carry infinities until they go
        for _ in range(ROUNDS):
            state.strike_by_mass()
            state.strike_by_noise(goal)
            state.strike_by_heat()
            state.shrink_coolant()
            state.shrink_air()
    alive = state.alive()
    quietest = least_from(frame.pump_energy, boxes.pump) + np.sum([e.min(axis=1) for e in state.energy], axis=0)
    shrunk = replace(
        boxes,
        bound=np.maximum(boxes.bound, quietest),
        coolant_temp=state.coolant,
        air_temp=state.air_temp,
        allowed=tuple(state.allowed),
        flow=tuple(p.flow for p in paths),
        conductance=tuple(p.conductance for p in paths),
    )
    return pick(Examined(shrunk, ring, tuple(paths), tuple(state.energy)), np.flatnonzero(alive))


def _quiet_enough(frame: Frame, boxes: Boxes, goal: Floats | float) -> list[Flags]:
    """Options that are not too loud even at the least load adders: struck before anything dearer is worked out."""
    energy = [np.where(a, own, np.inf) for a, own in zip(boxes.allowed, least_energies(frame), strict=True)]
    least = [e.min(axis=1) for e in energy]
    rest = least_from(frame.pump_energy, boxes.pump) + np.sum(least, axis=0)
    with np.errstate(invalid="ignore"):
        return [e + (rest - low)[:, None] < np.reshape(goal, (-1, 1)) for e, low in zip(energy, least, strict=True)]


def least_energies(frame: Frame) -> list[Floats]:
    """Noise energy of every option of every cluster at the least load adders, (options,) each [-]."""
    found = []
    for cluster in frame.clusters:
        own = np.zeros(cluster.count)
        for path in cluster.paths:
            options = frame.paths[path]
            for row in options.rows:
                least_factor = min(1.0, load_factor(row.load_adder, np.zeros(1))[0])
                own = own + (row.energy * least_factor)[options.option_of_cluster]
        found.append(own)
    return found


def pick(seen: Examined, picked: NDArray[np.intp]) -> Examined:
    """The picked boxes."""
    return Examined(
        seen.boxes.take(picked),
        seen.ring.take(picked),
        tuple(path.take(picked) for path in seen.paths),
        tuple(energy[picked] for energy in seen.energy),
    )


def _cluster_energy(frame: Frame, number: int, paths: list[PathRanges], start: Floats) -> Floats:
    energy = start
    for path in frame.clusters[number].paths:
        energy = energy + frame.paths[path].at_cluster(paths[path].energy)
    return energy
