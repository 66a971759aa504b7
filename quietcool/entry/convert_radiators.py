"""From radiator sheets to records: numbers as they stand, fitted to measured points, or estimated from the core."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from quietcool.entry.build import Entered, Radiator
from quietcool.entry.convert_parts import PartError, air_coefficients, optional
from quietcool.entry.convert_workshop import frame, vessel
from quietcool.entry.measures import Quantity
from quietcool.entry.mistakes import Complaint
from quietcool.entry.radiators import GeometryBlock, RadiatorSheet
from quietcool.entry.sheets import HeatBlock, HeatPoint
from quietcool.physics.air import REFERENCE_DENSITY as AIR_DENSITY
from quietcool.physics.air import SPECIFIC_HEAT
from quietcool.physics.coolant import WATER_30

if TYPE_CHECKING:
    from quietcool.entry.build import Number
    from quietcool.entry.core_geometry import CoreEstimate, CoreGeometry

PASSIVE = 0.7  # per fan section, where no [heat] says so (common practice, no source) [W/K]
ESTIMATED_HEAT, ESTIMATED_DROP = 0.25, 0.40  # tolerances of an unscaled estimate (common practice, no source)


class Exchange(NamedTuple):
    """Heat side of a radiator."""

    ua_air: float  # [W/K]
    ua_air_velocity: float  # [m/s]
    ua_air_exponent: float  # [-]
    ua_coolant: float  # [W/K]
    ua_coolant_flow: float  # [m3/s]
    ua_coolant_exponent: float  # [-]


def radiator_of(sheet: RadiatorSheet) -> Radiator:
    """Return the record of a radiator; PartError where its numbers are impossible together."""
    _check_blocks(sheet)
    estimate, geometry = _estimate(sheet)
    if estimate is not None and geometry is not None:
        estimate = _scaled(estimate, geometry, sheet)
    return Radiator(
        name=sheet.name,
        face_length=sheet.face_length_mm.value,
        face_height=sheet.face_height_mm.value,
        fan_sections=sheet.fan_sections,
        **_air(sheet, estimate),
        **_exchange(sheet, estimate)._asdict(),
        **_coolant(sheet, estimate),
        passive_conductance=PASSIVE if sheet.heat is None else sheet.heat.passive_w_per_k_per_section.value,
        depth=optional(sheet.depth_mm),
        price=optional(sheet.price),
        vessel=vessel(sheet.volume_l, sheet.max_bar),
        frame=frame(sheet),
    )


def _check_blocks(sheet: RadiatorSheet) -> None:
    if sheet.geometry is not None:
        if sheet.depth_mm is None:
            raise PartError(Complaint(("geometry",), "depth_mm at the top", "no such key", 'add "depth_mm"'))
        return
    missing = [key for key in ("air", "heat", "coolant") if getattr(sheet, key) is None]
    advice = "add the block, or a [geometry] to estimate it from"
    if missing:
        raise PartError(*(Complaint((key,), f"a block [{key}]", "none", advice) for key in missing))


def _air(sheet: RadiatorSheet, estimate: CoreEstimate | None) -> dict[str, float]:
    if estimate is not None and (sheet.air is None or _lone(sheet.air.points_m_per_s_pa)):
        return {"a": estimate.a, "b": estimate.b}
    assert sheet.air is not None  # `_check_blocks` holds this
    a, b = air_coefficients(sheet.air)
    return {"a": a, "b": b}


def _coolant(sheet: RadiatorSheet, estimate: CoreEstimate | None) -> dict[str, float]:
    if sheet.coolant is not None:
        a, b = sheet.coolant.a_pa_per_l_per_min.value, sheet.coolant.b_pa_per_l_per_min_2.value
    else:
        assert estimate is not None  # `_check_blocks` holds this
        a, b = estimate.coolant_a, estimate.coolant_b
    return {"coolant_a": a, "coolant_b": b}


def _exchange(sheet: RadiatorSheet, estimate: CoreEstimate | None) -> Exchange:
    block = sheet.heat
    if estimate is not None and (block is None or _lone(block.points)):
        return Exchange(*estimate[2:8])
    assert block is not None  # `_check_blocks` holds this
    if block.points is not None:
        area = sheet.face_length_mm.value * sheet.face_height_mm.value
        _check_ceiling(block.points, area)
        return _fitted(block.points, area)
    return Exchange(*_six(block))


def _six(block: HeatBlock) -> tuple[float, ...]:
    six = (
        block.ua_air_w_per_k, block.face_velocity_m_per_s, block.air_exponent,
        block.ua_coolant_w_per_k, block.flow_l_per_min, block.coolant_exponent,
    )  # fmt: skip
    return tuple(quantity.value for quantity in six if isinstance(quantity, Quantity))


def _lone(points: list[tuple[Quantity, Quantity]] | list[HeatPoint] | None) -> bool:
    """Tell whether there is one point only: it scales an estimate, and cannot be fitted."""
    return points is not None and len(points) == 1


def _check_ceiling(points: list[HeatPoint], face_area: float) -> None:
    """Refuse heat that the streams cannot carry."""
    heat_capacity = float(WATER_30.density * WATER_30.specific_heat)
    for i, point in enumerate(points):
        air = AIR_DENSITY * face_area * point.face_velocity_m_per_s.value * SPECIFIC_HEAT
        ceiling = min(air, heat_capacity * point.flow_l_per_min.value)
        if point.w_per_k.value >= 0.999 * ceiling:
            required = f"less than both streams can carry, {ceiling:.4g} W/K"
            advice = "check flows and face, and that the heat is per kelvin between the two inlets"
            raise PartError(Complaint(("heat", "points", i, "w_per_k"), required, point.w_per_k.printed, advice))


def _fitted(points: list[HeatPoint], face_area: float) -> Exchange:
    """Least squares through the points, at the geometric means of their flows; water at 30 degC, air of 1.2 kg/m3."""
    from quietcool.physics.exchangers import fit_ua

    velocities = [point.face_velocity_m_per_s.value for point in points]
    flows = [point.flow_l_per_min.value for point in points]
    velocity, flow = (math.exp(math.fsum(map(math.log, values)) / len(values)) for values in (velocities, flows))
    fit = fit_ua(
        velocities,
        flows,
        [point.w_per_k.value for point in points],
        face_area=face_area,
        volumetric_heat_capacity=float(WATER_30.density * WATER_30.specific_heat),
        ua_air_velocity=velocity,
        ua_coolant_flow=flow,
        air_specific_heat=SPECIFIC_HEAT,
        air_density=AIR_DENSITY,
    )
    return Exchange(
        float(fit.ua_air), velocity, float(fit.ua_air_exponent),
        float(fit.ua_coolant), flow, float(fit.ua_coolant_exponent),
    )  # fmt: skip


def _estimate(sheet: RadiatorSheet) -> tuple[CoreEstimate | None, CoreGeometry | None]:
    """Estimate the radiator from the shape of its core, where the sheet gives it."""
    block = sheet.geometry
    if block is None or sheet.depth_mm is None:
        return None, None
    from quietcool.entry.core_geometry import CoreGeometry, core_geometry_estimate

    geometry = CoreGeometry(
        face_length=sheet.face_length_mm.value,
        face_height=sheet.face_height_mm.value,
        depth=sheet.depth_mm.value,
        fin_pitch=_pitch(block),
        fin_kind=block.fin_kind,
        fin_height=block.fin_height_mm.value,
        fin_thickness=block.fin_thickness_mm.value,
        fin_conductivity=block.fin_conductivity_w_per_m_k.value,
        tube_height=block.tube_height_mm.value,
        tube_wall=block.tube_wall_mm.value,
        tube_count=block.tube_count,
        passes=block.passes,
        louver_pitch=block.louver_pitch_mm.value,
        louver_angle=math.radians(block.louver_angle_deg.value),
        louver_share=block.louver_share.value,
    )
    try:
        return core_geometry_estimate(geometry), geometry
    except ValueError as error:
        advice = "check walls, fin pitch, depth, tubes and passes"
        raise PartError(
            Complaint(("geometry",), "a core that air and coolant can pass", str(error)[:60], advice)
        ) from None


def _pitch(block: GeometryBlock) -> float:
    """Fin pitch [m]."""
    if block.fin_pitch_mm is not None:
        return block.fin_pitch_mm.value
    assert block.fins_per_inch is not None  # the model holds this
    return 1.0 / block.fins_per_inch.value


def _scaled(estimate: CoreEstimate, geometry: CoreGeometry, sheet: RadiatorSheet) -> CoreEstimate:
    """Let the estimate pass through the one measured point of [air] or [heat], where there is one."""
    from quietcool.entry.core_geometry import scaled_to_conductance, scaled_to_pressure_drop

    if sheet.air is not None and sheet.air.points_m_per_s_pa is not None and _lone(sheet.air.points_m_per_s_pa):
        velocity, pressure_drop = sheet.air.points_m_per_s_pa[0]
        estimate = scaled_to_pressure_drop(estimate, velocity.value, pressure_drop.value)
    if sheet.heat is not None and sheet.heat.points is not None and _lone(sheet.heat.points):
        _check_ceiling(sheet.heat.points, geometry.face_length * geometry.face_height)
        point = sheet.heat.points[0]
        flows = point.face_velocity_m_per_s.value, point.flow_l_per_min.value
        try:
            estimate = scaled_to_conductance(estimate, geometry, *flows, point.w_per_k.value)
        except ValueError:
            required = "a heat within a tenth to ten times what the geometry gives"
            advice = "check the point against the geometry"
            place = ("heat", "points", 0, "w_per_k")
            raise PartError(Complaint(place, required, point.w_per_k.printed, advice)) from None
    return estimate


def estimated_entries(sheet: RadiatorSheet, radiator: Radiator) -> Iterator[Entered]:
    """Yield ledger entries for the numbers that a sheet does not print and its geometry stands for."""
    if sheet.geometry is None:
        return
    rows: list[tuple[str, Number, str, float]] = []
    if sheet.air is None:
        rows += [("air.a_pa_s_per_m", radiator.a, "Pa s/m", ESTIMATED_DROP)]
        rows += [("air.b_pa_s2_per_m2", radiator.b, "Pa s2/m2", ESTIMATED_DROP)]
    if sheet.heat is None:
        rows += [("heat.ua_air_w_per_k", radiator.ua_air, "W/K", ESTIMATED_HEAT)]
        rows += [("heat.ua_coolant_w_per_k", radiator.ua_coolant, "W/K", ESTIMATED_HEAT)]
    if sheet.coolant is None:
        rows += [("coolant.a_pa_per_l_per_min", radiator.coolant_a, "Pa s/m3", ESTIMATED_DROP)]
        rows += [("coolant.b_pa_per_l_per_min_2", radiator.coolant_b, "Pa s2/m6", ESTIMATED_DROP)]
    for key, value, unit, tolerance in rows:
        place = f"{sheet.name}: {key}"
        yield Entered(place, "from the geometry", float(value), unit, "estimate", tolerance, "relative")
