"""The first sentence of every answer, and the verdict that becomes its exit code."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from quietcool.decide.limits import Limit
from quietcool.entry.build import Build
from quietcool.show.console import margin, number, rpm
from quietcool.show.json_answers import state_margins
from quietcool.solve.findings import not_converged
from quietcool.solve.operating_point import OperatingPoint
from quietcool.units import in_unit

if TYPE_CHECKING:
    from quietcool.decide.quietest import Quietest, Setting
    from quietcool.entry.findings import Finding

KEPT, BROKEN, NOT_CONVERGED, INTERRUPTED = 0, 3, 4, 130
MOST_MISSED = 4  # limits named in a sentence

Margin = tuple[Limit, tuple[float | None, str]]


def verdict(build: Build, points: Mapping[str, OperatingPoint]) -> int:
    """Return the exit code of solved states: every limit kept, one broken (or without a value), or no answer."""
    if not all(point.converged for point in points.values()):
        return NOT_CONVERGED
    found = [m for name, point in points.items() for m in state_margins(build, build.state(name), point)]
    return BROKEN if any(is_broken(m) for m in found) else KEPT


def quietest_verdict(build: Build, answer: Quietest) -> int:
    """Return the exit code of the quietest setting."""
    if answer.interrupted:
        return INTERRUPTED
    if answer.status == "infeasible":
        return BROKEN
    return max((verdict(build, setting.points) for setting in answer.settings), default=KEPT)


def is_broken(found: Margin) -> bool:
    """Tell whether a limit is broken; what has no steady value keeps none."""
    value = found[1][0]
    return value is None or value < 0.0


def speeds_words(build: Build, speeds: Sequence[float]) -> str:
    """Return a setting in words: "side 930 rpm, top stopped, pump 2400 rpm"."""
    pairs = zip(build.group_names, speeds, strict=True)
    return ", ".join(f"{name} {rpm(in_unit(s, 'rpm'))} rpm" if s else f"{name} stopped" for name, s in pairs)


def level_words(level: float) -> str:
    """Return a level: "23.4 dB(A)", or "silent"."""
    if level == -math.inf:
        return "silent"
    return f"{number(level, 1)} dB(A)" if math.isfinite(level) else "an unknown level"


def rated_words(value: float, quantity: str) -> str:
    """Return what was minimised: a level, or a rating.

    >>> rated_words(23.44, "dba"), rated_words(14.2, "nr")
    ('23.4 dB(A)', 'NR 14.2')
    """
    if quantity == "dba":
        return level_words(value)
    return f"{quantity.upper()} {number(value, 1)}" if math.isfinite(value) else level_words(value)


def bound_words(bound: float) -> str:
    """Return a lower bound with one digit, rounded down so that it still holds.

    >>> bound_words(23.39)
    '23.3'
    """
    return number(math.floor(10.0 * bound) / 10.0, 1)


def counted(count: int, thing: str, things: str = "") -> str:
    """Return a count with its noun: "1 state", "5 states"."""
    return f"{count} {thing if count == 1 else things or thing + 's'}"


def check_sentence(build: Build, findings: Sequence[Finding]) -> str:
    """Return what a check found, in one sentence."""
    rigs = [
        counted(len(build.enclosures), "enclosure"),
        counted(len(build.air_paths), "air path"),
        counted(sum(path.core is not None for path in build.air_paths), "radiator"),
        counted(len(build.fan_groups), "fan group"),
        counted(len(build.sources), "source"),
        counted(len(build.states), "state"),
    ]
    worth = f"{counted(len(findings), 'finding')} below" if findings else "nothing else to say"
    return f"{build.title}: no mistakes in {counted(len(build.inputs), 'file')}; {', '.join(rigs)}; {worth}."


def solve_sentence(build: Build, state: str, point: OperatingPoint, position: int = 0) -> str:
    """Return one solved state in one sentence."""
    head = f"{state} at {speeds_words(build, point.speeds.tolist())}"
    if not point.converged:
        return f"{head}: {not_converged(build, point)}."
    found = state_margins(build, build.state(state), point)
    facts = [f"coolant {number(in_unit(float(point.coolant_temp_max), 'degC'), 1)} degC"]
    if math.isnan(point.coolant_temp_max):
        facts = ["no steady coolant temperature"]
    kelvins = [(value, limit.name) for limit, (value, unit) in found if unit == "K" and value is not None]
    if kelvins:
        least, name = min(kelvins)
        facts.append(f"smallest margin {margin(least)} K ({name})")
    if build.positions:
        facts.append(f"{level_words(float(point.level[position]))} at the {build.positions[position].name}")
    return f"{head}: {', '.join(facts)}: {limits_words(found)}."


def limits_words(found: Sequence[Margin]) -> str:
    """Return whether limits are kept, and which are not by how much."""
    if not found:
        return "no limit is set"
    broken = [m for m in found if is_broken(m)]
    if not broken:
        return "every limit is kept"
    return f"{counted(len(broken), 'limit')} broken: {missed_words(broken)}"


def missed_words(broken: Sequence[Margin]) -> str:
    """Return which limits are missed by how much, the worst few first; the table of limits has them all."""
    worst = sorted(broken, key=lambda m: -math.inf if m[1][0] is None else m[1][0])
    said = [
        f"{limit.name} has no steady value" if value is None else f"{limit.name} by {margin(-value)} {unit}"
        for limit, (value, unit) in worst[:MOST_MISSED]
    ]
    more = len(broken) - MOST_MISSED
    return ", ".join([*said, f"and {more} more"] if more > 0 else said)


def quietest_sentences(build: Build, answer: Quietest) -> list[str]:
    """Return the answer in sentences: one for each setting, the interruption first."""
    heard = answer.position
    named = len(build.states) > 1
    said = [
        setting_sentence(build, setting, heard, named=named, quantity=answer.quantity) for setting in answer.settings
    ]
    if answer.interrupted:
        return ["Interrupted: what follows is the best so far.", *said]
    return said


def setting_sentence(build: Build, setting: Setting, position: str, *, named: bool, quantity: str = "dba") -> str:
    """Return one setting in one sentence, with what is known about any quieter one."""
    speeds = speeds_words(build, setting.speeds.tolist())
    states = " and ".join([", ".join(setting.states[:-1]), setting.states[-1]][len(setting.states) < 2 :])
    if setting.status == "infeasible":
        missed = [
            m
            for name, point in setting.points.items()
            for m in state_margins(build, build.state(name), point)
            if is_broken(m)
        ]
        none = "No setting keeps" if setting.infeasibility_proven else "No setting was found that keeps"
        return f"{none} every limit in {states}: the least violated, {speeds}, misses {missed_words(missed)}."
    head = f"{states}: {speeds}" if named else speeds[:1].upper() + speeds[1:]
    return f"{head}: {rated_words(setting.level, quantity)} at the {position}; {quieter_words(setting, quantity)}."


def quieter_words(setting: Setting, quantity: str = "dba") -> str:
    """Return what is known about quieter settings."""
    if not math.isfinite(setting.lower_bound):
        return "the quietest found, nothing is known about quieter ones"
    bound = bound_words(setting.lower_bound)
    none = f"no setting is quieter than {bound}"
    if quantity != "dba":
        none = f"no setting is rated below {quantity.upper()} {bound}"
    if setting.status == "proven":
        return none
    unit = " dB" if quantity == "dba" else ""
    return f"the quietest found, and {none} (gap {number(setting.gap, 1)}{unit})"
