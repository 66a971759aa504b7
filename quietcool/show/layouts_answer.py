"""Layouts of radiators for people and for programs: sentences, tables, JSON, CSV."""

from __future__ import annotations

import math
from typing import Any

from quietcool.decide.layouts import Added, Difference, Gain, LayoutOutcome, Layouts, PathLayouts
from quietcool.decide.reasons import Reason
from quietcool.entry.build import Build
from quietcool.show.console import NOTHING, Part, number, rpm, table
from quietcool.show.json_answers import FORMAT, Answer, envelope
from quietcool.show.json_answers import number as in_json
from quietcool.show.tradeoff_answer import csv_text, temp_words
from quietcool.show.wording import BROKEN, KEPT, bound_words, counted, level_words
from quietcool.units import in_unit

NO_DIFFERENCE = "no difference you could measure"
MOSTLY_FLOOR = 0.5  # share of a fan's noise from which its floor is the reason
LITTLE_HEAT = 0.5  # share of the heat below which one radiator of several is the reason
RESTRICTIVE = 0.5  # share of the shut-off pressure from which a core is called restrictive


def layouts_verdict(answer: Layouts) -> int:
    """Return the exit code: 3 where no setting of the build as it stands keeps the limits besides that of the axis."""
    return KEPT if all(one.outcomes[0].gains for one in answer.paths) else BROKEN


def layouts_sentences(answer: Layouts) -> list[str]:
    """Return for every radiator whether a second row is worth it, then every other layout with its reason."""
    said = []
    for one in answer.paths:
        said.append(worth_sentence(answer, one))
        for outcome in one.outcomes:
            if not outcome.present:
                said += [outcome_sentence(answer, one, outcome), *_side_notes(answer, outcome)]
    return said


def worth_sentence(answer: Layouts, one: PathLayouts) -> str:
    """Return the verdict on the second fan row of a radiator."""
    present = one.outcomes[0]
    head = f"{one.path} ({one.radiator}), {present.layout} now"
    if not present.gains:
        return f"{head}: no setting was found that keeps the limits besides that of the {answer.axis.limit}."
    if present.layout not in ("push", "pull"):
        return f"{head}: what fewer rows would lose or gain is said below."
    doubles = [outcome for outcome in one.outcomes if outcome.layout.startswith("push-pull") and outcome.gains]
    if not doubles:
        return f"{head}: with a second fan row no setting keeps the limits."
    best = max((outcome.gains[outcome.main] for outcome in doubles), key=lambda gain: gain.quieter.value)
    return f"{head}. Is a second fan row worth it? {_verdict(best)}."


def _verdict(gain: Gain) -> str:
    """Return yes, no or neither, by what can be measured."""
    seen = [d for d in (gain.colder, gain.quieter) if math.isfinite(d.value) and d.shows]
    if not seen:
        return f"No: {NO_DIFFERENCE}"
    return "Yes" if all(d.value > 0.0 for d in seen) else "No: it is louder for the same temperature"


def outcome_sentence(answer: Layouts, one: PathLayouts, outcome: LayoutOutcome) -> str:
    """Return one layout against the present one, both ways, each with its interval."""
    head = f"{one.path}, {outcome.layout}"
    if not outcome.gains:
        return f"{head}: no setting was found that keeps the limits besides that of the {answer.axis.limit}."
    gain = outcome.gains[outcome.main]
    noise = f"at equal noise ({level_words(gain.level)}) {difference_words(gain.colder, 'K', 'colder', 'warmer')}"
    if not math.isfinite(gain.colder.value):
        noise = f"it cannot be as quiet as {level_words(gain.level)} (its least is {level_words(outcome.quietest)})"
    temp = temp_words(answer.axis, gain.temp, answer.room_temp)
    heat = f"at equal temperature ({temp}) {difference_words(gain.quieter, 'dB', 'quieter', 'louder')}"
    if not math.isfinite(gain.quieter.value):
        heat = f"it cannot be as cold as {temp}"
    bound = ""
    if math.isfinite(outcome.lower_bound):
        bound = f", where none of its settings is quieter than {bound_words(outcome.lower_bound)}"
    return f"{head}: {noise}; {heat}{bound}."


def difference_words(difference: Difference, unit: str, better: str, worse: str) -> str:
    """Return a difference with its interval, and whether it can be measured.

    >>> difference_words(Difference(0.3, -0.4, 1.0, 0.5), "K", "colder", "warmer")
    '0.3 K colder (-0.4 to 1.0), no difference you could measure'
    >>> difference_words(Difference(-2.1, -3.0, -1.0, 0.5), "dB", "quieter", "louder")
    '2.1 dB louder (1.0 to 3.0)'
    """
    sign = 1.0 if difference.value >= 0.0 else -1.0
    low, high = sorted((sign * difference.low, sign * difference.high))
    word = better if sign > 0.0 else worse
    said = f"{number(abs(difference.value), 1)} {unit} {word} ({number(low, 1)} to {number(high, 1)})"
    return said if difference.shows else f"{said}, {NO_DIFFERENCE}"


def _side_notes(answer: Layouts, outcome: LayoutOutcome) -> list[str]:
    """Return break-even, reason and what the layout needs besides."""
    notes = []
    if outcome.break_even:
        turns = [
            f"{'above' if turn.starts else 'below'} {level_words(turn.level)} "
            f"({temp_words(answer.axis, turn.temp, answer.room_temp)}, present fans at "
            f"{in_unit(turn.speed, 'rpm'):.0f} rpm)"
            for turn in outcome.break_even
        ]
        notes.append(f"At equal noise it gains {', and '.join(turns)}.")
    elif outcome.gains:
        known = [gain.colder.value for gain in outcome.gains if math.isfinite(gain.colder.value)]
        if known and max(known) <= 0.0:
            notes.append("At equal noise it gains at no level that both reach.")
        elif known and min(known) >= 0.0:
            notes.append("At equal noise it gains at every level that both reach.")
    if outcome.reason is not None:
        notes.append(reason_sentence(outcome.reason))
    needs = added_words(outcome.added)
    if needs:
        notes.append(f"It takes {needs}.")
    notes += worth_its_price(outcome)
    if outcome.beats:
        pairs = ", ".join(f"{one} and {other}" for one, other in outcome.beats)
        notes.append(f"At these speeds the blade pass of {pairs} lies so close together that it swells.")
    return notes


def worth_its_price(outcome: LayoutOutcome) -> list[str]:
    """Return what a decibel and a kelvin cost, where a dearer layout gains them measurably."""
    price = outcome.added.price
    if price is None or price <= 0.0 or not outcome.gains:
        return []
    gain = outcome.gains[outcome.main]
    pairs = ((gain.quieter, "dB"), (gain.colder, "K"))
    said = [f"{price / one.value:.0f} for each {unit}" for one, unit in pairs if one.shows and one.value > 0.0]
    return [f"At its price that is {' or '.join(said)}."] if said else []


def reason_sentence(reason: Reason) -> str:
    """Return why, in one sentence, from the solved points: the strongest fact first."""
    core = (
        f"the core takes {_percent(reason.core_share)} of the fans' shut-off pressure, which grows with velocity to "
        f"the power {number(reason.core_exponent, 2)}, and they deliver {_percent(reason.load_share)} of free flow"
    )
    others = f"{reason.loudest_other} makes {_percent(reason.loudest_other_share)} of the noise"
    heat = f"{_percent(reason.heat_share)} of the heat leaves through this radiator"
    flow = f"{abs(reason.flow_ratio - 1.0):.0%} {'more' if reason.flow_ratio >= 1.0 else 'less'} air passes the core"
    floor = f"{_percent(reason.floor_share)} of these fans' noise is a floor that no speed lowers"
    if reason.row_speed == 0.0 and reason.other_speed == 0.0:
        return f"Reason: the quietest setting lets these fans rest in both layouts; {heat}; {others}."
    if reason.row_speed == 0.0:
        return f"Reason: the quietest setting lets these fans rest as they stand now; {floor}; {others}."
    if math.isfinite(reason.floor_share) and reason.floor_share >= MOSTLY_FLOOR:
        facts = [f"{floor}, so that every fan more is heard", flow, core, others]
    elif reason.heat_share < LITTLE_HEAT:
        facts = [f"only {heat}, while the whole rig is heard", flow, others, core]
    elif reason.core_share >= RESTRICTIVE:
        facts = [f"the core is restrictive: {core}", flow, floor, others]
    else:
        facts = [f"the core is open: {core}", flow, floor, others]
    return f"Reason: {'; '.join(facts)}."


def _percent(share: float) -> str:
    return f"{share:.0%}" if math.isfinite(share) else NOTHING


def added_words(added: Added) -> str:
    """Return what a layout needs more, or less, of; nothing where it needs the same."""
    said = []
    if added.fans:
        said.append(counted(abs(added.fans), "more fan" if added.fans > 0 else "fewer fan"))
    if added.depth:
        said.append(f"{in_unit(abs(added.depth), 'mm'):.0f} mm {'more' if added.depth > 0 else 'less'} depth")
    if added.start_current:
        said.append(f"{abs(added.start_current):.1f} A {'more' if added.start_current > 0 else 'less'} at start")
    if added.price:
        said.append(f"a price {abs(added.price):.0f} {'higher' if added.price > 0 else 'lower'}")
    if added.screws:
        now, then = (" and ".join(dict.fromkeys(f"{in_unit(length, 'mm'):.0f} mm" for length in lengths))
                     for lengths in (added.screws, added.present_screws))  # fmt: skip
        said.append(f"screws of {now}" + (f" instead of {then}" if then and now != then else ""))
    return ", ".join(said)


def layouts_tables(answer: Layouts) -> list[Part]:
    """Return for every radiator the layouts over the noise levels."""
    return [
        gains_table(answer, one, outcome)
        for one in answer.paths
        for outcome in one.outcomes
        if outcome.gains and not outcome.present
    ]


def gains_table(answer: Layouts, one: PathLayouts, outcome: LayoutOutcome) -> Part:
    """Return one layout against the present one over the noise levels."""
    unit = "K over room" if answer.axis.over_room else "degC"
    columns = [">dB(A)", f">now, {unit}", ">K colder (90 %)", ">dB quieter (90 %)", "measurable"]
    rows = []
    for gain in outcome.gains:
        temp = gain.temp - answer.room_temp if answer.axis.over_room else in_unit(gain.temp, "degC")
        seen = [unit for unit, one in (("K", gain.colder), ("dB", gain.quieter)) if one.shows]
        place = [number(gain.level, 1), number(temp, 1)]
        rows.append([*place, _cell(gain.colder), _cell(gain.quieter), " and ".join(seen) or "no"])
    speeds = ", ".join(
        f"{name} {rpm(in_unit(speed, 'rpm'))}"
        for name, speed in zip(outcome.groups, outcome.speeds.tolist(), strict=True)
    )
    title = f"{one.path}: {outcome.layout} against {one.outcomes[0].layout}; at the limit, in rpm: {speeds}"
    return table(title, columns, rows)


def _cell(difference: Difference) -> str:
    if not math.isfinite(difference.value):
        return NOTHING
    ends = f"{number(difference.low, 1)} to {number(difference.high, 1)}"
    return f"{number(difference.value, 2)} ({ends})"


def layouts_answer(build: Build, answer: Layouts) -> Answer:
    """Return the answer of `layouts` in JSON."""
    return {
        "format": FORMAT,
        "state": answer.state,
        "objective": {"position": answer.position, "quantity": "level_dba"},
        "axis": {
            "name": answer.axis.name,
            "over_room": answer.axis.over_room,
            "limit_c": None if answer.axis.value is None else in_json(answer.axis.value, "degC"),
        },
        "room_temp_c": in_json(answer.room_temp, "degC"),
        "draws": answer.draws,
        "solved_cases": answer.solved_cases,
        "air_paths": {
            one.path: {"radiator": one.radiator, "layouts": [_outcome(answer, outcome) for outcome in one.outcomes]}
            for one in answer.paths
        },
        **envelope(build),
    }


def _outcome(answer: Layouts, outcome: LayoutOutcome) -> dict[str, Any]:
    speeds = zip(outcome.groups, outcome.speeds.tolist(), strict=True)
    return {
        "layout": outcome.layout,
        "present": outcome.present,
        "quietest_dba": in_json(outcome.quietest),
        "lower_bound_dba": in_json(outcome.lower_bound),
        "groups": {name: {"speed_rpm": in_json(speed, "rpm")} for name, speed in speeds},
        "main": outcome.main if outcome.gains else None,
        "gains": [_gain(gain) for gain in outcome.gains],
        "break_even": [
            {
                "level_dba": in_json(turn.level),
                "temp_c": in_json(turn.temp, "degC"),
                "present_speed_rpm": in_json(turn.speed, "rpm"),
                "gains": "above" if turn.starts else "below",
            }
            for turn in outcome.break_even
        ],
        "added": {
            "fans": outcome.added.fans,
            "depth_mm": None if outcome.added.depth is None else in_json(outcome.added.depth, "mm"),
            "start_current_a": outcome.added.start_current,
            "price": outcome.added.price,
            "screws_mm": [in_json(length, "mm") for length in outcome.added.screws],
        },
        "price_per_db": _price_of(outcome, "quieter"),
        "price_per_k": _price_of(outcome, "colder"),
        "beats": [list(pair) for pair in outcome.beats],
        "reason": None if outcome.reason is None else _reason(outcome.reason),
    }


def _price_of(outcome: LayoutOutcome, kind: str) -> float | None:
    """What each decibel or kelvin costs; null where there is no price or nothing is gained measurably."""
    price = outcome.added.price
    if price is None or price <= 0.0 or not outcome.gains:
        return None
    gained: Difference = getattr(outcome.gains[outcome.main], kind)
    return in_json(price / gained.value) if gained.shows and gained.value > 0.0 else None


def _gain(gain: Gain) -> dict[str, Any]:
    return {
        "level_dba": in_json(gain.level),
        "temp_c": in_json(gain.temp, "degC"),
        "colder_k": _difference(gain.colder),
        "quieter_db": _difference(gain.quieter),
    }


def _difference(difference: Difference) -> dict[str, Any]:
    return {
        "value": in_json(difference.value),
        "low": in_json(difference.low),
        "high": in_json(difference.high),
        "measurable": difference.shows,
    }


def _reason(reason: Reason) -> dict[str, Any]:
    shares = vars(reason) | {"row_speed": None, "other_speed": None}
    named = {name: in_json(value) if isinstance(value, float) else value for name, value in shares.items()}
    del named["row_speed"], named["other_speed"]
    return {
        "sentence": reason_sentence(reason),
        "row_speed_rpm": in_json(reason.row_speed, "rpm"),
        "other_row_speed_rpm": in_json(reason.other_speed, "rpm"),
        **named,
    }


def layouts_csv(answer: Layouts) -> str:
    """Return all differences as comma-separated values, one line a radiator, layout and level."""
    head = ["air_path", "layout", "present", "level_dba", "temp_c", "colder_k", "colder_low_k", "colder_high_k",
            "quieter_db", "quieter_low_db", "quieter_high_db"]  # fmt: skip
    lines: list[list[Any]] = []
    for one in answer.paths:
        for outcome in one.outcomes:
            for gain in outcome.gains:
                ends = [in_json(v) for d in (gain.colder, gain.quieter) for v in (d.value, d.low, d.high)]
                place = [in_json(gain.level), in_json(gain.temp, "degC")]
                lines.append([one.path, outcome.layout, int(outcome.present), *place, *ends])
    return csv_text(head, lines)
