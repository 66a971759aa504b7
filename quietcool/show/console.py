"""How answers become text: plain renderables, no markup anywhere, so that no name can style or hide anything."""

from __future__ import annotations

import math
import sys
from collections.abc import Iterable, Sequence
from io import StringIO
from typing import Any, TypeAlias

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from quietcool.units import clean

Part: TypeAlias = str | Table

NOTHING = "-"
STYLE: dict[str, Any] = {"title_justify": "left", "title_style": "bold", "pad_edge": False}
LONGEST_LINE = 4000  # characters of one sentence


def plain(text: str) -> Text:
    """Return a text as it stands: brackets are brackets, control characters are spelled out."""
    return Text(clean(text, LONGEST_LINE))


def number(value: float | None, digits: int) -> str:
    """Return a number with fixed digits; a dash where there is none, no minus before zero.

    >>> number(41.26, 1), number(-0.01, 1), number(None, 1)
    ('41.3', '0.0', '-')
    """
    if value is None or not math.isfinite(value):
        return NOTHING
    text = f"{value:.{digits}f}"
    return text.lstrip("-") if float(text) == 0.0 else text


def margin(value: float | None) -> str:
    """Return a margin with one digit after the point, or with as many as show that it is not zero.

    >>> margin(1.26), margin(-0.004), margin(0.0)
    ('1.3', '-0.004', '0.0')
    """
    if value is None or not math.isfinite(value):
        return NOTHING
    return f"{value:.1g}" if 0.0 < abs(value) < 0.05 else number(value, 1)


def rpm(value: float) -> str:
    """Return a speed without a trailing ".0".

    >>> rpm(1100.0), rpm(1102.5)
    ('1100', '1102.5')
    """
    return f"{value:.10g}"


def table(title: str, columns: Sequence[str], rows: Iterable[Sequence[str]]) -> Table:
    """Return a table; a column whose heading starts with ">" holds numbers and stands to the right."""
    made = Table(
        title=plain(title),
        title_justify="left",
        title_style="bold",
        box=box.SIMPLE_HEAD,
        show_edge=False,
        pad_edge=False,
    )
    for heading in columns:
        if heading.startswith(">"):
            made.add_column(plain(heading[1:]), justify="right", no_wrap=False, overflow="fold")
        else:
            made.add_column(plain(heading), overflow="fold")
    for row in rows:
        made.add_row(*(plain(cell) for cell in row))
    return made


def listing(title: str, lines: Iterable[str]) -> Table:
    """Return sentences under a title, one below the other with a dash before each."""
    made = Table(title=plain(title), **STYLE, box=None, show_header=False)
    made.add_column()
    made.add_column(overflow="fold")
    for line in lines:
        made.add_row(NOTHING, plain(line))
    return made


def rendered(parts: Iterable[Part]) -> str:
    """Return an answer as text: sentences on one line each, tables as wide as the terminal (80 columns in a pipe)."""
    styled = sys.stdout is not None and sys.stdout.isatty()  # None: closed before the start
    console = Console(
        file=sys.stdout if styled else StringIO(), markup=False, emoji=False, highlight=False, soft_wrap=False
    )
    with console.capture() as captured:
        for part in parts:
            if isinstance(part, str):
                console.print(plain(part), soft_wrap=True)
            else:
                console.print()
                console.print(part)
    lines = captured.get().splitlines()
    return "\n".join(line.rstrip() for line in lines) + "\n"
