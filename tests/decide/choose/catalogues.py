"""Invented catalogues for tests: parts of the demos, a little other in every way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from quietcool.entry.build import Build, Fan, Radiator, SpeedRange
from quietcool.entry.buildfile import read_build
from quietcool.entry.catalogue_records import Catalogue, Place
from quietcool.entry.demos import demo_path

ROOM = read_build(demo_path("sample_room"))
BOOTH = read_build(demo_path("booth_wall"))


def other_radiator(core: Radiator, name: str, dice: np.random.Generator) -> Radiator:
    """A core whose fins are denser or wider apart."""
    dense = float(dice.uniform(0.7, 1.5))
    return replace(
        core,
        name=name,
        a=core.a * dense,
        b=core.b * dense,
        ua_air=core.ua_air * dense**0.6,
        coolant_a=core.coolant_a * float(dice.uniform(0.8, 1.3)),
        price=round(float(dice.uniform(40, 120))),
    )


def other_fan(fan: Fan, name: str, dice: np.random.Generator) -> Fan:
    """A fan that moves more or less air and is louder or quieter for it."""
    sound = replace(fan.sound, power_level=fan.sound.power_level + float(dice.uniform(-3.0, 3.0)))
    strong = float(dice.uniform(0.85, 1.2))
    curve = replace(fan.curve, flow_scale=strong, pressure_scale=strong**1.5)
    return replace(fan, name=name, sound=sound, curve=curve, price=round(float(dice.uniform(8, 30))))


def coarse(build: Build, step: float) -> Build:
    """The same rig with fewer speeds, and stacks of any depth: searches are quicker."""
    groups = tuple(replace(g, speeds=_coarse(g.speeds, step)) for g in build.fan_groups)
    paths = tuple(replace(p, space=replace(p.space, depth=None)) for p in build.air_paths)
    loop = replace(build.loop, pump_speeds=_coarse(build.loop.pump_speeds, step))
    return replace(build, fan_groups=groups, air_paths=paths, loop=loop, controller=None)


def _coarse(speeds: SpeedRange, step: float) -> SpeedRange:
    return replace(speeds, step=step / 60.0, present=None)


def catalogue_for(build: Build, paths: tuple[str, ...], radiators: int, fans: int, seed: int) -> Catalogue:
    """Some radiators and fans for some places of a rig, drawn."""
    dice = np.random.default_rng(seed)
    by_name = {path.name: path for path in build.air_paths}
    groups = {group.name: group for group in build.fan_groups}
    places = []
    for name in paths:
        path = by_name[name]
        core, fan = path.core, groups[path.fan_rows[0].group].fan
        assert core is not None
        places.append(
            Place(
                name,
                tuple(other_radiator(core.radiator, f"{name} radiator {i}", dice) for i in range(radiators)),
                tuple(other_fan(fan, f"{name} fan {i}", dice) for i in range(fans)),
                ("push", "pull"),
            )
        )
    return Catalogue(tuple(places), most_fan_models=2 * len(paths))
