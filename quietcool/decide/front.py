"""The front of level against one temperature: all points advance together and share every setting that was solved."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.archive import Archive
from quietcool.decide.axes import Axis, column_of, limited_to
from quietcool.decide.descent import Descent, descend_together, look_round
from quietcool.decide.incumbent import Incumbent, grid_speeds, moves_from, spread, stop_choices, turning_ranges
from quietcool.decide.incumbent import turning_speeds as speeds_at
from quietcool.decide.nearby import nearby
from quietcool.decide.question import Question, Tally
from quietcool.entry.build import Build, State

Floats = NDArray[np.float64]
Steps = NDArray[np.intp]

SCREENED = 64  # places looked at before the descents, for every choice of stopped groups
STARTS = 4  # descents for every point: from the best places, of different choices of stopped groups where they are near
ANCHORED = 4  # every so many points descend from screened places, the others from the ends of those
CHOICES = 3  # choices of stopped groups that a point descends in
PENALTY = 3.0  # of a lacking kelvin, or part of another margin, in the screening [dB]
FREE = 1e4  # a limit that limits nothing [K]
NEARLY = 0.05  # margin that a descent's end, or a forecast from there, may lack
EXACTLY = 0.003  # margin that a forecast from a setting of the grid may lack
LACK_PENALTY = 100.0  # of a forecast that lacks a margin of 1 beyond that [dB]
FORECASTS = (1_000, 8_000)  # settings forecast round the end of a descent: near ones, and far along the limit
WIDEST = (7, 41)  # steps of one group among them
CARRIED = 24  # of each that are solved
ENDS_CARRIED = 2  # descents of a point that are carried to the grid
POLISH_ROUNDS = 40
REFINEMENTS = 4


class Start(NamedTuple):
    """Where a descent begins."""

    target: int  # point that it belongs to
    choice: int  # of stopped groups
    place: Floats  # in parts of the ranges


class Front(NamedTuple):
    """Level against one temperature."""

    archive: Archive
    limits: Floats  # of the axis at every point, rising, (points,) [K]
    optimum: Floats  # level of the continuous optimum at every point, NaN where no descent ended well [dB(A)]


def find_front(
    build: Build,
    state: State,
    axis: Axis,
    position: int,
    points: int,
    *,
    crowding: float = 1.0,
    seeds: Floats | None = None,
    tally: Tally | None = None,
    report: Callable[[float], None] = lambda part: None,
) -> Front | None:
    """Find the quietest admissible setting for each of many limits of one temperature.

    Parameters
    ----------
    build, state : Build, State
        The rig and its workload.
    axis : Axis
        The temperature; its limits run from the coldest that any setting reaches to where more does not help.
    position : int
        Where it is heard.
    points : int
        Number of limits, at least 2.
    crowding : float
        1 for even limits; above it they crowd at the cold end, where the curve is steep. [-]
    seeds : ndarray, (settings, groups + 1), optional
        Speeds to look at too, the best of a rig much like this one, say. [rev/s]
    tally : Tally, optional
        Counts the solved cases.
    report : callable
        Told the part that is done, 0 to 1.

    Returns
    -------
    Front or None
        None where no setting was found that keeps all other limits.
    """
    search = _FrontSearch(build, state, axis, position, tally or Tally())
    if seeds is not None and len(seeds):
        search.archive.ask(search.nearest(seeds))
    ends = search.reach()
    report(0.3)
    if ends is None:
        return None
    limits = ends[0] + (ends[1] - ends[0]) * np.linspace(0.0, 1.0, points) ** crowding
    optimum = search.trace(limits, report)
    return Front(search.archive, limits, optimum)


class _FrontSearch:
    """One curve in the making."""

    def __init__(self, build: Build, state: State, axis: Axis, position: int, tally: Tally) -> None:
        zero_build, zero_state = limited_to(build, state, axis, 0.0, position)
        self.question = Question(zero_build, (zero_state,), position, tally)
        self.column = column_of(zero_build, zero_state, axis)
        self.archive = Archive(self.question, self.column)
        self.room_temp = float(state.room_temp)
        self.ranges = turning_ranges(self.question)
        self.span = np.where(self.ranges[1] > self.ranges[0], self.ranges[1] - self.ranges[0], 1.0)
        self.choices = stop_choices(self.question)
        self._screen()

    def reach(self) -> tuple[float, float] | None:
        """Coldest and warmest limit worth asking for: least temperature at all, and that of the quietest setting."""
        coldest = self._starts(np.array([0.0]), cold=True)
        quietest = [start._replace(target=1) for start in self._starts(np.array([FREE]), cold=False)]
        ends = self._descend([*coldest, *quietest], np.array([FREE, FREE]), np.array([True, False]))
        self._carry(ends, np.array([FREE, FREE]))
        self._polish(np.array([FREE]), cold=True)
        cold, quiet = self.archive.coldest(), self.archive.quietest(FREE)
        if cold is None or quiet is None:
            return None
        return float(self.archive.solved.temp[cold]), float(self.archive.solved.temp[quiet])

    def trace(self, limits: Floats, report: Callable[[float], None]) -> Floats:
        """Descend for every limit, once more from the neighbours' ends, then on the grid; levels between the steps."""
        cold = np.zeros(limits.size, dtype=np.bool_)
        anchors = {*range(0, limits.size, ANCHORED), limits.size - 1}
        starts = [start for start in self._starts(limits, cold=False) if start.target in anchors]
        ends = self._descend(starts, limits, cold)
        report(0.6)
        ends += self._descend(_from_neighbours(ends, limits.size), limits, cold)
        report(0.8)
        self._carry(ends, limits)
        self._polish(limits, cold=False)
        self._refine(limits)
        report(1.0)
        optimum = np.full(limits.size, np.nan)
        for start, end in ends:
            if end.margins.min(initial=0.0) > -NEARLY:
                optimum[start.target] = np.fmin(optimum[start.target], end.level)
        return optimum

    def _screen(self) -> None:
        """Look at settings spread evenly over the grid, for every choice of groups at rest."""
        n = self.ranges.shape[1]
        places = np.concatenate([spread(SCREENED - 2, n), np.full((1, n), 0.1), np.ones((1, n))])
        rows, owners = [], []
        for number, stopped in enumerate(self.choices):
            rows.append(self.nearest(speeds_at(places, self.ranges, stopped)))
            owners += [number] * len(places)
        self.archive.ask(np.concatenate(rows))
        speeds = grid_speeds(self.question, np.concatenate(rows))
        self.screened = np.clip((speeds - self.ranges[0]) / self.span, 0.0, 1.0)
        self.screened_choice = np.array(owners)
        level, margins = self.question.ask(speeds)
        self.screened_level, self.screened_temp = level, -margins[:, self.column]
        others = np.delete(margins, self.column, axis=1)
        self.screened_lack = np.maximum(-others, 0.0).max(axis=1, initial=0.0)

    def nearest(self, speeds: Floats) -> Steps:
        """Steps of turning groups nearest to given speeds; groups at rest stay at rest."""
        columns = []
        for grid, wished in zip(self.question.grids, speeds.T, strict=True):
            distance = np.abs(grid - wished[:, None])
            distance = np.where((wished[:, None] > 0.0) & (grid == 0.0) & (grid.size > 1), np.inf, distance)
            columns.append(np.argmin(distance, axis=1))
        return np.stack(columns, axis=-1)

    def _starts(self, limits: Floats, *, cold: bool) -> list[Start]:
        """Best screened places for every limit: in each of the best choices of stopped groups, then the next best."""
        starts = []
        for target, limit in enumerate(limits.tolist()):
            lack = self.screened_lack if cold else np.maximum(self.screened_lack, self.screened_temp - limit)
            aim = self.screened_temp - self.room_temp if cold else self.screened_level
            merit = aim + PENALTY * np.minimum(lack, FREE)
            order = np.argsort(np.where(np.isnan(merit), np.inf, merit), kind="stable")
            _, first = np.unique(self.screened_choice[order], return_index=True)
            picked = np.sort(first)[:CHOICES].tolist()
            picked += [i for i in range(order.size) if i not in picked][: STARTS - len(picked)]
            for place in order[picked]:
                starts.append(Start(target, int(self.screened_choice[place]), self.screened[place]))
        return starts

    def _descend(self, starts: list[Start], limits: Floats, cold: NDArray[np.bool_]) -> list[tuple[Start, Descent]]:
        """Descend from all starts together, each under its target's limit; cold targets minimise the temperature."""
        targets = np.array([start.target for start in starts])
        stopped = self.choices[[start.choice for start in starts]]

        def ask(places: Floats, owners: NDArray[np.intp]) -> tuple[Floats, Floats]:
            level, margins = self.question.ask(speeds_at(places, self.ranges, stopped[owners]))
            temp = -margins[:, self.column]
            shifted = margins.copy()
            shifted[:, self.column] = limits[targets[owners]] - temp
            return np.where(cold[targets[owners]], temp - self.room_temp, level), shifted

        ends = descend_together(ask, np.array([start.place for start in starts]), self.ranges, resting=stopped)
        return list(zip(starts, ends, strict=True))

    def _carry(self, ends: list[tuple[Start, Descent]], limits: Floats) -> None:
        """Solve the settings near the best ends of every target that are forecast to be feasible and best."""
        rows = []
        for target in range(limits.size):
            mine = [pair for pair in ends if pair[0].target == target]
            mine.sort(key=lambda pair: _rank(pair[1]))
            rows += [self._promising(start, end, NEARLY) for start, end in _distinct(mine)[:ENDS_CARRIED]]
        self.archive.ask(np.concatenate(rows))

    def _refine(self, limits: Floats) -> None:
        """Forecast afresh round the best settings, with curvature, until none gets better."""
        for _ in range(REFINEMENTS):
            before = [self.archive.quietest(limit) for limit in limits.tolist()]
            self.archive.ask(np.concatenate([self._promising(*pair, EXACTLY) for pair in self._on_grid(limits)]))
            self._polish(limits, cold=False)
            if before == [self.archive.quietest(limit) for limit in limits.tolist()]:
                return

    def _on_grid(self, limits: Floats) -> list[tuple[Start, Descent]]:
        """What level and margins look like round every target's best setting."""
        places = [self.archive.quietest(limit) for limit in limits.tolist()]
        targets = np.array([target for target, place in enumerate(places) if place is not None])
        speeds = grid_speeds(self.question, self.archive.solved.steps[[place for place in places if place is not None]])
        stopped = (speeds == 0.0) & (self.ranges[1] > 0.0)
        start = np.where(stopped, 0.0, (speeds - self.ranges[0]) / self.span)

        def ask(places: Floats, owners: NDArray[np.intp]) -> tuple[Floats, Floats]:
            level, margins = self.question.ask(speeds_at(places, self.ranges, stopped[owners]))
            margins[:, self.column] += limits[targets[owners]]
            return level, margins

        choices = [int(np.argmin(np.count_nonzero(self.choices != still, axis=1))) for still in stopped]
        begun = [Start(int(t), choice, place) for t, choice, place in zip(targets, choices, start, strict=True)]
        return list(zip(begun, look_round(ask, start, self.ranges, stopped), strict=True))

    def _promising(self, start: Start, end: Descent, slack: float) -> Steps:
        """Settings near a place that are forecast to be the quietest feasible ones: near ones, and far ones."""
        rows = []
        for most, widest in zip(FORECASTS, WIDEST, strict=True):
            near = nearby(self.question, self.ranges, end, self.choices[start.choice], most, widest)
            worth = near.level + LACK_PENALTY * np.maximum(-near.least - slack, 0.0)
            rows.append(near.steps(np.argsort(worth, kind="stable")[:CARRIED]))
        return np.concatenate(rows)

    def _polish(self, limits: Floats, *, cold: bool) -> None:
        """Move on the grid from every target's best setting, all together, until none gets better."""
        for _ in range(POLISH_ROUNDS):
            places = {self.archive.quietest(limit) for limit in limits.tolist()}
            if cold:
                places.add(self.archive.coldest())
            moves = []
            for place in sorted(place for place in places if place is not None):
                # A margin that is broken makes the moves go both ways, which is what the coldest setting needs.
                worst = np.array([-1.0 if cold else 0.0])
                start = Incumbent(self.archive.solved.steps[place], float(self.archive.solved.level[place]), worst)
                moves += moves_from(self.question, start)
            if not moves or self.archive.ask(np.array(moves)) == 0:
                return


def _from_neighbours(ends: list[tuple[Start, Descent]], points: int) -> list[Start]:
    """Start every point from where the best descents of the nearest points below and above it ended."""
    best: dict[int, tuple[Start, Descent]] = {}
    for start, end in ends:
        known = best.get(start.target)
        if known is None or _rank(end) < _rank(known[1]):
            best[start.target] = start, end
    known_at = np.array(sorted(best))
    starts = []
    for target in range(points):
        below, above = known_at[known_at < target][-1:], known_at[known_at > target][:1]
        starts += [Start(target, best[near][0].choice, best[near][1].place) for near in (*below, *above)]
    return starts


def _rank(end: Descent) -> tuple[bool, float]:
    return bool(end.margins.min(initial=0.0) < -NEARLY), end.level


def _distinct(pairs: list[tuple[Start, Descent]]) -> list[tuple[Start, Descent]]:
    """Drop ends that have come to the same place as a better one."""
    kept: list[tuple[Start, Descent]] = []
    for start, end in pairs:
        if not any(s.choice == start.choice and np.max(np.abs(e.place - end.place)) < 1e-3 for s, e in kept):
            kept.append((start, end))
    return kept
