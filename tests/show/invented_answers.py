"""Answers of the optimizer made by hand from solved states, so that what is shown can be tested without a search."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from quietcool.decide.quietest import Progress, Quietest, Setting
from quietcool.decide.worth import Binding
from quietcool.entry.build import Build
from quietcool.solve.operating_point import solve_operating_point

NAN = math.nan


def setting(build: Build, states: tuple[str, ...], rpm: tuple[float, ...], **changes: Any) -> Setting:
    """A setting of a build with its real operating points; level, bound and words as asked for."""
    speeds = np.array(rpm) / 60.0
    points = {name: solve_operating_point(build, build.state(name), speeds) for name in states}
    level = max(float(point.level[0]) for point in points.values())
    fields: dict[str, Any] = {
        "status": "proven",
        "level": level,
        "lower_bound": level - 0.06,
        "gap": 0.06,
        "binding": (
            Binding(states[0], "coolant", 0.004, "K", 0.8, None),
            Binding(states[0], "coolant flow", 0.02 / 60_000, "m3/s", None, None),
            Binding(states[0], f"heat of {build.sources[0].name}", 0.0, "W", None, 0.17),
        ),
    }
    return Setting(states, speeds, points=points, **(fields | changes))


def infeasible(build: Build, state: str, rpm: tuple[float, ...], *, proven: bool) -> Setting:
    """A least violated setting."""
    return setting(
        build, (state,), rpm, status="infeasible", level=NAN, lower_bound=NAN, gap=NAN, binding=(),
        infeasibility_proven=proven,
    )  # fmt: skip


def answer(*settings: Setting, position: str, interrupted: bool = False) -> Quietest:
    """The answer with these settings."""
    statuses = {s.status for s in settings}
    status = next(word for word in ("infeasible", "best_found", "proven") if word in statuses)
    loudest = settings[0] if status == "infeasible" else max(settings, key=lambda s: s.level)
    numbers = (NAN, NAN, NAN) if status == "infeasible" else (loudest.level, loudest.lower_bound, loudest.gap)
    return Quietest(status, *numbers, position, tuple(settings), 1234, 56, interrupted)


def searcher(found: Quietest | BaseException, *, told: list[Any] | None = None) -> Any:
    """Stand in for `find_quietest`: returns or raises what it is given, notes how it was asked."""

    def find(build: Build, states: Any = None, *, progress: Any = None, **wishes: Any) -> Quietest:
        if told is not None:
            told.append((states, wishes))
        if progress is not None:
            progress(Progress("searching", 0.5, 30.0, 20.0))
        if isinstance(found, BaseException):
            raise found
        return found

    return find
