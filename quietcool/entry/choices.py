"""What is chosen outside the files: states, speeds, a position, a time.

Checked like the files: every mistake at once, each in one sentence.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from quietcool.entry.build import PUMP, Build
from quietcool.entry.mistakes import nearest
from quietcool.errors import InputError, Mistake
from quietcool.units import RefusedQuantity, clean, convert, shown, si_value

FASTEST = 30_000.0  # as in build files [rpm]
LONGEST_SEARCH = 1e6  # [s]
MOST_POINTS = 200  # of a curve


def asked_for(*choices: Callable[[], object]) -> tuple[Any, ...]:
    """Return what was chosen; InputError with the mistakes of all choices together."""
    chosen, mistakes = [], []
    for choice in choices:
        try:
            chosen.append(choice())
        except InputError as error:
            mistakes += error.mistakes
    if mistakes:
        raise InputError(mistakes)
    return tuple(chosen)


def chosen_states(rig: Build, names: Sequence[str] | None) -> list[str]:
    """Return the states asked for, each once; all without a wish."""
    known = [state.name for state in rig.states]
    wanted = list(dict.fromkeys(names or known))
    wrong = [
        unknown(f"--state {clean(name)}", "a state of the build", name, known) for name in wanted if name not in known
    ]
    if wrong:
        raise InputError(wrong)
    return wanted


def chosen_position(rig: Build, name: str | None) -> str | None:
    """Return the position asked for."""
    known = [position.name for position in rig.positions]
    if not known:
        raise InputError([Mistake("build", None, None, "", "a position to be quiet at", "none", "add a [[position]]")])
    if name is None:
        return None
    return chosen_among(f"--at {clean(name)}", "a position of the build", name, known)


def chosen_seconds(seconds: float) -> float:
    """Return the time asked for."""
    if not 0.0 <= seconds <= LONGEST_SEARCH:
        raise InputError(
            [Mistake("--seconds", None, None, "", "a number of seconds from 0 to 1e6", f"{seconds:g}", "write one")]
        )
    return seconds


def chosen_quantity(name: str) -> str:
    """Return what is to be least: the level in dB(A), NC or NR."""
    return chosen_among(f"--minimise {clean(name)}", "dba, nc or nr", name.strip().lower(), ("dba", "nc", "nr"))


def chosen_number_of_points(points: int) -> int:
    """Return how many points a curve shall have."""
    if not 2 <= points <= MOST_POINTS:
        required = f"a whole number from 2 to {MOST_POINTS}"
        raise InputError([Mistake("--points", None, None, "", required, str(points), "write one")])
    return points


def chosen_one_form(json: bool, csv: bool) -> None:
    """Hold an answer to one form."""
    if json and csv:
        raise InputError([Mistake("--json --csv", None, None, "", "one form of the answer", "two", "leave one out")])


def chosen_path(name: str | None, known: Sequence[str]) -> str | None:
    """Return the air path asked for, of those with a radiator and fans."""
    if not known:
        required, advice = "an air path with a radiator and fans", "add one"
        raise InputError([Mistake("build", None, None, "", required, "none", advice)])
    if name is None:
        return None
    return chosen_among(f"--path {clean(name)}", "an air path with a radiator and fans", name, known)


def chosen_speeds(rig: Build, entries: Sequence[str] | None) -> list[float]:
    """Return the speed of every group [rev/s]: as given, else the present one."""
    given: dict[str, float] = {}
    mistakes = []
    for entry in entries or []:
        place = f"--speed {clean(entry)}"
        name, equals, text = (part.strip() for part in entry.rpartition("="))
        if not equals:
            mistakes.append(Mistake(place, None, None, "", "GROUP=RPM", shown(entry), 'write for example "pump=2400"'))
        elif name not in rig.group_names:
            mistakes.append(unknown(place, "a fan group of the build or pump", name, rig.group_names))
        elif name in given:
            mistakes.append(Mistake(place, None, None, "", "one speed for each group", "a second one", "remove one"))
        else:
            try:
                given[name] = speed_of(text)
            except RefusedQuantity as refused:
                mistakes.append(Mistake(place, None, None, "", refused.required, refused.found, refused.advice))
                given[name] = 0.0
    present = dict(zip(rig.group_names, (speeds.present for speeds in rig.speed_ranges), strict=True))
    speeds = {name: given.get(name, present[name]) for name in rig.group_names}
    mistakes += [no_speed(name) for name, speed in speeds.items() if speed is None and name not in given]
    if mistakes:
        raise InputError(mistakes)
    return [speed for speed in speeds.values() if speed is not None]


def speed_of(text: str) -> float:
    """Return a speed that was typed, a number of rpm or with its unit [rev/s]."""
    try:
        number, _ = convert(f"{text} rpm", "rpm")
    except RefusedQuantity:
        number, _ = convert(text, "rpm")
    if not 0.0 <= number <= FASTEST:
        raise RefusedQuantity(f"a speed from 0 to {FASTEST:.0f} rpm", shown(text), "write a speed in that range")
    return si_value(number, "rpm")


def no_speed(name: str) -> Mistake:
    """Return the mistake of a group without any speed."""
    key = "pump_rpm" if name == PUMP else "rpm"
    advice = f"write --speed {shown(name + '=RPM')}, or {key} in the build file"
    return Mistake("--speed", None, None, "", f'a speed of "{name}"', "none, and no present speed", advice)


def chosen_among(place: str, required: str, name: str, known: Sequence[str]) -> str:
    """Return a name that is known."""
    if name not in known:
        raise InputError([unknown(place, required, name, known)])
    return name


def unknown(place: str, required: str, name: str, known: Sequence[str]) -> Mistake:
    """Return the mistake of a name that is not known, with the nearest that is."""
    return Mistake(place, None, None, "", required, shown(name), nearest(name, known, "write another").rstrip("?"))
