"""SciPy's SLSQP from many starts that advance together, so that their operating points are solved as one batch."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

Floats = NDArray[np.float64]
Ask = Callable[[Floats, NDArray[np.intp]], tuple[Floats, Floats]]

STEP = 2e-4  # of the difference quotients, in parts of the range
WORST = -50.0  # margin that stands for "no answer", so that the search turns back
LOUDEST = 200.0  # level that stands for "no answer" [dB]
MAX_ITERATIONS = 40
MOST_QUESTIONS = 25  # of one start: at a kink SLSQP would go on asking without getting anywhere
PRECISION = 1e-6
KEPT = 1e-5  # margin that an end may lack and still count as feasible


class Descent(NamedTuple):
    """Where one start has led."""

    place: Floats  # (n,) in parts of the range
    level: float  # [dB(A)]
    margins: Floats  # (limits,)
    level_slope: Floats  # (n,)
    margin_slope: Floats  # (limits, n)


class _Asked(NamedTuple):
    level: float
    margins: Floats
    level_slope: Floats
    margin_slope: Floats


def descend_together(ask: Ask, starts: Floats) -> list[Descent]:
    """Minimise a level under margins of at least 0, from many starts at once.

    Every start has a thread of its own with SciPy's SLSQP in it; a question waits until all running starts have
    one, then all are answered by one call. The order of answers is fixed, so the same starts give the same ends.

    Parameters
    ----------
    ask : callable
        Places (cases, n) in parts of the range and the start each belongs to (cases,) -> levels (cases,) and
        margins (cases, limits).
    starts : ndarray, (starts, n)
        In parts of the range, 0 to 1.

    Returns
    -------
    list of Descent
        The best place that each start has seen; not necessarily feasible.
    """
    questions: queue.Queue[tuple[int, Floats | None]] = queue.Queue()
    runners = [_Runner(index, start, questions) for index, start in enumerate(starts)]
    threads = [threading.Thread(target=runner.run, daemon=True) for runner in runners]
    for thread in threads:
        thread.start()
    try:
        _serve(ask, questions, runners)
    except BaseException:
        for runner in runners:
            runner.inbox.put(None)
        raise
    finally:
        for thread in threads:
            thread.join(timeout=5.0)
    return [runner.best() for runner in runners]


class _Abandoned(Exception):
    """The search was given up: by the caller, or because a start has asked enough."""


class _Runner:
    """One start with its own SLSQP."""

    def __init__(self, index: int, start: Floats, questions: queue.Queue[tuple[int, Floats | None]]) -> None:
        self.index, self.start, self.questions = index, start, questions
        self.inbox: queue.Queue[_Asked | None] = queue.Queue()
        self.asked: dict[bytes, tuple[Floats, _Asked]] = {}

    def run(self) -> None:
        """Descend until SLSQP is content or has asked enough."""
        limits: Any = {  # SciPy takes many limits at once; its type stubs know one
            "type": "ineq",
            "fun": lambda x: self._answer(x).margins,
            "jac": lambda x: self._answer(x).margin_slope,
        }
        try:
            minimize(
                self._level,
                self.start,
                jac=self._level_slope,
                bounds=[(0.0, 1.0)] * self.start.size,
                constraints=limits,
                method="SLSQP",
                options={"maxiter": MAX_ITERATIONS, "ftol": PRECISION},
            )
        except _Abandoned:
            pass
        finally:
            self.questions.put((self.index, None))

    def _level(self, place: Floats) -> float:
        return self._answer(place).level

    def _level_slope(self, place: Floats) -> Floats:
        return self._answer(place).level_slope

    def _answer(self, place: Floats) -> _Asked:
        place = np.clip(place, 0.0, 1.0)
        key = place.tobytes()
        if key not in self.asked:
            if len(self.asked) >= MOST_QUESTIONS:
                raise _Abandoned
            self.questions.put((self.index, place))
            found = self.inbox.get()
            if found is None:
                raise _Abandoned
            self.asked[key] = place, found
        return self.asked[key][1]

    def best(self) -> Descent:
        """The quietest place whose margins are kept to within rounding; else the one that lacks least."""

        def merit(pair: tuple[Floats, _Asked]) -> tuple[float, float]:
            lacking = max(-float(pair[1].margins.min(initial=0.0)), 0.0)
            return (0.0, pair[1].level) if lacking <= KEPT else (lacking, pair[1].level)

        place, found = min(self.asked.values(), key=merit)
        return Descent(place, *found)


def _serve(ask: Ask, questions: queue.Queue[tuple[int, Floats | None]], runners: list[_Runner]) -> None:
    """Answer in rounds: one question of every start that still runs."""
    running = len(runners)
    while running:
        waiting: dict[int, Floats] = {}
        while len(waiting) < running:
            index, place = questions.get()
            if place is None:
                running -= 1
            else:
                waiting[index] = place
        if waiting:
            order = sorted(waiting)
            found = _answers(ask, np.array([waiting[i] for i in order]), np.array(order))
            for index, one in zip(order, found, strict=True):
                runners[index].inbox.put(one)


def _answers(ask: Ask, places: Floats, owners: NDArray[np.intp]) -> list[_Asked]:
    """Level, margins and their slopes at every place: the place and one small step along every axis, as one batch."""
    count, n = places.shape
    step = np.where(places + STEP <= 1.0, STEP, -STEP)
    moved = places[:, None, :] + np.concatenate([np.zeros((1, n)), np.eye(n)]) * step[:, None, :]
    level, margins = ask(moved.reshape(-1, n), np.repeat(owners, n + 1))
    level = np.where(np.isfinite(level), level, LOUDEST).reshape(count, n + 1)
    margins = np.maximum(margins, WORST).reshape(count, n + 1, -1)
    level_slope = (level[:, 1:] - level[:, :1]) / step
    margin_slope = np.swapaxes((margins[:, 1:] - margins[:, :1]) / step[:, :, None], 1, 2)
    return [_Asked(float(level[i, 0]), margins[i, 0], level_slope[i], margin_slope[i]) for i in range(count)]
