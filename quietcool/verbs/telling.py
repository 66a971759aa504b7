"""How an answer leaves the command line."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from contextlib import suppress
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from quietcool.show.console import Part


def tell_json(answer: dict[str, object], code: int) -> int:
    """Print an answer as JSON and return its exit code."""
    from quietcool.show.json_answers import dumps

    return tell(dumps(answer) + "\n", code)


def tell_parts(parts: Sequence[Part], code: int) -> int:
    """Print sentences and tables and return the exit code."""
    from quietcool.show.console import rendered

    return tell(rendered(parts), code)


def tell(text: str, code: int) -> int:
    """Print and return the exit code; a reader that has gone away is no failure."""
    if sys.stdout is None:  # closed before the start: nobody wants the answer
        return code
    encoding = sys.stdout.encoding or "utf-8"
    try:
        sys.stdout.write(text.encode(encoding, "backslashreplace").decode(encoding))
        sys.stdout.flush()
    except BrokenPipeError:
        hush()
    return code


def hush() -> None:
    """Let whatever the interpreter still wants to flush at its end go nowhere, instead of failing again."""
    with suppress(OSError, AttributeError, ValueError):  # a stdout that is none
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
