"""What report and page share: templates, style, scripts, and how a figure gets into them."""

from __future__ import annotations

import base64
import functools
import hashlib
import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from markupsafe import Markup
from rich.table import Table

from quietcool.show.console import Part
from quietcool.show.handover import Sheet
from quietcool.show.look import INKS, Picture

if TYPE_CHECKING:
    import jinja2

ASSETS = Path(__file__).parent / "assets"
DEGREES = re.compile(r"(?<=[\d,] )degC\b|^degC\b")
LIBRARY = "plotly-cartesian.min.js"


@functools.cache
def asset(name: str) -> str:
    """Return a file of this package as text."""
    return (ASSETS / name).read_text(encoding="utf-8")


@functools.cache
def templates() -> jinja2.Environment:
    """Return the templates; everything that is put into them is escaped, and nothing may be missing."""
    import jinja2

    made = jinja2.Environment(
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        loader=jinja2.FileSystemLoader(ASSETS),
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["drawing"] = drawn
    made.filters["degrees"] = degrees
    return made


def degrees(text: str) -> str:
    """Return what was said for the console with the sign of the degree; a name that holds the word keeps it.

    >>> degrees("coolant 45.0 degC")
    'coolant 45.0 °C'
    """
    return DEGREES.sub("°C", text)


def drawn(picture: Picture) -> Markup:
    """Return the drawing of a picture, which was made as a tree and holds no foreign markup."""
    return Markup(picture.drawing or "")


@functools.cache
def style() -> Markup:
    """Return the style, with the colours of `look.py` for both grounds; paper is light ground."""
    day = "".join(f"--{name}:{pair[0]};" for name, pair in INKS.items())
    night = "".join(f"--{name}:{pair[1]};" for name, pair in INKS.items())
    dark = f"@media screen and (prefers-color-scheme: dark){{:root{{{night}}}}}"
    return Markup(f":root{{{day}}}{dark}\n{asset('look.css')}")


def ink_pairs() -> Markup:
    """Return the pairs of colours for `figures.js`."""
    return json_script([list(pair) for pair in INKS.values()])


def json_script(value: Any) -> Markup:
    """Return JSON that may stand inside a script element: no text in it can end the element."""
    text = json.dumps(value, allow_nan=False, separators=(",", ":"), ensure_ascii=False)
    for mark in "<>&\u2028\u2029":
        text = text.replace(mark, f"\\u{ord(mark):04x}")
    return Markup(text)


def script_hash(text: str) -> str:
    """Return how a content security policy names a script that may run."""
    return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'"


def plain_table(part: Part) -> Sheet:
    """Return a table of the console as headings and cells."""
    if not isinstance(part, Table):
        return Sheet("", ("",), ((str(part),),))
    titles = tuple((">" if column.justify == "right" else "") + str(column.header) for column in part.columns)
    cells = [[str(cell) for cell in column.cells] for column in part.columns]
    return Sheet(str(part.title or ""), titles, tuple(zip(*cells, strict=True)))


def figure_script(figure: Mapping[str, Any]) -> Markup:
    """Return a figure as JSON for a script element."""
    return json_script(figure)
