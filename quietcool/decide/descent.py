"""Descents from many starts that advance together, so that the operating points of a round are solved as one batch."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.surrogate import Surrogate, merit, merit_of, picture

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ask = Callable[[Floats, NDArray[np.intp]], tuple[Floats, Floats]]

WORST = -50.0  # margin that stands for "no answer", so that the search turns back
LOUDEST = 200.0  # level that stands for "no answer", and from which on an answer is none [dB]
ROUNDS = 30
PRECISION = 2e-3  # a descent rests when the next round promises or has brought less [dB]
FIRST_REACH = 0.7  # of a round's move along every axis: a factor of two in speed
LEAST_REACH = 0.002
LEAST_MOVE = 1e-4
CLOSER = 0.25  # reach of a round's second trial, in parts of the first's
STENCIL = (0.002, 0.02)  # least and widest steps to the places that tell slope and curvature
AS_PROMISED, SHORT_OF_IT = 0.7, 0.25  # of the gain that was forecast: the reach is doubled, halved


class Descent(NamedTuple):
    """Where one start has led."""

    place: Floats  # (n,) in parts of the range
    level: float  # [dB(A)]
    margins: Floats  # (limits,)
    surrogate: Surrogate  # what level and margins look like round it, in coordinates
    axes: Axes

    def forecast_all(self, places: Sequence[Floats]) -> tuple[Floats, Floats]:
        """Forecast every combination of places along the axes, those along the last axis changing fastest."""
        here = self.axes.coordinates(self.place)
        return self.surrogate.forecast_all([self.axes.along(i, one) - here[i] for i, one in enumerate(places)])


class Axes(NamedTuple):
    """Coordinates in which shares of noise are near to powers: the logarithm of the speed over the lowest."""

    ratio: Floats  # highest over lowest speed; 1 takes the place itself as coordinate, (n,)
    high: Floats  # coordinate of the highest speed, (n,)

    @classmethod
    def over(cls, ranges: Floats | None, n: int) -> Axes:
        """Axes of ranges (2, n) [rev/s]; of the unit cube where there are none."""
        ones = np.ones(n)
        if ranges is None:
            return cls(ones, ones)
        lowest = np.where(ranges[0] > 0.0, ranges[0], 1.0)
        ratio = np.where(ranges[0] > 0.0, ranges[1] / lowest, 1.0)
        return cls(ratio, np.where(ranges[1] > ranges[0], np.where(ratio > 1.0, np.log(ratio), 1.0), 0.0))

    def coordinates(self, places: Floats) -> Floats:
        """Coordinates of places (..., n) in parts of the range."""
        curved = self.ratio > 1.0
        return np.where(curved, np.log1p(np.where(curved, places * (self.ratio - 1.0), 0.0)), places)

    def along(self, axis: int, places: Floats) -> Floats:
        """Coordinates of places (...) along one axis."""
        return Axes(self.ratio[axis], self.high[axis]).coordinates(places)

    def places(self, coordinates: Floats) -> Floats:
        """Places of coordinates (..., n), in parts of the range."""
        curved = self.ratio > 1.0
        on_curve = np.expm1(np.where(curved, coordinates, 0.0)) / np.where(curved, self.ratio - 1.0, 1.0)
        return np.clip(np.where(curved, on_curve, coordinates), 0.0, 1.0)


class _Trial(NamedTuple):
    """A place to be solved."""

    at: Floats  # coordinates, (n,)
    stencil: float
    promised: float  # merit that was forecast, NaN at the start [dB]
    part: float  # of the reach


def descend_together(
    ask: Ask,
    starts: Floats,
    ranges: Floats | None = None,
    *,
    resting: Flags | None = None,
    precision: float = PRECISION,
    hopeless: float = np.inf,
) -> list[Descent]:
    """Minimise a level under margins of at least 0, from many starts at once.

    Every round pictures each start's best place by its slopes and curvatures, goes to where that picture is least
    within a reach, and to where it is least within a quarter of it; the reach follows how well the forecast was kept.
    All places of a round are answered by one call. The order is fixed, so the same starts give the same ends.

    Parameters
    ----------
    ask : callable
        Places (cases, n) in parts of the range and the start each belongs to (cases,) -> levels (cases,) and
        margins (cases, limits).
    starts : ndarray, (starts, n)
        In parts of the range, 0 to 1.
    ranges : ndarray, (2, n), optional
        Lowest and highest speed; descents then go by the logarithm of the speed. [rev/s]
    resting : ndarray, (starts, n), optional
        Groups of each start that stand still: their places are 0 and stay so.
    precision : float
        A start rests when a round brings less. [dB]
    hopeless : float
        A start whose next move is forecast to stay above the best of all by more is given up. [dB]

    Returns
    -------
    list of Descent
        The best place that each start has seen; not necessarily feasible.

    References
    ----------
    .. [1] Svanberg, K., "The method of moving asymptotes", Int. J. Numer. Methods Eng. 24 (1987) 359-373: separable
       pictures of costly functions, renewed at every step (recalled, not re-read).
    .. [2] Conn, A. R., Gould, N. I. M. and Toint, P. L., "Trust-Region Methods", SIAM 2000: the reach (recalled).
    """
    axes = Axes.over(ranges, starts.shape[1])
    still = np.zeros(starts.shape, dtype=np.bool_) if resting is None else resting
    tops = np.where(still, 0.0, axes.high)
    at = np.minimum(axes.coordinates(starts), tops)
    runners = [_Runner(start, top, precision) for start, top in zip(at, tops, strict=True)]
    for _ in range(ROUNDS):
        asked = [(owner, trial) for owner, runner in enumerate(runners) for trial in runner.trials]
        if not asked:
            break
        owners = np.array([owner for owner, _ in asked])
        at, step = (np.array([getattr(trial, name) for _, trial in asked]) for name in ("at", "stencil"))
        found = _pictures(ask, axes, at, tops[owners], owners, step)
        for owner, runner in enumerate(runners):
            runner.learn([found[i] for i in np.flatnonzero(owners == owner)])
        best = min(runner.best for runner in runners)
        for runner in runners:
            runner.trials = [trial for trial in runner.trials if trial.promised <= best + hopeless]
    return [_ended(axes, runner) for runner in runners]


def look_round(ask: Ask, places: Floats, ranges: Floats, resting: Flags | None = None) -> list[Descent]:
    """Solve places (places, n) and the steps round each, without going anywhere: descents that end where they start."""
    axes = Axes.over(ranges, places.shape[1])
    tops = np.broadcast_to(axes.high, places.shape) if resting is None else np.where(resting, 0.0, axes.high)
    at = np.minimum(axes.coordinates(places), tops)
    found = _pictures(ask, axes, at, tops, np.arange(len(at)), np.full(len(at), STENCIL[1]))
    return [Descent(places[i], one.level, one.margins, one, axes) for i, one in enumerate(found)]


class _Runner:
    """One start on its way."""

    def __init__(self, start: Floats, top: Floats, precision: float) -> None:
        self.top, self.precision, self.reach = top, precision, FIRST_REACH
        self.at, self.best = start, np.inf  # the best place so far and its merit
        self.surrogate: Surrogate | None = None
        self.trials = [_Trial(start, STENCIL[1], np.nan, 1.0)]

    def learn(self, found: list[Surrogate]) -> None:
        """Take the better of a round's answers, or turn back; then choose the next round's trials."""
        if not found:
            return
        merits = [merit_of(one) for one in found]
        first = int(np.argmin(merits))
        trial, gain = self.trials[first], self.best - merits[first]
        last = self.at, self.surrogate
        if gain <= 0.0:
            self.reach = 0.5 * min(self.reach * trial.part, float(np.abs(trial.at - self.at).max()))
            self.trials = []
            if self.reach >= LEAST_REACH:
                self._aim(trial.at, found[first])
            return
        if trial.part < 1.0 and len(found) > 1:  # the far trial that failed tells more of what lies ahead
            last = self.trials[0].at, found[0]
        promised, begun = self.best - trial.promised, self.surrogate is not None
        self.at, self.best, self.surrogate, self.trials = trial.at, merits[first], found[first], []
        if begun:
            growth = 2.0 if gain > AS_PROMISED * promised else 0.5 if gain < SHORT_OF_IT * promised else 1.0
            self.reach = min(self.reach * trial.part * growth, FIRST_REACH)
        if not begun or gain >= self.precision or gain < SHORT_OF_IT * promised:
            self._aim(*last)

    def _aim(self, other_at: Floats, other: Surrogate | None) -> None:
        """Set the next round's trials: where the picture, bent through another answer, is least."""
        assert self.surrogate is not None
        if other is not None:
            self._try(self.surrogate.through(other_at - self.at, other.level, other.margins))
        if not self.trials:
            self._try(self.surrogate)

    def _try(self, surrogate: Surrogate) -> None:
        low, high = np.maximum(-self.at, -self.reach), np.minimum(self.top - self.at, self.reach)
        aim = surrogate.least_within(low, high)
        if float(np.abs(aim.move).max()) < LEAST_MOVE or not self.best - aim.merit >= self.precision:
            return
        for part in (1.0, CLOSER):
            move = part * aim.move
            promised = float(merit(*surrogate.forecast(move[None]))[0])
            stencil = float(np.clip(0.5 * np.abs(move).max(), *STENCIL))
            self.trials.append(_Trial(self.at + move, stencil, promised, part))


def _ended(axes: Axes, runner: _Runner) -> Descent:
    """Best place that a start has seen."""
    assert runner.surrogate is not None
    found = runner.surrogate
    return Descent(axes.places(runner.at), found.level, found.margins, found, axes)


def _pictures(
    ask: Ask, axes: Axes, at: Floats, tops: Floats, owners: NDArray[np.intp], step: Floats
) -> list[Surrogate]:
    """Picture coordinates (places, n) by one batch: each place, and a step (places,) ahead and behind on every axis.

    A step that leads out of the range, or to where there is no answer, is left out of the picture.
    """
    count, n = at.shape
    ahead, behind = np.minimum(at + step[:, None], tops) - at, at - np.maximum(at - step[:, None], 0.0)
    steps = np.concatenate([np.zeros((count, 1, n)), ahead[:, None] * np.eye(n), -behind[:, None] * np.eye(n)], axis=1)
    lengths = np.concatenate([ahead, behind], axis=1)
    asked = np.concatenate([np.ones((count, 1), dtype=np.bool_), lengths > 0.0], axis=1)
    whose = np.broadcast_to(owners[:, None], asked.shape)
    found_level, found_margins = ask(axes.places((at[:, None] + steps)[asked]), whose[asked])
    level = np.full(asked.shape, np.inf)
    margins = np.full((*asked.shape, found_margins.shape[1]), -np.inf)
    level[asked], margins[asked] = found_level, found_margins
    lost = ~(level < LOUDEST) | np.any(np.isneginf(margins), axis=2)
    level = np.where(level < LOUDEST, level, LOUDEST)
    lengths = np.where(lost[:, 1:], 0.0, lengths)
    margins = np.maximum(margins, WORST)
    return [picture(level[i], margins[i], lengths[i, :n], lengths[i, n:]) for i in range(count)]
