"""What is worth knowing about a build although it is no error."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from quietcool.entry.build import PUMP, Build, Core, Curve, Screen, Sound, SpeedRange
from quietcool.entry.speeds import admissible_count

TRUSTED_SPEEDS = (0.4, 1.5)  # of the speed of a sheet; beyond, fan laws are stretched (common practice, no source)
FEW_SPEEDS = 5
TRUSTED_EFFICIENCY = (0.85, 1.0)


@dataclass(frozen=True)
class Finding:
    """One thing worth knowing."""

    kind: str  # "extrapolated", "estimate", "few speeds", "not admissible" or "unusual"
    place: str  # what of the build it is about
    sentence: str

    def __str__(self) -> str:
        """Return place and sentence."""
        return f"{self.place}: {self.sentence}"


def check_build(build: Build) -> list[Finding]:
    """Return the findings that need no solve: extrapolation, estimates, speeds that are few or not admissible.

    Parameters
    ----------
    build : Build
        What was read.

    Returns
    -------
    list of Finding
        What is worth knowing; none of it is a mistake.
    """
    return [*_speeds(build), *_estimates(build), *_unusual(build)]


def _speeds(build: Build) -> Iterator[Finding]:
    rows = [(f'fan group "{g.name}"', g.speeds, g.fan.curve, g.fan.sound, g.fan.name) for g in build.fan_groups]
    pump = build.loop.pump
    rows.append((PUMP, build.loop.pump_speeds, pump.curve, pump.sound, pump.name))
    for place, speeds, curve, sound, sheet in rows:
        yield from _extrapolated(place, speeds, curve, sound, sheet)
        yield from _settable(place, speeds)


def _extrapolated(place: str, speeds: SpeedRange, curve: Curve, sound: Sound, sheet: str) -> Iterator[Finding]:
    given: dict[float, list[str]] = {}
    for what, reference in (("curve", curve.speed), ("sound", sound.speed)):
        given.setdefault(reference, []).append(what)
    for reference, whats in given.items():
        low, high = (factor * reference for factor in TRUSTED_SPEEDS)
        if speeds.lowest < low or speeds.highest > high:
            sentence = (
                f"speeds from {_rpm(speeds.lowest)} to {_rpm(speeds.highest)} rpm leave {_rpm(low)} to {_rpm(high)}, "
                f"the trusted range of {sheet}, whose {' and '.join(whats)} stand at {_rpm(reference)} rpm"
            )
            yield Finding("extrapolated", place, sentence)


def _settable(place: str, speeds: SpeedRange) -> Iterator[Finding]:
    grid = (speeds.lowest, speeds.highest, speeds.step)
    left, all_of_them = admissible_count(*grid, speeds.avoid), admissible_count(*grid, ())
    if speeds.avoid and left < min(FEW_SPEEDS, all_of_them):
        yield Finding("few speeds", place, f"the bands to avoid leave {left} of {all_of_them} speeds")
    if speeds.present is not None and not _admissible(speeds.present, speeds):
        sentence = f"the present speed of {_rpm(speeds.present)} rpm is none that may be set"
        yield Finding("not admissible", place, sentence)


def _admissible(speed: float, speeds: SpeedRange) -> bool:
    if speed == 0.0:
        return speeds.may_stop or speeds.lowest == 0.0
    steps = (speed - speeds.lowest) / speeds.step
    on_grid = math.isclose(steps, round(steps), abs_tol=1e-6) and speeds.lowest <= speed <= speeds.highest + 1e-9
    slack = 1e-9 * speeds.step
    return on_grid and not any(low - slack <= speed <= high + slack for low, high in speeds.avoid)


def _estimates(build: Build) -> Iterator[Finding]:
    for name in sorted({g.fan.name for g in build.fan_groups if g.fan.curve.estimated}):
        sentence = "its curve is a quarter ellipse through two numbers: an estimate, real curves sag in the middle"
        yield Finding("estimate", name, sentence)
    keys: dict[str, set[str]] = {}
    origins: dict[str, set[str]] = {}
    for entry in build.ledger:
        sheet, _, key = entry.place.partition(": ")
        keys.setdefault(sheet, set()).add(key)
        if entry.origin == "estimate":
            origins.setdefault(sheet, set()).add(key.split(".")[0])
    for name in sorted(_parts_in_use(build)):
        if blocks := origins.get(name):
            yield Finding("estimate", name, f"its {' and '.join(sorted(blocks))} numbers are estimates")
        if scaled := _scaled_blocks(keys.get(name, set())):
            sentence = (
                f"its {' and '.join(scaled)} numbers come from the shape of its core, scaled to one measured point"
            )
            yield Finding("estimate", name, sentence)


def _parts_in_use(build: Build) -> set[str]:
    used = {group.fan.name for group in build.fan_groups} | {source.plate.name for source in build.sources}
    used.add(build.loop.pump.name)
    for element in (element for path in build.air_paths for element in path.stack):
        if isinstance(element, Core):
            used.add(element.radiator.name)
        elif isinstance(element, Screen):
            used.add(element.resistance.name)
    return used


def _scaled_blocks(keys: set[str]) -> list[str]:
    """Blocks of a sheet with a geometry that hold one measured point."""
    if not any(key.startswith("geometry.") for key in keys):
        return []
    points = {"air": "air.points_m_per_s_pa", "heat": "heat.points"}
    return [
        block
        for block, point in points.items()
        if any(key.startswith(f"{point}[1]") for key in keys) and not any(key.startswith(f"{point}[2]") for key in keys)
    ]


def _unusual(build: Build) -> Iterator[Finding]:
    low, high = TRUSTED_EFFICIENCY
    for path in build.air_paths:
        if isinstance(path.series_efficiency, float) and not low <= path.series_efficiency <= high:
            sentence = f"a series_efficiency of {path.series_efficiency:g} lies outside {low:g} to {high:g}"
            yield Finding("unusual", f'air path "{path.name}"', sentence)


def _rpm(speed: float) -> str:
    return f"{speed * 60.0:.0f}"
