"""The one-page sheet that goes with the rig: parts, channels, temperatures and levels, validity, upkeep, warnings."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from quietcool.decide.uncertainty import Uncertainty
from quietcool.entry.build import Build, Core, Screen, State
from quietcool.show.console import NOTHING, number, rpm
from quietcool.show.dossier import Dossier
from quietcool.show.wording import bound_words, level_words
from quietcool.solve.operating_point import OperatingPoint
from quietcool.units import in_unit

Rows = tuple[tuple[str, ...], ...]

UPKEEP = (  # intervals are common practice, no source
    "Clean filters every one to three months, radiators every six to twelve.",
    "Look at the coolant's level and clarity every three months; renew it after one to two years.",
    "Listen to the fans at their slowest once a year: worn bearings are heard there first.",
    "After each service solve and measure again as before; more than a few kelvins of drift means dust or air in the "
    "loop.",
)
WARNINGS = (
    "Unplug before opening. Mains work and what the wiring may carry are for licensed people and the makers' manuals.",
    "Do not open the loop hot: over 45 °C tube softens and fittings loosen, over 50 °C metal hurts.",
    "Pressure tests store energy: keep under what the weakest part allows, wear goggles, never with coolant inside.",
    "Never run the pump dry. Coolant conducts once it is dirty: keep it off live parts.",
    "Turn monitors down before listening for the rig at high gain: a pop can hurt the ears.",
)


ROOM = {"large": 28, "middle": 38, "small": 44}  # lines of tables that a page holds at each size of print
NAME_WIDTH = 30  # characters of a name in one line
MOST_STATES = 6  # side by side on a sheet of A4


class Sheet(NamedTuple):
    """A table under a title."""

    title: str
    columns: tuple[str, ...]  # ">" before a heading of numbers
    rows: Rows


def blocks(sheet: Sheet, before: int, behind: int = 0) -> list[Sheet]:
    """Cut a table that has a column for every state into some that fit side by side, what names its rows in each.

    Parameters
    ----------
    sheet : Sheet
        The whole table.
    before, behind : int
        Columns before and behind those of the states.

    Returns
    -------
    list of Sheet
    """
    last = len(sheet.columns) - behind
    starts = range(before, max(last, before + 1), MOST_STATES)

    def cut(cells: tuple[str, ...], start: int) -> tuple[str, ...]:
        return (*cells[:before], *cells[start : min(start + MOST_STATES, last)], *cells[last:])

    def block(start: int) -> Sheet:
        title = sheet.title if start == before else ""
        return Sheet(title, cut(sheet.columns, start), tuple(cut(row, start) for row in sheet.rows))

    return [block(start) for start in starts]


def print_size(tables: Sequence[Sheet]) -> str:
    """Return how large the print of a sheet can be, by how many lines its tables take."""
    lines = sum(max(1, *(-(-len(name) // NAME_WIDTH) for name in row[:2])) for table in tables for row in table.rows)
    return next((size for size, most in ROOM.items() if lines <= most), "smallest")


def summary(dossier: Dossier) -> str:
    """Return the whole answer in one sentence."""
    answer = dossier.answer
    if answer.status == "infeasible":
        broken = [", ".join(s.states) for s in answer.settings if s.status == "infeasible"]
        return f"No setting keeps every limit in {' and '.join(broken)}; the speeds below miss the least."
    said = f"{level_words(answer.level)} at the {answer.position} in {dossier.focus}, the loudest state"
    if math.isfinite(answer.lower_bound):
        said += f"; no setting is quieter than {bound_words(answer.lower_bound)}"
    return f"{said[:1].upper()}{said[1:]}; every limit is kept in every state."


def parts_list(build: Build) -> Sheet:
    """Return every part with how many there are and where."""
    found: dict[tuple[str, str], list[tuple[int, str]]] = {}
    fans = {group.name: group.fan.name for group in build.fan_groups}
    for path in build.air_paths:
        for row in path.fan_rows:
            found.setdefault(("fan", fans[row.group]), []).append((row.count, path.name))
        for element in path.stack:
            if isinstance(element, Core):
                found.setdefault(("radiator", element.radiator.name), []).append((1, path.name))
            elif isinstance(element, Screen):
                found.setdefault((element.resistance.style, element.resistance.name), []).append((1, path.name))
    for source in build.sources:
        found.setdefault(("plate", source.plate.name), []).append((1, source.name))
    found[("pump", build.loop.pump.name)] = [(1, "ring")]
    order = ("radiator", "fan", "pump", "plate", "filter", "grille", "guard")
    rows = tuple(
        (kind, name, str(sum(count for count, _ in uses)), ", ".join(dict.fromkeys(where for _, where in uses)))
        for (kind, name), uses in sorted(found.items(), key=lambda one: (order.index(one[0][0]), one[0][1]))
    )
    return Sheet("Parts", ("kind", "part", ">number", "where"), rows)


def channel_table(dossier: Dossier) -> Sheet:
    """Return what to type into a controller: one speed for each channel in each setting."""
    build = dossier.build
    channels = {group.name: group.channel for group in build.fan_groups}
    rows = []
    for i, (name, ranges) in enumerate(zip(build.group_names, build.speed_ranges, strict=True)):
        bands = [f"{rpm(in_unit(low, 'rpm'))} to {rpm(in_unit(high, 'rpm'))}" for low, high in ranges.avoid]
        speeds = [_speed(float(setting.speeds[i])) for setting in dossier.answer.settings]
        rows.append((channels.get(name) or NOTHING, name, *speeds, ", ".join(bands) or NOTHING))
    titles = (f">{', '.join(setting.states)}, rpm" for setting in dossier.answer.settings)
    return Sheet("Channels", ("channel", "group", *titles, "never between, rpm"), tuple(rows))


def promises(dossier: Dossier) -> Sheet:
    """Return temperatures, flow and levels of every state with their 90 % intervals, and the limits."""
    states = [dossier.build.state(name) for name in dossier.points]
    rows = [
        ("heat into the coolant, W", NOTHING, *(number(float(sum(s.heat.values())), 0) for s in states)),
        ("room, °C", NOTHING, *(number(in_unit(float(s.room_temp), "degC"), 1) for s in states)),
    ]
    for name, limits, values in _quantities(dossier):
        if len(set(limits)) == 1:
            rows.append((name, limits[0], *values))
        else:
            rows += [(name, "by state", *values), (f"its limit, {name.rpartition(', ')[2]}", NOTHING, *limits)]
    rows.append(("every limit kept up to a room of, °C", NOTHING, *(_room(dossier, state.name) for state in states)))
    title = "Temperatures and levels, with the range that holds nine times in ten"
    return Sheet(title, ("", ">limit", *(f">{state.name}" for state in states)), tuple(rows))


def _quantities(dossier: Dossier) -> Iterator[tuple[str, list[str], list[str]]]:
    """Every printed quantity: its name, its limit and its value in each state."""
    build, points = dossier.build, dossier.points
    states = [build.state(name) for name in points]

    def values(unit: str, digits: int, pick: tuple[str, int | None]) -> list[str]:
        return [_ranged(points[s.name], dossier.uncertainty.get(s.name), pick, unit, digits) for s in states]

    yield (
        "coolant, °C",
        _limit([s.limits.coolant for s in states], "degC", 0),
        values("degC", 1, ("coolant_temp_max", None)),
    )
    places = [(source.name, place) for source in build.sources for place in source.points]
    for i, (source, place) in enumerate(places):
        if place.limit is not None:
            limit = _limit([place.limit] * len(states), "degC", 0)
            yield f"{source} {place.name}, °C", limit, values("degC", 0, ("point_temp", i))
    for i, name in enumerate(build.enclosures):
        limit = _limit([s.limits.enclosure_air.get(name) for s in states], "degC", 0)
        yield f"{name} air, °C", limit, values("degC", 0, ("enclosure_temp", i))
    flow = _limit([build.loop.min_flow or None] * len(states), "L/min", 1)
    yield "coolant flow, L/min", flow, values("L/min", 1, ("coolant_flow", None))
    for i, position in enumerate(build.positions):
        limit = _limit([_level_limit(s, position.name, position.limit) for s in states], "", 0)
        yield f"{position.name}, dB(A)", limit, values("", 1, ("level", i))


def _level_limit(state: State, position: str, own: float | None) -> float | None:
    return state.limits.position.get(position, own)


def _limit(limits: Sequence[float | None], unit: str, digits: int) -> list[str]:
    return [NOTHING if limit is None else number(in_unit(limit, unit) if unit else limit, digits) for limit in limits]


def _ranged(
    point: OperatingPoint, sure: Uncertainty | None, pick: tuple[str, int | None], unit: str, digits: int
) -> str:
    def read(of: OperatingPoint) -> str:
        value = getattr(of, pick[0])
        single = float(value if pick[1] is None else value[..., pick[1]])
        return number(in_unit(single, unit) if unit else single, digits)

    if sure is None:
        return read(point)
    return f"{read(point)} ({read(sure.low)} to {read(sure.high)})"


def _room(dossier: Dossier, state: str) -> str:
    warmest = dossier.warmest_room[state]
    return "holds not" if warmest is None else number(in_unit(warmest, "degC"), 1)


def validity(dossier: Dossier) -> list[str]:
    """Return within what limits the sheet is valid."""
    build = dossier.build
    rooms = [t for t in dossier.warmest_room.values() if t is not None]
    said = []
    if rooms:
        said.append(
            f"Valid for a room up to {number(in_unit(min(rooms), 'degC'), 1)} °C (the state that stands the least), at "
            f"{number(float(build.room.altitude), 0)} m, with clean filters and the parts above."
        )
    liquid = build.loop.coolant
    glycol = f" with {100.0 * liquid.mass_fraction:.0f} % glycol by mass" if liquid.mass_fraction > 0.0 else ""
    said.append(
        f"Coolant: {liquid.kind.replace('_', ' ')}{glycol}, {number(in_unit(build.loop.volume, 'L'), 1)} L. "
        "Levels are the rig's own share; room and microphone add theirs."
    )
    said.append("Everything here is predicted until it has been measured on this rig.")
    return said


def _speed(speed: float) -> str:
    return "stop" if speed == 0.0 else rpm(in_unit(speed, "rpm"))
