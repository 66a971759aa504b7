"""What every lever is worth, for people and for scripts."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, TypeAlias

from quietcool.decide.levers import Lever, Levers, Worth
from quietcool.entry.build import Build
from quietcool.show.console import NOTHING, Part, table
from quietcool.show.console import number as printed
from quietcool.show.json_answers import FORMAT, envelope, number

if TYPE_CHECKING:
    from collections.abc import Iterable

Answer: TypeAlias = dict[str, Any]

MEASURABLE = 0.5  # dB or K: what one meter, or two sensors of one kind, can show; common practice, no source
TOLD = 3  # strongest changes in the sentence


def levers_sentences(build: Build, answer: Levers) -> list[str]:
    """Return the strongest things one can do, and what the units are worth."""
    changes = [one for one in answer.levers if one.kind == "change" and one.quieter.value > MEASURABLE]
    if math.isnan(answer.level):
        colder = [one for one in answer.levers if one.feasible]
        told = _listed(f"{one.name}" for one in colder[:TOLD]) or "none of the levers"
        return [f"{answer.state}: no setting keeps the limits as the rig stands; alone would do: {told}."]
    if not changes:
        head = f"{answer.state}: no single change is worth {MEASURABLE} dB at the {answer.position}"
    else:
        told = _listed(f"{one.name} ({_words(one.quieter)} dB)" for one in changes[:TOLD])
        head = f"{answer.state}: strongest at the {answer.position}, at the same limits: {told}"
    doubtful = [one.name for one in answer.levers if one.kind == "change" and not _clear(one)]
    said = [f"{head}."]
    if doubtful:
        said.append(f"No difference you could measure: {_listed(doubtful)}.")
    return said


def _listed(things: Iterable[str]) -> str:
    return ", ".join(things)


def _words(worth: Worth) -> str:
    return f"{printed(worth.value, 1)}, {printed(worth.low, 1)} to {printed(worth.high, 1)}"


def _clear(lever: Lever) -> bool:
    """Whether a change is sure and large enough to measure, in decibels or in kelvins; lost limits are clear too."""
    pairs = (lever.quieter, lever.colder)
    return not lever.feasible or any(one.sure and abs(one.value) >= MEASURABLE for one in pairs)


def verdict_of(lever: Lever) -> str:
    """Return what a change amounts to: better, worse or no difference one could measure; units have no verdict."""
    if lever.kind == "unit":
        return ""
    if not lever.feasible:
        return "limits lost"
    if not _clear(lever):
        return "no difference you could measure"
    clear = next(one for one in (lever.quieter, lever.colder) if one.sure and abs(one.value) >= MEASURABLE)
    return "better" if clear.value > 0.0 else "worse"


def levers_tables(answer: Levers) -> list[Part]:
    """Return all levers, the strongest first."""
    rows = [[one.name, *_cells(one.quieter), *_cells(one.colder), verdict_of(one) or NOTHING] for one in answer.levers]
    compared = f"dB at the {answer.position} at the same limits, K of {answer.axis.limit} at the same level"
    title = f"Levers in {answer.state}: {compared}"
    return [table(title, ["lever", ">dB", ">from - to", ">K", ">from - to", "verdict"], rows)]


def _cells(worth: Worth) -> list[str]:
    if math.isnan(worth.value):
        return [NOTHING, NOTHING]
    return [printed(worth.value, 2), f"{printed(worth.low, 1)} - {printed(worth.high, 1)}"]


def levers_answer(build: Build, answer: Levers) -> Answer:
    """Return the JSON form of all levers."""
    return {
        "format": FORMAT,
        "state": answer.state,
        "position": answer.position,
        "axis": answer.axis.limit,
        "level_dba": number(answer.level),
        "temp_c": number(answer.temp, "degC"),
        "price_db_per_k": number(answer.price),
        "measurable": MEASURABLE,
        "draws": answer.draws,
        "seed": answer.seed,
        "solved_cases": answer.solved_cases,
        "levers": [
            {
                "lever": one.name,
                "kind": one.kind,
                "feasible": one.feasible,
                "quieter_db": number(one.quieter.value),
                "quieter_db_interval": [number(one.quieter.low), number(one.quieter.high)],
                "colder_k": number(one.colder.value),
                "colder_k_interval": [number(one.colder.low), number(one.colder.high)],
                "verdict": verdict_of(one) or None,
            }
            for one in answer.levers
        ],
        **envelope(build),
    }
