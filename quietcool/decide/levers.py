"""What every lever is worth: decibels at the same limits, kelvins at the same level, with their errors, ranked.

Each altered rig has its own optimum, continuous between the steps of the speeds, found by descents from the optimum of
the rig as it is. Differences are taken under the same draws of the errors; a draw moves an optimum, to first order, by
what it does to the level of the setting, and to its temperature at the price of a kelvin there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.alterations import Alteration, Kind, alterations_of
from quietcool.decide.axes import COOLANT, OVER_ROOM, Axis, axes_of, temp_along
from quietcool.decide.descent import Descent, descend_together
from quietcool.decide.incumbent import find_incumbent, stop_choices, turning_ranges, turning_speeds
from quietcool.decide.limits import SCALES, limits, margins
from quietcool.decide.question import Question
from quietcool.decide.quietest import Progress
from quietcool.decide.sampling import central_interval
from quietcool.decide.uncertainty import Draws, draw
from quietcool.decide.variation import solve_varied
from quietcool.entry.build import Build, State
from quietcool.solve.operating_point import solve_operating_point

Floats: TypeAlias = NDArray[np.float64]
Flags: TypeAlias = NDArray[np.bool_]

DRAWS = 300
ICE = 273.15  # descents see degrees Celsius: small numbers suit their differences [K]
FEASIBLE = -1e-3  # a descent's end that lacks no more has kept its limits, in parts of their scales
KELVIN = 1.0  # by which the limit of the axis is moved for its price [K]
MOST_CHOICES = 4  # groups at rest that are tried
LEAST_PRICE = 0.1  # below, a level says next to nothing about a temperature [dB/K]
MIDDLE = 0.5  # of the speed ranges: where a second descent starts


class Worth(NamedTuple):
    """A difference with its 90 % interval; NaN where it has none."""

    value: float
    low: float
    high: float

    @property
    def sure(self) -> bool:
        """Whether the interval leaves zero out."""
        return self.low > 0.0 or self.high < 0.0


@dataclass(frozen=True)
class Lever:
    """One lever and what it is worth."""

    name: str
    kind: Kind
    quieter: Worth  # at the same limits, positive when good [dB]
    colder: Worth  # of the axis at the same level, positive when good [K]
    feasible: bool  # whether the altered rig keeps its limits


@dataclass(frozen=True)
class Levers:
    """All levers of a rig in one state, the strongest first."""

    state: str
    position: str
    axis: Axis
    level: float  # of the rig as it is at its optimum; NaN where it keeps no limits [dB(A)]
    temp: float  # of the axis at that level, at its coldest [K]
    price: float  # level saved for one kelvin more; NaN where none binds [dB/K]
    levers: tuple[Lever, ...]
    solved_cases: int
    draws: int
    seed: int


class _Optimum(NamedTuple):
    """A rig at one of its two optima."""

    build: Build
    speeds: Floats
    level: float
    temp: float


def find_levers(
    build: Build,
    state: str | None = None,
    *,
    position: str | None = None,
    seed: int = 0,
    progress: Callable[[Progress], None] | None = None,
) -> Levers:
    """Say what every lever is worth.

    Parameters
    ----------
    build : Build
        The rig.
    state : str, optional
        The workload; that with the most heat in the coolant if not given.
    position : str, optional
        Where it is heard; the first one if not given.
    seed : int
        Of the draws. [-]
    progress : callable, optional
        Told now and then how far the answer is.

    Returns
    -------
    Levers
        The temperature that counts is the one with the smallest margin at the optimum.
    """
    load = hottest(build) if state is None else build.state(state)
    where = 0 if position is None else [place.name for place in build.positions].index(position)
    question = Question(build, (load,), where)
    base = find_incumbent(question)
    axis = _tightest(build, load, base.best.margins)
    rig = _Rig(question, axis, base.ends[0][0].place)
    quietest, looser = rig.optima(None, KELVIN)
    cap = quietest.level if quietest is not None else base.best.level
    coldest = rig.optima(cap)[1]
    price = np.nan if quietest is None or looser is None else max(quietest.level - looser.level, 0.0) / KELVIN
    altered = alterations_of(build, load, axis.name, where)
    draws = draw(build, *(one.whole for one in altered), count=DRAWS, seed=seed)
    reference = _Reference(rig, quietest, coldest, cap, price, draws)
    found = []
    for i, one in enumerate(altered):
        if progress is not None:
            progress(Progress(f"lever {one.name}", i / len(altered), np.nan, -np.inf))
        found.append(_worth(one, reference))
    found.sort(key=lambda lever: -_strength(lever))
    level, temp = (np.nan if one is None else value for one, value in ((quietest, cap), (coldest, _temp(coldest))))
    cases = question.tally.cases
    return Levers(
        load.name, build.positions[where].name, axis, level, temp, price, tuple(found), cases, draws.count, seed
    )


def hottest(build: Build) -> State:
    """Return the state with the most heat in the coolant."""
    return max(build.states, key=lambda state: sum(float(np.max(watts)) for watts in state.heat.values()))


def _temp(optimum: _Optimum | None) -> float:
    return np.nan if optimum is None else optimum.temp


def _strength(lever: Lever) -> float:
    """Rank by decibels; where there are none to compare, by kelvins after all that have some."""
    if np.isfinite(lever.quieter.value):
        return 1e6 + lever.quieter.value
    return lever.colder.value if np.isfinite(lever.colder.value) else -1e9


def _tightest(build: Build, state: State, kept: Floats) -> Axis:
    """The limited temperature with the smallest margin; the coolant where none is limited."""
    axes = {axis.limit: axis for axis in axes_of(build, state) if axis.name != OVER_ROOM}
    margins = [(m, limit.name) for m, limit in zip(kept, limits(build, state), strict=True) if limit.unit == "K"]
    return axes[min(margins)[1] if margins else COOLANT]


@dataclass(frozen=True)
class _Rig:
    """A rig whose optima are wanted: quietest at its limits, coldest at a level."""

    question: Question
    axis: Axis
    place: Floats  # where descents start, in parts of the speed ranges

    @property
    def build(self) -> Build:
        """The rig."""
        return self.question.build

    @property
    def state(self) -> State:
        """Its workload."""
        return self.question.states[0]

    def optima(self, cap: float | None, looser: float | None = None) -> list[_Optimum | None]:
        """Descend to all optima at once; None for one that has no place.

        Parameters
        ----------
        cap : float, optional
            The quietest place that keeps all limits always comes first. With a cap, the coldest place at that level
            that keeps flow and other positions comes next. [dB(A)]
        looser : float, optional
            With it, the quietest place with the axis' limit so much higher comes next. [K]
        """
        goals = [_Goal(0.0, None)]
        goals += [] if cap is None else [_Goal(0.0, cap)]
        goals += [] if looser is None else [_Goal(looser, None)]
        ranges, choices = turning_ranges(self.question), stop_choices(self.question)[:MOST_CHOICES]
        starts = np.stack([self.place, np.full(self.place.size, MIDDLE)])
        rows = [(g, c, s) for g in range(len(goals)) for c in range(len(choices)) for s in range(len(starts))]
        goal_of, choice_of, start_of = np.array(rows).T

        def ask(places: Floats, owners: NDArray[np.intp]) -> tuple[Floats, Floats]:
            speeds = turning_speeds(places, ranges, choices[choice_of[owners]])
            return self._answer(speeds, goals, goal_of[owners])

        ends = descend_together(ask, starts[start_of], ranges, resting=choices[choice_of])
        found: list[_Optimum | None] = []
        for g in range(len(goals)):
            good = [(end.level, row) for row, end in enumerate(ends) if goal_of[row] == g and _feasible(end)]
            if not good:
                found.append(None)
                continue
            row = min(good)[1]
            speeds = turning_speeds(ends[row].place[None], ranges, choices[choice_of[row]])[0]
            found.append(self._at(speeds))
        return found

    def _answer(self, speeds: Floats, goals: list[_Goal], goal_of: NDArray[np.intp]) -> tuple[Floats, Floats]:
        """What each row minimises, and its margins; a limit that a row does not hold has a margin of one."""
        self.question.tally.cases += len(speeds)
        point = solve_operating_point(self.build, self.state, speeds)
        asked = limits(self.build, self.state)
        kept = margins(self.build, self.state, point) / np.array([SCALES[limit.unit] for limit in asked])
        kept = np.where(np.isnan(kept) | ~point.converged[:, None], -np.inf, kept)
        level = np.where(np.isnan(point.level), np.inf, point.level)[:, self.question.position]
        temp = temp_along(self.build, self.axis, point) - ICE
        kelvins = np.array([limit.unit == "K" for limit in asked], dtype=np.bool_)
        along = kelvins & np.array([limit.name == self.axis.limit for limit in asked], dtype=np.bool_)
        looser = np.array([goal.looser for goal in goals])[goal_of, None]
        cap = np.array([np.nan if goal.cap is None else goal.cap for goal in goals])[goal_of]
        capped = ~np.isnan(cap)
        held = np.where(kelvins & capped[:, None], 1.0, kept + looser * along)
        quiet_enough = np.where(capped, np.nan_to_num(cap) - level, 1.0)
        aim = np.where(capped, temp, level)
        return np.where(np.isnan(aim), np.inf, aim), np.column_stack([held, quiet_enough])

    def _at(self, speeds: Floats) -> _Optimum:
        point = solve_operating_point(self.build, self.state, speeds)
        temp = float(temp_along(self.build, self.axis, point))
        return _Optimum(self.build, speeds, float(point.level[self.question.position]), temp)


class _Goal(NamedTuple):
    """What a descent is after: the quietest place, or with a cap on the level the coldest."""

    looser: float  # by which the axis' limit is higher [K]
    cap: float | None  # [dB(A)]


def _feasible(end: Descent) -> bool:
    return bool(end.margins.min(initial=0.0) >= FEASIBLE)


class _Reference(NamedTuple):
    """The rig as it is."""

    rig: _Rig
    quietest: _Optimum | None
    coldest: _Optimum | None
    cap: float
    price: float
    draws: Draws


def _worth(altered: Alteration, reference: _Reference) -> Lever:
    """Both optima of the altered rig against those of the rig as it is, under the same draws."""
    base = reference.rig
    question = Question(altered.whole, (altered.state,), base.question.position, base.question.tally)
    rig = _Rig(question, base.axis, base.place)
    quietest, coldest = rig.optima(reference.cap)
    quieter, colder = Worth(np.nan, np.nan, np.nan), Worth(np.nan, np.nan, np.nan)
    price = 0.0 if np.isnan(reference.price) else reference.price
    if reference.quietest is not None and quietest is not None:
        value = reference.quietest.level - quietest.level
        moved = _moved(base, reference.quietest, reference.draws, price)
        quieter = _interval(value, moved - _moved(rig, quietest, reference.draws, price))
    if reference.coldest is not None and coldest is not None:
        value = reference.coldest.temp - coldest.temp
        moved = _warmed(base, reference.coldest, reference.draws, price)
        colder = _interval(value, moved - _warmed(rig, coldest, reference.draws, price))
    return Lever(altered.name, altered.kind, quieter, colder, quietest is not None)


def _errors(rig: _Rig, optimum: _Optimum, draws: Draws) -> tuple[Floats, Floats]:
    """By how much draws move level and temperature of a setting, each (draws,) [dB, K]."""
    drawn = solve_varied(draws.of(rig.build), rig.state.name, optimum.speeds)
    louder = drawn.level[:, rig.question.position] - optimum.level
    return louder, temp_along(rig.build, rig.axis, drawn) - optimum.temp


def _moved(rig: _Rig, optimum: _Optimum, draws: Draws, price: float) -> Floats:
    """By how much draws move the quietest level at the limits [dB]."""
    louder, warmer = _errors(rig, optimum, draws)
    return louder + price * warmer


def _warmed(rig: _Rig, optimum: _Optimum, draws: Draws, price: float) -> Floats:
    """By how much draws move the coldest temperature at a level, errors of the level at its price if any [K]."""
    louder, warmer = _errors(rig, optimum, draws)
    return warmer + (louder / price if price > LEAST_PRICE else 0.0)


def _interval(value: float, errors: Floats) -> Worth:
    low, high = central_interval(value + errors)
    return Worth(value, float(low), float(high))
