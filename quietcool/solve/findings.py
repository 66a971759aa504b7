"""What is worth knowing about a solved state besides its numbers: one sentence each, in the units of the border."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.build import ROOM, Build, State
from quietcool.entry.findings import TRUSTED_SPEEDS, check_build
from quietcool.physics import air
from quietcool.physics.coolant import MASS_FRACTION_RANGE, TEMP_RANGE, freezing_temp
from quietcool.solve.airflow import AirLaw
from quietcool.solve.loop import station_names
from quietcool.solve.operating_point import OperatingPoint
from quietcool.solve.problem import pose
from quietcool.solve.saddles import Crossings, find_path_crossings
from quietcool.solve.stacks import air_law, describe_stacks
from quietcool.units import in_unit

Floats = NDArray[np.float64]

REVERSED_SHARE = 1e-6  # of the largest flow: less is still air, not reversed flow [-]
NEAR_BOILING = 10.0  # below the boiling point of water at sea level (common practice, no source) [K]
BOILING = 373.15  # water at 1013 hPa [K]
ICE = 273.15  # the properties of water end here [K]


def state_findings(build: Build, state: State, point: OperatingPoint) -> tuple[str, ...]:
    """Return what is worth knowing about one solved state.

    Parameters
    ----------
    build, state : Build, State
        What the point was solved for; without case axes.
    point : OperatingPoint
        One case.

    Returns
    -------
    tuple of str
        Sentences: extrapolated speeds, stall side, reversed and missing flows, rows that brake, radiators on their
        passive value, coolant near its ends, estimates in use. Where the solve did not converge, that is the first.

    Raises
    ------
    ValueError
        If the point has case axes.
    """
    if point.converged.ndim:
        raise ValueError(f"findings are of one case; got cases of shape {point.converged.shape}")
    if not point.converged:
        return (not_converged(build, point), *_extrapolated(build, point), *_estimates(build))
    law = settled_law(build, state, point)
    return (
        *_not_admissible(build, point),
        *_extrapolated(build, point),
        *_stall_side(build, law, point),
        *_reversed(build, point),
        *_still(build, point),
        *_brakes(build, law, point),
        *_passive(build, point),
        *_coolant(build, point),
        *_estimates(build),
    )


def not_converged(build: Build, point: OperatingPoint) -> str:
    """Name the branch with the largest residual of a case that did not converge."""
    path = build.air_paths[int(point.worst_path)].name
    return (
        f'the solve did not converge: the largest imbalance of the air network is in air path "{path}" '
        f"(scaled residual {float(point.residual):.1e} after {int(point.iterations)} rounds)"
    )


def settled_law(build: Build, state: State, point: OperatingPoint) -> AirLaw:
    """Rebuild the law of every air path at the temperatures that a case has settled on, as a batch of one."""
    room_temp = np.full(1, float(state.room_temp))
    node_temp = np.where(np.isnan(point.enclosure_temp), room_temp, point.enclosure_temp)[:, None]
    stations = station_names(build.loop.order)
    share, coolant = np.zeros((len(build.air_paths), 1)), np.tile(room_temp, (len(build.air_paths), 1))
    for i, path in enumerate(build.air_paths):
        if path.core is not None:
            capacity = abs(float(point.mass_flow[i])) * air.SPECIFIC_HEAT
            share[i] = float(point.conductance[i]) / capacity if capacity > 0.0 else 1.0
            coolant[i] = np.nan_to_num(point.station_temp_in[stations.index(path.name)], nan=float(room_temp[0]))
    problem = pose(build, state, point.speeds[:, None], None, slice(None))
    return air_law(problem, describe_stacks(problem, point.mass_flow[:, None], node_temp, share, coolant))


def path_crossings(build: Build, law: AirLaw, point: OperatingPoint, path: int) -> Crossings:
    """Every flow at which one air path could rest in this state, the rest of the network re-solved."""
    return find_path_crossings(law, path, point.mass_flow[:, None])


def _not_admissible(build: Build, point: OperatingPoint) -> Iterator[str]:
    for name, speeds, speed in zip(build.group_names, build.speed_ranges, point.speeds.tolist(), strict=True):
        if not any(abs(speed - allowed) <= 1e-6 * speeds.step for allowed in speeds.admissible()):
            yield f'group "{name}": {_rpm(speed)} rpm is none of the speeds that may be set'


def _extrapolated(build: Build, point: OperatingPoint) -> Iterator[str]:
    pump = build.loop.pump
    sheets = [(f'fan group "{g.name}"', g.fan.name, g.fan.curve.speed, g.fan.sound.speed) for g in build.fan_groups]
    sheets.append(("pump", pump.name, pump.curve.speed, pump.sound.speed))
    for (place, sheet, curve, sound), speed in zip(sheets, point.speeds.tolist(), strict=True):
        low, high = TRUSTED_SPEEDS
        known = {"curve": curve, "level": sound}
        stretched = [what for what, at in known.items() if speed > 0.0 and not low * at <= speed <= high * at]
        if stretched:
            at = known[stretched[0]]
            yield (
                f"{place}: {' and '.join(stretched)} extrapolated: {_rpm(speed)} rpm is {speed / at:.2f} of the "
                f"{_rpm(at)} rpm that {sheet} is given at, trusted from {low:g} to {high:g}"
            )


def _stall_side(build: Build, law: AirLaw, point: OperatingPoint) -> Iterator[str]:
    saddles = sorted(law.falling)
    for i in np.flatnonzero(point.left_of_peak).tolist():
        crossings = path_crossings(build, law, point, i)
        scale = float(np.abs(law.flow_scale[0]))
        density = float(air.density(point.path_temp_in[i], air.isa_pressure(build.room.altitude)))
        others = [
            f"{in_unit(flow / density, 'm3/h'):.1f} m3/h ({'stable' if stable else 'unstable'})"
            for flow, stable in zip(crossings.flow.tolist(), crossings.stable.tolist(), strict=True)
            if abs(flow - float(point.mass_flow[i])) > 1e-6 * scale
        ]
        listed = f"it could also rest at {', '.join(others)}" if others else "it has no other operating point"
        more = "; other combinations with the other such paths may exist" if len(saddles) > 1 else ""
        yield (
            f'air path "{build.air_paths[i].name}": stall side: it rests at {_flow(point, i)} left of the last peak '
            f"of its fan's curve; {listed}{more}"
        )


def _reversed(build: Build, point: OperatingPoint) -> Iterator[str]:
    largest = float(np.max(np.abs(point.mass_flow), initial=0.0))
    for i, path in enumerate(build.air_paths):
        if point.mass_flow[i] < -REVERSED_SHARE * largest:
            yield f'air path "{path.name}": reversed flow, {_flow(point, i)} from {path.target} to {path.source}'


def _still(build: Build, point: OperatingPoint) -> Iterator[str]:
    for name, temp in zip(build.enclosures, point.enclosure_temp.tolist(), strict=True):
        if np.isnan(temp):
            yield f'enclosure "{name}": nothing flows through it, so its air has no steady temperature'
    if point.coolant_flow <= 0.0:
        yield "coolant: nothing flows, so no temperature of the ring is steady"
    elif np.isnan(point.coolant_temp_max):
        yield "coolant: nothing carries its heat away, so no temperature of the ring is steady"


def _brakes(build: Build, law: AirLaw, point: OperatingPoint) -> Iterator[str]:
    if law.bank is None:
        return
    rises, _ = law.bank.gain(point.mass_flow[law.bank.path, None], law.row_density, frozenset())
    for row, rise in zip(law.rows, rises[:, 0].tolist(), strict=True):
        if rise < 0.0 and float(row.speed[0]) > 0.0:
            path = build.air_paths[row.path].name
            yield (
                f'air path "{path}": the row of group "{build.group_names[row.group]}" is a brake at '
                f"{_rpm(float(row.speed[0]))} rpm, it takes {-rise:.2g} Pa from the air"
            )


def _passive(build: Build, point: OperatingPoint) -> Iterator[str]:
    for i, path in enumerate(build.air_paths):
        if path.core is not None:
            radiator = path.core.radiator
            least = float(radiator.passive_conductance) * radiator.fan_sections
            if point.conductance[i] < least:
                yield (
                    f'air path "{path.name}": forced air carries {point.conductance[i]:.2g} W/K, less than the passive '
                    f"{least:.2g} W/K of {radiator.name}; the rest goes to {_node(path.source)} by itself"
                )


def _coolant(build: Build, point: OperatingPoint) -> Iterator[str]:
    liquid = build.loop.coolant
    coldest = float(np.min([point.station_temp_in, point.station_temp_out]))
    hottest = float(point.coolant_temp_max)
    ice = float(freezing_temp(liquid.kind, liquid.mass_fraction))
    lowest = ICE if liquid.kind == "water" else TEMP_RANGE[0]
    if coldest <= ice:
        yield f"coolant: {_celsius(coldest)} is not above its freezing point of {_celsius(ice)}"
    elif coldest < lowest or hottest > TEMP_RANGE[1]:
        ends = f"{_celsius(lowest)} to {_celsius(TEMP_RANGE[1])}"
        yield f"coolant: {_celsius(coldest)} to {_celsius(hottest)} leaves {ends}; its properties are held at that end"
    if hottest > BOILING - NEAR_BOILING:
        yield f"coolant: {_celsius(hottest)} at the hottest station is near boiling or above it"
    if liquid.mass_fraction > MASS_FRACTION_RANGE[1]:
        yield f"coolant: properties are known up to {MASS_FRACTION_RANGE[1]:.0%} glycol by mass and held there"


def _estimates(build: Build) -> Iterator[str]:
    yield from (str(finding) for finding in check_build(build) if finding.kind == "estimate")


def _rpm(speed: float) -> str:
    return f"{in_unit(speed, 'rpm'):.10g}"


def _celsius(temp: float) -> str:
    return f"{round(in_unit(temp, 'degC'), 1) + 0.0:.1f} degC"  # adding zero takes the minus from it


def _flow(point: OperatingPoint, path: int) -> str:
    return f"{abs(in_unit(float(point.air_flow[path]), 'm3/h')):.1f} m3/h"


def _node(name: str) -> str:
    return "the room" if name == ROOM else f"{name} air"
