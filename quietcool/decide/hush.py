"""Solvers that write their banner past Python, kept off the screen."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def hushed() -> Iterator[None]:
    """Keep the solver's banner off the screen: its library writes past Python, whatever its options say."""
    try:
        sys.stdout.flush()
        kept = os.dup(1)
    except (OSError, AttributeError):  # no screen to keep clean
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)
