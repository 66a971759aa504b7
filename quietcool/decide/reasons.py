"""Why a layout pays or does not: what the solved points of the present layout and of another say."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from quietcool.decide.curves import Curve
from quietcool.decide.variants import Variant
from quietcool.entry.build import Fan
from quietcool.physics.resistance import forchheimer_pressure_drop
from quietcool.physics.sound import power_level_at_speed
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point


@dataclass(frozen=True)
class Reason:
    """Facts of two layouts that keep one temperature; shares run from 0 to 1."""

    core_exponent: float  # of the core's pressure drop over face velocity, present layout
    core_share: float  # of the first row's shut-off pressure that the core takes, present layout; NaN at rest
    load_share: float  # flow of the first row over its free delivery, present layout; NaN at rest
    row_speed: float  # of the first row, present layout [rev/s]
    other_speed: float  # of the first row, other layout [rev/s]
    slowest: bool  # whether the other layout's first row runs at its lowest speed or rests
    floor_share: float  # of the first row's noise in the other layout that no speed lowers; NaN at rest
    path_noise_share: float  # of the noise energy at the position from the groups of this path, present layout
    loudest_other: str  # group that is loudest besides, present layout
    loudest_other_share: float  # of the noise energy
    heat_share: float  # of what all radiators give off that leaves here, present layout
    flow_ratio: float  # air flow through the core, other over present layout; NaN without flow


def find_reason(present: tuple[Variant, Curve], other: tuple[Variant, Curve], temp: float) -> Reason:
    """Read from both layouts' quietest settings at a temperature what decides between them.

    Parameters
    ----------
    present, other : pairs of Variant and Curve
        The layouts.
    temp : float
        Both keep it. [K]
    """
    point, other_point = _solved(present[1], temp), _solved(other[1], temp)
    path = present[0].path
    energy = 10.0 ** (point.contributions[:, present[1].position] / 10.0)
    shares = energy / 10.0 ** (float(point.level[present[1].position]) / 10.0)
    groups = present[0].build.group_names
    mine = np.isin(groups, [row.group for row in present[0].rows])
    besides = np.where(mine, 0.0, shares)
    loudest = int(np.argmax(besides))
    core_exponent, core_share = _core(present[0], point)
    speed, other_speed = _first_speed(present[0], point), _first_speed(other[0], other_point)
    lowest = next(g.speeds.lowest for g in other[0].build.fan_groups if g.name == other[0].rows[0].group)
    flow = float(point.mass_flow[path])
    return Reason(
        core_exponent=core_exponent,
        core_share=core_share,
        load_share=float(point.load_share[_first_row(present[0])]) if speed > 0.0 else float("nan"),
        row_speed=speed,
        other_speed=other_speed,
        slowest=other_speed <= lowest * (1.0 + 1e-9),
        floor_share=_floor_share(_first_fan(other[0]), other_speed),
        path_noise_share=float(shares[mine].sum()),
        loudest_other=groups[loudest],
        loudest_other_share=float(besides[loudest]),
        heat_share=float(point.heat_rate[path] / np.nansum(point.heat_rate)),
        flow_ratio=float(other_point.mass_flow[path]) / flow if flow != 0.0 else float("nan"),
    )


def _solved(curve: Curve, temp: float) -> OperatingPoint:
    return solve_operating_point(curve.build, curve.state, curve.speeds[curve.place_at(temp)])


def _first_row(variant: Variant) -> int:
    """Place of the path's first row among all rows."""
    return sum(len(path.fan_rows) for path in variant.build.air_paths[: variant.path])


def _first_fan(variant: Variant) -> Fan:
    return next(group.fan for group in variant.build.fan_groups if group.name == variant.rows[0].group)


def _first_speed(variant: Variant, point: OperatingPoint) -> float:
    return float(point.speeds[variant.build.group_names.index(variant.rows[0].group)])


def _core(variant: Variant, point: OperatingPoint) -> tuple[float, float]:
    """Exponent of the core's pressure drop, (aV + 2bV^2)/(aV + bV^2), and its share of the shut-off pressure."""
    core = variant.build.air_paths[variant.path].core
    velocity = abs(float(point.face_velocity[variant.path]))
    speed, curve = _first_speed(variant, point), _first_fan(variant).curve
    if core is None or velocity == 0.0 or speed == 0.0:
        return float("nan"), float("nan")
    a, b = float(core.radiator.a * core.dust), float(core.radiator.b)
    pressure_drop = float(forchheimer_pressure_drop(velocity, a, b))
    shutoff = curve.pressure[0] * float(curve.pressure_scale) * (speed / curve.speed) ** 2
    return (a * velocity + 2.0 * b * velocity**2) / pressure_drop, pressure_drop / shutoff


def _floor_share(fan: Fan, speed: float) -> float:
    """Share of a fan's sound energy at a speed that its floor makes."""
    if speed == 0.0:
        return float("nan")
    sheet = fan.sound
    whole = power_level_at_speed(sheet.power_level, speed, sheet.speed, sheet.exponent, floor=sheet.floor_power_level)
    return float(10.0 ** ((sheet.floor_power_level - whole) / 10.0))
