"""SciPy's SLSQP from many starts, all of them advancing together so that their operating points are solved as one batch."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

Floats = NDArray[np.float64]
Ask = Callable[[Floats, NDArray[np.intp]], tuple[Floats, Floats]]

STEP = 2e-4  # of the difference quotients, in parts of the range
WORST = -50.0  # margin that stands for "no answer", so that the search turns back
LOUDEST = 200.0  # level that stands for "no answer" [dB]
MAX_ITERATIONS = 40
PRECISION = 1e-6


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
        One for each start; not necessarily feasible.
    """
    count, n = starts.shape
    questions: queue.Queue[tuple[int, Floats | None]] = queue.Queue()
    answers: list[queue.Queue[_Asked | None]] = [queue.Queue() for _ in range(count)]
    ends: list[Floats] = [np.array(start) for start in starts]

    def run(index: int) -> None:
        asked: dict[bytes, _Asked] = {}

        def answer(place: Floats) -> _Asked:
            place = np.clip(place, 0.0, 1.0)
            key = place.tobytes()
            if key not in asked:
                questions.put((index, place))
                found = answers[index].get()
                if found is None:
                    raise _Abandoned
                asked[key] = found
            return asked[key]

        try:
            result = minimize(
                lambda x: answer(x).level,
                starts[index],
                jac=lambda x: answer(x).level_slope,
                bounds=[(0.0, 1.0)] * n,
                constraints={
                    "type": "ineq",
                    "fun": lambda x: answer(x).margins,
                    "jac": lambda x: answer(x).margin_slope,
                },
                method="SLSQP",
                options={"maxiter": MAX_ITERATIONS, "ftol": PRECISION},
            )
            ends[index] = np.clip(result.x, 0.0, 1.0)
        except _Abandoned:
            pass
        finally:
            questions.put((index, None))

    threads = [threading.Thread(target=run, args=(index,), daemon=True) for index in range(count)]
    for thread in threads:
        thread.start()
    try:
        _serve(ask, questions, answers, count)
    except BaseException:
        for inbox in answers:
            inbox.put(None)
        raise
    finally:
        for thread in threads:
            thread.join(timeout=5.0)
    last = _answers(ask, np.array(ends), np.arange(count))
    return [Descent(end, *found) for end, found in zip(ends, last, strict=True)]


class _Abandoned(Exception):
    """The search was given up while a start was waiting for an answer."""


def _serve(
    ask: Ask,
    questions: queue.Queue[tuple[int, Floats | None]],
    answers: list[queue.Queue[_Asked | None]],
    running: int,
) -> None:
    """Answer in rounds: one question of every start that still runs."""
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
                answers[index].put(one)


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
    return [
        _Asked(float(level[i, 0]), margins[i, 0], level_slope[i], margin_slope[i]) for i in range(count)
    ]
