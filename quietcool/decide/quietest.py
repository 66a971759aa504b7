"""The quietest speeds that keep every limit, with a bound on what any other setting could gain."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.log import SearchLog
from quietcool.decide.bound.search import Proof
from quietcool.decide.incumbent import Incumbent, Search, find_incumbent, grid_speeds, turning_ranges
from quietcool.decide.question import Quantity, Question, Tally
from quietcool.decide.rating import prove_rating
from quietcool.decide.worth import Binding, find_worth
from quietcool.entry.build import Build
from quietcool.errors import RefutedBound
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point

Floats = NDArray[np.float64]
Status = Literal["proven", "best_found", "infeasible"]

PROVEN_GAP = 0.1  # a gap up to this, with a valid bound, is called proven [dB]
ROUNDING = 1e-6  # a bound above the level by no more than this is rounding, not a failure [dB]


class Progress(NamedTuple):
    """How far an answer is."""

    what: str  # "searching" or "proving", and for which states
    done: float  # 0 to 1; NaN if unknown
    level: float  # quietest feasible level so far, inf if none [dB(A)]
    lower_bound: float  # [dB(A)]


@dataclass(frozen=True)
class Setting:
    """One setting of all groups for one or several states."""

    states: tuple[str, ...]
    speeds: Floats  # in the order of `build.group_names`, (groups + 1,) [rev/s]
    status: Status
    level: float  # worst over its states; NaN when infeasible [dB(A)]
    lower_bound: float  # NaN when infeasible [dB(A)]
    gap: float  # [dB]
    binding: tuple[Binding, ...]
    points: dict[str, OperatingPoint]  # by state
    infeasibility_proven: bool = False  # for "infeasible": True if the bound shows that no setting keeps the limits


@dataclass(frozen=True)
class Quietest:
    """The answer: one setting, or one for each state; level, bound and gap are those of the loudest."""

    status: Status
    level: float  # [dB(A)]
    lower_bound: float  # [dB(A)]
    gap: float  # [dB]
    position: str
    settings: tuple[Setting, ...]
    solved_cases: int
    boxes: int
    interrupted: bool
    quantity: Quantity = "dba"  # what level, bound and gap are: dB(A), or ratings

    @property
    def points(self) -> dict[str, OperatingPoint]:
        """Operating points of all settings, by state."""
        return {name: point for setting in self.settings for name, point in setting.points.items()}


class _Draft(NamedTuple):
    """A question on its way to a setting."""

    question: Question
    search: Search
    proof: Proof | None


def find_quietest(
    build: Build,
    states: Sequence[str] | None = None,
    *,
    one_setting: bool = False,
    position: str | None = None,
    seconds: float = 60.0,
    minimise: Quantity = "dba",
    progress: Callable[[Progress], None] | None = None,
    logs: dict[str, SearchLog] | None = None,
) -> Quietest:
    """Find the quietest admissible speeds that keep every limit.

    Parameters
    ----------
    build : Build
        The rig.
    states : sequence of str, optional
        Names of the states asked for; all if not given.
    one_setting : bool
        One setting for all of them instead of one each.
    position : str, optional
        Where it is heard; the first position if not given.
    seconds : float
        Time for the whole answer; the search for settings is not cut short, the bound gets what is left. [s]
    minimise : str
        "dba" for the level, "nc" or "nr" for the rating by tangency of what the rig makes there.
    progress : callable, optional
        Told now and then how far the answer is.
    logs : dict, optional
        Filled with the log of each state's search, for a certificate.

    Returns
    -------
    Quietest
        With `interrupted` set if Ctrl-C came after a first setting was found.

    Raises
    ------
    KeyError
        If a state or position is unknown.
    RefutedBound
        If a bound lies above a feasible level: the tool is wrong then, and says so.
    """
    start = time.monotonic()
    where = 0 if position is None else {p.name: i for i, p in enumerate(build.positions)}[position]
    asked = tuple(build.state(name) for name in states) if states is not None else build.states
    tally = Tally()
    questions = [
        Question(build, group, where, tally, minimise)
        for group in ([asked] if one_setting else [(state,) for state in asked])
    ]
    tell = progress or (lambda _: None)
    drafts: list[_Draft] = []
    interrupted = False
    try:
        for question in questions:
            drafts.append(_Draft(question, find_incumbent(question, _searching(question, tell)), None))
        for i, draft in enumerate(drafts):
            left = (seconds - (time.monotonic() - start)) / (len(drafts) - i)
            proof = prove_rating(draft.question, draft.search.best, left, _proving(draft, tell), logs)
            drafts[i] = draft._replace(proof=proof)
            interrupted = interrupted or proof.interrupted
            if interrupted:
                break
    except KeyboardInterrupt:
        if not drafts:
            raise
        interrupted = True
    settings = tuple(_setting(draft, with_worth=not interrupted) for draft in drafts)
    answer = _answer(build, where, settings, drafts, tally, interrupted)
    return replace(answer, quantity=minimise)


def _searching(question: Question, tell: Callable[[Progress], None]) -> Callable[[float], None]:
    names = ", ".join(state.name for state in question.states)
    return lambda done: tell(Progress(f"searching {names}", done, np.inf, -np.inf))


def _proving(draft: _Draft, tell: Callable[[Progress], None]) -> Callable[[float, float], None]:
    names = ", ".join(state.name for state in draft.question.states)
    return lambda level, bound: tell(Progress(f"proving {names}", np.nan, level, bound))


def _setting(draft: _Draft, *, with_worth: bool) -> Setting:
    """Status, worth and operating points of one question's best setting."""
    question, search, proof = draft
    best = search.best if proof is None else proof.best
    speeds = grid_speeds(question, best.steps[None])[0]
    points = {state.name: solve_operating_point(question.build, state, speeds) for state in question.states}
    names = tuple(state.name for state in question.states)
    bound = -np.inf if proof is None else proof.lower_bound
    if best.worst_margin < 0.0:
        return Setting(
            names, speeds, "infeasible", np.nan, np.nan, np.nan, (), points, proof is not None and bound == np.inf
        )
    if bound > best.level + ROUNDING:
        raise RefutedBound(
            f"the bound of {bound:.6f} dB(A) for {', '.join(names)} lies above a setting that keeps every limit at "
            f"{best.level:.6f} dB(A): this is a defect of the tool, please report it with the build file"
        )
    gap = max(best.level - bound, 0.0)
    status: Status = "proven" if gap <= PROVEN_GAP else "best_found"
    binding = _worth(question, search, best) if with_worth else ()
    return Setting(names, speeds, status, best.level, min(bound, best.level), gap, binding, points)


def _worth(question: Question, search: Search, best: Incumbent) -> tuple[Binding, ...]:
    ranges = turning_ranges(question)
    speeds = grid_speeds(question, best.steps[None])[0]
    stopped = (speeds == 0.0) & (ranges[1] > 0.0)
    span = np.where(ranges[1] > ranges[0], ranges[1] - ranges[0], 1.0)
    near = np.where(stopped, 0.0, (speeds - ranges[0]) / span)
    optimum = search.optimum_near(near, stopped)
    return () if optimum is None else find_worth(question, ranges, stopped, optimum, best.margins)


def _answer(
    build: Build, where: int, settings: tuple[Setting, ...], drafts: list[_Draft], tally: Tally, interrupted: bool
) -> Quietest:
    boxes = sum(draft.proof.boxes for draft in drafts if draft.proof is not None)
    broken = [setting for setting in settings if setting.status == "infeasible"]
    common = (build.positions[where].name, settings, tally.cases, boxes, interrupted)
    if broken:
        return Quietest("infeasible", np.nan, np.nan, np.nan, *common)
    loudest = max(settings, key=lambda setting: setting.level)
    status: Status = "proven" if all(setting.status == "proven" for setting in settings) else "best_found"
    return Quietest(status, loudest.level, loudest.lower_bound, loudest.gap, *common)
