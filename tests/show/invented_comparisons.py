"""Trade-off curves and layouts made by hand, so that what is shown can be tested without a search."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from quietcool import demo_path, read_build
from quietcool.decide.axes import axis_named
from quietcool.decide.layouts import Added, Difference, Gain, LayoutOutcome, Layouts, PathLayouts
from quietcool.decide.reasons import Reason
from quietcool.decide.tradeoff import Present, Tradeoff, TradePoint

BUILD = read_build(str(demo_path("booth_wall")))
NAN, NOTHING_KNOWN = math.nan, -math.inf
SPEEDS = np.array([16.0, 15.0, 0.0, 60.0])


def point(temp: float, level: float, bound: float = NOTHING_KNOWN) -> TradePoint:
    gap = level - bound
    return TradePoint(temp, SPEEDS, temp - 0.01, level, bound, gap, "proven" if gap <= 0.1 else "best_found", 0.8)


def curve(axis: str = "coolant", **changes: Any) -> Tradeoff:
    made = Tradeoff(
        "render", "desk microphone", axis_named(BUILD, BUILD.state("render"), axis), 296.15,
        (point(313.15, 36.0, 35.0), point(318.15, 33.0, 32.95), point(323.15, 31.0, 30.95)), 1,
        Present(SPEEDS, 319.15, 33.4, 0.6, 1.2), 318.15, 35.0, 1000, 20, False,
    )  # fmt: skip
    return replace(made, **changes)


REASON = Reason(1.17, 0.6, 0.4, 19.0, 16.0, False, 0.18, 0.47, "bottom", 0.34, 0.56, 1.06)


def outcome(layout: Any, present: bool, **changes: Any) -> LayoutOutcome:
    none = Added(0, 0.0, 0.0, None)
    names = BUILD.group_names
    made = LayoutOutcome(layout, present, (), 0, (), none, 29.5, NOTHING_KNOWN, SPEEDS, names, REASON)
    return replace(made, **changes)


ZERO = Difference(0.0, 0.0, 0.0, 0.5)


def layouts(colder: Difference, quieter: Difference, **changes: Any) -> Layouts:
    push = outcome("push", True, gains=(Gain(33.9, 318.15, ZERO, ZERO),))
    double = outcome("push-pull, one speed", False, **{"gains": (Gain(33.9, 318.15, colder, quieter),)} | changes)
    axis = axis_named(BUILD, BUILD.state("render"), "coolant")
    path = PathLayouts("side intake", "radiator-p-480x60", (push, double))
    return Layouts("render", "desk microphone", axis, 296.15, (path,), 500, 300)
