"""The quietest setting that keeps its limits with a stated chance: limits tightened by what draws of errors ask for.

Every limit is tightened by the quantile of its own error at the setting, one probability for all limits, chosen so
that all limits together are kept in as many draws as asked for. The limit on the level that is minimised is not: it
counts, but to tighten it makes nothing quieter. The search runs with the tightened limits; fresh draws check what
comes out. The bound is that of the tightened problem: no setting that keeps the *tightened* limits is
quieter. A setting that reaches the same chance by another division of it among its limits may exist.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.incumbent import best_of, descend_on_grid, find_incumbent, grid_speeds
from quietcool.decide.limits import Limit, limits, margins
from quietcool.decide.question import Question
from quietcool.decide.quietest import Progress, Quietest, Setting, find_quietest
from quietcool.decide.uncertainty import Draws, draw, solve_drawn
from quietcool.entry.build import Build, Limits, State
from quietcool.solve.operating_point import solve_operating_point

Floats: TypeAlias = NDArray[np.float64]
Safety: TypeAlias = dict[tuple[str, str], float]  # by state and limit [unit of the limit]

SEARCH_DRAWS = 1000
FRESH_DRAWS = 4000
ROUNDS = 7  # searches with tightened limits, for one setting
GUARD = 0.005  # by which the search's draws must exceed the chance, so that fresh ones keep it too [-]
CLOSE = 0.02  # a chance no further above what is asked for ends the search [-]
NOMINAL_SHARE = 0.3  # of the time, for the nominal answer
SEARCH_SHARE = 0.7  # of the time is gone when no further search begins


@dataclass(frozen=True)
class RobustSetting:
    """One setting with its chance, beside the nominal one."""

    states: tuple[str, ...]
    nominal: Setting
    robust: Setting  # status, level, bound and gap are those of the tightened problem
    safety: Safety  # by how much each limit was tightened, by state and limit [K, m3/s or dB]
    nominal_chance: float  # that the nominal setting keeps all limits, by fresh draws [-]
    chance: float  # that the robust one does, by fresh draws [-]
    reached: bool  # whether that is as much as asked for


@dataclass(frozen=True)
class Robust:
    """Nominal and robust settings side by side."""

    confidence: float
    nominal: Quietest
    settings: tuple[RobustSetting, ...]
    fresh_draws: int
    seed: int

    @property
    def reached(self) -> bool:
        """Whether every setting keeps its limits with the chance asked for."""
        return all(setting.reached for setting in self.settings)


class _Try(NamedTuple):
    """A setting, what it was tightened by, and how often it keeps the true limits."""

    speeds: Floats
    level: float
    safety: Safety
    chance: float


def find_robust(
    build: Build,
    states: Sequence[str] | None = None,
    *,
    confidence: float = 0.9,
    one_setting: bool = False,
    position: str | None = None,
    seconds: float = 60.0,
    seed: int = 0,
    progress: Callable[[Progress], None] | None = None,
) -> Robust:
    """Find the quietest settings that keep all limits with a chance, and the nominal ones beside them.

    Parameters
    ----------
    build : Build
        The rig; on its worst day where that is asked for, see `scenarios.worst_day`.
    states, one_setting, position, progress
        As of `find_quietest`.
    confidence : float
        Chance that all limits of all states of a setting are kept together. [-]
    seconds : float
        Time for the whole answer; searches are not cut short. [s]
    seed : int
        Of the draws; those of the check are others. [-]

    Returns
    -------
    Robust
        Where the chance was not reached, the setting with the greatest one.
    """
    start = time.monotonic()
    nominal = find_quietest(
        build, states, one_setting=one_setting, position=position, seconds=NOMINAL_SHARE * seconds, progress=progress
    )
    draws = draw(build, count=SEARCH_DRAWS, seed=seed)
    fresh = draw(build, count=FRESH_DRAWS, seed=seed + 1)
    where = [place.name for place in build.positions].index(nominal.position)
    tell = progress or (lambda _: None)
    found = []
    for i, setting in enumerate(nominal.settings):
        tell(Progress(f"robust setting for {', '.join(setting.states)}", i / len(nominal.settings), np.nan, -np.inf))
        until = start + seconds * (NOMINAL_SHARE + (SEARCH_SHARE - NOMINAL_SHARE) * (i + 1) / len(nominal.settings))
        best = _search(build, setting, where, draws, confidence, until)
        left = (seconds - (time.monotonic() - start)) / (len(nominal.settings) - i)
        found.append(_proven(build, setting, best, nominal.position, fresh, confidence, left))
    return Robust(confidence, nominal, tuple(found), FRESH_DRAWS, seed)


def chance_of(build: Build, states: Sequence[str], speeds: Floats, draws: Draws) -> float:
    """Share of draws in which one setting keeps all limits of all states."""
    held = np.ones(draws.count, dtype=np.bool_)
    for margin in _drawn(build, states, speeds, draws).values():
        held &= margin >= 0.0
    return float(held.mean())


def _drawn(build: Build, states: Sequence[str], speeds: Floats, draws: Draws) -> dict[tuple[str, str], Floats]:
    """Margins of all draws by state and limit, each (draws,)."""
    found: dict[tuple[str, str], Floats] = {}
    varied = draws.of(build)
    for name in states:
        _, kept = solve_drawn(varied, name, speeds, draws.count)
        for i, limit in enumerate(limits(build, build.state(name))):
            found[name, limit.name] = kept[:, i]
    return found


def _nominal(build: Build, states: Sequence[str], speeds: Floats) -> dict[tuple[str, str], float]:
    """Margins without errors by state and limit."""
    found: dict[tuple[str, str], float] = {}
    for name in states:
        state = build.state(name)
        kept = margins(build, state, solve_operating_point(build, state, speeds))
        found |= {(name, limit.name): float(kept[i]) for i, limit in enumerate(limits(build, state))}
    return found


def safety_at(deviations: Mapping[tuple[str, str], Floats], probability: float) -> Safety:
    """What each limit must be tightened by so that its own error breaks it with a probability; never less than 0.

    s = max(0, -quantile(deviation, probability))
    """
    return {key: max(0.0, -float(np.quantile(drawn, probability))) for key, drawn in deviations.items()}


def tightened(build: Build, safety: Safety) -> Build:
    """Return a build whose limits are tighter; a sensing point, which has one limit for all states, by the most."""
    states = tuple(_tighter_state(build, state, safety) for state in build.states)
    flow = max((s for (_, name), s in safety.items() if name == "coolant flow"), default=0.0)
    loop = replace(build.loop, min_flow=build.loop.min_flow + flow) if build.loop.min_flow > 0.0 else build.loop
    sources = []
    for source in build.sources:
        points = []
        for point in source.points:
            less = max((s for (_, name), s in safety.items() if name == f"{source.name} {point.name}"), default=0.0)
            points.append(point if point.limit is None else replace(point, limit=point.limit - less))
        sources.append(replace(source, points=tuple(points)))
    return replace(build, states=states, loop=loop, sources=tuple(sources))


def _tighter_state(build: Build, state: State, safety: Safety) -> State:
    own = state.limits
    for limit in limits(build, state):
        by = safety.get((state.name, limit.name), 0.0)
        if limit.kind == "coolant":
            own = replace(own, coolant=limit.value - by)
        elif limit.kind == "enclosure air":
            name = build.enclosures[limit.index]
            own = replace(own, enclosure_air={**own.enclosure_air, name: limit.value - by})
        elif limit.kind == "position":
            own = _tighter_at(own, build.positions[limit.index].name, limit, by)
    return replace(state, limits=own)


def _tighter_at(own: Limits, place: str, limit: Limit, by: float) -> Limits:
    lower = {place: limit.value - by}
    if limit.criterion == "nc":
        return replace(own, position_nc={**own.position_nc, **lower})
    if limit.criterion == "nr":
        return replace(own, position_nr={**own.position_nr, **lower})
    return replace(own, position={**own.position, **lower})


def _search(build: Build, setting: Setting, where: int, draws: Draws, confidence: float, until: float) -> _Try:
    """Tighten, search, look how often it holds, and again: the quietest setting that holds often enough.

    The unknown is the probability with which each limit may be broken by itself: at most that of all together.
    """
    asked = confidence + GUARD
    best = known = _try(build, setting.states, setting.speeds, setting.level, {}, draws)
    tight_enough, too_loose = 0.0, 1.0 - confidence
    probability, levels_too = 0.5 * too_loose, True
    for count in range(ROUNDS):
        if (known.chance >= asked and not known.safety) or (count > 1 and time.monotonic() > until):
            break  # it holds often enough as it is, or there is no time
        deviations = _deviations(build, setting.states, known.speeds, draws)
        safety = _untightened(build, safety_at(deviations, probability), where, levels_too)
        steps, level, feasible = _near(build, setting.states, where, known.speeds, safety)
        if not feasible and levels_too:
            levels_too = False  # what is minimised anyway need not be tightened too
            continue
        known = _try(build, setting.states, steps, level, safety, draws)
        best = min(best, known, key=lambda one: _rank(one, asked))
        if asked <= known.chance <= asked + CLOSE or (not feasible and known.chance < asked):
            break
        if known.chance >= asked:
            tight_enough = probability
            probability = 0.5 * (probability + too_loose)
        else:
            too_loose = probability
            probability = 0.5 * (probability + tight_enough) if tight_enough else 0.4 * probability
    return best


def _deviations(build: Build, states: Sequence[str], speeds: Floats, draws: Draws) -> dict[tuple[str, str], Floats]:
    """Margins of all draws less the nominal ones, by state and limit."""
    nominal = _nominal(build, states, speeds)
    drawn = _drawn(build, states, speeds, draws)
    return {key: np.where(np.isfinite(margin), margin, -np.inf) - nominal[key] for key, margin in drawn.items()}


def _untightened(build: Build, safety: Safety, where: int, levels_too: bool) -> Safety:
    """Leave out the limit on what is minimised (to tighten it cannot make it quieter), or all limits on levels."""
    free = set() if levels_too else {place.name for place in build.positions}
    free.add(build.positions[where].name)
    heard = {
        (state.name, limit.name)
        for state in build.states
        for limit in limits(build, state)
        if limit.kind == "position" and build.positions[limit.index].name in free
    }
    return {key: by for key, by in safety.items() if key not in heard and np.isfinite(by)}


def _near(
    build: Build, states: Sequence[str], where: int, speeds: Floats, safety: Safety
) -> tuple[Floats, float, bool]:
    """Speeds, level and feasibility of the best setting near some speeds that keeps the tightened limits."""
    tight = tightened(build, safety)
    question = Question(tight, tuple(tight.state(name) for name in states), where)
    steps = [int(np.argmin(np.abs(grid - speed))) for grid, speed in zip(question.grids, speeds, strict=True)]
    found = descend_on_grid(question, [best_of(question, np.array([steps]))])
    if found.worst_margin < 0.0:
        found = find_incumbent(question).best  # what no small moves reach, descents from afar may
    return grid_speeds(question, found.steps[None])[0], found.level, found.worst_margin >= 0.0


def _rank(one: _Try, asked: float) -> tuple[bool, float]:
    """Settings that hold often enough come first, the quietest of them first; then those that hold most often."""
    enough = one.chance >= asked
    return not enough, one.level if enough else -one.chance


def _try(build: Build, states: Sequence[str], speeds: Floats, level: float, safety: Safety, draws: Draws) -> _Try:
    return _Try(speeds, level, safety, chance_of(build, states, speeds, draws))


def _proven(
    build: Build, nominal: Setting, best: _Try, position: str, fresh: Draws, confidence: float, seconds: float
) -> RobustSetting:
    """The tightened problem's own answer and bound, and the check by fresh draws."""
    if best.safety:
        tight, left = tightened(build, best.safety), max(seconds, 0.0)
        answer = find_quietest(tight, nominal.states, one_setting=True, position=position, seconds=left)
        setting = answer.settings[0]
    else:
        setting = nominal  # it holds often enough as it is, or nothing holds more often
    chance = chance_of(build, nominal.states, setting.speeds, fresh)
    before = chance_of(build, nominal.states, nominal.speeds, fresh)
    return RobustSetting(nominal.states, nominal, setting, best.safety, before, chance, chance >= confidence)


def tightened_limits(build: Build, setting: RobustSetting) -> list[tuple[str, Limit, float]]:
    """State, limit and tightening of every limit that was tightened."""
    return [
        (name, limit, setting.safety[name, limit.name])
        for name in setting.states
        for limit in limits(build, build.state(name))
        if setting.safety.get((name, limit.name), 0.0) > 0.0
    ]
