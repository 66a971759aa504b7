"""One line on a terminal, or a line now and then in a log, that tells how far a long answer is."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, TextIO

from quietcool.units import clean

if TYPE_CHECKING:
    from quietcool.decide.quietest import Progress

PATIENCE = 1.0  # nothing is said of what is done sooner [s]
TERMINAL_PACE = 0.2  # [s]
LOG_PACE = 10.0  # [s]


class ProgressLine:
    """Callable with a `Progress`; says nothing in the first second. Use it as a context: it wipes its line."""

    def __init__(self, stream: TextIO, clock: Callable[[], float] = time.monotonic) -> None:
        self._stream = stream
        self._clock = clock
        self._start = clock()
        self._last = -math.inf
        self._terminal = stream.isatty()
        self._shown = False

    def __call__(self, progress: Progress) -> None:
        """Tell how far it is, if the last word is long enough ago."""
        now = self._clock()
        pace = TERMINAL_PACE if self._terminal else LOG_PACE
        if now - self._start < PATIENCE or now - self._last < pace:
            return
        self._last = now
        line = f"{now - self._start:.0f} s: {words(progress)}"
        self._write(f"\r\x1b[K{line[:78]}" if self._terminal else f"{line}\n")
        self._shown = True

    def __enter__(self) -> ProgressLine:
        """Start."""
        return self

    def __exit__(self, *_: object) -> None:
        """Wipe the line of a terminal."""
        if self._terminal and self._shown:
            self._write("\r\x1b[K")

    def _write(self, text: str) -> None:
        try:
            self._stream.write(text)
            self._stream.flush()
        except OSError:  # nobody listens: progress is no part of the answer
            self._last = math.inf


def words(progress: Progress) -> str:
    """Return a progress in words."""
    parts = [clean(progress.what)]
    if math.isfinite(progress.done):
        parts.append(f"{progress.done:.0%}")
    if math.isfinite(progress.level):
        parts.append(f"best {progress.level:.2f} dB(A)")
    if math.isfinite(progress.lower_bound):
        parts.append(f"none below {progress.lower_bound:.2f}")
    return ", ".join(parts)
