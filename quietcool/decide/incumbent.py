"""The quietest setting that a search finds: gradient descents between the steps, then exact descent on the grid."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.descent import Descent, descend_together
from quietcool.decide.question import Question

Floats = NDArray[np.float64]
Steps = NDArray[np.intp]

SCREENED = 32  # places looked at before the descents, for every choice of stopped groups
STARTS = 6  # descents where no group may stop
STARTS_WITH_STOPS = 2  # descents for every choice of stopped groups
MOST_STOP_CHOICES = 16
PENALTY = 3.0  # of a margin of -1 in the screening [dB]
POLISHED = 3  # descents whose end is carried to the grid
NEARLY = 0.05  # margin that a descent's end, or a forecast, may lack
MOST_FORECASTS = 100_000
EXACT_AT_ONCE = 48
EXACT_ROUNDS = 4
SLACK_RANGE = 50.0  # margins that the search for the least violated setting may give away
PAIR_MOVES = ((1, 1), (2, 1), (1, 2), (2, 2), (3, 1), (1, 3), (3, 2), (2, 3))
MANY_GROUPS = 5  # with more, fewer pair moves are tried at once


class Incumbent(NamedTuple):
    """One setting on the step grid."""

    steps: Steps  # index into the grid of every group, (groups + 1,)
    level: float  # [dB(A)]
    margins: Floats  # (limits,)

    @property
    def worst_margin(self) -> float:
        """Least margin; infinite where there are no limits."""
        return float(self.margins.min(initial=np.inf))


class Search(NamedTuple):
    """What the search has found."""

    best: Incumbent  # the quietest feasible setting, else the least violated one
    ends: tuple[tuple[Descent, tuple[bool, ...]], ...]  # descents, best first, with the groups that rest in each

    def optimum_near(self, place: Floats, stopped: NDArray[np.bool_]) -> Descent | None:
        """The end of a descent nearest to a place, among those with the same groups at rest; None if there is none."""
        same = [end for end, still in self.ends if still == tuple(stopped) and end.margins.min(initial=0.0) > -NEARLY]
        return min(same, key=lambda end: float(np.abs(end.place - place).max()), default=None)


def find_incumbent(question: Question, report: Callable[[float], None] = lambda part: None) -> Search:
    """Search the quietest setting on the step grid that keeps every limit.

    Parameters
    ----------
    question : Question
        What is asked.
    report : callable
        Told the part that is done, 0 to 1.

    Returns
    -------
    Search
        Where no feasible setting was found, `best` is the least violated one (its worst margin is negative).
    """
    ranges = turning_ranges(question)
    choices = stop_choices(question)
    starts, owners = _screen(question, ranges, choices)
    report(0.2)
    ends = descend_together(
        lambda places, index: question.ask(turning_speeds(places, ranges, choices[owners[index]])), starts
    )
    report(0.6)
    pairs = sorted(
        zip(ends, owners, strict=True), key=lambda pair: (pair[0].margins.min(initial=0.0) < -NEARLY, pair[0].level)
    )
    best: Incumbent | None = None
    for end, owner in _distinct(pairs)[:POLISHED]:
        found = _carry_to_grid(question, ranges, choices[owner], end)
        if found is not None:  # a setting that lacks a little is mended by the same moves that make others quieter
            best = _better(best, descend_on_grid(question, found))
    report(0.8)
    if best is None or best.worst_margin < 0.0:
        best = _better(best, descend_on_grid(question, _least_violated(question, ranges, choices)))
    report(1.0)
    return Search(best, tuple((end, tuple(choices[owner].tolist())) for end, owner in pairs))


def turning_ranges(question: Question) -> Floats:
    """Lowest and highest turning speed of every group, (2, groups + 1) [rev/s]."""
    turning = [grid[grid > 0.0] if np.any(grid > 0.0) else grid for grid in question.grids]
    return np.array([[grid[0] for grid in turning], [grid[-1] for grid in turning]])


def turning_speeds(places: Floats, ranges: Floats, stopped: NDArray[np.bool_]) -> Floats:
    """Speeds at places in parts of the range, 0 for groups that rest [rev/s]."""
    return np.where(stopped, 0.0, ranges[0] + places * (ranges[1] - ranges[0]))


def stop_choices(question: Question) -> NDArray[np.bool_]:
    """Which groups stand still, one row a choice; fewest first, and not more than the search can afford."""
    may = [grid[0] == 0.0 for grid in question.grids]
    rows = sorted(itertools.product(*([False, True] if stop else [False] for stop in may)), key=sum)
    return np.array(rows[:MOST_STOP_CHOICES])


def _screen(question: Question, ranges: Floats, choices: NDArray[np.bool_]) -> tuple[Floats, Steps]:
    """Look at places spread evenly over the ranges and keep the best of every stop choice as starts."""
    n = ranges.shape[1]
    places = np.concatenate([spread(SCREENED - 3, n), np.full((1, n), 0.3), np.full((1, n), 0.6), np.ones((1, n))])
    all_speeds = np.concatenate([turning_speeds(places, ranges, stopped) for stopped in choices])
    level, margins = question.ask(all_speeds)
    lacking = np.maximum(-margins, 0.0).max(axis=1, initial=0.0)
    merit = (level + PENALTY * np.minimum(lacking, SLACK_RANGE)).reshape(len(choices), -1)
    kept = STARTS if len(choices) == 1 else STARTS_WITH_STOPS
    starts, owners = [], []
    for owner, row in enumerate(merit):
        order = np.argsort(row, kind="stable")[:kept]
        starts.append(places[order])
        owners += [owner] * len(order)
    return np.concatenate(starts), np.array(owners)


def spread(count: int, n: int) -> Floats:
    """Places spread evenly over the unit cube: the additive recurrence of Roberts with the generalised golden ratio."""
    ratio = 2.0
    for _ in range(60):
        ratio = (1.0 + ratio) ** (1.0 / (n + 1.0))
    places: Floats = (0.5 + np.arange(1, count + 1)[:, None] * ratio ** -np.arange(1.0, n + 1.0)) % 1.0
    return places


def _distinct(pairs: list[tuple[Descent, np.intp]]) -> list[tuple[Descent, np.intp]]:
    """Drop ends that have come to the same place as a better one."""
    kept: list[tuple[Descent, np.intp]] = []
    for end, owner in pairs:
        if not any(o == owner and np.max(np.abs(e.place - end.place)) < 1e-3 for e, o in kept):
            kept.append((end, owner))
    return kept


def _carry_to_grid(question: Question, ranges: Floats, stopped: NDArray[np.bool_], end: Descent) -> Incumbent | None:
    """Forecast the settings near a descent's end by its slopes, solve the most promising exactly, keep the best.

    Where none of those is feasible, the one that lacks least; None where nothing near looks promising.
    """
    steps = _neighbours(question, turning_speeds(end.place, ranges, stopped), stopped)
    span = np.where(ranges[1] > ranges[0], ranges[1] - ranges[0], 1.0)
    speeds = grid_speeds(question, steps)
    move = np.where(stopped, 0.0, (speeds - ranges[0]) / span - end.place)
    forecast = end.level + move @ end.level_slope
    margins = end.margins + move @ end.margin_slope.T
    least = margins.min(axis=1, initial=np.inf)
    order = np.argsort(forecast, kind="stable")
    near, safe = (order[least[order] >= slack] for slack in (-NEARLY, 0.0))
    half = EXACT_AT_ONCE // 2
    best: Incumbent | None = None
    for place in range(0, EXACT_ROUNDS * half, half):
        # Half from those that the forecast calls safe: of those that it calls nearly safe all may fail.
        batch = np.unique(np.concatenate([near[place : place + half], safe[place : place + half]]))
        if batch.size == 0:
            break
        if best is not None and best.worst_margin >= 0.0 and forecast[batch].min() > best.level:
            break
        best = _better(best, best_of(question, steps[batch]))
    return best


def _better(one: Incumbent | None, other: Incumbent) -> Incumbent:
    """The quieter of two feasible settings, the feasible one of two, the one that lacks less of two others."""
    if one is None:
        return other
    if min(one.worst_margin, other.worst_margin) >= 0.0:
        return one if one.level <= other.level else other
    return one if one.worst_margin >= other.worst_margin else other


def _neighbours(question: Question, speeds: Floats, stopped: NDArray[np.bool_]) -> Steps:
    """Grid settings round given speeds, (settings, groups + 1); narrower where groups are many."""
    grids = question.grids
    width = max(2, int(MOST_FORECASTS ** (1.0 / len(grids))))
    choices = []
    for grid, speed, still in zip(grids, speeds, stopped, strict=True):
        if still:
            choices.append(np.zeros(1, dtype=np.intp))
            continue
        turning = np.flatnonzero(grid > 0.0) if np.any(grid > 0.0) else np.arange(grid.size)
        near = np.argsort(np.abs(grid[turning] - speed), kind="stable")[:width]
        choices.append(np.sort(turning[near]))
    return np.stack([axis.ravel() for axis in np.meshgrid(*choices, indexing="ij")], axis=-1)


def grid_speeds(question: Question, steps: Steps) -> Floats:
    """Speeds of settings given as steps, (settings, groups + 1) [rev/s]."""
    return np.stack([grid[steps[:, i]] for i, grid in enumerate(question.grids)], axis=-1)


def best_of(question: Question, steps: Steps) -> Incumbent:
    """Solve settings exactly; the quietest feasible one, else the least violated."""
    level, margins = question.ask(grid_speeds(question, steps))
    worst = margins.min(axis=1, initial=np.inf)
    feasible = worst >= 0.0
    pick = np.argmin(np.where(feasible, level, np.inf)) if np.any(feasible) else np.argmax(worst)
    return Incumbent(steps[pick], float(level[pick]), margins[pick])


def descend_on_grid(question: Question, start: Incumbent) -> Incumbent:
    """Descend by moves of single groups and pairs until none is better; each is solved exactly."""
    best, seen = start, {start.steps.tobytes()}
    while True:
        moves = [steps for steps in moves_from(question, best) if steps.tobytes() not in seen]
        if not moves:
            return best
        seen.update(steps.tobytes() for steps in moves)
        found = best_of(question, np.array(moves))
        if best.worst_margin < 0.0:
            better = found.worst_margin > best.worst_margin
        else:
            better = found.worst_margin >= 0.0 and found.level < best.level
        if not better:
            return best
        best = found


def moves_from(question: Question, start: Incumbent) -> list[Steps]:
    """Settings one move away: a group slower, one slower and one faster, any group faster if limits are broken."""
    sizes = [grid.size for grid in question.grids]
    n = len(sizes)
    shifts: list[tuple[tuple[int, int], ...]] = [((i, -a),) for i in range(n) for a in (1, 2)]
    if start.worst_margin < 0.0:
        shifts += [((i, a),) for i in range(n) for a in (1, 2, 5)]
    pair_moves = PAIR_MOVES if n <= MANY_GROUPS else PAIR_MOVES[:5]
    shifts += [((i, -down), (j, up)) for i in range(n) for j in range(n) if i != j for down, up in pair_moves]
    moves = []
    for shift in shifts:
        steps = start.steps.copy()
        for i, a in shift:
            steps[i] += a
        if all(0 <= s < size for s, size in zip(steps, sizes, strict=True)):
            moves.append(steps)
    return moves


def _least_violated(question: Question, ranges: Floats, choices: NDArray[np.bool_]) -> Incumbent:
    """Search the setting whose worst margin is least negative: one more unknown, the slack that limits are given."""
    n = ranges.shape[1]

    def ask(places: Floats, index: Steps) -> tuple[Floats, Floats]:
        slack = SLACK_RANGE * places[:, -1]
        _, margins = question.ask(turning_speeds(places[:, :-1], ranges, choices[0]))
        return slack, margins + slack[:, None]

    starts = np.concatenate([spread(STARTS - 1, n), np.ones((1, n))])
    ends = descend_together(ask, np.concatenate([starts, np.full((STARTS, 1), 0.5)], axis=1))
    nearest = [_nearest(question, turning_speeds(end.place[:-1], ranges, choices[0])) for end in ends]
    return best_of(question, np.concatenate(nearest))


def _nearest(question: Question, speeds: Floats) -> Steps:
    """Grid setting nearest to given speeds, (1, groups + 1)."""
    return np.array([[int(np.argmin(np.abs(grid - s))) for grid, s in zip(question.grids, speeds, strict=True)]])
