"""The coolant on its way round the ring, with what the sensors read and what the limits are."""

from __future__ import annotations

from typing import Any, NamedTuple

from quietcool.entry.build import PUMP, Build, Parallel, State
from quietcool.show.console import margin, number
from quietcool.show.look import (
    Layout,
    Picture,
    Trace,
    axis,
    ink,
    label,
    layout,
    line,
    listed,
    note,
    points,
    rounded,
    signed,
)
from quietcool.solve.loop import station_names
from quietcool.solve.operating_point import OperatingPoint
from quietcool.units import in_unit

ROW = 34  # height of a station or sensing point [px]
GAP = 2  # rows between the two panels
MOST_EMPTY = 2.5  # swings of the ring: a limit farther off is not drawn


class Sensed(NamedTuple):
    """One sensing point beside its station."""

    station: int
    name: str
    temp: float  # [degC]
    limit: float | None  # [degC]


def coolant_ring(build: Build, state: State, point: OperatingPoint) -> Picture:
    """Draw the temperature of the coolant along the loop, one station a line from top to bottom.

    Parameters
    ----------
    build, state, point : Build, State, OperatingPoint
        A solved state, one case.

    Returns
    -------
    Picture
    """
    names = station_names(build.loop.order)
    temp_in = [in_unit(t, "degC") for t in point.station_temp_in.tolist()]
    temp_out = [in_unit(t, "degC") for t in point.station_temp_out.tolist()]
    sensed = _sensed(build, point)
    rows = len(names) + len(sensed) + GAP
    split = 1.0 - len(names) / rows
    made = _panels(state, names, sensed, [*temp_in, *temp_out])
    made["yaxis"]["domain"], made["yaxis2"]["domain"] = [split, 1.0], [0.0, len(sensed) / rows]
    made["height"] = 60 + ROW * rows
    limit = _near_limit(state, [*temp_in, *temp_out])
    made["annotations"] = [*_steps(names, temp_in, temp_out), *_limit_note(limit), *_sensor_notes(sensed)]
    return Picture(
        "coolant-ring", _title(state, point, temp_out), _words(names, temp_in, temp_out, sensed),
        *_numbers(build, point, names, sensed),
        {"data": [*_trail(build, temp_in, temp_out), *_sensors(sensed)], "layout": made},
    )  # fmt: skip


def _panels(state: State, names: tuple[str, ...], sensed: list[Sensed], temps: list[float]) -> Layout:
    """Two panels: the ring from top to bottom, and below it the sensing points, which are much hotter."""
    limit = _near_limit(state, temps)
    made = layout(
        axis("coolant, °C", range=_stretched([*temps, *limit], 0.06, 0.16), anchor="y"),
        listed(names),
        margin={"l": 30, "r": 14, "t": 24, "b": 44},
    )
    readings = [*(s.temp for s in sensed), *(s.limit for s in sensed if s.limit is not None)]
    made["xaxis2"] = axis("sensing points, °C", range=_stretched(readings or [0.0], 0.3, 0.2), anchor="y2")
    made["yaxis2"] = listed([s.name for s in sensed]) | {"anchor": "x2"}
    made["shapes"] = [
        {"type": "line", "x0": at, "x1": at, "y0": -0.5, "y1": len(names) - 0.5,
         "line": {"color": ink("limit"), "width": 1.6, "dash": "dash"}}
        for at in limit
    ]  # fmt: skip
    return made


def _stretched(values: list[float], below: float, above: float) -> list[float]:
    low, high = min(values), max(values)
    return [low - below * (high - low) - 0.5, high + above * (high - low) + 0.5]


def _near_limit(state: State, temps: list[float]) -> list[float]:
    """The limit on the coolant where it does not squeeze the ring into a corner; the title tells it anyway [degC]."""
    if state.limits.coolant is None:
        return []
    limit = in_unit(state.limits.coolant, "degC")
    return [limit] if limit - max(temps) <= MOST_EMPTY * max(max(temps) - min(temps), 1.0) else []


def _limit_note(limit: list[float]) -> list[Layout]:
    return [
        note(at, 1.0, f"limit {number(at, 0)} °C", ink("limit"), yref="paper", yanchor="bottom", xanchor="center")
        for at in limit
    ]


def _sensed(build: Build, point: OperatingPoint) -> list[Sensed]:
    names = station_names(build.loop.order)
    places = [(source.name, place) for source in build.sources for place in source.points]
    return [
        Sensed(
            names.index(source), f"{source} {place.name}", in_unit(temp, "degC"),
            None if place.limit is None else in_unit(place.limit, "degC"),
        )
        for (source, place), temp in zip(places, point.point_temp.tolist(), strict=True)
    ]  # fmt: skip


def _trail(build: Build, temp_in: list[float], temp_out: list[float]) -> list[Trace]:
    """A line through the stations in order; branches side by side are drawn each from the fork to the merge."""
    names = station_names(build.loop.order)
    x: list[float | None] = []
    y: list[float | None] = []
    for group in _branches(build.loop.order):
        for name in group:
            i = names.index(name)
            x += [temp_in[i], temp_out[i]]
            y += [i - 0.22, i + 0.22]
        x.append(None)
        y.append(None)
    solid = [{**line([], [], "coolant", ink("blue"), line={"width": 3}), "x": _kept(x), "y": y}]
    return [*solid, *_joints(build, names, temp_in, temp_out)]


def _joints(build: Build, names: tuple[str, ...], temp_in: list[float], temp_out: list[float]) -> list[Trace]:
    """Thin lines where the coolant forks and merges, and from the last station back to the first."""
    groups = _branches(build.loop.order)
    x: list[float | None] = []
    y: list[float | None] = []
    chain = list(build.loop.order)
    for before, after in zip(chain, chain[1:], strict=False):
        for a in _ends(before, last=True):
            for b in _ends(after, last=False):
                if not any(a in group and b in group for group in groups):
                    i, k = names.index(a), names.index(b)
                    x += [temp_out[i], temp_in[k], None]
                    y += [i + 0.22, k - 0.22, None]
    return [{**line([], [], "coolant", ink("blue"), line={"width": 1, "dash": "dot"}), "x": _kept(x), "y": y}]


def _ends(element: object, *, last: bool) -> list[str]:
    if isinstance(element, str):
        return [element]
    assert isinstance(element, Parallel)
    return [name for branch in element.branches if branch for name in _ends(branch[-1 if last else 0], last=last)]


def _branches(order: tuple[object, ...]) -> list[list[str]]:
    """Runs of stations that follow one another without a fork."""
    runs: list[list[str]] = [[]]
    for element in order:
        if isinstance(element, str):
            runs[-1].append(element)
        elif isinstance(element, Parallel):
            for branch in element.branches:
                runs += _branches(branch)
            runs.append([])
    return [run for run in runs if run]


def _kept(values: list[float | None]) -> list[float | None]:
    return [None if value is None else rounded([value])[0] for value in values]


def _sensors(sensed: list[Sensed]) -> list[Trace]:
    """What every sensing point reads, and the way that is left to its limit."""
    limited = [(i, s.temp, s.limit) for i, s in enumerate(sensed) if s.limit is not None]
    below: dict[str, Any] = {"xaxis": "x2", "yaxis": "y2"}
    spread: list[float | None] = []
    across: list[float | None] = []
    for i, temp, limit in limited:
        spread += [temp, limit, None]
        across += [i, i, None]
    return [
        {**line([], [], "up to its limit", ink("rule"), line={"width": 5}, hoverinfo="skip", **below),
         "x": _kept(spread), "y": across},
        points(
            [limit for _, _, limit in limited], [i for i, _, _ in limited], "limit", ink("limit"),
            marker={"symbol": "line-ns", "size": 13, "line": {"color": ink("limit"), "width": 2.5}}, **below,
        ),
        points(
            [s.temp for s in sensed], list(range(len(sensed))), "sensing point", ink("rust"),
            marker={"symbol": "diamond", "size": 11}, text=[label(s.name) for s in sensed], hoverinfo="x+text", **below,
        ),
    ]  # fmt: skip


def _sensor_notes(sensed: list[Sensed]) -> list[Layout]:
    """What is read before each mark, its limit behind."""
    below: dict[str, Any] = {"xref": "x2", "yref": "y2"}
    notes = [
        note(s.temp, i, number(s.temp, 0), ink("rust"), xanchor="right", xshift=-8, **below)
        for i, s in enumerate(sensed)
    ]
    limited = [(i, s.limit) for i, s in enumerate(sensed) if s.limit is not None]
    for n, (i, limit) in enumerate(limited):
        said = f"{'limit ' if n == 0 else ''}{number(limit, 0)}"
        notes.append(note(limit, i, said, ink("limit"), xanchor="left", xshift=5, **below))
    return notes


def _steps(names: tuple[str, ...], temp_in: list[float], temp_out: list[float]) -> list[Layout]:
    return [
        note(
            max(temp_in[i], temp_out[i]), i, signed(temp_out[i] - temp_in[i], 1, " K"), ink("blue"), xanchor="left",
            xshift=8,
        )
        for i in range(len(names))
        if abs(temp_out[i] - temp_in[i]) >= 0.05
    ]  # fmt: skip


def _title(state: State, point: OperatingPoint, temp_out: list[float]) -> str:
    hottest = in_unit(float(point.coolant_temp_max), "degC")
    room = in_unit(float(state.room_temp), "degC")
    said = (
        f"The coolant is {number(hottest, 1)} °C at its hottest, {number(hottest - room, 1)} K over the room, and "
        f"swings by {number(max(temp_out) - min(temp_out), 1)} K round the ring"
    )
    limit = state.limits.coolant
    if limit is None:
        return said
    left = in_unit(limit, "degC") - hottest
    return f"{said}; {margin(abs(left))} K {'left to' if left >= 0.0 else 'over'} its limit"


def _words(names: tuple[str, ...], temp_in: list[float], temp_out: list[float], sensed: list[Sensed]) -> str:
    legs = ", ".join(
        f"{name} {number(a, 1)} to {number(b, 1)}" for name, a, b in zip(names, temp_in, temp_out, strict=True)
    )
    read = ", ".join(
        f"{s.name} {number(s.temp, 1)}" + (f" (limit {number(s.limit, 0)})" if s.limit is not None else "")
        for s in sensed
    )
    return f"Coolant in °C from station to station, before and behind each: {legs}. Sensing points: {read}."


def _numbers(
    build: Build, point: OperatingPoint, names: tuple[str, ...], sensed: list[Sensed]
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    rows = []
    for i, name in enumerate(names):
        kind = "pump" if name == PUMP else "source" if name in {s.name for s in build.sources} else "radiator"
        rows.append(
            (
                name, kind, number(in_unit(float(point.station_flow[i]), "L/min"), 2),
                number(in_unit(float(point.station_temp_in[i]), "degC"), 2),
                number(in_unit(float(point.station_temp_out[i]), "degC"), 2), "-",
            )
        )  # fmt: skip
    rows += [(s.name, "sensing point", "-", number(s.temp, 2), "-", number(s.limit, 1)) for s in sensed]
    return ("place", "kind", ">flow, L/min", ">degC", ">degC behind", ">limit, degC"), tuple(rows)
