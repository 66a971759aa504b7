"""What a kelvin costs: the quietest settings over the limit of one temperature, each with a bound, and the knee."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.archive import Archive
from quietcool.decide.axes import COOLANT, Axis, axis_named, limited_to
from quietcool.decide.bound.front_search import Limited, prove_front
from quietcool.decide.bound.search import prove
from quietcool.decide.front import Front, find_front
from quietcool.decide.incumbent import Incumbent, best_of, grid_speeds
from quietcool.decide.question import Question, Tally
from quietcool.decide.quietest import PROVEN_GAP, ROUNDING, Progress
from quietcool.entry.build import Build, State
from quietcool.errors import RefutedBound
from quietcool.solve.noise import position_limits

Floats = NDArray[np.float64]
Status = Literal["proven", "best_found"]

POINTS = 40
TOGETHER = ((3.0, 0.2), (0.0, 0.95))  # [dB] asked of the searches for all points, parts of the time left
PRICED = (0.5, 0.0, 0.1, 0.25, 0.75, 1.0)  # parts of the curve at which prices are raised first
FIRST_PATIENCE = 3.0  # time that one search for a bound may take at first [s]
MORE_PATIENCE = 3.0  # times as long once all that are open have failed
LEAST_PROOF = 0.3  # time below which no search is begun [s]
UNKNOWN_GAP = 100.0  # stands for a gap of which nothing is known [dB]


@dataclass(frozen=True)
class TradePoint:
    """The quietest setting under one limit of the axis."""

    limit: float  # of the axis [K]
    speeds: Floats  # in the order of `build.group_names`, (groups + 1,) [rev/s]
    temp: float  # of the axis at these speeds [K]
    level: float  # [dB(A)]
    lower_bound: float  # no admissible setting that keeps the limit is quieter; -inf if nothing is known [dB(A)]
    gap: float  # level less bound [dB]
    status: Status
    price: float  # level saved for one kelvin more, from the optima between the steps; NaN if unknown [dB/K]


@dataclass(frozen=True)
class Present:
    """The speeds that the build file states as present."""

    speeds: Floats  # (groups + 1,) [rev/s]
    temp: float  # of the axis [K]
    level: float  # [dB(A)]
    quieter: float  # what the curve gains at the same temperature; NaN where the curve does not reach [dB]
    colder: float  # what it gains at the same level; NaN likewise [K]


@dataclass(frozen=True)
class Tradeoff:
    """Level against one temperature in one state at one position. No points: no setting keeps the other limits."""

    state: str
    position: str
    axis: Axis
    room_temp: float  # [K]
    points: tuple[TradePoint, ...]  # from the coldest to the warmest limit
    knee: int | None  # place of the point farthest from the chord
    present: Present | None
    axis_limit: float | None  # that the build sets on the axis [K]
    level_limit: float | None  # that it sets at the position; the curve does not stop there [dB(A)]
    solved_cases: int
    boxes: int
    interrupted: bool


def find_tradeoff(
    build: Build,
    state: str | None = None,
    *,
    axis: str = COOLANT,
    position: str | None = None,
    points: int = POINTS,
    seconds: float = 60.0,
    progress: Callable[[Progress], None] | None = None,
) -> Tradeoff:
    """Find the quietest admissible setting for each of many limits of one temperature.

    The limits run evenly from the coldest that any setting reaches to where a looser one helps no more. Every other
    limit of the state is kept, but for that on the level at the position itself, which is the other axis.

    Parameters
    ----------
    build : Build
        The rig.
    state : str, optional
        The workload; that with the most heat in the coolant if not given.
    axis : str
        One of `axes.axes_of`: "coolant", "coolant over room", "<source> <point>" or "<enclosure> air".
    position : str, optional
        Where it is heard; the first position if not given.
    points : int
        Number of limits, at least 2.
    seconds : float
        Time for the whole answer; the search for settings is not cut short, the bounds get what is left. [s]
    progress : callable, optional
        Told now and then how far the answer is.

    Returns
    -------
    Tradeoff

    Raises
    ------
    KeyError
        If a state, axis or position is unknown.
    RefutedBound
        If a bound lies above a level: the tool is wrong then, and says so.
    """
    start = time.monotonic()
    load = hottest_state(build) if state is None else build.state(state)
    where = 0 if position is None else {p.name: i for i, p in enumerate(build.positions)}[position]
    along = axis_named(build, load, axis)
    tally, tell = Tally(), progress or (lambda _: None)
    front = find_front(build, load, along, where, points, tally=tally, report=_searching(load.name, tell))
    proofs = _Proofs(build, load, along, where, tally, tell)
    if front is not None:
        proofs.spend(front, start + seconds)
    found = _points(front, proofs.bounds) if front is not None else ()
    limit = float(position_limits(build, load)[where])
    return Tradeoff(
        load.name,
        build.positions[where].name,
        along,
        float(load.room_temp),
        found,
        knee_of(np.array([p.limit for p in found]), np.array([p.level for p in found])),
        _present(build, front.archive) if front is not None else None,
        along.value,
        limit if np.isfinite(limit) else None,
        tally.cases,
        proofs.boxes,
        proofs.interrupted,
    )


def hottest_state(build: Build) -> State:
    """Return the state with the most heat in the coolant, the first of equals."""
    return max(build.states, key=lambda state: sum(float(watts) for watts in state.heat.values()))


def _searching(name: str, tell: Callable[[Progress], None]) -> Callable[[float], None]:
    return lambda done: tell(Progress(f"tracing {name}", done, np.inf, -np.inf))


class _Proofs:
    """Bounds of a curve. A bound under a looser limit holds under every tighter one: settings only drop out."""

    def __init__(
        self, build: Build, state: State, axis: Axis, position: int, tally: Tally, tell: Callable[[Progress], None]
    ) -> None:
        self.build, self.state, self.axis, self.position = build, state, axis, position
        self.tally, self.tell = tally, tell
        self.bounds: Floats = np.zeros(0)
        self.boxes, self.interrupted = 0, False
        self.prices: tuple[Floats, ...] = ()

    def spend(self, front: Front, end: float) -> None:
        """Bound the whole curve by one search, asked for little first; in the time that is left, single points."""
        self.bounds = np.full(front.limits.size, -np.inf)
        for slack, share in TOGETHER:
            left = end - time.monotonic()
            if left > LEAST_PROOF and not self.interrupted:
                self._prove_all(front, slack, share * left)
        self._one_by_one(front, end)

    def _prove_all(self, front: Front, slack: float, seconds: float) -> None:
        """Search once for all points whether any setting is quieter than the curve by more than `slack`."""
        axis, level = self.axis, _levels(front)
        enclosure = self.build.enclosures.index(axis.enclosure) if axis.enclosure else -1
        question = Question(*_limited(self, float(front.limits[-1])), self.position, self.tally)
        along = [front.limits[int(part * (front.limits.size - 1))] for part in PRICED]
        places = [front.archive.quietest(float(limit)) for limit in along]
        settings = front.archive.solved.steps[list(dict.fromkeys(place for place in places if place is not None))]
        proof = prove_front(
            question,
            Limited(axis.source, axis.point, enclosure),
            front.limits,
            level - slack,
            [best_of(question, steps[None]) for steps in settings],
            seconds,
            self._reporting(front),
            front.archive.ask,
            self.prices,
        )
        self.prices = proof.prices
        self.boxes += proof.boxes
        self.interrupted = proof.interrupted
        shown = np.minimum(proof.lower_bounds, _levels(front))  # settings that came up on the way are on the curve now
        # A bound under a looser limit holds under every tighter one.
        self.bounds = np.maximum(self.bounds, np.maximum.accumulate(shown[::-1])[::-1])

    def _one_by_one(self, front: Front, end: float) -> None:
        """Raise bounds until none is open or time is over.

        Each search is for the point that lifts the bounds of the whole curve most. One that asks for less closes
        sooner, and one that does not close shows little: where a point could not be proven outright, it and all
        tighter ones are asked for half of their gap at a time.
        """
        places = np.arange(front.limits.size)
        failed = np.zeros(front.limits.size, dtype=np.bool_)
        hard, patience, first = -1, FIRST_PATIENCE, True
        while not self.interrupted and end - time.monotonic() > LEAST_PROOF:
            level = _levels(front)
            gaps = np.minimum(level - self.bounds, UNKNOWN_GAP)
            aims = np.where(places <= hard, np.maximum(gaps / 2.0, PROVEN_GAP), PROVEN_GAP)
            lifts = np.where(failed | (gaps <= PROVEN_GAP), 0.0, _lifts(level - aims, self.bounds))
            # The bound of the quietest setting serves all points and is soon found.
            place = gaps.size - 1 if first and gaps[-1] > PROVEN_GAP else gaps.size - 1 - int(np.argmax(lifts[::-1]))
            first = False
            if np.all(gaps <= PROVEN_GAP):
                return
            if not np.any(lifts > 0.0):
                failed[:], patience = False, patience * MORE_PATIENCE
            elif not self._prove(front, place, float(aims[place]), min(end - time.monotonic(), patience)):
                failed[place] = aims[place] > PROVEN_GAP or place <= hard
                hard = max(hard, place)

    def _reporting(self, front: Front) -> Callable[[float, float], None]:
        done = float(np.mean(_levels(front) - self.bounds <= PROVEN_GAP))
        what = f"proving {self.state.name}"
        return lambda level, bound: self.tell(Progress(what, done, level, bound))

    def _prove(self, front: Front, place: int, aim: float, seconds: float) -> bool:
        """Ask whether any setting is quieter than a point by more than `aim`; tell whether the search has ended."""
        limit = float(front.limits[place])
        question = Question(*_limited(self, limit), self.position, self.tally)
        setting = front.archive.quietest(limit)
        assert setting is not None  # the limits of a front do not lie below its coldest setting
        steps = front.archive.solved.steps[setting]
        level, margins = question.ask(grid_speeds(question, steps[None]))
        goal = Incumbent(steps, float(level[0]) - (aim - PROVEN_GAP), margins[0])
        proof = prove(question, goal, seconds, self._reporting(front))
        front.archive.ask(proof.best.steps[None])  # a quieter setting may have come up on the way
        self.boxes += proof.boxes
        self.interrupted = proof.interrupted
        self.bounds[: place + 1] = np.maximum(self.bounds[: place + 1], proof.lower_bound)
        return proof.closed


def _lifts(goals: Floats, bounds: Floats) -> Floats:
    """How much all bounds together would rise if the one of each point came to its goal [dB]."""
    rise = np.maximum(goals - np.maximum(bounds, goals.min() - UNKNOWN_GAP)[:, None], 0.0)  # (raised, proven)
    tighter = np.tri(goals.size).T  # a bound serves its own limit and every tighter one
    found: Floats = (rise * tighter).sum(axis=0)
    return found


def _limited(proofs: _Proofs, limit: float) -> tuple[Build, tuple[State, ...]]:
    build, state = limited_to(proofs.build, proofs.state, proofs.axis, limit, proofs.position)
    return build, (state,)


def _levels(front: Front) -> Floats:
    """Level of the quietest setting known at every point [dB(A)]."""
    places = [front.archive.quietest(limit) for limit in front.limits.tolist()]
    return np.array([front.archive.solved.level[place] for place in places if place is not None])


def _points(front: Front, bounds: Floats) -> tuple[TradePoint, ...]:
    solved, question = front.archive.solved, front.archive.question
    prices = price_of_a_kelvin(front.limits, front.optimum)
    found = []
    for limit, bound, price in zip(front.limits.tolist(), bounds.tolist(), prices.tolist(), strict=True):
        place = front.archive.quietest(limit)
        if place is None:
            continue
        level = float(solved.level[place])
        if bound > level + ROUNDING:
            raise RefutedBound(
                f"the bound of {bound:.6f} dB(A) at a limit of {limit:.6f} K lies above a setting that keeps it at "
                f"{level:.6f} dB(A): this is a defect of the tool, please report it with the build file"
            )
        gap = max(level - bound, 0.0)
        status: Status = "proven" if gap <= PROVEN_GAP else "best_found"
        speeds = grid_speeds(question, solved.steps[place][None])[0]
        found.append(TradePoint(limit, speeds, float(solved.temp[place]), level, min(bound, level), gap, status, price))
    return tuple(found)


def price_of_a_kelvin(limits: Floats, level: Floats) -> Floats:
    """Level saved for one kelvin more along a curve.

    price = -dL/dT, by differences between the neighbours of each point

    Parameters
    ----------
    limits : ndarray, (points,)
        Rising. [K]
    level : ndarray, (points,)
        Of the optimum between the steps; NaN where it is unknown. [dB(A)]

    Returns
    -------
    ndarray, (points,)
        NaN where too little is known; never negative, because a looser limit cannot cost anything. [dB/K]

    References
    ----------
    .. [1] Differences of second order on uneven steps: B. Fornberg, "Generation of Finite Difference Formulas on
           Arbitrarily Spaced Grids", Mathematics of Computation 51, 1988, 699-706 (recalled, not re-read).

    Examples
    --------
    >>> price_of_a_kelvin(np.array([300.0, 301.0, 302.0]), np.array([30.0, 28.5, 27.0]))
    array([1.5, 1.5, 1.5])
    """
    known = np.flatnonzero(np.isfinite(level))
    prices = np.full(limits.size, np.nan)
    if known.size >= 2 and np.ptp(limits[known]) > 0.0:
        falling = np.minimum.accumulate(level[known])
        prices[known] = np.maximum(-np.gradient(falling, limits[known]), 0.0)
    return prices


def knee_of(limits: Floats, level: Floats) -> int | None:
    """Place of the knee of a falling curve: the point farthest below the chord between its ends.

    d = (1 - x - y) / sqrt(2), x and y being temperature and level scaled to their ranges

    Parameters
    ----------
    limits : ndarray, (points,)
        Rising. [K]
    level : ndarray, (points,)
        Falling. [dB(A)]

    Returns
    -------
    int or None
        None where there is no range, or no point lies below the chord.

    References
    ----------
    .. [1] V. Satopaa, J. Albrecht, D. Irwin, B. Raghavan, "Finding a 'Kneedle' in a Haystack: Detecting Knee Points
           in System Behavior", 31st Int. Conf. on Distributed Computing Systems Workshops, 2011, 166-171: distance
           from the chord after scaling to the unit square (recalled, not re-read).

    Examples
    --------
    >>> knee_of(np.array([300.0, 301.0, 302.0, 303.0]), np.array([40.0, 30.0, 29.0, 28.0]))
    1
    """
    if limits.size < 3 or np.ptp(limits) <= 0.0 or level[0] <= level[-1]:
        return None
    x = (limits - limits[0]) / (limits[-1] - limits[0])
    y = (level - level[-1]) / (level[0] - level[-1])
    distance = (1.0 - x - y) / np.sqrt(2.0)
    place = int(np.argmax(distance))
    return place if distance[place] > 1e-9 else None


def _present(build: Build, archive: Archive) -> Present | None:
    """Compare the present speeds with the curve; None where the build does not state all of them."""
    speeds = [one.present for one in build.speed_ranges]
    known = np.array([speed for speed in speeds if speed is not None])
    if known.size < len(speeds):
        return None
    level, margins = archive.question.ask(known[None])
    heard, temp = float(level[0]), float(-margins[0, archive.column])
    temps, levels, _ = archive.front()
    at_temp, at_level = temps <= temp, levels <= heard
    quieter = heard - float(levels[at_temp].min()) if np.any(at_temp) else np.nan
    colder = temp - float(temps[at_level].min()) if np.any(at_level) else np.nan
    return Present(known, temp, heard, quieter, colder)
