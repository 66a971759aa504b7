"""Boxes with few settings left: these are listed and solved, which closes a box that no prices close.

The bound mixes options, so that between two steps of a group it stays below every setting however small the box is.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.boxes import Boxes
from quietcool.decide.bound.frame import Frame

Floats = NDArray[np.float64]
Steps = NDArray[np.intp]

MOST_LISTED = 20_000  # combinations of a box that are looked through
FEW_SETTINGS, MANY_SETTINGS = 100, 3000  # of a box that are solved: few while it is young, for splitting may close it
YOUNG, OLD = 6, 18  # depths between which the number grows


def combinations(boxes: Boxes) -> Floats:
    """Number of settings that every box still allows, (boxes,)."""
    counts = np.prod([allowed.sum(axis=1, dtype=np.float64) for allowed in boxes.allowed], axis=0)
    found: Floats = counts * (boxes.pump[:, 1] - boxes.pump[:, 0] + 1)
    return found


def most_settings(depth: int) -> float:
    """How many settings of a box are worth solving."""
    return float(np.exp(np.interp(depth, [YOUNG, OLD], np.log([FEW_SETTINGS, MANY_SETTINGS]))))


def leaf_settings(frame: Frame, boxes: Boxes, energy: tuple[Floats, ...], box: int, goal: float) -> Steps | None:
    """List the settings of a box that may be quieter than a goal.

    Parameters
    ----------
    frame : Frame
        Exact: every option one setting of its groups.
    boxes : Boxes
        Any number.
    energy : tuple of ndarray, (boxes, options) each
        Least noise energy of every option of every cluster in each box. [-]
    box : int
        Which box.
    goal : float
        Noise energy. [-]

    Returns
    -------
    ndarray, (settings, groups + 1), or None
        Steps of all groups; None where there are too many.
    """
    pump = np.arange(boxes.pump[box, 0], boxes.pump[box, 1] + 1)
    total = frame.pump_energy[pump]
    columns = [pump]
    for number in range(len(frame.clusters)):
        options = np.flatnonzero(boxes.allowed[number][box])
        if total.size * options.size > MOST_LISTED:
            return None
        total = (total[:, None] + energy[number][box, options]).reshape(-1)
        columns = [np.repeat(column, options.size) for column in columns] + [np.tile(options, columns[0].size)]
        quiet = total < goal
        total, columns = total[quiet], [column[quiet] for column in columns]
    if total.size > most_settings(int(boxes.depth[box])):
        return None
    steps = np.zeros((total.size, sum(len(cluster.groups) for cluster in frame.clusters) + 1), dtype=np.intp)
    steps[:, -1] = columns[0]
    for cluster, chosen in zip(frame.clusters, columns[1:], strict=True):
        for place, group in enumerate(cluster.groups):
            steps[:, group] = cluster.steps[chosen, place]
    return steps
