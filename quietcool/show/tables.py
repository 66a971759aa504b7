"""Tables of solved states and of settings, for people: units in the headings, numbers to the right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from quietcool.entry.build import Build, State
from quietcool.physics import criteria
from quietcool.show.console import NOTHING, Part, listing, margin, number, rpm, table
from quietcool.show.json_answers import origins, read_margin, state_margins
from quietcool.show.wording import level_words, limits_words
from quietcool.solve.findings import state_findings
from quietcool.solve.listening import position_limits
from quietcool.solve.loop import station_names
from quietcool.solve.noise import fixed_heard_levels
from quietcool.solve.operating_point import OperatingPoint
from quietcool.solve.sources import fixed_sources
from quietcool.solve.spectra import rig_spectrum
from quietcool.units import in_unit

if TYPE_CHECKING:
    from quietcool.decide.quietest import Quietest
    from quietcool.decide.worth import Binding
    from quietcool.entry.findings import Finding

LEAST_WORTH = 0.005  # of 10 W: less prints as nothing [dB]


def check_tables(build: Build, findings: Sequence[Finding]) -> list[Part]:
    """Return where the numbers of a build come from, and what is worth knowing."""
    counts = [[origin, str(count)] for origin, count in origins(build).items()]
    parts: list[Part] = [table("Numbers by origin", ["origin", ">numbers"], counts)]
    if findings:
        parts.append(listing("Findings", [str(finding) for finding in findings]))
    return parts


def solve_tables(build: Build, points: Mapping[str, OperatingPoint]) -> list[Part]:
    """Return everything about every solved state, under its name where there are several."""
    parts: list[Part] = []
    for name, point in points.items():
        parts += ["", f"State {name}"] if len(points) > 1 else []
        parts += point_tables(build, build.state(name), point)
    return parts


def point_tables(build: Build, state: State, point: OperatingPoint) -> list[Part]:
    """Return everything about one solved state."""
    findings = state_findings(build, state, point)
    parts: list[Part] = []
    if point.converged:
        parts += [groups_table(build, point), paths_table(build, point)]
        parts += [enclosures_table(build, state, point)] if build.enclosures else []
        parts += [ring_table(build, point), sources_table(build, point)]
        parts += [positions_table(build, state, point)] if build.positions else []
        parts += [limits_table(build, state, point)]
    if findings:
        parts.append(listing("Findings", findings))
    return parts


def groups_table(build: Build, point: OperatingPoint) -> Part:
    """Return speed, share of free delivery and level of every group."""
    rows_of = row_groups(build)
    heard = build.positions[0].name if build.positions else ""
    rows = []
    for i, name in enumerate(build.group_names):
        shares = [f"{100.0 * point.load_share[r]:.0f}" for r, group in enumerate(rows_of) if group == name]
        fans = sum(row.count for path in build.air_paths for row in path.fan_rows if row.group == name)
        share = "/".join(shares) if shares and point.speeds[i] > 0.0 else NOTHING
        level = number(float(point.contributions[i, 0]), 1) if heard else NOTHING
        rows.append([name, rpm(in_unit(point.speeds[i], "rpm")), str(fans) if fans else NOTHING, share, level])
    columns = ["group", ">rpm", ">fans", ">free delivery, %", f">dB(A) at {heard}" if heard else ">dB(A)"]
    return table("Groups", columns, rows)


def row_groups(build: Build) -> list[str]:
    """Return the group of every fan row, in the order of `load_share`."""
    return [row.group for path in build.air_paths for row in path.fan_rows]


def paths_table(build: Build, point: OperatingPoint) -> Part:
    """Return flows, temperatures and heat of every air path."""
    rows = [
        [
            path.name,
            path.layout,
            number(in_unit(point.air_flow[i], "m3/h"), 1),
            number(point.face_velocity[i], 2),
            _celsius(point.path_temp_in[i]),
            _celsius(point.path_temp_out[i]),
            number(point.heat_rate[i], 0) if path.core is not None else NOTHING,
        ]
        for i, path in enumerate(build.air_paths)
    ]
    return table(
        "Air paths", ["path", "layout", ">m3/h", ">m/s at core", ">degC in", ">degC out", ">W given off"], rows
    )


def enclosures_table(build: Build, state: State, point: OperatingPoint) -> Part:
    """Return air of every enclosure."""
    limits = state.limits.enclosure_air
    rows = [
        [
            name,
            _celsius(point.enclosure_temp[i]),
            _celsius(limits.get(name)),
            number(point.enclosure_pressure[i], 2),
        ]
        for i, name in enumerate(build.enclosures)
    ]
    return table("Enclosures", ["enclosure", ">air, degC", ">limit, degC", ">gauge pressure, Pa"], rows)


def ring_table(build: Build, point: OperatingPoint) -> Part:
    """Return the coolant at every station of the ring."""
    rows = [
        [
            name,
            number(in_unit(point.station_flow[i], "L/min"), 2),
            number(in_unit(point.station_temp_in[i], "degC"), 2),
            number(in_unit(point.station_temp_out[i], "degC"), 2),
        ]
        for i, name in enumerate(station_names(build.loop.order))
    ]
    return table("Coolant ring", ["station", ">L/min", ">degC in", ">degC out"], rows)


def sources_table(build: Build, point: OperatingPoint) -> Part:
    """Return the temperature of every sensing point with its limit."""
    places = [(source.name, place) for source in build.sources for place in source.points]
    rows = [
        [
            source,
            place.name,
            _celsius(temp),
            _celsius(place.limit),
            NOTHING if place.limit is None else margin(place.limit - temp),
        ]
        for (source, place), temp in zip(places, point.point_temp.tolist(), strict=True)
    ]
    return table("Sources", ["source", "point", ">degC", ">limit, degC", ">margin, K"], rows)


def positions_table(build: Build, state: State, point: OperatingPoint) -> Part:
    """Return what is heard at every position."""
    limits, octaves = position_limits(build, state), rig_spectrum(build, point.speeds, point.load_share, state)
    fixed = fixed_heard_levels(build, state)
    names = [*build.group_names, *(source.name for source in fixed_sources(build, state))]
    rows = []
    for i, position in enumerate(build.positions):
        parts = zip(names, [*point.contributions[:, i].tolist(), *fixed[:, i].tolist()], strict=True)
        rows.append(
            [
                position.name,
                number(point.level[i], 1),
                number(point.total[i], 1),
                number(float(limits[i]), 1),
                margin(float(limits[i] - point.level[i])),
                rating_words(float(criteria.nc_rating(octaves[i]).rating)),
                number(float(criteria.nr_rating(octaves[i]).rating), 0),
                ", ".join(f"{name} {number(level, 1)}" for name, level in parts if np.isfinite(level)) or "silent",
            ]
        )
    columns = ["position", ">rig, dB(A)", ">total, dB(A)", ">limit, dB(A)", ">margin, dB", ">NC", ">NR"]
    return table("Positions", [*columns, "parts of the rig, dB(A)"], rows)


def rating_words(nc: float) -> str:
    """Return an NC rating as it is said: whole, or that it lies outside the curves.

    >>> rating_words(21.0), rating_words(-np.inf)
    ('21', '< 15')
    """
    if np.isinf(nc):
        return "> 70" if nc > 0.0 else "< 15"
    return number(nc, 0)


def limits_table(build: Build, state: State, point: OperatingPoint) -> Part:
    """Return every limit with its margin, the tightest of each unit first."""
    found = state_margins(build, state, point)
    ordered = sorted(found, key=lambda m: (m[1][1], -np.inf if m[1][0] is None else m[1][0]))
    rows = [[limit.name, limit.kind, margin(value), unit] for limit, (value, unit) in ordered]
    return table(f"Limits: {limits_words(found)}", ["limit", "kind", ">margin", "unit"], rows)


def quietest_tables(build: Build, answer: Quietest) -> list[Part]:
    """Return settings side by side, what binds them, and what they lead to."""
    points = {name: point for setting in answer.settings for name, point in setting.points.items()}
    parts: list[Part] = [settings_table(build, answer)]
    binding = [b for setting in answer.settings for b in setting.binding]
    if binding:
        parts.append(binding_table(binding, "dB" if answer.quantity == "dba" else answer.quantity.upper()))
    parts.append(essentials_table(build, answer.position, points))
    findings = common_findings(build, points)
    return [*parts, listing("Findings", findings)] if findings else parts


def settings_table(build: Build, answer: Quietest) -> Part:
    """Return one column for each setting."""
    settings = answer.settings
    rows = [
        [f"{name}, rpm", *(rpm(in_unit(setting.speeds[i], "rpm")) for setting in settings)]
        for i, name in enumerate(build.group_names)
    ]
    what = ("level, dB(A)", "bound, dB(A)", "gap, dB")
    if answer.quantity != "dba":
        what = (answer.quantity.upper(), f"bound, {answer.quantity.upper()}", "gap")
    rows.append([what[0], *(number(setting.level, 2) for setting in settings)])
    rows.append([what[1], *(number(setting.lower_bound, 2) for setting in settings)])
    rows.append([what[2], *(number(setting.gap, 2) for setting in settings)])
    rows.append(["status", *(setting.status.replace("_", " ") for setting in settings)])
    columns = ["", *(f">{', '.join(setting.states)}" for setting in settings)]
    return table(f"Settings, heard at the {answer.position}", columns, rows)


def binding_table(binding: Sequence[Binding], unit_of_worth: str = "dB") -> Part:
    """Return what binds, and what it is worth."""
    rows = []
    for b in (b for b in binding if b.worth_db_per_10_w is None or abs(b.worth_db_per_10_w) >= LEAST_WORTH):
        value, unit = read_margin(b.margin, b.unit)
        is_heat = b.worth_db_per_10_w is not None
        worth = b.worth_db_per_10_w if is_heat else b.worth_db_per_k
        per = "for 10 W less" if is_heat else "for 1 K more" if worth is not None else ""
        per = f"{unit_of_worth} {per}" if per else ""
        rows.append([b.state, b.limit, NOTHING if is_heat else f"{margin(value)} {unit}", number(worth, 2), per])
    return table("What binds, and what it is worth", ["state", "limit", ">margin", ">worth", "unit"], rows)


def essentials_table(build: Build, position: str, points: Mapping[str, OperatingPoint]) -> Part:
    """Return the essentials of every state's operating point."""
    heard = [p.name for p in build.positions].index(position)
    rows = []
    for name, point in points.items():
        kelvins = [
            (value, limit.name)
            for limit, (value, unit) in state_margins(build, build.state(name), point)
            if unit == "K" and value is not None
        ]
        least, tightest = min(kelvins) if kelvins else (None, NOTHING)
        rows.append(
            [
                name,
                _celsius(float(point.coolant_temp_max)),
                number(in_unit(float(point.coolant_flow), "L/min"), 2),
                tightest,
                margin(least),
                level_words(float(point.level[heard])).removesuffix(" dB(A)"),
                number(_nr(build, build.state(name), point, heard), 0),
            ]
        )
    columns = ["state", ">coolant, degC", ">L/min", "tightest temperature", ">margin, K", ">dB(A)", ">NR"]
    return table("Operating points", columns, rows)


def _nr(build: Build, state: State, point: OperatingPoint, place: int) -> float:
    octaves = rig_spectrum(build, point.speeds, point.load_share, state)[place]
    return float(criteria.nr_rating(octaves).rating)


def common_findings(build: Build, points: Mapping[str, OperatingPoint]) -> list[str]:
    """Return the findings of all states, each once with the states it holds in."""
    states: dict[str, list[str]] = {}
    for name, point in points.items():
        for finding in state_findings(build, build.state(name), point):
            states.setdefault(finding, []).append(name)
    return [
        finding if len(names) == len(points) else f"{finding} (in {', '.join(names)})"
        for finding, names in states.items()
    ]


def _celsius(temp: float | None) -> str:
    return NOTHING if temp is None else number(in_unit(temp, "degC"), 1)
