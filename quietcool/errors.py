"""Everything quietcool raises on purpose.

QuietcoolError             1   catch this to catch all of them
 |- InputError             2   a file, an option or a number is wrong; holds every mistake found
 |- Infeasible             3   no setting keeps the limits
 |- RefutedBound           3   a lower bound lies above a feasible level, or a certificate does not hold
 `- NotConverged           4   a solve stopped before its balances closed

The number is the exit code of the command line.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True)
class Mistake:
    """One thing that is wrong in one place of a file."""

    file: str  # as the user would type it
    line: int | None  # from 1; None where the file has no such place
    column: int | None  # in characters, from 1
    place: str  # "fan_group[side].min_rpm"
    required: str  # reads after "needs"
    found: str  # reads after "found"
    advice: str  # what to do, an imperative

    def __str__(self) -> str:
        """Return the mistake as one sentence: where, what is required, what was found, what to do."""
        where = [self.file]
        if self.line is not None:
            where += [str(self.line)] if self.column is None else [str(self.line), str(self.column)]
        what = f"{self.place} needs" if self.place else "needs"
        return f"{':'.join(where)}: {what} {self.required}; found {self.found}; {self.advice}."


class QuietcoolError(Exception):
    """Base of the family: catch it to catch everything that is raised on purpose."""

    exit_code: ClassVar[int] = 1


class InputError(QuietcoolError):
    """Wrong input; `mistakes` holds all of them, sorted by place."""

    exit_code = 2

    def __init__(self, mistakes: Iterable[Mistake]) -> None:
        self.mistakes = sorted(mistakes, key=lambda m: (m.file, m.line or 0, m.column or 0, m.place))
        super().__init__("\n".join(str(mistake) for mistake in self.mistakes))


class Infeasible(QuietcoolError):
    """No setting keeps the limits."""

    exit_code = 3


class RefutedBound(QuietcoolError):
    """A bound that was called valid is not."""

    exit_code = 3


class NotConverged(QuietcoolError):
    """A solve stopped before its balances closed; the message names the branch with the largest residual."""

    exit_code = 4
