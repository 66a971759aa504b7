"""Settings of the step grid round the end of a descent, with what its picture forecasts of them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.descent import Descent
from quietcool.decide.question import Question

Floats = NDArray[np.float64]
Steps = NDArray[np.intp]

ROUNDING = 1e-9  # of a place, in parts of the range


class Nearby(NamedTuple):
    """Settings and their forecasts; a setting is named by its number."""

    choices: tuple[Steps, ...]  # steps of every group, rising; the settings are all their combinations
    slower: tuple[NDArray[np.bool_], ...]  # whether each of them is slower than the end of the descent
    level: Floats  # (settings,) [dB(A)]
    least: Floats  # smallest margin, (settings,)

    def steps(self, numbers: Steps) -> Steps:
        """Steps of settings, (settings, groups + 1)."""
        places = np.unravel_index(numbers, [choice.size for choice in self.choices])
        return np.stack([choice[at] for choice, at in zip(self.choices, places, strict=True)], axis=-1)

    def faster(self) -> NDArray[np.bool_]:
        """Whether no group is slower than at the end of the descent, (settings,)."""
        found = np.ones(1, dtype=np.bool_)
        for slower in self.slower:
            found = (found[:, None] & ~slower).reshape(-1)
        return found


def nearby(
    question: Question,
    ranges: Floats,
    end: Descent,
    stopped: NDArray[np.bool_],
    most: int,
    widest: int | None = None,
) -> Nearby:
    """Forecast the settings round the end of a descent.

    Parameters
    ----------
    question : Question
        Whose step grids.
    ranges : ndarray, (2, groups + 1)
        Lowest and highest turning speed. [rev/s]
    end : Descent
        Place and picture.
    stopped : ndarray, (groups + 1,)
        Groups at rest: they stay so.
    most : int
        About so many settings; fewer steps of each group where groups are many.
    widest : int, optional
        Steps of one group at most.

    Returns
    -------
    Nearby
    """
    turning_groups = max(int(np.count_nonzero(~stopped)), 1)
    width = max(2, int(float(most) ** (1.0 / turning_groups) + ROUNDING))
    width = width if widest is None else min(width, widest)
    span = np.where(ranges[1] > ranges[0], ranges[1] - ranges[0], 1.0)
    choices, places = [], []
    for i, (grid, still) in enumerate(zip(question.grids, stopped, strict=True)):
        allowed = np.flatnonzero((grid == 0.0) if still else (grid > 0.0) | (grid.size == 1))
        at = (grid[allowed] - ranges[0, i]) / span[i]
        near = np.sort(np.argsort(np.abs(at - end.place[i]), kind="stable")[: 1 if still else width])
        choices.append(allowed[near])
        places.append(np.full(1, end.place[i]) if still else at[near])
    level, margins = end.forecast_all(places)
    slower = tuple(place < here - ROUNDING for place, here in zip(places, end.place, strict=True))
    return Nearby(tuple(choices), slower, level, margins.min(axis=1, initial=np.inf))
