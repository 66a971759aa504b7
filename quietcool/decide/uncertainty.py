"""How sure a solved point is: intervals of everything, chances that limits are kept, and what to measure first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quietcool.decide.limits import Limit, limits, margins
from quietcool.decide.sampling import central_interval, index_design, latin_hypercube, variance_shares
from quietcool.decide.tolerances import UncertainInput, uncertain_inputs
from quietcool.decide.variation import VariedBuild, moved_levels, solve_varied, vary
from quietcool.entry.build import Build
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point

Floats: TypeAlias = NDArray[np.float64]

CONFIDENCE = 0.9  # of every interval that is printed
DRAWS = 500
RANKING_BASE = 512  # draws of A and of B
LEAST_TOLD_SHARE = 0.01  # of the variance: causes below are not told


@dataclass(frozen=True)
class Cause:
    """One thing that could be measured, and the share of a result's variance that it explains."""

    name: str
    inputs: tuple[str, ...]
    first: float  # by itself [-]
    total: float  # with its interactions [-]


@dataclass(frozen=True)
class Ranking:
    """Causes of the error of one result, the largest first."""

    result: str  # "coolant", "gpu 1 core", "desk microphone"
    unit: str  # "K" or "dB"
    deviation: float  # standard deviation of the result [K or dB]
    causes: tuple[Cause, ...]


@dataclass(frozen=True)
class Uncertainty:
    """What the tolerances of all inputs make of one state at given speeds."""

    low: OperatingPoint  # lower ends of the 90 % intervals, field by field
    high: OperatingPoint  # upper ends
    limits: tuple[Limit, ...]
    kept: Floats  # chance that each limit is kept, (limits,) [-]
    all_kept: float  # chance that all are kept together [-]
    draws: int
    answered: int  # draws that have a steady state
    seed: int
    rankings: tuple[Ranking, ...] = ()  # what to measure first, where it was asked for


@dataclass(frozen=True)
class Draws:
    """The same errors for every question that is asked of a build, so that differences are paired."""

    inputs: tuple[UncertainInput, ...]
    scores: Floats  # (draws, inputs)
    seed: int

    @property
    def count(self) -> int:
        """Number of draws."""
        return int(self.scores.shape[0])

    def of(self, build: Build) -> VariedBuild:
        """Return a build with these errors; inputs that it does not have change nothing."""
        return vary(build, self.inputs, self.scores)


def draw(*builds: Build, count: int = DRAWS, seed: int = 0) -> Draws:
    """Draw the errors of one build, or of several that shall share them.

    Parameters
    ----------
    *builds : Build
        Variants of one rig: an input of the same name has the same error in all of them.
    count : int
        Number of draws. [-]
    seed : int
        The same seed gives the same draws. [-]
    """
    inputs = {(one.kind, one.target): one for build in builds for one in uncertain_inputs(build)}
    return Draws(tuple(inputs.values()), latin_hypercube(count, len(inputs), seed), seed)


def find_uncertainty(build: Build, state: str, speeds: ArrayLike, draws: Draws) -> Uncertainty:
    """Solve one state at one setting for all draws as one batch.

    Parameters
    ----------
    build : Build
        The rig.
    state : str
        Name of the state.
    speeds : array_like, (groups + 1,)
        [rev/s]
    draws : Draws
        From `draw`.

    Returns
    -------
    Uncertainty
        A draw without a steady state keeps no limit and does not count for the intervals.
    """
    return _found(draws.of(build), build, state, speeds, draws)


def _found(varied: VariedBuild, build: Build, state: str, speeds: ArrayLike, draws: Draws) -> Uncertainty:
    point, found = solve_drawn(varied, state, np.asarray(speeds, float), draws.count)
    held = found >= 0.0  # a NaN keeps nothing
    low, high = _ends(point)
    return Uncertainty(
        low=low,
        high=high,
        limits=limits(build, build.state(state)),
        kept=held.mean(axis=0),
        all_kept=float(held.all(axis=-1).mean()),
        draws=draws.count,
        answered=int(np.count_nonzero(np.broadcast_to(point.converged, (draws.count,)))),
        seed=draws.seed,
    )


def find_uncertainties(
    build: Build, points: Mapping[str, OperatingPoint], *, draws: int = DRAWS, seed: int = 0, rank: bool = False
) -> dict[str, Uncertainty]:
    """Say how sure solved states are, all by the same draws.

    Parameters
    ----------
    build : Build
        The rig.
    points : mapping
        Solved states by name, one case each; those without an answer are left out.
    draws : int
        Number of draws; 0 asks for nothing. [-]
    seed : int
        [-]
    rank : bool
        Whether to rank what to measure first too.
    """
    if draws <= 0:
        return {}
    drawn = draw(build, count=draws, seed=seed)
    varied = drawn.of(build)  # once for all states: it takes as long as the solve of one
    found = {}
    for name, point in points.items():
        if point.converged:
            rankings = rank_causes(build, name, point.speeds, seed=seed) if rank else ()
            found[name] = replace(_found(varied, build, name, point.speeds, drawn), rankings=rankings)
    return found


def solve_drawn(varied: VariedBuild, state: str, speeds: ArrayLike, count: int) -> tuple[OperatingPoint, Floats]:
    """Solve a varied build, and say by how much it keeps its limits.

    Parameters
    ----------
    varied : VariedBuild
        A build with errors.
    state : str
        Name of the state.
    speeds : array_like, (..., groups + 1)
        [rev/s]
    count : int
        Number of draws. [-]

    Returns
    -------
    tuple of OperatingPoint and ndarray
        Margins are (draws, limits), in the units of `limits`; NaN where a draw has no steady state.
    """
    load = varied.build.state(state)
    unmoved = solve_operating_point(varied.build, load, speeds)
    point = moved_levels(varied, load, unmoved)
    found = margins(varied.build, load, point)
    for i, limit in enumerate(limits(varied.build, load)):
        if limit.criterion != "dba":
            # Octaves are those of the sheets: what moves the levels besides moves the margin of a rating alike.
            found[..., i] -= point.level[..., limit.index] - unmoved.level[..., limit.index]
    return point, np.broadcast_to(found, (*found.shape[:-2], count, found.shape[-1]))


def _ends(point: OperatingPoint) -> tuple[OperatingPoint, OperatingPoint]:
    """Ends of the intervals of every field that is a number; flags and counts are those of the first draw."""
    low: dict[str, Any] = {}
    high: dict[str, Any] = {}
    cases = point.converged.ndim
    for field in fields(OperatingPoint):
        drawn = getattr(point, field.name)
        if drawn.dtype != np.float64 or field.name == "speeds" or not cases:
            low[field.name] = high[field.name] = drawn[0] if cases else drawn
        else:
            low[field.name], high[field.name] = central_interval(drawn, CONFIDENCE)
    return OperatingPoint(**low), OperatingPoint(**high)


def rank_causes(
    build: Build, state: str, speeds: ArrayLike, *, base: int = RANKING_BASE, seed: int = 0
) -> tuple[Ranking, ...]:
    """Rank what could be measured by its share of the variance of each result that a limit holds, and of the levels.

    Parameters
    ----------
    build : Build
        The rig.
    state : str
        Name of the state.
    speeds : array_like, (groups + 1,)
        [rev/s]
    base : int
        (causes + 2) times as many cases are solved. [-]
    seed : int
        [-]

    Returns
    -------
    tuple of Ranking
        The results in the order of `results_of`.
    """
    inputs = uncertain_inputs(build)
    names = tuple(dict.fromkeys(one.cause for one in inputs))
    members = [[i for i, one in enumerate(inputs) if one.cause == name] for name in names]
    design = index_design(base, len(inputs), members, seed)
    point = solve_varied(vary(build, inputs, design.scores), state, np.asarray(speeds, float))
    ranked = []
    for result, unit, values in results_of(build, state, point):
        shares = variance_shares(design, values)
        causes = sorted(
            (
                Cause(name, tuple(inputs[i].kind for i in group), float(first), float(total))
                for name, group, first, total in zip(names, members, shares.first, shares.total, strict=True)
            ),
            key=lambda cause: -cause.total,
        )
        ranked.append(Ranking(result, unit, float(np.nanstd(values[: 2 * design.base])), tuple(causes)))
    return tuple(ranked)


def results_of(build: Build, state: str, point: OperatingPoint) -> list[tuple[str, str, Floats]]:
    """Results of a batch of points by name: coolant, what is limited in K, and the level at every position."""
    found: list[tuple[str, str, Floats]] = [("coolant", "K", point.coolant_temp_max)]
    for limit in limits(build, build.state(state)):
        if limit.kind == "point":
            found.append((limit.name, "K", point.point_temp[..., limit.index]))
        elif limit.kind == "enclosure air":
            found.append((limit.name, "K", point.enclosure_temp[..., limit.index]))
    found += [(position.name, "dB", point.level[..., i]) for i, position in enumerate(build.positions)]
    return found


def told_causes(ranking: Ranking) -> Sequence[Cause]:
    """Causes that are worth telling."""
    return [cause for cause in ranking.causes if cause.total >= LEAST_TOLD_SHARE]
