"""Readings that are typed beside a build: temperatures of its sensing points, watts, air in the loop under test.

Checked like the files: every mistake at once, each in one sentence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from quietcool.entry.build import Build, State
from quietcool.entry.choices import asked_for, chosen_states, unknown
from quietcool.errors import InputError, Mistake
from quietcool.units import UNITS, RefusedQuantity, clean, convert, shown, si_value

AIR_FORM = "pressure, temperature and, where it was read, the barometer"
AIR_EXAMPLE = 'write for example "0.5 bar, 22 degC, 1013 hPa"'


class Span(NamedTuple):
    """What a typed number may be."""

    unit: str  # where none is typed
    low: float  # in that unit
    high: float


TEMP = Span("degC", -20.0, 150.0)
ROOM_TEMP = Span("degC", -30.0, 70.0)
POWER = Span("W", 0.0, 20_000.0)
GAUGE = Span("bar", 1e-3, 20.0)
BAROMETER = Span("hPa", 300.0, 1100.0)
MINUTES = Span("1", 0.0, 100_000.0)  # [min]
SENSOR_ERROR = Span("1", 0.01, 20.0)  # [K]
READING_ERROR = Span("mbar", 0.001, 1000.0)


@dataclass(frozen=True)
class AirReading:
    """One reading of the air in a closed loop."""

    gauge_pressure: float  # [Pa]
    temp: float  # of the air inside, which the air around it stands for [K]
    barometer: float | None = None  # [Pa]


def chosen_number(place: str, text: str, span: Span) -> float:
    """Return a typed number of the span's unit, or one with a unit of its own [SI]."""
    try:
        return si_value(_number(text, span), span.unit)
    except RefusedQuantity as refused:
        raise InputError([_mistake(place, refused)]) from None


def _number(text: str, span: Span) -> float:
    if span.unit == "1":
        return _within(_plain(text), text, span)
    try:
        number, _ = convert(f"{text} {span.unit}", span.unit)
    except RefusedQuantity:
        number, _ = convert(text, span.unit)
    return _within(number, text, span)


def _plain(text: str) -> float:
    number, _ = convert(f"{text} W", "W")  # a text is read as a number with a unit; here without one
    return number


def _within(number: float, text: str, span: Span) -> float:
    if not span.low <= number <= span.high:
        unit = "" if span.unit == "1" else f" {UNITS[span.unit].name}"
        raise RefusedQuantity(f"a number from {span.low:g} to {span.high:g}{unit}", shown(text), "check it")
    return number


def _mistake(place: str, refused: RefusedQuantity) -> Mistake:
    return Mistake(place, None, None, "", refused.required, refused.found, refused.advice)


def chosen_air(place: str, text: str) -> AirReading:
    """Return a reading such as "0.5 bar, 22 degC, 1013 hPa"; the barometer may be missing."""
    parts = [part.strip() for part in text.split(",")]
    if len(parts) not in (2, 3):
        raise InputError([Mistake(place, None, None, "", AIR_FORM, shown(text), AIR_EXAMPLE)])
    spans = (GAUGE, TEMP, BAROMETER)
    mistakes, values = [], []
    for part, span in zip(parts, spans, strict=False):
        try:
            values.append(chosen_number(place, part, span))
        except InputError as error:
            mistakes += error.mistakes
    if mistakes:
        raise InputError(mistakes)
    return AirReading(values[0], values[1], values[2] if len(values) == 3 else None)


def both_readings(start: str | None, end: str | None) -> None:
    """Refuse one reading of an air test without the other."""
    if start is None or end is None:
        missing = "--leak-start" if start is None else "--leak-end"
        required, found = "both readings of an air test", "one of the two"
        raise InputError([Mistake(missing, None, None, "", required, found, AIR_EXAMPLE)])


def chosen_measured(
    rig: Build,
    state: str | None,
    numbers: tuple[str, str, str],
    temps: Sequence[str] | None,
    watts: Sequence[str] | None,
) -> tuple[State, float, float, dict[tuple[str, str], float], dict[str, float], float]:
    """Return what was read of a running rig: its state, coolant and room [K], points [K], watts [W], sensor error [K].

    `numbers` are coolant, room and the error of a sensor, as they were typed.
    """
    coolant, room, error = numbers
    names, *read = asked_for(
        lambda: chosen_states(rig, [rig.states[0].name if state is None else state]),
        lambda: _needed("--coolant", coolant, TEMP),
        lambda: _needed("--room", room, ROOM_TEMP),
        lambda: chosen_point_temps(rig, temps),
        lambda: chosen_watts(rig, watts),
        lambda: chosen_number("--sensor-error", error, SENSOR_ERROR),
    )
    return (rig.state(names[0]), *read)


def _needed(place: str, text: str, span: Span) -> float:
    if not text:
        raise InputError([Mistake(place, None, None, "", "a measured temperature", "none", f"write {place} 35")])
    return chosen_number(place, text, span)


def chosen_point_temps(rig: Build, entries: Sequence[str] | None) -> dict[tuple[str, str], float]:
    """Return the temperature of every sensing point that was typed as "SOURCE POINT=TEMP" [K].

    The name of a source stands for its first sensing point.
    """
    names: dict[str, tuple[str, str]] = {}
    for source in rig.sources:
        names[source.name] = (source.name, source.points[0].name)
    for source in rig.sources:
        names.update({f"{source.name} {point.name}": (source.name, point.name) for point in source.points})
    found = _named(entries, "--temp", "a source with a sensing point", names, TEMP)
    keyed = [(names[name], value) for name, value in found]
    _once("--temp", [key for key, _ in keyed])
    return dict(keyed)


def chosen_watts(rig: Build, entries: Sequence[str] | None) -> dict[str, float]:
    """Return the heat of every source that was typed as "SOURCE=WATTS" [W]."""
    found = _named(entries, "--watts", "a source", {source.name: source.name for source in rig.sources}, POWER)
    _once("--watts", [name for name, _ in found])
    return dict(found)


def _named(
    entries: Sequence[str] | None,
    option: str,
    what: str,
    known: dict[str, tuple[str, str]] | dict[str, str],
    span: Span,
) -> list[tuple[str, float]]:
    found, mistakes = [], []
    for entry in entries or []:
        place = f"{option} {clean(entry)}"
        name, equals, text = (part.strip() for part in entry.rpartition("="))
        if not equals:
            form = f"NAME={'TEMP' if span is TEMP else 'WATTS'}"
            example = f'write for example "{next(iter(known))}=50"'
            mistakes.append(Mistake(place, None, None, "", form, shown(entry), example))
        elif name not in known:
            mistakes.append(unknown(place, f"{what} of the build", name, list(known)))
        else:
            try:
                found.append((name, chosen_number(place, text, span)))
            except InputError as error:
                mistakes += error.mistakes
    if mistakes:
        raise InputError(mistakes)
    return found


def _once(option: str, keys: Sequence[object]) -> None:
    if len(set(keys)) < len(keys):
        raise InputError([Mistake(option, None, None, "", "one number for each place", "a second one", "remove one")])
