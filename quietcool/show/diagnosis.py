"""A diagnosis for people and for programs: which half to touch, the two rises with their errors, what to do."""

from __future__ import annotations

from collections.abc import Mapping

from quietcool.entry.build import Build, State
from quietcool.prove.diagnosis import MODEL_ERROR, Diagnosis, Measured, Rise
from quietcool.show.console import NOTHING, Part, listing, number, table
from quietcool.show.json_answers import FORMAT, Answer, envelope
from quietcool.show.json_answers import number as json_number
from quietcool.show.wording import BROKEN, KEPT

#: What to look at (common practice, no source).
ADVICE: Mapping[str, tuple[str, ...]] = {
    "block side": (
        "Look at the block first: mounting pressure and paste, then its flow: air, a clogged plate, a slow pump",
        "A remount may need a drain: let the loop cool, unplug, absorbent paper under the joints",
    ),
    "radiator side": (
        "Look at the radiators first: dust and filters, fans that stand or run backwards, speeds lower than set",
        "Then at the air that they breathe: an exhaust radiator in warm case air, a closed door, carpet below",
    ),
    "both sides": (
        "Start with the larger excess; low coolant flow raises both sides at once, and so do more watts than assumed",
    ),
    "neither side": ("Nothing to mend: lower temperatures need more speed, fewer watts or a cooler room",),
    "not proven": (
        "Zero the sensors against each other after the rig was off for 8 hours, and measure at a steady state again",
        "Measure the watts, and read the coolant where the model expects it",
    ),
}
STEADY = "Steady means 25 to 40 minutes at quiet speeds, panels on, the room's sensor out of the warm air"
NOT_ZEROED = (
    "An error of the sensors that is common to both readings cancels; one that is not is what the error stands for"
)


def diagnosis_verdict(found: Diagnosis) -> int:
    """Return the exit code: a limit that was measured to be passed is broken."""
    return BROKEN if found.beyond_limit else KEPT


def diagnosis_sentence(found: Diagnosis) -> str:
    """Return the diagnosis in one sentence."""
    facts = ", ".join(_fact(rise) for rise in (*found.chips, found.coolant))
    larger = f" (the larger excess: {found.larger})" if found.half == "both sides" and found.larger else ""
    limit = f" STOP: above its limit: {', '.join(found.beyond_limit)}." if found.beyond_limit else ""
    return f"{found.half[:1].upper()}{found.half[1:]}{larger}: {facts}.{limit}"


def _fact(rise: Rise) -> str:
    held = "nothing to compare with" if rise.expected is None else f"{_range(rise.expected)} K would be sound"
    return f"{rise.name} {number(rise.rise, 1)} K (give or take {number(rise.error, 1)}; {held}): {rise.judgement}"


def _range(ends: tuple[float, float] | None) -> str:
    return NOTHING if ends is None else f"{number(ends[0], 1)} to {number(ends[1], 1)}"


def diagnosis_parts(found: Diagnosis, state: State, measured: Measured) -> list[Part]:
    """Return the sentence, both halves, what is carried per kelvin, and what to do."""
    rows = [
        [
            rise.name,
            number(rise.rise, 1),
            number(rise.error, 1),
            number(rise.predicted, 1),
            _range(rise.expected),
            _range(rise.common),
            rise.judgement,
        ]
        for rise in (*found.chips, found.coolant)
    ]
    columns = ["rise", ">K", ">error, K", ">model, K", ">sound, K", ">common, K", "verdict"]
    parts: list[Part] = [diagnosis_sentence(found), table("Rises", columns, rows), carried_table(found, measured)]
    return [*parts, listing("What to do", advice(found, state, measured))]


def carried_table(found: Diagnosis, measured: Measured) -> Part:
    """Return the heat and what of it the rig carries per kelvin."""
    source = "measured" if measured.watts else "of the state, not measured"
    value, error = found.conductance or (None, None)
    rows = [
        [f"heat of the sources ({source})", number(found.heat, 0), NOTHING, "W"],
        ["carried per kelvin, measured", number(value, 1), number(error, 1), "W/K"],
        ["carried per kelvin, model", number(found.predicted_conductance, 1), NOTHING, "W/K"],
        ["coolant, hottest less coldest, model", number(found.coolant_spread, 1), NOTHING, "K"],
    ]
    return table("Heat", ["", ">value", ">error", "unit"], rows)


def advice(found: Diagnosis, state: State, measured: Measured) -> list[str]:
    """Return what to do, and what the verdict stands on."""
    said = list(ADVICE[found.half])
    if found.beyond_limit:
        said.insert(0, f"Stop the load now: {', '.join(found.beyond_limit)} passed its limit")
    if any(rise.judgement == "low" for rise in (*found.chips, found.coolant)):
        said.append("A rise below the model means fewer watts than assumed, or a sensor that sits elsewhere")
    basis = {rise.basis for rise in (*found.chips, found.coolant)}
    if "model" in basis:
        said.append(f"Sound is the model give or take {100.0 * MODEL_ERROR:.0f} %, its error before calibration")
    if "common" in basis:
        said.append("Where there is no model, sound is what is common at full load: a custom, not a law")
    if not measured.watts:
        said.append(f"The watts are those of {state.name} in the build file: measure them to be surer")
    if found.conductance is None:
        said.append("The coolant is not provably warmer than the room: no heat per kelvin can be told")
    return [*said, STEADY, NOT_ZEROED]


def diagnosis_answer(build: Build, state: State, found: Diagnosis) -> Answer:
    """Return the answer of `diagnose`."""
    value, error = found.conductance or (None, None)
    return {
        "format": FORMAT,
        "state": state.name,
        "half": found.half,
        "chips": [_rise(rise) for rise in found.chips],
        "coolant": _rise(found.coolant),
        "larger_excess": found.larger,
        "heat_w": json_number(found.heat),
        "conductance_w_per_k": value,
        "conductance_error_w_per_k": error,
        "predicted_conductance_w_per_k": _optional(found.predicted_conductance),
        "coolant_spread_k": _optional(found.coolant_spread),
        "beyond_limit": list(found.beyond_limit),
        **envelope(build),
    }


def _optional(value: float | None) -> float | None:
    return None if value is None else json_number(value)


def _rise(rise: Rise) -> Answer:
    return {
        "name": rise.name,
        "rise_k": json_number(rise.rise),
        "error_k": json_number(rise.error),
        "predicted_k": _optional(rise.predicted),
        "sound_k": None if rise.expected is None else list(rise.expected),
        "common_k": None if rise.common is None else list(rise.common),
        "basis": rise.basis,
        "judgement": rise.judgement,
    }
