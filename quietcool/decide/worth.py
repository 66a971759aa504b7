"""What binds the quietest setting, and what each limit and each watt is worth.

Worth is the derivative of the continuous optimum: the descent is repeated from the optimum with a limit, or the
heat of a source, moved a little either way, all repetitions as one batch.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.descent import Descent, descend_together
from quietcool.decide.limits import SCALES
from quietcool.decide.question import Question

Floats = NDArray[np.float64]

BINDS = 0.15  # a margin below this part of its scale binds, at the continuous optimum
MOVE = 0.25  # of a limit, in parts of its scale
HEAT_MOVE = 2.5  # of a source [W]
PER_10_W = 10.0
PRECISION = 1e-5  # of a repeated descent's level [dB]
TRUSTED_MARGIN = -1e-3  # a repeated descent that ends below it has not kept its limits


class Binding(NamedTuple):
    """A limit that binds, or the heat of a source, with its worth."""

    state: str
    limit: str  # name of the limit, or "heat of <source>"
    margin: float  # at the printed speeds; 0 for heats [K, L/min or dB]
    unit: str  # of the margin
    worth_db_per_k: float | None  # level gained for one kelvin of a temperature limit [dB/K]
    worth_db_per_10_w: float | None  # level gained for 10 W less of a source's heat [dB/10 W]


def find_worth(
    question: Question, ranges: Floats, stopped: NDArray[np.bool_], optimum: Descent, printed_margins: Floats
) -> tuple[Binding, ...]:
    """Binding limits and sources of a setting, dearest first.

    Parameters
    ----------
    question : Question
        What was asked.
    ranges : ndarray, (2, groups + 1)
        Lowest and highest turning speeds. [rev/s]
    stopped : ndarray, (groups + 1,)
        Groups that rest in the setting.
    optimum : Descent
        Continuous optimum near the setting.
    printed_margins : ndarray, (limits,)
        Margins at the printed speeds, in parts of `SCALES`.

    Returns
    -------
    tuple of Binding
    """
    names, units = question.limit_names, question.limit_units
    binding = [i for i in range(len(names)) if optimum.margins[i] < BINDS]
    if not binding:
        return ()
    heats = [
        (state.name, source) for state in question.states for source, watts in state.heat.items() if np.all(watts > 0)
    ]
    moved = [("limit", i) for i in binding] + [("heat", i) for i in range(len(heats))]
    slopes = _slopes(question, ranges, stopped, optimum, moved, heats)
    found = []
    for (kind, i), slope in zip(moved, slopes, strict=True):
        if kind == "limit":
            scale = _printed_scale(units[i])
            per_k = -slope / MOVE if units[i] == "K" else None
            found.append(Binding(*names[i], float(printed_margins[i]) * scale[0], scale[1], per_k, None))
        else:
            state, source = heats[i]
            found.append(Binding(state, f"heat of {source}", 0.0, "W", None, slope * PER_10_W / HEAT_MOVE))
    return tuple(found)


def _printed_scale(unit: str) -> tuple[float, str]:
    """What a scaled margin is multiplied by to be printed, and the unit it then has."""
    return {"K": (SCALES["K"], "K"), "m3/s": (SCALES["m3/s"] * 60e3, "L/min"), "dB": (SCALES["dB"], "dB")}[unit]


def _slopes(
    question: Question,
    ranges: Floats,
    stopped: NDArray[np.bool_],
    optimum: Descent,
    moved: list[tuple[str, int]],
    heats: list[tuple[str, str]],
) -> list[float]:
    """Change of the optimal level by one move of each item (limits looser, heats higher), central where that works."""
    signs = [(item, sign) for item in moved for sign in (1.0, -1.0)]
    rows = len(signs) + 1  # the last one is the optimum itself, as exact as the others
    limit_shift = np.zeros((rows, len(question.limit_names)))
    heat_shift = {pair: np.zeros(rows) for pair in heats}
    for row, ((kind, i), sign) in enumerate(signs):
        if kind == "limit":
            limit_shift[row, i] = sign * MOVE
        else:
            heat_shift[heats[i]][row] = sign * HEAT_MOVE

    def ask(places: Floats, owners: NDArray[np.intp]) -> tuple[Floats, Floats]:
        speeds = np.where(stopped, 0.0, ranges[0] + places * (ranges[1] - ranges[0]))
        level, margins = question.ask(speeds, heat_change={pair: watts[owners] for pair, watts in heat_shift.items()})
        return level, margins + limit_shift[owners]

    starts = np.repeat(optimum.place[None], rows, axis=0)
    ends = descend_together(ask, starts, ranges, resting=np.broadcast_to(stopped, starts.shape), precision=PRECISION)
    slopes = []
    level = ends.pop().level
    for up, down in zip(ends[::2], ends[1::2], strict=True):
        sound = [end.margins.min(initial=0.0) >= TRUSTED_MARGIN for end in (up, down)]
        if all(sound):
            slopes.append(0.5 * (up.level - down.level))
        else:
            slopes.append(up.level - level if sound[0] else level - down.level if sound[1] else np.nan)
    return slopes
