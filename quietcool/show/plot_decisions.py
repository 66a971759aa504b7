"""What a kelvin costs, whether another layout pays, and what drives the error."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

from quietcool.show.console import NOTHING, number
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
    signed,
    symbol,
)
from quietcool.units import in_unit

if TYPE_CHECKING:
    from quietcool.decide.layouts import Difference, Gain, LayoutOutcome, Layouts
    from quietcool.decide.tradeoff import Tradeoff
    from quietcool.decide.uncertainty import Ranking

ROW = 44  # height of one layout or cause [px]
MOST_CAUSES = 8
LEAST_SHARE = 0.005  # of the variance: smaller causes are put together


class Band(NamedTuple):
    """Half-widths of the 90 % interval round a curve."""

    temp: float  # [K]
    level: float  # [dB]


def noise_over_temperature(
    curve: Tradeoff, band: Band | None = None, layouts: Mapping[str, Tradeoff] | None = None
) -> Picture:
    """Draw the front of level against temperature: what a kelvin costs.

    Parameters
    ----------
    curve : Tradeoff
        The front of the rig as it is.
    band : Band, optional
        The interval of a predicted level, drawn round the front.
    layouts : mapping of str to Tradeoff, optional
        Fronts of other layouts by name.

    Returns
    -------
    Picture
    """
    others = dict(layouts or {})
    x, y = _front(curve)
    traces = [*_interval(x, y, band), *_bound(curve), line(x, y, "as built", series(0), line={"width": 3})]
    notes = [note(x[-1], y[-1], "as built", series(0), xanchor="right", yanchor="bottom", yshift=4)] if x else []
    for n, (name, other) in enumerate(others.items(), start=1):
        ox, oy = _front(other)
        traces.append(line(ox, oy, name, series(n), line={"dash": dash(n)}))
        if ox:
            at = len(ox) // (n + 1)
            notes.append(note(ox[at], oy[at], name, series(n), xanchor="left", yanchor="bottom", xshift=4))
    more_traces, more_notes = _marks(curve)
    shapes, limit_notes = _limits(curve)
    title = "coolant over the room, K" if curve.axis.over_room else f"limit on {label(curve.axis.limit)}, °C"
    made = layout(
        axis(title), axis(f"level at the {label(curve.position)}, dB(A)"), height=430, shapes=shapes,
        annotations=[*notes, *more_notes, *limit_notes], margin={"l": 48, "r": 14, "t": 24, "b": 44},
    )  # fmt: skip
    columns, rows = _tradeoff_numbers(curve)
    return Picture(
        "noise-over-temperature", tradeoff_title(curve), _tradeoff_words(curve, band, others), columns, rows,
        {"data": [*traces, *more_traces], "layout": made},
    )  # fmt: skip


def layouts_compared(answer: Layouts, path: str) -> Picture:
    """Draw every layout of one radiator against the present one: K at equal noise, dB at equal temperature.

    Parameters
    ----------
    answer : Layouts
        The answer of `find_layouts`.
    path : str
        Which radiator, by its path.

    Returns
    -------
    Picture
    """
    one = next(p for p in answer.paths if p.path == path)
    shown = [(o, o.gains[o.main]) for o in one.outcomes if o.gains and not o.present]
    names = [o.layout for o, _ in shown]
    made = layout(
        _gain_axis("colder at equal noise, K", [g.colder for _, g in shown]) | {"anchor": "y", "side": "top"},
        _names(names, [1.0, 0.56] if names else [0.0, 1.0]) | {"anchor": "x"},
        height=120 + 2 * ROW * max(len(names), 1),
        margin={"l": 30, "r": 14, "t": 50, "b": 44},
    )
    made["xaxis2"] = _gain_axis("quieter at equal temperature, dB", [g.quieter for _, g in shown]) | {"anchor": "y2"}
    made["yaxis"]["domain"], made["yaxis2"] = [0.56, 1.0], _names(names, [0.0, 0.44]) | {"anchor": "x2"}
    traces, notes = _gain_panel([g.colder for _, g in shown], "", " K")
    more, more_notes = _gain_panel([g.quieter for _, g in shown], "2", " dB")
    made["annotations"] = notes + more_notes
    made["shapes"] = [_nothing(""), _nothing("2")]
    return Picture(
        f"layouts-{path.replace(' ', '-')}", layouts_title(path, shown), _layouts_words(answer, path, shown),
        *_layouts_numbers(one.outcomes), {"data": traces + more, "layout": made},
    )  # fmt: skip


def error_causes(ranking: Ranking) -> Picture:
    """Draw what drives the error of one result.

    Parameters
    ----------
    ranking : Ranking
        From `rank_causes`.

    Returns
    -------
    Picture
    """
    return causes_of_error(ranking.result, [(cause.name, cause.total) for cause in ranking.causes])


def causes_of_error(result: str, shares: Sequence[tuple[str, float]]) -> Picture:
    """Draw what drives the error of one result.

    Parameters
    ----------
    result : str
        What is uncertain: "coolant".
    shares : sequence of (str, float)
        Inputs with the shares of the variance that they explain. [-]

    Returns
    -------
    Picture
    """
    ranked = sorted(((n, s) for n, s in shares if s >= LEAST_SHARE), key=lambda one: -one[1])[:MOST_CAUSES]
    names, parts = [name for name, _ in ranked], [100.0 * share for _, share in ranked]
    bars: Trace = {
        "type": "bar", "orientation": "h", "x": parts, "y": list(range(len(names))), "hoverinfo": "x",
        "marker": {"color": [ink("rust")] + [ink("blue")] * (len(names) - 1)}, "width": 0.5,
    }  # fmt: skip
    made = layout(
        axis("share of the variance, %", range=[0.0, 1.18 * max(parts, default=100.0)]), _names(names, [0.0, 1.0]),
        height=70 + 34 * max(len(names), 1),
        annotations=[
            note(part, n, number(part, 0) + " %", xanchor="left", xshift=5) for n, part in enumerate(parts)
        ],
    )  # fmt: skip
    title = f"Nothing that is uncertain moves the {result}"
    if ranked:
        title = f"Measure {names[0]} first: it is {number(parts[0], 0)} % of the error of the {result}"
    listed = ", ".join(f"{name} {number(part, 0)} %" for name, part in zip(names, parts, strict=True))
    words = f"Shares of the variance of the {result} by what could be measured: {listed or 'none'}."
    rows = tuple((name, number(100.0 * share, 1)) for name, share in sorted(shares, key=lambda one: -one[1]))
    return Picture(
        f"causes-{result.replace(' ', '-')}", title, words, ("what could be measured", ">share of variance, %"), rows,
        {"data": [bars], "layout": made},
    )  # fmt: skip


def _shown(curve: Tradeoff, temp: float) -> float:
    return temp - curve.room_temp if curve.axis.over_room else in_unit(temp, "degC")


def _front(curve: Tradeoff) -> tuple[list[float], list[float]]:
    return [_shown(curve, p.limit) for p in curve.points], [p.level for p in curve.points]


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


def _tradeoff_words(curve: Tradeoff, band: Band | None, others: Mapping[str, Tradeoff]) -> str:
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
        said.append(f"dashed, the same for {', '.join(others)}")
    return "; ".join(said) + "."


def _tradeoff_numbers(curve: Tradeoff) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    rows = tuple(
        (
            number(_shown(curve, p.limit), 2), number(_shown(curve, p.temp), 2), number(p.level, 2),
            number(p.lower_bound, 2), number(p.price, 2), "knee" if n == curve.knee else "",
        )
        for n, p in enumerate(curve.points)
    )  # fmt: skip
    unit = "K over room" if curve.axis.over_room else "degC"
    return (f">limit, {unit}", f">reached, {unit}", ">dB(A)", ">bound, dB(A)", ">dB for one kelvin more", ""), rows


def _names(names: Sequence[str], domain: list[float]) -> Layout:
    return axis(
        "", range=[len(names) - 0.4, -0.9], tickvals=list(range(len(names))), ticktext=[label(n) for n in names],
        showgrid=False, showline=False, ticks="", tickfont={"color": ink("ink")}, domain=sorted(domain),
        ticklabelstandoff=6,
    )  # fmt: skip


def _gain_axis(title: str, differences: Sequence[Difference]) -> Layout:
    ends = [v for d in differences for v in (d.low, d.high, d.value) if math.isfinite(v)]
    low, high = min([*ends, -0.5]), max([*ends, 0.5])
    return axis(title, range=[low - 0.08 * (high - low), high + 0.2 * (high - low)])


def _gain_panel(differences: Sequence[Difference], key: str, unit: str) -> tuple[list[Trace], list[Layout]]:
    """Points with their intervals; a hollow one could not be measured."""
    traces: list[Trace] = []
    notes = []
    for n, d in enumerate(differences):
        if not math.isfinite(d.value):
            continue
        colour = ink("green" if d.value > 0.0 else "rust") if d.shows else ink("slate")
        where = {"xaxis": f"x{key}", "yaxis": f"y{key}"}
        traces.append(line([d.low, d.high], [n, n], "", colour, line={"width": 4}, hoverinfo="x", **where))
        fill = colour if d.shows else ink("paper")
        marker = {"size": 13, "color": fill, "line": {"color": colour, "width": 2.4}}
        traces.append(points([d.value], [n], "", colour, marker=marker, hoverinfo="x", **where))
        said = signed(d.value, 1, unit) if d.shows else f"{signed(d.value, 1, unit)}, not measurable"
        notes.append(note(d.value, n, said, colour, xref=f"x{key}", yref=f"y{key}", yanchor="bottom", yshift=8))
    return traces, notes


def _nothing(key: str) -> Layout:
    """The line of no difference."""
    return {
        "type": "line", "x0": 0, "x1": 0, "xref": f"x{key}", "y0": 0, "y1": 1, "yref": f"y{key} domain",
        "line": {"color": ink("ink"), "width": 1},
    }  # fmt: skip


def layouts_title(path: str, shown: Sequence[tuple[LayoutOutcome, Gain]]) -> str:
    """Return what the comparison of layouts says, in one sentence."""
    if not shown:
        return f"{path}: no other layout keeps the other limits"
    paying = [(o, g) for o, g in shown if g.colder.shows and g.colder.value > 0.0]
    if not paying:
        return f"{path}: no layout is better than the present one by more than could be measured"
    best, gain = max(paying, key=lambda one: one[1].colder.value)
    return (
        f"{path}: at equal noise {best.layout} is {number(gain.colder.value, 1)} K colder "
        f"({signed(gain.colder.low, 1)} to {signed(gain.colder.high, 1)})"
    )


def _layouts_words(answer: Layouts, path: str, shown: Sequence[tuple[LayoutOutcome, Gain]]) -> str:
    said = [
        f"{o.layout}: {_difference_words(g.colder, 'K')} at equal noise, {_difference_words(g.quieter, 'dB')} at equal "
        "temperature"
        for o, g in shown
    ]
    return (
        f"Layouts of {path} in {answer.state}, heard at the {answer.position}, each with the whole rig at its own "
        f"optimum, against the present one; bars are 90 % intervals. {'; '.join(said)}."
    )


def _difference_words(d: Difference, unit: str) -> str:
    if not math.isfinite(d.value):
        return "out of reach"
    plain = f"{signed(d.value, 1)} {unit} ({signed(d.low, 1)} to {signed(d.high, 1)})"
    return plain if d.shows else f"{plain}, no difference you could measure"


def _layouts_numbers(outcomes: Sequence[LayoutOutcome]) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    rows: list[tuple[str, ...]] = []
    for outcome in outcomes:
        if not outcome.gains:
            rows.append((outcome.layout, NOTHING, NOTHING, NOTHING, NOTHING, NOTHING))
        for gain in outcome.gains:
            rows.append(
                (
                    outcome.layout + (", present" if outcome.present else ""), number(gain.level, 1),
                    number(gain.colder.value, 2), _ends(gain.colder),
                    number(gain.quieter.value, 2), _ends(gain.quieter),
                )
            )  # fmt: skip
    return ("layout", ">at dB(A)", ">colder, K", ">90 %", ">quieter, dB", ">90 %"), tuple(rows)


def _ends(d: Difference) -> str:
    return f"{number(d.low, 2)} to {number(d.high, 2)}"
