"""What every scenario does and what would hold in it, for people and for scripts."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, TypeAlias

from quietcool.entry.build import Build
from quietcool.show.console import NOTHING, Part, margin, table
from quietcool.show.console import number as printed
from quietcool.show.json_answers import FORMAT, envelope, number, speeds_answer, state_margins
from quietcool.show.uncertainty import percent
from quietcool.show.wording import counted, is_broken, level_words, missed_words, speeds_words
from quietcool.units import in_unit

if TYPE_CHECKING:
    from quietcool.decide.scenarios import Outcome, Scenarios
    from quietcool.show.wording import Margin

Answer: TypeAlias = dict[str, Any]

KEPT, BROKEN = 0, 3
MOST_NAMED = 4  # scenarios in a sentence; the table has them all


def scenarios_verdict(answer: Scenarios) -> int:
    """Return the exit code: of the rig as it is, at the setting at hand."""
    return BROKEN if any(is_broken(m) for m in _margins(answer.outcomes[0])) else KEPT


def scenarios_sentences(build: Build, answer: Scenarios) -> list[str]:
    """Return which scenarios the setting lives through, and which none does."""
    speeds = speeds_words(build, answer.speeds.tolist())
    broken = [one for one in answer.outcomes if _breaks(one)]
    head = f"{answer.state} at {speeds}: limits hold in {len(answer.outcomes) - len(broken)} of "
    head += counted(len(answer.outcomes), "scenario")
    lost = [one.scenario.name for one in answer.outcomes if not one.holding.holds]
    said = [f"{head}{', not in ' + _few([one.scenario.name for one in broken]) if broken else ''}."]
    if lost:
        said.append(f"No setting was found that would hold in: {', '.join(lost)}.")
    return said


def _few(names: list[str]) -> str:
    more = len(names) - MOST_NAMED
    return ", ".join([*names[:MOST_NAMED], f"and {more} more"] if more > 0 else names)


def _margins(outcome: Outcome) -> list[Margin]:
    return state_margins(outcome.scenario.build, outcome.scenario.state, outcome.point)


def _breaks(outcome: Outcome) -> bool:
    return not outcome.point.converged or any(is_broken(m) for m in _margins(outcome))


def scenarios_tables(build: Build, answer: Scenarios) -> list[Part]:
    """Return every scenario at the setting at hand, and the setting that would hold."""
    heard = [place.name for place in build.positions].index(answer.position)
    now = [[one.scenario.name, *_now(one, heard)] for one in answer.outcomes]
    would = [
        [
            one.scenario.name,
            speeds_words(build, one.holding.speeds.tolist()) if one.holding.holds else "none found",
            level_words(one.holding.level).removesuffix(" dB(A)") if one.holding.holds else NOTHING,
        ]
        for one in answer.outcomes
    ]
    columns = ["scenario", ">coolant, degC", "worst limit", ">margin", ">dB(A)", ">chance to hold"]
    return [
        table(f"Scenarios in {answer.state}, at the setting at hand", columns, now),
        table("What would hold, quietest found", ["scenario", "setting", ">dB(A)"], would),
    ]


def _now(outcome: Outcome, heard: int) -> list[str]:
    if not outcome.point.converged:
        return [NOTHING, "no steady state", NOTHING, NOTHING, NOTHING]
    found = _margins(outcome)
    worst = min(found, key=_urgency, default=None)
    told = [NOTHING, NOTHING] if worst is None else [worst[0].name, f"{margin(worst[1][0])} {worst[1][1]}"]
    return [
        printed(in_unit(float(outcome.point.coolant_temp_max), "degC"), 1),
        *told,
        printed(float(outcome.point.level[heard]), 1),
        NOTHING if outcome.known is None else percent(outcome.known.all_kept),
    ]


def _urgency(found: Margin) -> tuple[bool, bool, float]:
    """Broken limits first, whatever their unit; else temperatures, the smallest margin first."""
    value, unit = found[1]
    return not is_broken(found), unit != "K", -math.inf if value is None else value


def scenarios_answer(build: Build, answer: Scenarios) -> Answer:
    """Return the JSON form of all scenarios."""
    heard = [place.name for place in build.positions].index(answer.position)
    return {
        "format": FORMAT,
        "state": answer.state,
        "position": answer.position,
        "groups": speeds_answer(build, answer.speeds.tolist()),
        "draws": answer.draws,
        "seed": answer.seed,
        "scenarios": [_one(build, one, heard) for one in answer.outcomes],
        **envelope(build),
    }


def _one(build: Build, outcome: Outcome, heard: int) -> Answer:
    point, known, holding = outcome.point, outcome.known, outcome.holding
    found = _margins(outcome)
    ends = None if known is None else [number(float(p.coolant_temp_max), "degC") for p in (known.low, known.high)]
    heard_ends = None if known is None else [number(float(p.level[heard])) for p in (known.low, known.high)]
    return {
        "scenario": outcome.scenario.name,
        "converged": bool(point.converged),
        "coolant_c": number(float(point.coolant_temp_max), "degC"),
        "coolant_c_interval": ends,
        "level_dba": number(float(point.level[heard])),
        "level_dba_interval": heard_ends,
        "sources": _temps(outcome),
        "limits": [
            {"limit": limit.name, "kind": limit.kind, "margin": value, "unit": unit} for limit, (value, unit) in found
        ],
        "kept": not _breaks(outcome),
        "missed": missed_words([m for m in found if is_broken(m)]),
        "chance": None if known is None else known.all_kept,
        "holds": holding.holds,
        "setting": speeds_answer(build, holding.speeds.tolist()),
        "setting_level_dba": number(holding.level),
    }


def _temps(outcome: Outcome) -> Answer:
    temps = iter(outcome.point.point_temp.tolist())
    return {
        source.name: {place.name: number(next(temps), "degC") for place in source.points}
        for source in outcome.scenario.build.sources
    }
