"""Tables as files: comma-separated values that a spreadsheet cannot mistake for formulas."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from quietcool.show.tradeoff_answer import csv_text

NUMBER = re.compile(r"[-+]?[0-9.]+([eE][-+]?[0-9]+)?")


def table_csv(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    r"""Return a table as comma-separated values; a text that a spreadsheet would take for a formula gets a quote.

    >>> table_csv(("group", ">level, dB(A)"), [("=1+1", "-3.2")])
    'group,"level, dB(A)"\n\'=1+1,-3.2\n'
    """
    return csv_text([heading.lstrip(">") for heading in columns], [[_cell(cell) for cell in row] for row in rows])


def _cell(cell: str) -> str:
    if cell == "-" or NUMBER.fullmatch(cell):
        return "" if cell == "-" else cell
    return f"'{cell}" if cell[:1] in ("=", "+", "-", "@", "\t", "\r") else cell
