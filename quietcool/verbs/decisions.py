"""What verbs of decisions share: how many draws, how sure an answer is by them, and robust settings."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from quietcool.errors import InputError, Mistake
from quietcool.verbs.comparisons import OneState
from quietcool.verbs.options import AsJson, At, BuildFile, Draws, Seed, Speeds
from quietcool.verbs.telling import tell_json, tell_parts

if TYPE_CHECKING:
    from quietcool.decide.levers import Levers
    from quietcool.decide.quietest import Quietest
    from quietcool.decide.scenarios import Scenarios
    from quietcool.decide.uncertainty import Uncertainty
    from quietcool.entry.build import Build
    from quietcool.solve.operating_point import OperatingPoint

DRAWS = 500  # of `solve` and `quietest`: a tenth of a second
SCENARIO_DRAWS = 200  # of `scenarios`, for each
MOST_DRAWS = 1_000_000
MOST_SEED = 2**63 - 1
LEAST_CONFIDENCE, MOST_CONFIDENCE = 0.5, 0.99  # beyond, the search would need more draws than it takes


Confidence = Annotated[
    float | None,
    typer.Option("--confidence", metavar="P", help="Keep the limits with this chance, 0.5 to 0.99: robust settings "
                 "beside the nominal ones."),
]  # fmt: skip


WorstDay = Annotated[
    bool, typer.Option("--worst-day", help="In the hottest room of the build's scenarios, and with dust.")
]  # fmt: skip


def on_day(rig: Build, worst: bool) -> Build:
    """Return the rig on its worst day where that is asked for."""
    if not worst:
        return rig
    from quietcool.decide.scenarios import worst_day

    return worst_day(rig)


def chosen_confidence(confidence: float) -> float:
    """Return the chance that was asked for."""
    if not LEAST_CONFIDENCE <= confidence <= MOST_CONFIDENCE:
        required = f"a chance from {LEAST_CONFIDENCE} to {MOST_CONFIDENCE}"
        raise InputError([Mistake("--confidence", None, None, "", required, f"{confidence:g}", "0.9 is usual")])
    return confidence


def alone(option: str, **others: bool) -> None:
    """Refuse options that do not go with one."""
    wrong = [name for name, given in others.items() if given]
    if wrong:
        found = ", ".join(f"--{name}" for name in wrong)
        raise InputError([Mistake(option, None, None, "", "no other kind of answer beside it", found, "leave one out")])


def chosen_whole(option: str, value: int, lowest: int, highest: int) -> int:
    """Return a whole number that was asked for."""
    if not lowest <= value <= highest:
        required = f"a whole number from {lowest} to {highest}"
        raise InputError([Mistake(option, None, None, "", required, str(value), "write one in that range")])
    return value


def how_sure(
    rig: Build, points: Mapping[str, OperatingPoint], draws: int, seed: int, *, rank: bool = False
) -> dict[str, Uncertainty]:
    """Say how sure solved states are; nothing for 0 draws."""
    from quietcool.decide.uncertainty import find_uncertainties
    from quietcool.entry.choices import asked_for

    count, start = asked_for(
        lambda: chosen_whole("--draws", draws, 0, MOST_DRAWS), lambda: chosen_whole("--seed", seed, 0, MOST_SEED)
    )
    return find_uncertainties(rig, points, draws=count, seed=start, rank=rank)


def tell_quietest(rig: Build, answer: Quietest, sure: dict[str, Uncertainty], json: bool) -> int:
    """Tell the quietest settings and how sure they are."""
    from quietcool.show import json_answers, tables, uncertainty, wording

    code = wording.quietest_verdict(rig, answer)
    if json:
        return tell_json(uncertainty.with_uncertainty(rig, json_answers.quietest_answer(rig, answer), sure), code)
    said = [*wording.quietest_sentences(rig, answer), *uncertainty.sure_sentences(rig, sure, answer.position)]
    told = [uncertainty.settings_sure_table(rig, sure, answer.position)] if sure else []
    return tell_parts([*said, *tables.quietest_tables(rig, answer), *told], code)


def robust(
    rig: Build,
    state: Sequence[str] | None,
    one_setting: bool,
    at: str | None,
    seconds: float,
    confidence: float,
    draws: int,
    seed: int,
    json: bool,
) -> int:
    """Answer with robust settings beside the nominal ones."""
    from quietcool.decide.robust import find_robust
    from quietcool.entry.choices import asked_for, chosen_position, chosen_seconds, chosen_states
    from quietcool.show import json_answers, uncertainty
    from quietcool.show import robust as told
    from quietcool.show.progress import ProgressLine

    names, position, limit, chance, start = asked_for(
        lambda: chosen_states(rig, state), lambda: chosen_position(rig, at), lambda: chosen_seconds(seconds),
        lambda: chosen_confidence(confidence), lambda: chosen_whole("--seed", seed, 0, MOST_SEED),
    )  # fmt: skip
    with ProgressLine(sys.stderr) as progress:
        answer = find_robust(
            rig, names, confidence=chance, one_setting=one_setting, position=position, seconds=limit, seed=start,
            progress=progress,
        )  # fmt: skip
    points = {name: point for setting in answer.settings for name, point in setting.robust.points.items()}
    sure, code = how_sure(rig, points, draws, seed), told.robust_verdict(answer)
    if json:
        nominal = json_answers.quietest_answer(rig, answer.nominal)
        return tell_json(told.with_robust(rig, nominal, answer, sure), code)
    tables = [uncertainty.settings_sure_table(rig, sure, answer.nominal.position)] if sure else []
    return tell_parts([*told.robust_sentences(rig, answer), *told.robust_tables(rig, answer), *tables], code)


def levers(
    build: BuildFile,
    state: OneState = None,
    at: At = None,
    seed: Seed = 0,
    json: AsJson = False,
) -> int:
    """Say what every lever is worth: watts, kelvins, doors, air, fans.

    Each altered rig at its own optimum: decibels at the same limits, kelvins at the same level, with their errors.
    """
    from quietcool.entry.buildfile import read_build
    from quietcool.show import levers as told

    rig = read_build(build)
    answer = found_levers(rig, state, at, seed)
    if json:
        return tell_json(told.levers_answer(rig, answer), 0)
    return tell_parts([*told.levers_sentences(rig, answer), *told.levers_tables(answer)], 0)


def found_levers(rig: Build, state: str | None, at: str | None, seed: int) -> Levers:
    """Ask for the levers, with progress on stderr."""
    from quietcool.decide.levers import find_levers
    from quietcool.entry.choices import asked_for, chosen_position, chosen_states
    from quietcool.show.progress import ProgressLine

    names, position, start = asked_for(
        lambda: chosen_states(rig, None if state is None else [state]),
        lambda: chosen_position(rig, at),
        lambda: chosen_whole("--seed", seed, 0, MOST_SEED),
    )
    with ProgressLine(sys.stderr) as progress:
        asked = None if state is None else names[0]
        return find_levers(rig, asked, position=position, seed=start, progress=progress)


def scenarios(
    build: BuildFile,
    state: OneState = None,
    speed: Speeds = None,
    at: At = None,
    draws: Draws = SCENARIO_DRAWS,
    seed: Seed = 0,
    json: AsJson = False,
) -> int:
    """What if: hot rooms, dust, a dead fan, the pump at its slowest, no filter, a door ajar.

    Without --speed at the quietest setting of the rig as it is. Each scenario also says which setting would hold.
    """
    from quietcool.entry.buildfile import read_build
    from quietcool.show import scenarios as told

    rig = read_build(build)
    answer = found_scenarios(rig, state, speed, at, draws, seed)
    code = told.scenarios_verdict(answer)
    if json:
        return tell_json(told.scenarios_answer(rig, answer), code)
    return tell_parts([*told.scenarios_sentences(rig, answer), *told.scenarios_tables(rig, answer)], code)


def found_scenarios(
    rig: Build, state: str | None, speed: Sequence[str] | None, at: str | None, draws: int, seed: int
) -> Scenarios:
    """Ask for the scenarios, with progress on stderr."""
    from quietcool.decide.scenarios import find_scenarios
    from quietcool.entry.choices import asked_for, chosen_position, chosen_speeds, chosen_states
    from quietcool.show.progress import ProgressLine

    names, position, speeds, count, start = asked_for(
        lambda: chosen_states(rig, None if state is None else [state]),
        lambda: chosen_position(rig, at),
        lambda: chosen_speeds(rig, speed) if speed else None,
        lambda: chosen_whole("--draws", draws, 0, MOST_DRAWS),
        lambda: chosen_whole("--seed", seed, 0, MOST_SEED),
    )
    with ProgressLine(sys.stderr) as progress:
        asked = None if state is None else names[0]
        return find_scenarios(rig, asked, speeds, position=position, draws=count, seed=start, progress=progress)
