"""The quietest setting that a search finds: descents between the steps, then exact descent on the grid."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.descent import Descent, descend_together
from quietcool.decide.nearby import Nearby, nearby
from quietcool.decide.question import Question
from quietcool.decide.surrogate import merit_of

Floats = NDArray[np.float64]
Steps = NDArray[np.intp]
End = tuple[Descent, NDArray[np.bool_]]  # of a descent, and the groups that rest in it

SCREENED = 48  # places looked at before the descents, for every choice of stopped groups
STARTS = 6  # descents where no group may stop
STARTS_WITH_STOPS = 3  # descents for every choice of stopped groups
MOST_STOP_CHOICES = 16
PENALTY = 3.0  # of a margin of -1 in the screening [dB]
PRECISION = 0.005  # of a descent: steps of the grid cost more [dB]
HOPELESS = 1.0  # a descent, or a setting on its way, is given up so far above the best [dB]
POLISHED = 4  # descents whose end is carried to the grid
LOST_ON_THE_WAY = 0.05  # by the settings next to the ends: more than the steps of a grid usually cost [dB]
SAME = 0.02  # ends nearer to each other are one, in parts of the range
NEARLY = 0.05  # margin that a descent's end, or a forecast, may lack
MOST_FORECASTS = 100_000
EXACT_AT_ONCE = 24  # of each kind, for one end
EXACT_ROUNDS = 3
MOST_LACK = 50.0  # of a margin, that the screening counts
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

    @property
    def merit(self) -> float:
        """Level and what the margins lack [dB]."""
        return self.level + PENALTY * max(-self.worst_margin, 0.0)


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

    def ask(places: Floats, index: Steps) -> tuple[Floats, Floats]:
        return question.ask(turning_speeds(places, ranges, choices[owners[index]]))

    still = choices[owners]
    ends = descend_together(ask, starts, ranges, resting=still, precision=PRECISION, hopeless=HOPELESS)
    report(0.6)
    pairs = sorted(
        zip(ends, owners, strict=True), key=lambda pair: (pair[0].margins.min(initial=0.0) < -NEARLY, pair[0].level)
    )
    least = min(merit_of(end.surrogate) for end in ends)
    hopeful = [(end, choices[owner]) for end, owner in pairs if merit_of(end.surrogate) <= least + HOPELESS]
    # Settings that lack a little are mended by the same moves that make others quieter.
    near, again = _distinct(hopeful)
    found = _carry_to_grid(question, ranges, near[:POLISHED])
    if min((one.merit for one in found), default=np.inf) > least + LOST_ON_THE_WAY:
        # At the brink of a saddle no setting next to an end may be feasible, but some next to its twin.
        found += _carry_to_grid(question, ranges, again[:POLISHED])
    best = descend_on_grid(question, found) if found else None
    report(0.8)
    if best is None or best.worst_margin < 0.0:
        best = _better(best, descend_on_grid(question, [_least_violated(question, ranges, choices)]))
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
    merit = (level + PENALTY * np.minimum(lacking, MOST_LACK)).reshape(len(choices), -1)
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


def _distinct(ends: list[End]) -> tuple[list[End], list[End]]:
    """Part ends from those that have come to the same place as a better one."""
    kept: list[End] = []
    twins: list[End] = []
    for end, still in ends:
        alike = any(bool((s == still).all()) and np.max(np.abs(e.place - end.place)) < SAME for e, s in kept)
        (twins if alike else kept).append((end, still))
    return kept, twins


def _carry_to_grid(question: Question, ranges: Floats, ends: list[End]) -> list[Incumbent]:
    """Forecast the settings near the ends of descents, solve the most promising exactly, keep the best of each end.

    Where none of an end's is feasible, the one that lacks least; nothing of an end where nothing near looks promising.
    """
    queues = [_Queue(nearby(question, ranges, *end, MOST_FORECASTS)) for end in ends]
    best: list[Incumbent | None] = [None] * len(ends)
    for _ in range(EXACT_ROUNDS):
        quietest = min((one.level for one in best if one is not None and one.worst_margin >= 0.0), default=np.inf)
        batches = [queue.next_batch(quietest) for queue in queues]
        if not any(len(batch) for batch in batches):
            break
        level, margins = question.ask(grid_speeds(question, np.concatenate(batches)))
        bounds = np.cumsum([0, *map(len, batches)])
        for i, (first, last) in enumerate(itertools.pairwise(bounds.tolist())):
            if last > first:
                best[i] = _better(best[i], _pick(batches[i], level[first:last], margins[first:last]))
    return [one for one in best if one is not None]


class _Queue:
    """Settings near the end of a descent in the order in which they are worth solving."""

    def __init__(self, near: Nearby) -> None:
        order = np.argsort(near.level, kind="stable")
        self.near = near
        # Of those that a forecast calls nearly safe all may fail; and all may at the brink of a fan's saddle, where
        # no forecast holds: then those remain in which no group is slower than at the end of the descent.
        least, faster = near.least[order], near.faster()[order]
        self.kinds = [order[least >= -NEARLY], order[least >= 0.0], order[faster][:EXACT_AT_ONCE]]
        self.place = 0

    def next_batch(self, quietest: float) -> Steps:
        """The next settings of each kind that are forecast to be quieter than a level."""
        part = slice(self.place, self.place + EXACT_AT_ONCE)
        self.place = part.stop
        batch = np.unique(np.concatenate([kind[part] for kind in self.kinds]))
        return self.near.steps(batch[self.near.level[batch] <= quietest])


def _better(one: Incumbent | None, other: Incumbent) -> Incumbent:
    """The quieter of two feasible settings, the feasible one, or the one that lacks less; the first of equals."""
    if one is None:
        return other
    if min(one.worst_margin, other.worst_margin) >= 0.0:
        return one if one.level <= other.level else other
    return one if one.worst_margin >= other.worst_margin else other


def grid_speeds(question: Question, steps: Steps) -> Floats:
    """Speeds of settings given as steps, (settings, groups + 1) [rev/s]."""
    return np.stack([grid[steps[:, i]] for i, grid in enumerate(question.grids)], axis=-1)


def best_of(question: Question, steps: Steps) -> Incumbent:
    """Solve settings exactly; the quietest feasible one, else the least violated."""
    return _pick(steps, *question.ask(grid_speeds(question, steps)))


def _pick(steps: Steps, level: Floats, margins: Floats) -> Incumbent:
    worst = margins.min(axis=1, initial=np.inf)
    feasible = worst >= 0.0
    pick = np.argmin(np.where(feasible, level, np.inf)) if np.any(feasible) else np.argmax(worst)
    return Incumbent(steps[pick], float(level[pick]), margins[pick])


def descend_on_grid(question: Question, starts: list[Incumbent]) -> Incumbent:
    """Descend from every start by moves of single groups and pairs until none is better; each is solved exactly."""
    known: set[bytes] = {start.steps.tobytes() for start in starts}
    running, best = starts, functools.reduce(_better, starts)
    while running := [one for one in running if one.merit <= best.merit + HOPELESS]:
        moves = [[m for m in moves_from(question, start) if is_new(m, known)] for start in running]
        if not any(moves):
            break
        level, margins = question.ask(grid_speeds(question, np.array([m for mine in moves for m in mine])))
        bounds = np.cumsum([0, *map(len, moves)])
        ahead = []
        for start, mine, (first, last) in zip(running, moves, itertools.pairwise(bounds.tolist()), strict=True):
            if mine:
                found = _pick(np.array(mine), level[first:last], margins[first:last])
                if _better(start, found) is found:
                    ahead.append(found)
        best, running = functools.reduce(_better, ahead, best), ahead
    return best


def is_new(steps: Steps, known: set[bytes]) -> bool:
    """Whether a setting was not met before; it is known from then on."""
    key = steps.tobytes()
    if key in known:
        return False
    known.add(key)
    return True


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
    """Search the setting whose worst margin is least negative: a descent of what the margins lack alone."""
    n = ranges.shape[1]

    def ask(places: Floats, index: Steps) -> tuple[Floats, Floats]:
        _, margins = question.ask(turning_speeds(places, ranges, choices[0]))
        return np.zeros(len(places)), margins

    starts = np.concatenate([spread(STARTS - 1, n), np.ones((1, n))])
    ends = descend_together(ask, starts, ranges)
    nearest = [_nearest(question, turning_speeds(end.place, ranges, choices[0])) for end in ends]
    return best_of(question, np.concatenate(nearest))


def _nearest(question: Question, speeds: Floats) -> Steps:
    """Grid setting nearest to given speeds, (1, groups + 1)."""
    return np.array([[int(np.argmin(np.abs(grid - s))) for grid, s in zip(question.grids, speeds, strict=True)]])
