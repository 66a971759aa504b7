"""Rigs whose true numbers are drawn from the tolerances, and their truth by the second opinion."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from quietcool.decide.uncertainty import Draws, Uncertainty, draw, find_uncertainty
from quietcool.decide.variation import VariedBuild
from quietcool.entry.build import Build
from quietcool.solve.cases import map_arrays
from tests.random_builds import random_build, random_speeds
from tests.second_opinion.whole import second_opinion


def one_true_rig(build: Build, rng: np.random.Generator) -> tuple[Build, VariedBuild]:
    """One rig drawn from the tolerances of a build: plain floats, and the same as a varied build of one case."""
    inputs = draw(build, count=1).inputs
    varied = Draws(inputs, rng.random((1, len(inputs))), 0).of(build)
    true: Any = map_arrays(varied.build, lambda array: float(array.reshape(-1)[0]))
    return true, varied


def with_less_pressure(build: Build, share: float) -> Build:
    """The same rig with fans whose pressure falls short of every sheet: an error of the model, not of a number."""
    groups = tuple(
        replace(g, fan=replace(g.fan, curve=replace(g.fan.curve, pressure_scale=g.fan.curve.pressure_scale * share)))
        for g in build.fan_groups
    )
    return replace(build, fan_groups=groups)


def with_series_efficiency(build: Build, efficiency: float) -> Build:
    """The same rig with rows that help each other less than any tolerance knows."""
    return replace(build, air_paths=tuple(replace(path, series_efficiency=efficiency) for path in build.air_paths))


def hits(seed: int, count: int = 256, fan_deficit: float = 0.0, series: float | None = None) -> dict[str, list[bool]]:
    """Whether the interval of each quantity of one random rig holds its truth; {} where there is no truth."""
    rng = np.random.default_rng([seed, 77])
    build = random_build(seed, limits=False)
    speeds = random_speeds(build, rng, 1)[0]
    true, varied = one_true_rig(build, rng)
    if fan_deficit:
        true = with_less_pressure(true, 1.0 - fan_deficit)
    if series is not None:
        true = with_series_efficiency(true, series)
    opinion = second_opinion(true, true.states[0], speeds)
    if not opinion.converged or opinion.temps is None:
        return {}
    known = find_uncertainty(build, build.states[0].name, speeds, draw(build, count=count, seed=seed))
    return {
        "coolant": [inside(known, "coolant_temp_max", (), opinion.hottest_coolant)],
        "enclosure": [
            inside(known, "enclosure_temp", (i,), opinion.temps.enclosure[name])
            for i, name in enumerate(build.enclosures)
        ],
        "source": [
            inside(known, "point_temp", (i,), temp) for i, temp in enumerate(opinion.source_points.values())
        ],
        "coolant flow": [inside(known, "coolant_flow", (), opinion.coolant_flow)],
        "air flow": [
            inside(known, "air_flow", (i,), opinion.inlet_volume_flow[path.name])
            for i, path in enumerate(build.air_paths)
        ],
        "level": [
            inside(known, "level", (i,), opinion.level[place.name] + _shift(varied, place.name))
            for i, place in enumerate(build.positions)
        ],
    }


def inside(known: Uncertainty, name: str, index: tuple[int, ...], truth: float) -> bool:
    return bool(getattr(known.low, name)[index] <= truth <= getattr(known.high, name)[index])


def _shift(varied: VariedBuild, position: str) -> float:
    return float(np.sum(varied.position_shift.get(position, 0.0)))
