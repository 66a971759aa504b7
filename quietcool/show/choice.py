"""What to buy, for people and for scripts."""

from __future__ import annotations

import math
from typing import Any

from quietcool.decide.choose.search import WITHIN, Choice, Solved
from quietcool.entry.build import Build
from quietcool.entry.catalogue_records import Catalogue
from quietcool.show.console import NOTHING, Part, number, rpm, table
from quietcool.show.json_answers import FORMAT, Answer, envelope
from quietcool.show.json_answers import number as in_json
from quietcool.show.wording import BROKEN, KEPT, bound_words, counted, level_words
from quietcool.units import in_unit

ALIKE = 0.005  # levels that print alike [dB]


def choice_verdict(answer: Choice) -> int:
    """Return the exit code: 3 where no combination was found that keeps the limits."""
    return BROKEN if answer.best is None else KEPT


def choice_sentences(catalogue: Catalogue, answer: Choice) -> list[str]:
    """Return what to buy, what is proven of it, and what was not looked at."""
    counted_all = f"{counted(answer.allowed, 'combination')} that fit and keep the rules"
    if answer.best is None:
        head = f"{answer.state}: nothing to buy was found that keeps the limits, among {counted_all}"
        return [f"{head}; {_left(answer)}.", *_impossible(answer)]
    bought = " and ".join(
        f"for the {place.path} {option.name}"
        for place, option in zip(catalogue.places, answer.best.options, strict=True)
    )
    head = f"{answer.state}: buy {bought}: {level_words(answer.best.level)} at the {answer.position}"
    return [f"{head}{_price_words(catalogue, answer.best)}.", f"Of {counted_all}, {_left(answer)}.", *_setting(answer)]


def _impossible(answer: Choice) -> list[str]:
    """What the bound proves of a catalogue in which nothing was found that keeps the limits."""
    if math.isnan(answer.nothing_kept_below):
        return []
    if answer.nothing_kept_below >= answer.level_limit:
        return ["The bound proves that none of them keeps the limits, whatever its speeds."]
    return [f"The bound proves that none of them keeps the limits below {level_words(answer.nothing_kept_below)}."]


def _price_words(catalogue: Catalogue, best: Solved) -> str:
    if not best.price:
        return ""
    return f", at a price of {best.price:.0f}" + (
        "" if catalogue.budget is None else f" of the {catalogue.budget:.0f} that may be spent"
    )


def _left(answer: Choice) -> str:
    """What was solved, and what the bound says of the rest."""
    solved = f"{answer.solved} were solved at the quietest setting found for each"
    if answer.solved == answer.allowed:
        return f"all {solved}"
    if answer.best is None:
        return f"{solved}" + (", and no other can keep them below " + level_words(answer.next_bound))
    if answer.proven:
        return f"{solved}; the bound proves that none of the others is quieter"
    why = "the answer was interrupted" if answer.interrupted else "time was over"
    return f"{solved}, then {why}: of the others none is quieter than {bound_words(answer.next_bound)}"


def _setting(answer: Choice) -> list[str]:
    """The speeds of the winner and how far they are proven."""
    best, rig, proof = answer.best, answer.build, answer.proof
    if best is None or rig is None or proof is None:
        return []
    speeds = ", ".join(
        f"{name} {rpm(in_unit(float(speed), 'rpm'))}" for name, speed in zip(rig.group_names, best.speeds, strict=True)
    )
    said = f"Its quietest setting found, in rpm: {speeds}"
    if proof.status == "proven":
        return [f"{said}; none of its settings is quieter than {bound_words(proof.lower_bound)}."]
    return [f"{said}; the time did not suffice to prove it."]


def choice_tables(catalogue: Catalogue, answer: Choice) -> list[Part]:
    """Return the winner and the runners-up."""
    if answer.best is None:
        return []
    rows = []
    for one in (answer.best, *answer.runners_up):
        price = f"{one.price:.0f}" if one.price else NOTHING
        head = [number(one.level, 2), price, lost_words(answer, one)]
        for place, option in zip(catalogue.places, one.options, strict=True):
            rows.append([*head[:2], f"{place.path}: {option.name}", head[2]])
            head = ["", "", ""]
    title = f"Solved within {WITHIN:.0f} dB of the quietest"
    return [table(title, [">dB(A)", ">price", "what", "against the first"], rows)]


def lost_words(answer: Choice, one: Solved) -> str:
    """Return why a combination lost."""
    best = answer.best
    if best is None or one.combination == best.combination:
        return "bought" if best is not None else ""
    louder, dearer = one.level - best.level, one.price - best.price
    heard = f"{louder:.2f} dB louder" if louder > ALIKE else "as quiet"
    if abs(dearer) < ALIKE:
        return f"{heard}, as dear" if louder > ALIKE else f"{heard} and as dear"
    return f"{heard}{' but' if (louder > ALIKE) != (dearer > 0) else ','} {abs(dearer):.0f} " + (
        "dearer" if dearer > 0 else "cheaper"
    )


def choice_answer(build: Build, catalogue: Catalogue, answer: Choice) -> Answer:
    """Return the answer of `choose` in JSON."""
    ends = envelope(build)
    ends["inputs_sha256"] = {**ends["inputs_sha256"], **catalogue.inputs}
    return {
        "format": FORMAT,
        "state": answer.state,
        "objective": {"position": answer.position, "quantity": "level_dba"},
        "catalogue": {
            "title": catalogue.title,
            "budget": catalogue.budget,
            "most_fan_models": catalogue.most_fan_models,
            "fitting": {place.path: count for place, count in zip(catalogue.places, answer.fitting, strict=True)},
        },
        "combinations": answer.combinations,
        "allowed": answer.allowed,
        "solved": answer.solved,
        "unsolved_proven_no_quieter": answer.proven,
        "next_bound_dba": in_json(answer.next_bound),
        "floor_dba": in_json(answer.floor),
        "nothing_kept_below_dba": in_json(answer.nothing_kept_below),
        "interrupted": answer.interrupted,
        "best": None if answer.best is None else {**_solved(catalogue, answer, answer.best), **_proof(answer)},
        "runners_up": [_solved(catalogue, answer, one) for one in answer.runners_up],
        **ends,
    }


def _solved(catalogue: Catalogue, answer: Choice, one: Solved) -> dict[str, Any]:
    return {
        "level_dba": in_json(one.level),
        "bound_dba": in_json(one.bound),
        "price": one.price,
        "places": {
            place.path: {
                "radiator": option.radiator.name,
                "fan": option.fan.name,
                "fans": option.fan_count,
                "layout": option.layout,
                "price": option.price,
            }
            for place, option in zip(catalogue.places, one.options, strict=True)
        },
        "against_best": lost_words(answer, one),
    }


def _proof(answer: Choice) -> dict[str, Any]:
    if answer.best is None or answer.build is None or answer.proof is None:
        return {}
    groups = zip(answer.build.group_names, answer.best.speeds.tolist(), strict=True)
    return {
        "groups": {name: {"speed_rpm": in_json(speed, "rpm")} for name, speed in groups},
        "status": answer.proof.status,
        "lower_bound_dba": in_json(answer.proof.lower_bound),
    }
