"""What verbs of decisions share: how many draws, how sure an answer is by them, and robust settings."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from quietcool.errors import InputError, Mistake
from quietcool.verbs.telling import tell_json, tell_parts

if TYPE_CHECKING:
    from quietcool.decide.uncertainty import Uncertainty
    from quietcool.entry.build import Build
    from quietcool.solve.operating_point import OperatingPoint

DRAWS = 500  # of `solve` and `quietest`: a tenth of a second
MOST_DRAWS = 1_000_000
MOST_SEED = 2**63 - 1
LEAST_CONFIDENCE, MOST_CONFIDENCE = 0.5, 0.99  # beyond, the search would need more draws than it takes


Confidence = Annotated[
    float | None,
    typer.Option("--confidence", metavar="P", help="Keep the limits with this chance, 0.5 to 0.99: robust settings "
                 "beside the nominal ones."),
]  # fmt: skip


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
