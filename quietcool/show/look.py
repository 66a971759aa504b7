"""One look for figures, report and page: colours in pairs for light and dark ground, and what a picture is made of.

Colour never carries a meaning alone: lines differ in dash, points in shape, and both wear their names. A figure is
written with the colours of light ground; `figures.js` exchanges them pair by pair on dark ground.
"""

from __future__ import annotations

import html
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from quietcool.units import clean

if TYPE_CHECKING:
    import plotly.graph_objects as go

Layout = dict[str, Any]
Trace = dict[str, Any]

#: Colours by what they are for: on light ground, on dark ground.
INKS: Mapping[str, tuple[str, str]] = {
    "paper": ("#fcfbf8", "#14181c"),
    "panel": ("#f1efe8", "#1f252b"),
    "ink": ("#1c2226", "#e9e6df"),
    "soft": ("#535c62", "#adb5ba"),
    "rule": ("#d9d5ca", "#39424a"),
    "blue": ("#07609e", "#63b4ec"),
    "rust": ("#ad3b05", "#f2935f"),
    "green": ("#0b6b4f", "#49c7a0"),
    "plum": ("#8a357b", "#e09bd6"),
    "ochre": ("#7d5f00", "#dcb63f"),
    "slate": ("#4b5761", "#a9b6c1"),
    "limit": ("#9c1f3d", "#ff8fa3"),
    "pale": ("#edf3f7", "#1b262e"),
    "deep": ("#9cc0da", "#2d5a7c"),
}
#: Order in which things that stand side by side take colours, dashes and shapes.
SERIES = ("blue", "rust", "green", "plum", "ochre", "slate")
DASHES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot")
SYMBOLS = ("circle", "square", "diamond", "triangle-up", "x", "star")
FONT = "'Source Sans 3', 'Segoe UI', 'Helvetica Neue', 'DejaVu Sans', sans-serif"
TEXT_SIZE = 13
DIGITS = 5  # of a number in a figure: more than any screen shows
LABEL_WIDTH = 20  # characters of a line of a name beside an axis
NAME_WIDTH = 34  # characters of a name in the title of an axis: as many as a narrow screen holds
TITLE_WIDTH = 84  # characters of a line of the title of an exported figure


def ink(name: str) -> str:
    """Return a colour on light ground."""
    return INKS[name][0]


def faint(name: str, opacity: float) -> str:
    """Return a colour on light ground that lets through what is behind it.

    >>> faint("blue", 0.2)
    '#07609e33'
    """
    return f"{ink(name)}{round(255 * opacity):02x}"


def series(place: int) -> str:
    """Return the colour of the thing at a place."""
    return ink(SERIES[place % len(SERIES)])


def dash(place: int) -> str:
    """Return the dash of the thing at a place."""
    return DASHES[place % len(DASHES)]


def symbol(place: int) -> str:
    """Return the shape of the thing at a place."""
    return SYMBOLS[place % len(SYMBOLS)]


def label(text: str) -> str:
    """Return a text for a figure, in which a few marks would otherwise be obeyed.

    >>> label("a <b>")
    'a &lt;b&gt;'
    """
    return html.escape(clean(text, 200), quote=False)


def signed(value: float, digits: int, unit: str = "") -> str:
    """Return a change with its sign, a true minus.

    >>> signed(-1.26, 1, " K")
    '−1.3 K'
    >>> signed(-0.01, 1, " K")
    '0.0 K'
    """
    said = f"{value:+.{digits}f}"
    return f"{said[1:] if float(said) == 0.0 else said.replace('-', '−')}{unit}"


def rounded(values: Any) -> list[Any]:
    """Return numbers as a figure holds them: few digits, nothing where there is no number.

    >>> rounded([1.23456789, float("nan")])
    [1.2346, None]
    """
    return [_rounded(value) for value in values]


def _rounded(value: Any) -> Any:
    if isinstance(value, str):
        return value
    if hasattr(value, "__len__"):
        return rounded(value)
    number = float(value)
    return float(f"{number:.{DIGITS}g}") if math.isfinite(number) else None


@dataclass(frozen=True)
class Picture:
    """A figure with its answer, its words and its numbers."""

    name: str  # "fan-curves": part of addresses and file names
    title: str  # the answer, one sentence
    alternative: str  # what is to be seen, for who does not see it
    columns: tuple[str, ...]  # of its numbers; ">" before a heading of numbers
    rows: tuple[tuple[str, ...], ...]
    figure: Mapping[str, Any] | None = None  # what plotly draws: traces and layout
    drawing: str | None = None  # or an inline SVG

    def plotly(self) -> go.Figure:
        """Return the figure for plotly, checked by it, with its title."""
        import plotly.graph_objects as go

        if self.figure is None:
            raise ValueError(f"{self.name} is a drawing, not a figure of plotly")
        made = go.Figure(self.figure)
        lines = wrapped(label(self.title), TITLE_WIDTH)
        head = 20 + 21 * len(lines)  # height of the title [px]
        made.update_layout(
            title=title_of(lines, made.layout.height + head),
            paper_bgcolor=ink("paper"),
            margin={"t": made.layout.margin.t + head},
            height=made.layout.height + head,
            template="none",
        )
        return made


def title_of(lines: Sequence[str], height: float) -> dict[str, Any]:
    """Return the title of an exported figure of a height [px], at its upper left."""
    place = {"x": 0.02, "xanchor": "left", "y": 1.0 - 20.0 / height, "yanchor": "top"}
    return {"text": "<br>".join(lines), "font": {"size": 16}, **place}


def wrapped(text: str, width: int) -> list[str]:
    """Cut a text into lines at spaces.

    >>> wrapped("cold air from the room", 10)
    ['cold air', 'from the', 'room']
    """
    lines: list[str] = []
    for word in text.split():
        if lines and len(lines[-1]) + 1 + len(word) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines or [""]


def short(name: str, most: int = NAME_WIDTH) -> str:
    """Return a name for where there is little room: the table of the figure has the whole of it.

    >>> short("intake of the lower left front", 20)
    'intake of the lower…'
    """
    return name if len(name) <= most else f"{name[: most - 1].rstrip()}…"


def stacked(name: str) -> str:
    """Return a name as a label of a figure, in two lines where it is long, cut where two are not enough.

    >>> stacked("graphics board of the left screens")
    'graphics board of<br>the left screens'
    """
    first, *rest = wrapped(name, LABEL_WIDTH)
    if len(first) > LABEL_WIDTH:  # no space to break at
        return f"{label(first[:LABEL_WIDTH])}<br>{label(short(name[LABEL_WIDTH:].strip(), LABEL_WIDTH))}"
    return f"{label(first)}<br>{label(short(' '.join(rest), LABEL_WIDTH))}" if rest else label(first)


def listed(names: Sequence[str], **changes: Any) -> dict[str, Any]:
    """Return an axis of names from top to bottom, one at each whole number."""
    return axis("", tickvals=list(range(len(names))), ticktext=[stacked(name) for name in names]) | {
        "range": [len(names) - 0.5, -0.5], "showgrid": False, "showline": False, "ticks": "",
        "tickfont": {"color": ink("ink")}, "ticklabelstandoff": 6,
    } | changes  # fmt: skip


def axis(title: str, **changes: Any) -> dict[str, Any]:
    """Return an axis with its title, unit included."""
    return {
        "title": {"text": title, "standoff": 8, "font": {"size": TEXT_SIZE, "color": ink("soft")}},
        "color": ink("soft"),
        "linecolor": ink("soft"),
        "gridcolor": ink("rule"),
        "showline": True,
        "showgrid": True,
        "zeroline": False,
        "ticks": "outside",
        "ticklen": 4,
        "automargin": True,
        "fixedrange": True,
    } | changes


def layout(x: dict[str, Any], y: dict[str, Any], *, height: int = 400, **changes: Any) -> Layout:
    """Return the layout of a figure with two axes."""
    return {
        "xaxis": x,
        "yaxis": y,
        "height": height,
        "font": {"family": FONT, "size": TEXT_SIZE, "color": ink("ink")},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "margin": {"l": 48, "r": 14, "t": 12, "b": 44},
        "showlegend": False,
        "hovermode": "closest",
        "dragmode": False,
        "hoverlabel": {
            "bgcolor": ink("panel"), "bordercolor": ink("soft"), "font": {"family": FONT, "color": ink("ink")}
        },
    } | changes  # fmt: skip


def note(x: Any, y: Any, text: str, colour: str | None = None, **changes: Any) -> dict[str, Any]:
    """Return a text that stands at a point of a figure; the text is taken as it is."""
    return {
        "x": x,
        "y": y,
        "text": label(text),
        "showarrow": False,
        "font": {"size": TEXT_SIZE - 1, "color": colour or ink("ink")},
        "align": "left",
        "bgcolor": faint("paper", 0.8),
        "borderpad": 1,
    } | changes


def line(x: Sequence[Any] | Any, y: Sequence[Any] | Any, name: str, colour: str, **changes: Any) -> Trace:
    """Return a line with its name."""
    return {
        "type": "scatter",
        "mode": "lines",
        "x": rounded(x),
        "y": rounded(y),
        "name": label(name),
        "line": {"color": colour, "width": 2} | changes.pop("line", {}),
        "hoverinfo": "x+y+name",
    } | changes


def points(x: Sequence[Any] | Any, y: Sequence[Any] | Any, name: str, colour: str, **changes: Any) -> Trace:
    """Return points with their name."""
    marker = {"color": colour, "size": 10, "line": {"color": ink("paper"), "width": 1.5}} | changes.pop("marker", {})
    return {
        "type": "scatter",
        "mode": "markers",
        "x": rounded(x),
        "y": rounded(y),
        "name": label(name),
        "marker": marker,
        "hoverinfo": "x+y+name",
    } | changes
