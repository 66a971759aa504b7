"""Builds whose uncertain inputs vary: from even scores to arrays of case axes in a build, and its solved points.

Most inputs are numbers of the build and become arrays there. What a build has no number for (the level of a spectrum,
the way to a position) moves the levels after the solve: incoherent sums allow it, and so it costs nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from statistics import NormalDist
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quietcool.decide.tolerances import COVERAGE, UncertainInput
from quietcool.entry.build import (
    ROOM,
    AirPath,
    Build,
    Core,
    Fan,
    Opening,
    Plate,
    Pump,
    Radiator,
    Screen,
    Sound,
    State,
)
from quietcool.physics import sound
from quietcool.solve.installation import INSTALLATION_ADDERS
from quietcool.solve.noise import fixed_heard_levels, position_floors
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point
from quietcool.solve.sources import fixed_sources

Floats: TypeAlias = NDArray[np.float64]
Change: TypeAlias = Floats  # (cases,) what a number is multiplied by, or what is added to it

LEAST_SERIES_EFFICIENCY = 0.5
NORMAL = NormalDist()


@dataclass(frozen=True)
class VariedBuild:
    """A build with case axes, and by what levels move besides."""

    build: Build
    group_shift: Mapping[str, Floats] = field(default_factory=dict)  # by group, "pump" too, (cases,) [dB]
    source_shift: Mapping[str, Floats] = field(default_factory=dict)  # by fixed noise source, (cases,) [dB]
    position_shift: Mapping[str, Floats] = field(default_factory=dict)  # by position, (cases,) [dB]


def changes(inputs: Sequence[UncertainInput], scores: Floats) -> list[Change]:
    """What every input is multiplied by, or what is added to it, at even scores.

    factor = exp(spread z / 1.96),  offset = spread z / 1.96,  range = spread (2 u - 1),  z = the normal quantile of u

    Parameters
    ----------
    inputs : sequence of UncertainInput
        One a column of the scores.
    scores : ndarray, (cases, inputs)
        Probabilities u, inside 0 to 1. [-]

    Returns
    -------
    list of ndarray, (cases,)
        In the order of the inputs.

    References
    ----------
    .. [1] JCGM 101:2008, "Evaluation of measurement data - Supplement 1 to the GUM - Propagation of distributions
       using a Monte Carlo method", 6.4.2 (rectangular) and 6.4.7 (normal). That a tolerance is the half width of a
       95 % interval, and that a factor is normal in its logarithm (so that it stays positive), are choices.

    Examples
    --------
    >>> one = UncertainInput("heat", "cpu", "cpu power", "factor", 0.1, "entered")
    >>> [round(float(x), 3) for x in changes([one], np.array([[0.5], [0.975]]))[0]]
    [1.0, 1.105]
    """
    found: list[Change] = []
    for one, column in zip(inputs, scores.T, strict=True):
        if one.scale == "range":
            found.append(one.spread * (2.0 * column - 1.0))
            continue
        deviation = one.spread / COVERAGE * _normal_quantiles(column)
        found.append(np.exp(deviation) if one.scale == "factor" else deviation)
    return found


def _normal_quantiles(scores: Floats) -> Floats:
    """Normal quantiles by the standard library: the one of scipy.special takes longer to load than an answer takes."""
    return np.fromiter(map(NORMAL.inv_cdf, scores.reshape(-1).tolist()), np.float64).reshape(scores.shape)


def vary(build: Build, inputs: Sequence[UncertainInput], scores: Floats) -> VariedBuild:
    """Put the errors of all inputs into a build, as arrays of case axes.

    Parameters
    ----------
    build : Build
        As it is nominally; a number that is an array already must broadcast with the cases.
    inputs : sequence of UncertainInput
        Inputs without a place in this build change nothing, so that builds that differ can share their draws.
    scores : ndarray, (cases, inputs)
        Inside 0 to 1. [-]
    """
    varied = VariedBuild(build)
    for one, change in zip(inputs, changes(inputs, scores), strict=True):
        varied = _APPLY[one.kind](varied, one.target, change)
    return varied


def solve_varied(varied: VariedBuild, state: str, speeds: ArrayLike) -> OperatingPoint:
    """Solve a varied build in the state of that name; see `solve_operating_point`."""
    load = varied.build.state(state)
    return moved_levels(varied, load, solve_operating_point(varied.build, load, speeds))


def moved_levels(varied: VariedBuild, state: State, point: OperatingPoint) -> OperatingPoint:
    """Move the levels of a point: each group, each fixed source, then everything at a position."""
    if not (varied.group_shift or varied.source_shift or varied.position_shift):
        return point
    build = varied.build
    contributions = point.contributions + _column(varied.group_shift, build.group_names)[..., None]
    fixed = fixed_heard_levels(build, state)
    fixed = fixed + _column(varied.source_shift, [source.name for source in fixed_sources(build, state)])[..., None]
    moved = _column(varied.position_shift, [position.name for position in build.positions])
    contributions, fixed = contributions + moved[..., None, :], fixed + moved[..., None, :]
    level = sound.sum_levels(contributions, axis=-2)
    if fixed.shape[-2]:
        level = sound.sum_levels(np.stack(np.broadcast_arrays(level, sound.sum_levels(fixed, axis=-2))), axis=0)
    total = sound.sum_levels(np.stack(np.broadcast_arrays(level, position_floors(build))), axis=0)
    return replace(point, contributions=contributions, level=level, total=total)


def _column(shifts: Mapping[str, Floats], names: Sequence[str]) -> Floats:
    """Shifts along a last axis of names, 0 where there is none."""
    columns = np.broadcast_arrays(*(np.asarray(shifts.get(name, 0.0), float) for name in names)) if names else []
    return np.stack(columns, axis=-1) if columns else np.zeros(0)


# What each kind of input moves ---------------------------------------------------------------------------------------

Apply: TypeAlias = Callable[[VariedBuild, str, Change], VariedBuild]


def _fans(change_fan: Callable[[Fan, Change], Fan]) -> Apply:
    def apply(varied: VariedBuild, target: str, change: Change) -> VariedBuild:
        groups = tuple(
            replace(group, fan=change_fan(group.fan, change)) if group.fan.name == target else group
            for group in varied.build.fan_groups
        )
        return replace(varied, build=replace(varied.build, fan_groups=groups))

    return apply


def _pump(change_pump: Callable[[Pump, Change], Pump]) -> Apply:
    def apply(varied: VariedBuild, target: str, change: Change) -> VariedBuild:
        loop = varied.build.loop
        if loop.pump.name != target:
            return varied
        return replace(varied, build=replace(varied.build, loop=replace(loop, pump=change_pump(loop.pump, change))))

    return apply


def _elements(change_element: Callable[[Any, str, Change], Any]) -> Apply:
    """Change every element of every stack by a function that leaves alone what is not meant."""

    def apply(varied: VariedBuild, target: str, change: Change) -> VariedBuild:
        paths = tuple(
            replace(path, stack=tuple(change_element(element, target, change) for element in path.stack))
            for path in varied.build.air_paths
        )
        return replace(varied, build=replace(varied.build, air_paths=paths))

    return apply


def _radiators(change_radiator: Callable[[Radiator, Change], Radiator]) -> Apply:
    def one(element: Any, target: str, change: Change) -> Any:
        if isinstance(element, Core) and element.radiator.name == target:
            return replace(element, radiator=change_radiator(element.radiator, change))
        return element

    return _elements(one)


def _air_resistance(element: Any, target: str, change: Change) -> Any:
    if isinstance(element, Core) and element.radiator.name == target:
        core = element.radiator
        return replace(element, radiator=replace(core, a=core.a * change, b=core.b * change))
    if isinstance(element, Screen) and element.resistance.name == target:
        screen = element.resistance
        return replace(element, resistance=replace(screen, a=screen.a * change, b=screen.b * change))
    return element


def _screen_adder(element: Any, target: str, change: Change) -> Any:
    if isinstance(element, Screen) and element.resistance.name == target:
        adder = element.resistance.noise_adder + change
        return replace(element, resistance=replace(element.resistance, noise_adder=adder))
    return element


def _plates(change_plate: Callable[[Plate, Change], Plate]) -> Apply:
    def apply(varied: VariedBuild, target: str, change: Change) -> VariedBuild:
        sources = tuple(
            replace(source, plate=change_plate(source.plate, change)) if source.plate.name == target else source
            for source in varied.build.sources
        )
        return replace(varied, build=replace(varied.build, sources=sources))

    return apply


def _coolant_resistance(varied: VariedBuild, target: str, change: Change) -> VariedBuild:
    """Of a radiator or of a plate, whichever bears the name."""

    def thicker(part: Any, by: Change) -> Any:
        return replace(part, coolant_a=part.coolant_a * by, coolant_b=part.coolant_b * by)

    return _plates(thicker)(_radiators(thicker)(varied, target, change), target, change)


def _paths(change_path: Callable[[AirPath, str, Change], AirPath]) -> Apply:
    def apply(varied: VariedBuild, target: str, change: Change) -> VariedBuild:
        paths = tuple(change_path(path, target, change) for path in varied.build.air_paths)
        return replace(varied, build=replace(varied.build, air_paths=paths))

    return apply


def _opening(path: AirPath, target: str, change: Change) -> AirPath:
    if path.name != target:
        return path
    stack = tuple(
        replace(e, loss_coefficient=e.loss_coefficient * change) if isinstance(e, Opening) else e for e in path.stack
    )
    return replace(path, stack=stack)


def _series(path: AirPath, target: str, change: Change) -> AirPath:
    if len(path.fan_rows) < 2:
        return path
    return replace(path, series_efficiency=np.clip(path.series_efficiency + change, LEAST_SERIES_EFFICIENCY, 1.0))


def _states(change_state: Callable[[State, str, Change], State]) -> Apply:
    def apply(varied: VariedBuild, target: str, change: Change) -> VariedBuild:
        states = tuple(change_state(state, target, change) for state in varied.build.states)
        return replace(varied, build=replace(varied.build, states=states))

    return apply


def _scaled(watts: Mapping[str, Any], target: str, change: Change) -> dict[str, Any]:
    return {name: value * change if name == target else value for name, value in watts.items()}


def _point_resistance(varied: VariedBuild, target: str, change: Change) -> VariedBuild:
    sources = tuple(
        replace(
            source,
            points=tuple(
                point
                if f"{source.name} {point.name}" != target
                else replace(point, resistance=point.resistance * change)
                for point in source.points
            ),
        )
        for source in varied.build.sources
    )
    return replace(varied, build=replace(varied.build, sources=sources))


def _fittings(varied: VariedBuild, target: str, change: Change) -> VariedBuild:
    loop = varied.build.loop
    tube = replace(loop.tube, loss_coefficient=loop.tube.loss_coefficient * change)
    return replace(varied, build=replace(varied.build, loop=replace(loop, tube=tube)))


def _more_sound(sheet: Sound, change: Change) -> Sound:
    return replace(sheet, power_level=sheet.power_level + change, floor_power_level=sheet.floor_power_level + change)


def _fan_level(varied: VariedBuild, target: str, change: Change) -> VariedBuild:
    """One number moves in the sheet; a spectrum has no number for it, its groups move where they are heard."""
    groups = [group for group in varied.build.fan_groups if group.fan.name == target]
    if groups and groups[0].fan.sound.bands is not None:
        return replace(varied, group_shift=_added(varied.group_shift, [group.name for group in groups], change))
    return _fans(lambda fan, by: replace(fan, sound=_more_sound(fan.sound, by)))(varied, target, change)


def _pump_level(pump: Pump, change: Change) -> Pump:
    return replace(pump, mounting_adder=pump.mounting_adder + change)


def _added(shifts: Mapping[str, Floats], names: Sequence[str], change: Change) -> dict[str, Floats]:
    return {**shifts, **{name: shifts.get(name, 0.0) + change for name in names}}


def _load_adder(varied: VariedBuild, target: str, change: Change) -> VariedBuild:
    groups = tuple(replace(group, fan=_more_load(group.fan, change)) for group in varied.build.fan_groups)
    return replace(varied, build=replace(varied.build, fan_groups=groups))


def _more_load(fan: Fan, change: Change) -> Fan:
    return replace(fan, sound=replace(fan.sound, load_adder_scale=fan.sound.load_adder_scale * change))


def _installation(varied: VariedBuild, target: str, change: Change) -> VariedBuild:
    own = varied.build.installation
    level = own.broadband.get(target, INSTALLATION_ADDERS[target].broadband) + change
    installation = replace(own, broadband={**own.broadband, target: level})  # type: ignore[dict-item]  # case axes
    return replace(varied, build=replace(varied.build, installation=installation))


def _positions(is_meant: Callable[[Any, str], bool]) -> Apply:
    def apply(varied: VariedBuild, target: str, change: Change) -> VariedBuild:
        names = [position.name for position in varied.build.positions if is_meant(position, target)]
        return replace(varied, position_shift=_added(varied.position_shift, names, change))

    return apply


def _noise_source(varied: VariedBuild, target: str, change: Change) -> VariedBuild:
    return replace(varied, source_shift=_added(varied.source_shift, [target], change))


def _law(sheet: Sound, change: Change) -> Sound:
    return replace(sheet, exponent=sheet.exponent + change)


_APPLY: dict[str, Apply] = {
    "fan flow": _fans(lambda f, by: replace(f, curve=replace(f.curve, flow_scale=f.curve.flow_scale * by))),
    "fan pressure": _fans(lambda f, by: replace(f, curve=replace(f.curve, pressure_scale=f.curve.pressure_scale * by))),
    "fan level": _fan_level,
    "fan speed law of the level": _fans(lambda f, by: replace(f, sound=_law(f.sound, by))),
    "fan power": _fans(lambda f, by: replace(f, electric=replace(f.electric, power=f.electric.power * by))),
    "pump flow": _pump(lambda p, by: replace(p, curve=replace(p.curve, flow_scale=p.curve.flow_scale * by))),
    "pump pressure": _pump(
        lambda p, by: replace(p, curve=replace(p.curve, pressure_scale=p.curve.pressure_scale * by))
    ),
    "pump level": _pump(_pump_level),
    "pump speed law of the level": _pump(lambda p, by: replace(p, sound=_law(p.sound, by))),
    "pump power": _pump(lambda p, by: replace(p, electric=replace(p.electric, power=p.electric.power * by))),
    "load adder": _load_adder,
    "air resistance": _elements(_air_resistance),
    "air-side conductance": _radiators(lambda r, by: replace(r, ua_air=r.ua_air * by)),
    "coolant-side conductance": _radiators(lambda r, by: replace(r, ua_coolant=r.ua_coolant * by)),
    "passive conductance": _radiators(lambda r, by: replace(r, passive_conductance=r.passive_conductance * by)),
    "coolant resistance": _coolant_resistance,
    "plate resistance": _plates(lambda p, by: replace(p, r0=p.r0 * by, c=p.c * by)),
    "room temperature": _states(lambda state, _, by: replace(state, room_temp=state.room_temp + by)),
    "heat": _states(lambda state, name, by: replace(state, heat=_scaled(state.heat, name, by))),
    "air heat": _states(lambda state, name, by: replace(state, air_heat=_scaled(state.air_heat, name, by))),
    "point resistance": _point_resistance,
    "fittings": _fittings,
    "opening": _paths(_opening),
    "series efficiency": _paths(_series),
    "installation adder": _installation,
    "screen adder": _elements(_screen_adder),
    "room transfer": _positions(lambda position, _: position.field == ROOM),
    "distance transfer": _positions(lambda position, _: position.field != ROOM),
    "partition": _positions(lambda position, target: position.name == target),
    "noise source level": _noise_source,
}
