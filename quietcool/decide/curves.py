"""The curve of one layout: coldest at a level, quietest at a temperature, and how tolerances move it."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quietcool.decide.axes import Axis, limited_to, temp_along
from quietcool.decide.bound.search import Proof, prove
from quietcool.decide.front import find_front
from quietcool.decide.incumbent import best_of, grid_speeds
from quietcool.decide.question import Question, Tally
from quietcool.decide.uncertainty import Draws
from quietcool.decide.variation import solve_varied
from quietcool.entry.build import AirPath, Build, State
from quietcool.solve.operating_point import solve_operating_point

Floats = NDArray[np.float64]

CROWDING = 1.7  # of the limits at the cold end: levels are compared too, and there they lie far apart
FAR = 0.3  # settings of a curve that differ by more are not joined [dB]
MOST_SEEDS = 300  # settings taken over from the curve of another layout
PRICE_REACH = 0.5  # a kelvin's price is taken over so much to both sides [K]
LEAST_PRICE = 0.1  # below, a level says next to nothing about a temperature [dB/K]


class Shift(NamedTuple):
    """How draws move a curve, to first order."""

    colder: Floats  # at equal level, negative when the curve gets warmer, (places, draws) [K]
    quieter: Floats  # at equal temperature, negative when it gets louder, (places, draws) [dB]


@dataclass(frozen=True)
class Curve:
    """Settings of a build that no other beats both in temperature and level."""

    build: Build
    state: State
    axis: Axis
    position: int
    temp: Floats  # rising, (settings,) [K]
    level: Floats  # falling, (settings,) [dB(A)]
    speeds: Floats  # (settings, groups + 1) [rev/s]
    steps: NDArray[np.intp]  # the same as steps of the grid

    @functools.cached_property
    def knots(self) -> tuple[Floats, Floats]:
        """Temperatures and levels that straight lines join [K, dB(A)].

        Where two settings lie far apart no setting stands between them: the curve steps down at the warmer one.
        """
        far = np.flatnonzero(-np.diff(self.level) > FAR)
        temp = np.insert(self.temp, far + 1, np.nextafter(self.temp[far + 1], 0.0))
        return temp, np.insert(self.level, far + 1, self.level[far])

    def coldest_at(self, level: ArrayLike) -> Floats:
        """Temperature that a level buys, between near settings by straight lines; NaN below the quietest [K]."""
        asked = np.asarray(level, dtype=np.float64)
        temps, levels = self.knots
        found = np.interp(asked, levels[::-1], temps[::-1])
        return np.where(asked < self.level[-1], np.nan, found)

    def quietest_at(self, temp: ArrayLike) -> Floats:
        """Level that a temperature costs, between near settings by straight lines; NaN below the coldest [dB(A)]."""
        asked = np.asarray(temp, dtype=np.float64)
        return np.where(asked < self.temp[0], np.nan, np.interp(asked, *self.knots))

    def price_at(self, temp: ArrayLike) -> Floats:
        """Level saved for one kelvin more, over a stretch that no step of a speed can spoil [dB/K]."""
        asked = np.asarray(temp, dtype=np.float64)
        low = np.clip(asked - PRICE_REACH, self.temp[0], self.temp[-1])
        high = np.clip(asked + PRICE_REACH, self.temp[0], self.temp[-1])
        fall = np.interp(low, *self.knots) - np.interp(high, *self.knots)
        return np.maximum(fall / np.maximum(high - low, 1e-9), LEAST_PRICE)

    def place_at(self, temp: ArrayLike) -> NDArray[np.intp]:
        """Place of the warmest setting that is no warmer than a temperature, the coldest if none is."""
        return np.maximum(np.searchsorted(self.temp, np.asarray(temp), side="right") - 1, 0)

    def shift(self, draws: Draws, temp: Floats) -> Shift:
        """How the same errors move the curve at some temperatures.

        A small change moves the best level at a temperature by what it does to level and temperature of the best
        setting itself, the kelvins priced along the curve: the settings need not be searched again (envelope theorem;
        P. Milgrom & I. Segal, "Envelope theorems for arbitrary choice sets", Econometrica 70, 2002, 583-601; recalled,
        not re-read). The prices of limits that bind besides the axis are left out.

        Parameters
        ----------
        draws : Draws
            Errors of all inputs.
        temp : ndarray, (places,)
            Where on the curve; NaN gives NaN. [K]

        Returns
        -------
        Shift
        """
        known = np.where(np.isnan(temp), self.temp[0], temp)
        speeds = self.speeds[self.place_at(known)]
        nominal = solve_operating_point(self.build, self.state, speeds)
        drawn = solve_varied(draws.of(self.build), self.state.name, speeds[:, None, :])
        warmer = temp_along(self.build, self.axis, drawn) - temp_along(self.build, self.axis, nominal)[:, None]
        louder = drawn.level[..., self.position] - nominal.level[:, self.position][:, None]
        price = self.price_at(known)[:, None]
        lost = np.isnan(temp)[:, None]
        colder, quieter = -(warmer + louder / price), -(louder + price * warmer)
        return Shift(np.where(lost, np.nan, colder), np.where(lost, np.nan, quieter))

    def prove_at(self, temp: float, seconds: float, tally: Tally) -> Proof:
        """Bound the level of every setting of this build that keeps a temperature [K, s]."""
        question = Question(
            *_one_state(limited_to(self.build, self.state, self.axis, temp, self.position)), self.position, tally
        )
        return prove(question, best_of(question, self.steps[[self.place_at(temp)]]), seconds)


def _one_state(asked: tuple[Build, State]) -> tuple[Build, tuple[State]]:
    return asked[0], (asked[1],)


def trace_curve(
    build: Build,
    state: State,
    axis: Axis,
    position: int,
    points: int,
    tally: Tally,
    report: Callable[[float], None],
    like: Curve | None = None,
) -> Curve | None:
    """Trace the curve of a build; None where no setting keeps the limits besides that of the axis.

    `like` is the curve of a rig that differs in one path: its settings are looked at too.
    """
    seeds = None if like is None else _carried_over(like, build)
    front = find_front(build, state, axis, position, points, crowding=CROWDING, seeds=seeds, tally=tally, report=report)
    if front is None:
        return None
    temp, level, steps = front.archive.front()
    return Curve(build, state, axis, position, temp, level, grid_speeds(front.archive.question, steps), steps)


def _carried_over(like: Curve, build: Build) -> Floats:
    """Settings of another rig's curve: groups by name, a new group at the speed of the first row of its path."""
    old = like.build.group_names
    columns = []
    for name in build.group_names:
        if name not in old:
            name = next(path.fan_rows[0].group for path in build.air_paths if name in _groups(path))
        columns.append(like.speeds[:, old.index(name)] if name in old else np.full(len(like.speeds), np.nan))
    seeds = np.stack(columns, axis=-1)
    every = max(1, len(seeds) // MOST_SEEDS)
    return seeds[np.all(np.isfinite(seeds), axis=1)][::every]


def _groups(path: AirPath) -> set[str]:
    return {row.group for row in path.fan_rows}
