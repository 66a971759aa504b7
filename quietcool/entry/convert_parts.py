"""From part sheets to the records of a build, in SI."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from quietcool.entry.acoustic_records import Octaves
from quietcool.entry.build import NOWHERE, Curve, Electric, Fan, Plate, Pump, Resistance, Sound
from quietcool.entry.convert_workshop import optional as optional
from quietcool.entry.convert_workshop import vessel
from quietcool.entry.measures import Quantity
from quietcool.entry.mistakes import Complaint
from quietcool.entry.sheets import (
    AirBlock,
    FanCurve,
    FanSheet,
    PlateSheet,
    PumpCurve,
    PumpSheet,
    ResistanceSheet,
    SoundBlock,
)
from quietcool.entry.sheets import Electric as ElectricBlock
from quietcool.physics.bands import octaves_from_thirds
from quietcool.physics.coolant import REFERENCE_DENSITY as WATER_DENSITY
from quietcool.physics.sound import a_weighted_level, power_level_from_pressure_level

#: What the first tone adds to its octave where a sheet does not say [dB]. Fan: Long, M., "Architectural Acoustics",
#: 2nd ed., Academic Press, 2014, Table 13.5 (blade pass of a tube-axial fan; read in a transcription). Pump: the tone
#: is as strong as the noise of its octave; common practice, no source.
FAN_TONE_INCREMENT, PUMP_TONE_INCREMENT = 7.0, 3.0


class PartError(Exception):
    """A sheet whose numbers are plausible one by one and impossible together."""

    def __init__(self, *complaints: Complaint) -> None:
        self.complaints = complaints
        super().__init__("; ".join(complaint.required for complaint in complaints))


def octaves_of(levels: Sequence[Quantity]) -> Octaves:
    """Octave levels as they stand, or summed from thirds [dB]."""
    found = np.array([level.value for level in levels])
    return tuple((found if found.size < 10 else octaves_from_thirds(found)).tolist())


def fan_of(sheet: FanSheet) -> Fan:
    """Return the record of a fan."""
    return Fan(
        name=sheet.name,
        size=sheet.size_mm.value,
        curve=fan_curve(sheet.curve),
        sound=sound(sheet.sound, sheet.sound.exponent, FAN_TONE_INCREMENT),
        electric=Electric() if sheet.electric is None else electric(sheet.electric),
        depth=optional(sheet.depth_mm),
        blade_count=sheet.blades,
        price=optional(sheet.price),
    )


def plate_of(sheet: PlateSheet) -> Plate:
    """Return the record of a plate."""
    return Plate(
        name=sheet.name,
        r0=sheet.resistance.r0_k_per_w.value,
        c=sheet.resistance.c_k_per_w.value,
        n=sheet.resistance.n.value,
        coolant_a=sheet.coolant.a_pa_per_l_per_min.value,
        coolant_b=sheet.coolant.b_pa_per_l_per_min_2.value,
        vessel=vessel(sheet.volume_l, sheet.max_bar),
    )


def pump_of(sheet: PumpSheet) -> Pump:
    """Return the record of a pump."""
    return Pump(
        name=sheet.name,
        curve=pump_curve(sheet.curve),
        electric=electric(sheet.electric),
        sound=sound(sheet.sound, sheet.sound.exponent, PUMP_TONE_INCREMENT),
        coolant_share=sheet.electric.coolant_share.value,
        mounting_adder=sheet.sound.mounting_adder_db.value,
        vane_count=sheet.vanes,
        vessel=vessel(sheet.volume_l, sheet.max_bar),
    )


def resistance_of(sheet: ResistanceSheet) -> Resistance:
    """Return the record of a resistance."""
    a, b = air_coefficients(sheet.air)
    adder, depth = sheet.noise_adder_db.value, optional(sheet.depth_mm)
    return Resistance(name=sheet.name, style=sheet.style, a=a, b=b, noise_adder=adder, depth=depth)


def fan_curve(block: FanCurve) -> Curve:
    """Curve through the points, or the quarter ellipse through two maxima."""
    flow, pressure = block.maxima
    speed, density = block.speed_rpm.value, block.density_kg_per_m3.value
    if flow is None or pressure is None:
        points = block.points_m3_per_h_pa or []
        return Curve(tuple(q.value for q, _ in points), tuple(p.value for _, p in points), speed, density)
    from quietcool.physics.fans import quarter_ellipse  # loads slowly, and few sheets need it

    flows, pressures = quarter_ellipse(flow.value, pressure.value)
    return Curve(tuple(flows.tolist()), tuple(pressures.tolist()), speed, density, estimated=True)


def pump_curve(block: PumpCurve) -> Curve:
    """Curve through the points of a pump, which refer to water at 30 degC."""
    flows = tuple(flow.value for flow, _ in block.points_l_per_min_kpa)
    pressures = tuple(pressure.value for _, pressure in block.points_l_per_min_kpa)
    return Curve(flows, pressures, block.speed_rpm.value, WATER_DENSITY)


def sound(block: SoundBlock, exponent: Quantity, tone_increment: float) -> Sound:
    """Sound power from a level or a spectrum at a distance, or as it stands."""
    floor = NOWHERE if block.floor_power_dba is None else block.floor_power_dba.value
    increment = optional(block.tone_increment_db)
    made = Sound(
        power_level=NOWHERE,
        speed=block.speed_rpm.value,
        exponent=exponent.value,
        floor_power_level=floor,
        load_adder_scale=block.load_adder_scale.value,
        tone_increment=tone_increment if increment is None else increment,
    )
    if block.spectrum is not None:
        bands = np.array(octaves_of(block.spectrum))
        if block.levels_db is not None:
            bands = power_level_from_pressure_level(bands, block.distance_m.value, block.mounting)
        return replace(made, power_level=float(a_weighted_level(bands)), bands=tuple(bands.tolist()))
    if block.level_dba is not None:
        level = power_level_from_pressure_level(block.level_dba.value, block.distance_m.value, block.mounting)
        return replace(made, power_level=float(level))
    return replace(made, power_level=NOWHERE if block.power_level_dba is None else block.power_level_dba.value)


def electric(block: ElectricBlock) -> Electric:
    """Electrical side at one speed."""
    current, start = optional(block.current_a), optional(block.start_current_a)
    return Electric(block.power_w.value, block.speed_rpm.value, current, start)


def air_coefficients(block: AirBlock) -> tuple[float, float]:
    """Viscous and inertial coefficients as they stand, or fitted to the points [Pa s/m], [Pa s2/m2]."""
    if block.a_pa_s_per_m is not None and block.b_pa_s2_per_m2 is not None:
        return block.a_pa_s_per_m.value, block.b_pa_s2_per_m2.value
    from quietcool.physics.resistance import fit_forchheimer

    points = block.points_m_per_s_pa or []
    if len(points) < 2:
        advice = "add a point, or a [geometry] that this one scales"
        raise PartError(Complaint(("air", "points_m_per_s_pa"), "at least two points", "one", advice))
    fit = fit_forchheimer([v.value for v, _ in points], [p.value for _, p in points])
    return float(fit.a), float(fit.b)
