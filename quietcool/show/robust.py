"""Robust settings beside nominal ones, for people and for scripts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, TypeAlias

from quietcool.entry.build import Build
from quietcool.show.console import Part, margin, rpm, table
from quietcool.show.console import number as printed
from quietcool.show.json_answers import number, operating_point_answer, read_margin, speeds_answer
from quietcool.show.uncertainty import percent, with_uncertainty
from quietcool.show.wording import BROKEN, INTERRUPTED, KEPT, level_words, speeds_words
from quietcool.units import in_unit

if TYPE_CHECKING:
    from quietcool.decide.robust import Robust, RobustSetting
    from quietcool.decide.uncertainty import Uncertainty

Answer: TypeAlias = dict[str, Any]


def robust_verdict(answer: Robust) -> int:
    """Return the exit code: kept if every setting holds as often as asked for."""
    if answer.nominal.interrupted:
        return INTERRUPTED
    return KEPT if answer.reached else BROKEN


def robust_sentences(build: Build, answer: Robust) -> list[str]:
    """Return one sentence for each setting: the robust one, what it costs, and what the nominal one is worth."""
    return [_sentence(build, answer, setting) for setting in answer.settings]


def _sentence(build: Build, answer: Robust, setting: RobustSetting) -> str:
    states, heard = ", ".join(setting.states), answer.nominal.position
    speeds = speeds_words(build, setting.robust.speeds.tolist())
    asked, held, before = (percent(x) for x in (answer.confidence, setting.chance, setting.nominal_chance))
    if not setting.reached:
        none = f"{states}: no setting was found that keeps every limit in {asked} of the draws"
        return f"{none}; the surest found, {speeds}, does in {held}, the nominal one in {before}."
    level = level_words(_level(setting, answer, build))
    head = f"{states}: {speeds}: {level} at the {heard}, every limit kept in {held} of {answer.fresh_draws} fresh draws"
    costs = setting.robust.level - setting.nominal.level
    return f"{head}; the nominal setting is {printed(costs, 1)} dB quieter and keeps them in {before}."


def _level(setting: RobustSetting, answer: Robust, build: Build) -> float:
    heard = [place.name for place in build.positions].index(answer.nominal.position)
    return max(float(point.level[heard]) for point in setting.robust.points.values())


def robust_tables(build: Build, answer: Robust) -> list[Part]:
    """Return nominal and robust settings side by side, and by what every limit was tightened."""
    from quietcool.decide.robust import tightened_limits

    columns = [""]
    for setting in answer.settings:
        name = ", ".join(setting.states)
        columns += [f">{name}, nominal", f">{name}, robust"]
    both = [one for setting in answer.settings for one in (setting.nominal, setting.robust)]
    rows = [
        [f"{name}, rpm", *(rpm(in_unit(one.speeds[i], "rpm")) for one in both)]
        for i, name in enumerate(build.group_names)
    ]
    rows.append(["level, dB(A)", *(printed(one.level, 2) for one in both)])
    rows.append(["bound, dB(A)", *(printed(one.lower_bound, 2) for one in both)])
    chances = [chance for s in answer.settings for chance in (s.nominal_chance, s.chance)]
    rows.append(["limits kept", *(percent(chance) for chance in chances)])
    parts: list[Part] = [table(f"Nominal and robust, {percent(answer.confidence)} asked for", columns, rows)]
    told = []
    for setting in answer.settings:
        for state, limit, by in tightened_limits(build, setting):
            value, unit = read_margin(by, limit.unit)
            told.append([state, limit.name, margin(value), unit])
    if told:
        title = "Limits were tightened by this; the bounds are those of the tightened limits"
        parts.append(table(title, ["state", "limit", ">by", "unit"], told))
    return parts


def with_robust(build: Build, answer: Answer, found: Robust, known: Mapping[str, Uncertainty]) -> Answer:
    """Return the answer of `quietest` with its robust settings."""
    settings = [with_uncertainty(build, _setting(build, setting), known) for setting in found.settings]
    robust = {
        "confidence": found.confidence,
        "reached": found.reached,
        "fresh_draws": found.fresh_draws,
        "seed": found.seed,
        "settings": settings,
    }
    return {**answer, "robust": robust}


def _setting(build: Build, setting: RobustSetting) -> Answer:
    from quietcool.decide.robust import tightened_limits

    one = setting.robust
    tighter = []
    for state, limit, by in tightened_limits(build, setting):
        value, unit = read_margin(by, limit.unit)
        tighter.append({"state": state, "limit": limit.name, "by": value, "unit": unit})
    return {
        "states": list(setting.states),
        "groups": speeds_answer(build, one.speeds.tolist()),
        "status": one.status,
        "level_dba": number(one.level),
        "lower_bound_dba": number(one.lower_bound),
        "gap_db": number(one.gap),
        "chance": setting.chance,
        "nominal_chance": setting.nominal_chance,
        "reached": setting.reached,
        "tightened": tighter,
        "operating_points": {
            name: operating_point_answer(build, build.state(name), point) for name, point in one.points.items()
        },
    }
