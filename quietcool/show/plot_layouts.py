"""Layouts of one radiator compared: colder at equal noise, quieter at equal temperature, with their intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from quietcool.show.console import NOTHING, number
from quietcool.show.look import Layout, Picture, Trace, axis, ink, layout, line, note, points, signed

if TYPE_CHECKING:
    from quietcool.decide.layouts import Difference, Gain, LayoutOutcome, Layouts

ROW = 48  # height of one layout [px]


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
    rows = {"range": [len(names) - 0.5, -0.75], "visible": False, "fixedrange": True}
    made = layout(
        _gain_axis("colder at equal noise, K", [g.colder for _, g in shown]) | {"anchor": "y", "side": "top"},
        rows | {"anchor": "x", "domain": [0.54, 1.0]},
        height=120 + 2 * ROW * max(len(names), 1),
        margin={"l": 14, "r": 14, "t": 50, "b": 44},
    )
    made["xaxis2"] = _gain_axis("quieter at equal temperature, dB", [g.quieter for _, g in shown]) | {"anchor": "y2"}
    made["yaxis2"] = rows | {"anchor": "x2", "domain": [0.0, 0.46]}
    traces, notes = _gain_panel(names, [g.colder for _, g in shown], "", " K")
    more, more_notes = _gain_panel(names, [g.quieter for _, g in shown], "2", " dB")
    made["annotations"] = notes + more_notes
    made["shapes"] = [_nothing(""), _nothing("2")]
    return Picture(
        f"layouts-{path.replace(' ', '-')}", layouts_title(path, shown), _layouts_words(answer, path, shown),
        *_layouts_numbers(one.outcomes), {"data": traces + more, "layout": made},
    )  # fmt: skip


def _gain_axis(title: str, differences: Sequence[Difference]) -> Layout:
    ends = [v for d in differences for v in (d.low, d.high, d.value) if math.isfinite(v)]
    low, high = min([*ends, -0.5]), max([*ends, 0.5])
    return axis(title, range=[low - 0.08 * (high - low), high + 0.2 * (high - low)])


def _gain_panel(
    names: Sequence[str], differences: Sequence[Difference], key: str, unit: str
) -> tuple[list[Trace], list[Layout]]:
    """Points with their intervals, each under its name; a hollow one could not be measured."""
    traces: list[Trace] = []
    notes = []
    for n, (name, d) in enumerate(zip(names, differences, strict=True)):
        above: dict[str, Any] = {"xref": "paper", "yref": f"y{key}"}
        above |= {"xanchor": "left", "yanchor": "bottom", "yshift": 7}
        if not math.isfinite(d.value):
            notes.append(note(0, n, f"{name}: out of reach", ink("slate"), **above))
            continue
        colour = ink("green" if d.value > 0.0 else "rust") if d.shows else ink("slate")
        where = {"xaxis": f"x{key}", "yaxis": f"y{key}"}
        traces.append(line([d.low, d.high], [n, n], "", colour, line={"width": 4}, hoverinfo="x", **where))
        fill = colour if d.shows else ink("paper")
        marker = {"size": 13, "color": fill, "line": {"color": colour, "width": 2.4}}
        traces.append(points([d.value], [n], "", colour, marker=marker, hoverinfo="x", **where))
        said = f"{name}: {signed(d.value, 1, unit)}{'' if d.shows else ', not measurable'}"
        notes.append(note(0, n, said, colour, **above))
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
