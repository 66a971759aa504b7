"""Settings that were solved once, and serve every point of a curve: level, limited temperature, other limits."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.incumbent import grid_speeds
from quietcool.decide.question import Question

Floats = NDArray[np.float64]
Steps = NDArray[np.intp]


class Solved(NamedTuple):
    """Settings of the step grid with what they lead to."""

    steps: Steps  # (settings, groups + 1)
    level: Floats  # (settings,) [dB(A)]
    temp: Floats  # of the axis; inf where it has no steady value, (settings,) [K]
    kept: NDArray[np.bool_]  # every limit but that of the axis is kept, (settings,)


class Archive:
    """Every setting of a curve that was solved, each once."""

    def __init__(self, question: Question, column: int) -> None:
        """Take a question that limits the axis, in a column of its margins, to 0 K: so a margin is a temperature."""
        self.question, self.column = question, column
        groups = len(question.grids)
        self.solved = Solved(
            np.zeros((0, groups), dtype=np.intp), np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.bool_)
        )
        self._seen: set[bytes] = set()

    def ask(self, steps: Steps) -> int:
        """Solve settings that are new; return how many there were."""
        fresh = []
        for row in np.ascontiguousarray(steps, dtype=np.intp):
            key = row.tobytes()
            if key not in self._seen:
                self._seen.add(key)
                fresh.append(row)
        if not fresh:
            return 0
        new = np.array(fresh)
        level, margins = self.question.ask(grid_speeds(self.question, new))
        others = np.delete(margins, self.column, axis=1)
        kept = np.isfinite(level) & np.all(others >= 0.0, axis=1)
        found = Solved(new, level, -margins[:, self.column], kept)
        self.solved = Solved(*(np.concatenate(pair) for pair in zip(self.solved, found, strict=True)))
        return len(fresh)

    def quietest(self, temp: float) -> int | None:
        """Place of the quietest setting that keeps a limit of the axis and all others; None if none does [K]."""
        level = np.where(self.solved.kept & (self.solved.temp <= temp), self.solved.level, np.inf)
        return int(np.argmin(level)) if np.any(np.isfinite(level)) else None

    def coldest(self) -> int | None:
        """Place of the coldest setting that keeps all other limits, the quieter of two; None if none does."""
        temp = np.where(self.solved.kept, self.solved.temp, np.inf)
        if not np.any(np.isfinite(temp)):
            return None
        return int(np.lexsort((self.solved.level, temp))[0])

    def front(self) -> tuple[Floats, Floats, Steps]:
        """Settings that no other beats in both: temperature rising, level falling, steps [K, dB(A)]."""
        kept = np.flatnonzero(self.solved.kept & np.isfinite(self.solved.temp))
        order = kept[np.lexsort((self.solved.level[kept], self.solved.temp[kept]))]
        level = self.solved.level[order]
        before = np.minimum.accumulate(np.concatenate([[np.inf], level[:-1]])) if order.size else level
        best = order[level < before]
        return self.solved.temp[best], self.solved.level[best], self.solved.steps[best]
