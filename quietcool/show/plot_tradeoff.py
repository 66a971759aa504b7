"""What a kelvin costs: noise against temperature, the rig as it is and with its fans placed otherwise."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from quietcool.show.console import number
from quietcool.show.look import (
    Layout,
    Picture,
    Trace,
    axis,
    dash,
    faint,
    ink,
    label,
    layout,
    line,
    note,
    points,
    series,
    short,
    signed,
    symbol,
)
from quietcool.units import in_unit

if TYPE_CHECKING:
    from quietcool.decide.tradeoff import Tradeoff


class Band(NamedTuple):
    """Half-widths of the 90 % interval round a curve."""

    temp: float  # [K]
    level: float  # [dB]


def noise_over_temperature(
    curve: Tradeoff, band: Band | None = None, layouts: Mapping[str, Tradeoff] | None = None, path: str = ""
) -> Picture:
    """Draw the front of level against temperature: what a kelvin costs.

    Parameters
    ----------
    curve : Tradeoff
        The front of the rig as it is.
    band : Band, optional
        The interval of a predicted level, drawn round the front.
    layouts : mapping of str to Tradeoff, optional
        Fronts with the fans of one radiator placed otherwise, by what that layout is called.
    path : str
        The radiator's path.

    Returns
    -------
    Picture
    """
    others = dict(layouts or {})
    x, y = _front(curve)
    traces = [*_interval(x, y, band), *_bound(curve), line(x, y, "as built", series(0), line={"width": 3})]
    notes = [note(x[0], y[0], "as built", series(0), xanchor="left", yanchor="bottom", xshift=6)] if x else []
    for n, (name, other) in enumerate(others.items(), start=1):
        ox, oy = _front(other)
        traces.append(line(ox, oy, name, series(n), line={"dash": dash(n), "width": 1.8}))
    more_traces, more_notes = _marks(curve)
    shapes, limit_notes = _limits(curve)
    title = "coolant over the room, K" if curve.axis.over_room else f"limit on {label(curve.axis.limit)}, °C"
    drawn = [*traces, *more_traces]
    along, up = (_ends([v for trace in drawn for v in trace[key]], share) for key, share in (("x", 0.02), ("y", 0.05)))
    notes += _pointers(curve, others, along, up)
    made = layout(
        axis(title, **along), axis(f"level at the {label(short(curve.position))}, dB(A)", **up), height=430,
        shapes=shapes, annotations=[*notes, *more_notes, *limit_notes], margin={"l": 48, "r": 14, "t": 24, "b": 44},
    )  # fmt: skip
    columns, rows = _tradeoff_numbers({"as built": curve, **others})
    return Picture(
        "noise-over-temperature", tradeoff_title(curve), _tradeoff_words(curve, band, others, path), columns, rows,
        {"data": drawn, "layout": made},
    )  # fmt: skip


def _shown(curve: Tradeoff, temp: float) -> float:
    return temp - curve.room_temp if curve.axis.over_room else in_unit(temp, "degC")


def _front(curve: Tradeoff) -> tuple[list[float], list[float]]:
    return [_shown(curve, p.limit) for p in curve.points], [p.level for p in curve.points]


def _ends(values: list[float], beside: float) -> dict[str, list[float]]:
    """Where an axis ends; names with pointers would widen it otherwise."""
    if not values:
        return {}
    low, high = min(values), max(values)
    more = beside * (high - low) + 0.05
    return {"range": [low - more, high + more]}


def _pointers(
    curve: Tradeoff, others: Mapping[str, Tradeoff], along: dict[str, list[float]], up: dict[str, list[float]]
) -> list[Layout]:
    """Names in the free corner above the curves, each with a line to its own: the curves lie too near for more."""
    notes = []
    for n, (name, other) in enumerate(others.items(), start=1):
        x, y = _front(other)
        if x:
            at = min(round(len(x) * (0.5 + 0.4 * n / (len(others) + 1))), len(x) - 1)
            low, high = up["range"]
            corner = {"ax": along["range"][1], "ay": high - (0.05 + 0.075 * (n - 1)) * (high - low)}
            pointer = {"showarrow": True, "arrowhead": 0, "arrowwidth": 1, "arrowcolor": series(n), "standoff": 2}
            aside = {"axref": "x", "ayref": "y", "xanchor": "right", "yanchor": "middle"}
            notes.append(note(x[at], y[at], name, series(n), **corner, **pointer, **aside))
    return notes


def _interval(x: list[float], y: list[float], band: Band | None) -> list[Trace]:
    if band is None or not x:
        return []
    high, low = [v + band.level for v in y], [v - band.level for v in y]
    style = {"fill": "toself", "fillcolor": faint("blue", 0.13), "line": {"width": 0}, "hoverinfo": "skip"}
    return [line([*x, *x[::-1]], [*high, *low[::-1]], "90 % interval", ink("blue"), **style)]


def _bound(curve: Tradeoff) -> list[Trace]:
    known = [(p.limit, p.lower_bound) for p in curve.points if math.isfinite(p.lower_bound)]
    if not known:
        return []
    return [
        line(
            [_shown(curve, t) for t, _ in known], [b for _, b in known], "no setting is below", ink("slate"),
            line={"width": 1.2, "dash": "dot"},
        )
    ]  # fmt: skip


def _marks(curve: Tradeoff) -> tuple[list[Trace], list[Layout]]:
    """The knee and the present setting."""
    traces, notes = [], []
    if curve.knee is not None:
        knee = curve.points[curve.knee]
        at = _shown(curve, knee.limit)
        traces.append(points([at], [knee.level], "knee", ink("blue"), marker={"symbol": symbol(2), "size": 15}))
        notes.append(note(at, knee.level, "knee", xanchor="left", yanchor="bottom", xshift=9))
    if curve.present is not None and math.isfinite(curve.present.temp):
        at = _shown(curve, curve.present.temp)
        traces.append(
            points([at], [curve.present.level], "present speeds", ink("rust"), marker={"symbol": "square", "size": 12})
        )
        notes.append(note(at, curve.present.level, "present speeds", ink("rust"), yanchor="bottom", yshift=8))
    return traces, notes


def _limits(curve: Tradeoff) -> tuple[list[Layout], list[Layout]]:
    shapes, notes = [], []
    stroke = {"color": ink("limit"), "width": 1.6, "dash": "dash"}
    if curve.axis_limit is not None:
        at = _shown(curve, curve.axis_limit)
        shapes.append({"type": "line", "x0": at, "x1": at, "y0": 0, "y1": 1, "yref": "paper", "line": stroke})
        notes.append(note(at, 1, f"limit {number(at, 1)}", ink("limit"), yref="paper", yanchor="bottom"))
    if curve.level_limit is not None:
        level = curve.level_limit
        shapes.append({"type": "line", "x0": 0, "x1": 1, "xref": "paper", "y0": level, "y1": level, "line": stroke})
        notes.append(
            note(1, level, f"limit {number(level, 1)} dB(A)", ink("limit"), xref="paper", xanchor="right",
                 yanchor="bottom")
        )  # fmt: skip
    return shapes, notes


def tradeoff_title(curve: Tradeoff) -> str:
    """Return what a kelvin costs, in one sentence."""
    if not curve.points:
        return f"No setting keeps the other limits in {curve.state}"
    first, last = curve.points[0], curve.points[-1]
    span = last.limit - first.limit
    said = (
        f"From {number(_shown(curve, first.limit), 1)} to {number(_shown(curve, last.limit), 1)} "
        f"{'K over the room' if curve.axis.over_room else '°C'} the rig gets {number(first.level - last.level, 1)} dB "
        "quieter"
    )
    if curve.knee is not None and span > 0.0:
        knee = curve.points[curve.knee]
        return f"{said}; most of it by {number(_shown(curve, knee.limit), 1)}, at {number(knee.level, 1)} dB(A)"
    return said


def _tradeoff_words(curve: Tradeoff, band: Band | None, others: Mapping[str, Tradeoff], path: str) -> str:
    said = [
        f"The quietest level at the {curve.position} in {curve.state} under each limit on the {curve.axis.limit}, from "
        "the coldest that can be reached to where a looser one helps no more"
    ]
    if band is not None:
        said.append(f"round it the 90 % interval, {number(band.level, 1)} dB up and down")
    if curve.present is not None:
        said.append(
            f"the present speeds make {number(curve.present.level, 1)} dB(A) at "
            f"{number(_shown(curve, curve.present.temp), 1)}, {number(curve.present.quieter, 1)} dB above the curve"
        )
    if others:
        at = [_at_limit(curve, name, other) for name, other in others.items()]
        said.append(f"broken lines, the same with the fans of {path} placed otherwise: {', '.join(at)}")
    return "; ".join(said) + "."


def _at_limit(curve: Tradeoff, name: str, other: Tradeoff) -> str:
    """What a layout makes under the limit of the state, where both reach it."""
    (x, y), (ox, oy) = _front(curve), _front(other)
    if curve.axis_limit is None or not x or not ox:
        return name
    limit = _shown(curve, curve.axis_limit)
    if not max(x[0], ox[0]) <= limit <= min(x[-1], ox[-1]):
        return name
    change = float(np.interp(limit, ox, oy)) - float(np.interp(limit, x, y))
    return f"{name} ({signed(change, 1)} dB at the limit)"


def _tradeoff_numbers(curves: Mapping[str, Tradeoff]) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    rows = tuple(
        (
            name, number(_shown(curve, p.limit), 2), number(_shown(curve, p.temp), 2), number(p.level, 2),
            number(p.lower_bound, 2), number(p.price, 2), "knee" if n == curve.knee else "",
        )
        for name, curve in curves.items()
        for n, p in enumerate(curve.points)
    )  # fmt: skip
    first = next(iter(curves.values()))
    unit = "K over room" if first.axis.over_room else "degC"
    heads = (f">limit, {unit}", f">reached, {unit}", ">dB(A)", ">bound, dB(A)", ">dB for one kelvin more", "")
    return ("layout", *heads), rows
