"""What a command said, from outside."""

from __future__ import annotations

from typing import NamedTuple


class Said(NamedTuple):
    """Exit code and what was printed."""

    code: int
    out: str
    err: str
