"""What is uncertain in a build, and by how much: every input that has a tolerance, by what it shares a cause with.

The tolerances of sheets come from the ledger of the build. Numbers of a build file were entered by somebody and carry
none there: the table `ENTERED` says what they are given here.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from quietcool.entry.build import ROOM, Build, Curve, Opening, Screen, Sound
from quietcool.solve.installation import adders_of, installation_terms

Scale = Literal["factor", "offset", "range"]

COVERAGE = 1.96  # a tolerance is read as the half width of a 95 % interval of a normal quantity, in deviations
SHEET_TOLERANCE = {"relative": 0.10, "dB": 2.0}  # where a build has no ledger: that of a data sheet
SCREEN_TOLERANCE = 2.0  # of what the sheet of a screen says it adds to the noise [dB]
SPEED_LAW_TOLERANCE = {"measured": 2.0, "estimate": 8.0}  # of a level's exponent by origin, 5 for others [dB a decade]
SERIES_RANGE = (0.85, 1.0)  # of the series efficiency that nobody has measured [-]
SERIES_ENTERED = 0.03  # either way, of one that somebody has entered [-]


@dataclass(frozen=True)
class Assumed:
    """A tolerance that no file states. Common practice, no source."""

    tolerance: float
    why: str


ENTERED: Mapping[str, Assumed] = {
    "room temperature": Assumed(1.0, "a room thermometer, and where it hangs [K]"),
    "heat": Assumed(0.05, "power of a board or package as software reads it, and what of it reaches the coolant"),
    "air heat": Assumed(0.25, "a guess of what does not reach the coolant"),
    "point resistance": Assumed(0.15, "from few readings at a few watts; every mounting differs"),
    "opening": Assumed(0.25, "loss coefficients of sharp and rounded edges"),
    "fittings": Assumed(0.25, "makers print none; handbooks differ by so much"),
    "screen adder": Assumed(SCREEN_TOLERANCE, "depends on the distance to the blades [dB]"),
    "room transfer": Assumed(2.0, "an even reverberant field is a model, and absorption a guess [dB]"),
    "distance transfer": Assumed(1.0, "a point source is a model [dB]"),
    "partition": Assumed(3.0, "leaks round doors decide [dB]"),
}


@dataclass(frozen=True)
class UncertainInput:
    """One independent error of a build: everything that shares it moves together."""

    kind: str  # which numbers it moves; see `variation.py`
    target: str  # of which part, source, path or position; "" where there is one only
    cause: str  # what one would measure to know it: inputs of one cause rank together
    scale: Scale  # multiplies, adds, or lies evenly in a range
    spread: float  # half width of its 95 % interval: ln of a factor, or K, dB, W; half the width of a range
    origin: str  # of the number: "measured", "datasheet", "estimate", "invented", "entered" or "default"

    @property
    def name(self) -> str:
        """As people say it: "radiator-p-480x60: air-side conductance"."""
        return f"{self.target}: {self.kind}" if self.target else self.kind


def uncertain_inputs(build: Build) -> tuple[UncertainInput, ...]:
    """Every uncertain input of a build, in a fixed order.

    Parameters
    ----------
    build : Build
        Its ledger states the tolerances of the sheets.

    Returns
    -------
    tuple of UncertainInput
        Fans of one model share one set of errors, and so do all rows in one place of the table of installation
        adders, all positions in one room, all stacks with more than one row. What has no effect is left out.
    """
    found = [*_fans(build), *_pump(build), *_radiators(build), *_plates(build), *_screens(build), *_entered(build)]
    return tuple({(one.kind, one.target): one for one in found}.values())


def _stated(build: Build, sheet: str, blocks: tuple[str, ...], unit: str) -> tuple[float, str]:
    """Tolerance and origin of the first of some blocks of a sheet that states a tolerance in a unit."""
    for block in blocks:
        for entry in build.ledger:
            here = entry.place.startswith(f"{sheet}: {block}.") and entry.tolerance_unit == unit
            if here and entry.origin != "default" and entry.tolerance is not None:
                return entry.tolerance, entry.origin
    return SHEET_TOLERANCE[unit], "default"


def _factor(build: Build, kind: str, sheet: str, *blocks: str) -> UncertainInput:
    tolerance, origin = _stated(build, sheet, blocks, "relative")
    return UncertainInput(kind, sheet, sheet, "factor", math.log1p(tolerance), origin)


def _assumed_factor(kind: str, target: str, cause: str, key: str) -> UncertainInput:
    return UncertainInput(kind, target, cause, "factor", math.log1p(ENTERED[key].tolerance), "entered")


def _assumed_offset(kind: str, target: str, cause: str, key: str) -> UncertainInput:
    return UncertainInput(kind, target, cause, "offset", ENTERED[key].tolerance, "entered")


def _machine(build: Build, sheet: str, what: str, curve: Curve, sound: Sound, watts: float) -> Iterator[UncertainInput]:
    """Errors of a fan or a pump: its curve both ways, its level, how the level goes with speed, its power."""
    yield _factor(build, f"{what} flow", sheet, "curve")
    yield _factor(build, f"{what} pressure", sheet, "curve")
    tolerance, origin = _stated(build, sheet, ("sound",), "dB")
    heard = f"{sheet} sound"
    yield UncertainInput(f"{what} level", sheet, heard, "offset", tolerance, origin)
    # One bound for all: sheets print a level at one speed, and 50 to 60 dB a decade are met (common practice).
    law = SPEED_LAW_TOLERANCE.get(origin, 5.0)
    yield UncertainInput(f"{what} speed law of the level", sheet, heard, "offset", law, origin)
    if watts > 0.0:
        yield _factor(build, f"{what} power", sheet, "electric")


def _fans(build: Build) -> Iterator[UncertainInput]:
    for group in build.fan_groups:
        fan = group.fan
        yield from _machine(build, fan.name, "fan", fan.curve, fan.sound, _largest(fan.electric.power))
    if build.fan_groups:
        yield UncertainInput("load adder", "", "load adder", "factor", math.log1p(0.25), "estimate")


def _pump(build: Build) -> Iterator[UncertainInput]:
    pump = build.loop.pump
    yield from _machine(build, pump.name, "pump", pump.curve, pump.sound, _largest(pump.electric.power))


def _radiators(build: Build) -> Iterator[UncertainInput]:
    for path in build.air_paths:
        if path.core is not None:
            name = path.core.radiator.name
            yield _factor(build, "air resistance", name, "air", "geometry")
            yield _factor(build, "air-side conductance", name, "heat", "geometry")
            yield _factor(build, "coolant-side conductance", name, "heat", "geometry")
            yield _factor(build, "passive conductance", name, "heat", "geometry")
            yield _factor(build, "coolant resistance", name, "coolant", "geometry")


def _plates(build: Build) -> Iterator[UncertainInput]:
    for source in build.sources:
        yield _factor(build, "plate resistance", source.plate.name, "resistance")
        yield _factor(build, "coolant resistance", source.plate.name, "coolant")


def _screens(build: Build) -> Iterator[UncertainInput]:
    for path in build.air_paths:
        for element in path.stack:
            if isinstance(element, Screen):
                yield _factor(build, "air resistance", element.resistance.name, "air")


def _entered(build: Build) -> Iterator[UncertainInput]:
    """Errors of what the build file says, and of tables and models that serve the whole rig."""
    yield _assumed_offset("room temperature", "", "room thermometer", "room temperature")
    for source in build.sources:
        if any(_largest(state.heat.get(source.name, 0.0)) > 0.0 for state in build.states):
            yield _assumed_factor("heat", source.name, f"{source.name} power", "heat")
        for point in source.points:
            name = f"{source.name} {point.name}"
            yield _assumed_factor("point resistance", name, f"{name} resistance", "point resistance")
    for enclosure in build.enclosures:
        if any(_largest(state.air_heat.get(enclosure, 0.0)) > 0.0 for state in build.states):
            yield _assumed_factor("air heat", enclosure, f"{enclosure} air heat", "air heat")
    if _largest(build.loop.tube.loss_coefficient) > 0.0:
        yield _assumed_factor("fittings", "", "fittings", "fittings")
    for path in build.air_paths:
        if any(isinstance(element, Opening) for element in path.stack):
            yield _assumed_factor("opening", path.name, f"{path.name} opening", "opening")
    yield from _series(build)
    yield from _installed(build)
    yield from _heard(build)


def _series(build: Build) -> Iterator[UncertainInput]:
    """One error for all stacks of several rows: no published figure exists for small fans with a core between."""
    double = [path.name for path in build.air_paths if len(path.fan_rows) > 1]
    if not double:
        return
    places = {f"build: air_path[{name}].series_efficiency" for name in double}
    entered = any(entry.place in places and entry.origin != "default" for entry in build.ledger)
    spread = SERIES_ENTERED if entered else 0.5 * (SERIES_RANGE[1] - SERIES_RANGE[0])
    origin = "entered" if entered else "default"
    yield UncertainInput("series efficiency", "", "series efficiency", "range", spread, origin)


def _installed(build: Build) -> Iterator[UncertainInput]:
    """One error for every term of the table of installation adders that some row needs."""
    if not build.installation.used:
        return
    table = adders_of(build)
    for path in build.air_paths:
        for index in range(len(path.fan_rows)):
            for term in installation_terms(path, index, table):
                adder = table[term]
                if term == "screen before" and adder.sheet_first:
                    screens = [e.resistance.name for e in path.stack if isinstance(e, Screen)]
                    for name in screens:
                        yield _assumed_offset("screen adder", name, f"{name} sound", "screen adder")
                elif term != "free":
                    kind = "installation adder"
                    yield UncertainInput(kind, term, "installation adders", "offset", adder.tolerance, "estimate")


def _heard(build: Build) -> Iterator[UncertainInput]:
    """Errors of what happens between the rig and the positions, and of what sounds besides it."""
    for position in build.positions:
        in_room = position.field == ROOM
        kind = "room transfer" if in_room else "distance transfer"
        yield _assumed_offset(kind, "", kind, kind)
        if np.any(np.asarray(position.partition, float) > 0.0) or position.room != ROOM:
            yield _assumed_offset("partition", position.name, f"partition of {position.name}", "partition")
    for source in build.noise_sources:
        heard = f"{source.name} sound"
        yield UncertainInput("noise source level", source.name, heard, "offset", SHEET_TOLERANCE["dB"], "entered")


def _largest(value: object) -> float:
    return float(np.max(np.asarray(value, float)))
