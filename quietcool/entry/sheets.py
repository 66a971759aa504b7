"""The keys of part sheets: one model a block, one a kind of part.

The descriptions of the fields are the table of keys that users read.
"""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

from pydantic import Field, field_validator, model_validator

from quietcool.entry.acoustic_tables import check_spectrum
from quietcool.entry.measures import (
    LONGEST_LIST,
    Count,
    Format,
    Measure,
    Name,
    Pair,
    Quantity,
    Table,
    exactly_one,
    preset,
    refuse,
)
from quietcool.entry.workshop_tables import VesselKeys
from quietcool.units import shown

Origin: TypeAlias = Literal["measured", "datasheet", "estimate", "invented"]

#: Tolerances where a block states none: fraction of a value, and dB of a level.
DEFAULT_TOLERANCE: dict[str, tuple[float, float]] = {
    "measured": (0.05, 1.0),
    "datasheet": (0.10, 2.0),
    "estimate": (0.25, 4.0),
    "invented": (0.10, 2.0),
}

SheetSpeed: TypeAlias = Annotated[Quantity, Measure("rpm", 50, 60_000)]
Price: TypeAlias = Annotated[Quantity, Measure("1", 0, 1e6)] | None
Side: TypeAlias = Annotated[Quantity, Measure("mm", 10, 2000)]
Depth: TypeAlias = Annotated[Quantity, Measure("mm", 1, 500)] | None
Watts: TypeAlias = Annotated[Quantity, Measure("W", 0, 5000, "relative")]
Amperes: TypeAlias = Annotated[Quantity, Measure("A", 0, 100, "relative")] | None
Level: TypeAlias = Annotated[Quantity, Measure("dB(A)", -20, 120, "dB")]
SheetLevel: TypeAlias = Annotated[Quantity, Measure("dB", -60, 130, "dB")]
SheetSpectrum: TypeAlias = Annotated[list[SheetLevel], Field(min_length=8, max_length=27)]
FaceVelocity: TypeAlias = Annotated[Quantity, Measure("m/s", 0.02, 30)]
Conductance: TypeAlias = Annotated[Quantity, Measure("W/K", 0.01, 1e5, "relative")]
Exponent: TypeAlias = Annotated[Quantity, Measure("1", 0, 1.2)]

FanPoint: TypeAlias = Annotated[
    tuple[Quantity, Quantity], Pair(Measure("m3/h", 0, 1e5, "relative"), Measure("Pa", 0, 1e5, "relative"))
]
PumpPoint: TypeAlias = Annotated[
    tuple[Quantity, Quantity], Pair(Measure("L/min", 0, 1e4, "relative"), Measure("kPa", 0, 1e4, "relative"))
]
DropPoint: TypeAlias = Annotated[
    tuple[Quantity, Quantity], Pair(Measure("m/s", 0, 30, "relative"), Measure("Pa", 0, 1e5, "relative"))
]


class Block(Table):
    """A block of a sheet: where its numbers come from and how far they may be off."""

    origin: Origin = Field(description='"measured", "datasheet", "estimate" or "invented"')
    tolerance_percent: Annotated[Quantity, Measure("percent", 0, 200)] | None = Field(
        default=None, description="of every number of the block; without it 5 measured, 10 datasheet, 25 estimate"
    )


class LevelBlock(Block):
    """A block that holds levels."""

    tolerance_db: Annotated[Quantity, Measure("dB", 0, 40)] | None = Field(
        default=None, description="of every level of the block; without it 1 measured, 2 datasheet, 4 estimate"
    )


def _check_curve(points: list[tuple[Quantity, Quantity]]) -> None:
    """Refuse a curve that no fan or pump has."""
    flows = [flow.value for flow, _ in points]
    pressures = [pressure.value for _, pressure in points]
    if flows[0] != 0.0:
        raise refuse("a curve that starts at zero flow", shown(points[0][0].printed), "add the shut-off point")
    for i, (low, high) in enumerate(zip(flows, flows[1:], strict=False), start=2):
        if high <= low:
            raise refuse("flows that rise from point to point", f"no rise at point {i}", "sort the points by flow")
    if pressures[-1] >= pressures[0]:
        raise refuse("a curve that ends at a lower pressure than it starts", "no fall", "check the two columns")
    if pressures[-1] >= pressures[-2]:
        advice = "leave out what stands behind free delivery"
        raise refuse("a curve whose last point lies below the one before it", "no fall at its end", advice)


class FanCurve(Block):
    """Pressure rise of a fan over its flow, at one speed."""

    speed_rpm: SheetSpeed = Field(description="speed at which the curve was taken")
    points_m3_per_h_pa: list[FanPoint] | None = Field(
        default=None,
        min_length=2,
        max_length=LONGEST_LIST,
        description="pairs of flow and static pressure, flow rising from 0; or the two maxima below",
    )
    max_flow_m3_per_h: Annotated[Quantity, Measure("m3/h", 0.1, 1e5, "relative")] | None = Field(
        default=None, description="flow at zero pressure"
    )
    max_flow_cfm: Annotated[Quantity, Measure("CFM", 0.05, 1e5, "relative")] | None = Field(
        default=None, description="the same in cubic feet a minute"
    )
    max_pressure_pa: Annotated[Quantity, Measure("Pa", 0.1, 1e5, "relative")] | None = Field(
        default=None, description="static pressure at zero flow"
    )
    max_pressure_mmh2o: Annotated[Quantity, Measure("mmH2O", 0.01, 1e4, "relative")] | None = Field(
        default=None, description="the same in millimetres of water"
    )
    max_pressure_inh2o: Annotated[Quantity, Measure("inH2O", 0.001, 400, "relative")] | None = Field(
        default=None, description="the same in inches of water"
    )
    density_kg_per_m3: Annotated[Quantity, Measure("kg/m3", 0.5, 2)] = Field(
        default=preset(1.2), description="air density of the curve"
    )

    @field_validator("points_m3_per_h_pa")
    @classmethod
    def _is_a_curve(cls, points: list[tuple[Quantity, Quantity]] | None) -> list[tuple[Quantity, Quantity]] | None:
        if points:
            _check_curve(points)
        return points

    @property
    def maxima(self) -> tuple[Quantity | None, Quantity | None]:
        """Greatest flow and greatest pressure, where the sheet gives only these."""
        flow = self.max_flow_m3_per_h or self.max_flow_cfm
        return flow, self.max_pressure_pa or self.max_pressure_mmh2o or self.max_pressure_inh2o

    @model_validator(mode="after")
    def _has_one_form(self) -> FanCurve:
        flows = ("max_flow_m3_per_h", "max_flow_cfm")
        pressures = ("max_pressure_pa", "max_pressure_mmh2o", "max_pressure_inh2o")
        if self.points_m3_per_h_pa is None:
            exactly_one(self, *flows, instead="points_m3_per_h_pa")
            exactly_one(self, *pressures, instead="points_m3_per_h_pa")
        else:
            exactly_one(self, "points_m3_per_h_pa", *flows, *pressures)
        return self


class SoundBlock(LevelBlock):
    """Level of a fan or pump at one speed: one number, or a spectrum, never both."""

    speed_rpm: SheetSpeed = Field(description="speed at which the level was taken")
    level_dba: Level | None = Field(default=None, description="sound pressure level at distance_m; or power_level_dba")
    distance_m: Annotated[Quantity, Measure("m", 0.05, 20)] = Field(
        default=preset(1), description="distance of level_dba"
    )
    mounting: Literal["suspended", "plane"] = Field(
        default="suspended", description='how it stood for level_dba: "suspended", or on a hard "plane"'
    )
    power_level_dba: Level | None = Field(default=None, description="sound power level; or level_dba")
    levels_db: SheetSpectrum | None = Field(
        default=None,
        description="or a spectrum at distance_m, not weighted: 8 octaves from 63 Hz, 9 from 31.5 Hz, 24 or 27 thirds",
    )
    power_levels_db: SheetSpectrum | None = Field(default=None, description="or the spectrum of the sound power")
    floor_power_dba: Level | None = Field(
        default=None, description="sound power level that stays at any speed but zero"
    )
    load_adder_scale: Annotated[Quantity, Measure("1", 0, 10, "relative")] = Field(
        default=preset(1), description="multiplies what throttling adds to the level"
    )
    tone_increment_db: Annotated[Quantity, Measure("dB", 0.01, 40)] | None = Field(
        default=None, description="what the first tone adds to its octave; without it 7 for a fan, 3 for a pump"
    )

    @property
    def spectrum(self) -> list[Quantity] | None:
        """Band levels, where the sheet gives them."""
        return self.levels_db or self.power_levels_db

    @model_validator(mode="after")
    def _has_one_level(self) -> SoundBlock:
        check_spectrum(self.spectrum)
        exactly_one(self, "level_dba", "power_level_dba", "levels_db", "power_levels_db")
        power = "power_level_dba" if self.power_level_dba is not None else "power_levels_db"
        if getattr(self, power) is not None:
            for key in ("distance_m", "mounting"):
                if key in self.model_fields_set:
                    required = f"no distance_m and no mounting beside {power}"
                    raise refuse(required, key, "remove it: a sound power has neither")
        return self


class FanSound(SoundBlock):
    """Level of a fan at one speed."""

    exponent: Annotated[Quantity, Measure("1", 10, 100)] = Field(
        default=preset(55), description="dB by which the level rises for ten times the speed; 50 beside a spectrum"
    )

    @model_validator(mode="after")
    def _exponent_of_a_spectrum(self) -> FanSound:
        if self.spectrum is not None and "exponent" not in self.model_fields_set:
            # The default depends on what is given, and must not look as if somebody had written it.
            self.__dict__["exponent"] = Measure("1", 10, 100).read(50)
        return self


class PumpSound(SoundBlock):
    """Level of a pump at one speed."""

    exponent: Annotated[Quantity, Measure("1", 10, 100)] = Field(
        default=preset(50), description="dB by which the level rises for ten times the speed"
    )
    mounting_adder_db: Annotated[Quantity, Measure("dB", -20, 30, "dB")] = Field(
        default=preset(0), description="what the way it is mounted adds"
    )


class Electric(Block):
    """Electrical side at one speed; power goes with the cube of the speed."""

    power_w: Watts = Field(description="electrical power at speed_rpm")
    speed_rpm: SheetSpeed = Field(description="speed of power_w and current_a")
    current_a: Amperes = Field(default=None, description="current at speed_rpm")
    start_current_a: Amperes = Field(default=None, description="current while it starts")


class PumpElectric(Electric):
    """Electrical side of a pump."""

    coolant_share: Annotated[Quantity, Measure("1", 0, 1)] = Field(
        default=preset(0.9), description="share of the power that heats the coolant"
    )


class AirBlock(Block):
    """Pressure drop a V + b V^2 on face velocity V at 20 degC and 1.2 kg/m3, or points of it."""

    a_pa_s_per_m: Annotated[Quantity, Measure("Pa s/m", 0, 1e4, "relative")] | None = Field(
        default=None, description="viscous coefficient; with b_pa_s2_per_m2"
    )
    b_pa_s2_per_m2: Annotated[Quantity, Measure("Pa s2/m2", 0, 1e4, "relative")] | None = Field(
        default=None, description="inertial coefficient; with a_pa_s_per_m"
    )
    points_m_per_s_pa: list[DropPoint] | None = Field(
        default=None,
        min_length=1,
        max_length=LONGEST_LIST,
        description="or measured pairs of face velocity and pressure drop; one scales the estimate of a [geometry]",
    )

    @model_validator(mode="after")
    def _has_one_form(self) -> AirBlock:
        both = "a_pa_s_per_m with b_pa_s2_per_m2, or points_m_per_s_pa alone"
        given = [self.a_pa_s_per_m is not None, self.b_pa_s2_per_m2 is not None]
        if given != [self.points_m_per_s_pa is None] * 2:
            found = ", ".join(sorted(self.model_fields_set - {"origin", "note", "tolerance_percent"})) or "neither"
            raise refuse(both, found, "give one of the two forms whole")
        a, b = self.a_pa_s_per_m, self.b_pa_s2_per_m2
        if a is not None and b is not None and a.value == b.value == 0.0:
            raise refuse("a resistance above zero", "a = b = 0", "give at least one of the two coefficients")
        if self.points_m_per_s_pa and not all(v.value > 0.0 and p.value > 0.0 for v, p in self.points_m_per_s_pa):
            raise refuse("points above zero", "a point at zero", "leave the point at zero out: it says nothing")
        return self


class HeatPoint(Table):
    """One measured exchange of a radiator."""

    face_velocity_m_per_s: FaceVelocity = Field(description="air flow over face area")
    flow_l_per_min: Annotated[Quantity, Measure("L/min", 0.01, 1e4)] = Field(description="coolant flow")
    w_per_k: Conductance = Field(description="heat over the difference of coolant inlet and air inlet temperature")


class HeatBlock(Block):
    """Exchange of a radiator: two conductances with their exponents, or measured points."""

    ua_air_w_per_k: Conductance | None = Field(default=None, description="air side, at face_velocity_m_per_s")
    face_velocity_m_per_s: FaceVelocity | None = Field(default=None, description="face velocity of ua_air_w_per_k")
    air_exponent: Exponent | None = Field(default=None, description="of the air side over its mass flux")
    ua_coolant_w_per_k: Conductance | None = Field(default=None, description="coolant side, at flow_l_per_min")
    flow_l_per_min: Annotated[Quantity, Measure("L/min", 0.01, 1e4)] | None = Field(
        default=None, description="coolant flow of ua_coolant_w_per_k"
    )
    coolant_exponent: Exponent | None = Field(default=None, description="of the coolant side over its flow")
    passive_w_per_k_per_section: Annotated[Quantity, Measure("W/K", 0, 50, "relative")] = Field(
        default=preset(0.7), description="what a fan section gives off with all fans at rest"
    )
    points: list[HeatPoint] | None = Field(
        default=None,
        min_length=1,
        max_length=LONGEST_LIST,
        description="or measured points, water at about 30 degC and air of 1.2 kg/m3; one scales a [geometry]",
    )

    @model_validator(mode="after")
    def _has_one_form(self) -> HeatBlock:
        keys = (
            "ua_air_w_per_k", "face_velocity_m_per_s", "air_exponent",
            "ua_coolant_w_per_k", "flow_l_per_min", "coolant_exponent",
        )  # fmt: skip
        missing = [key for key in keys if getattr(self, key) is None]
        if self.points is None and missing:
            raise refuse(f"{', '.join(keys)}, or points alone", f"no {', '.join(missing)}", "add what is missing")
        if self.points is not None and len(missing) < len(keys):
            given = ", ".join(key for key in keys if key not in missing)
            raise refuse("either points or the six numbers", f"points beside {given}", "leave one form out")
        return self


class CoolantBlock(Block):
    """Pressure drop a q + b q^2 for water at 30 degC."""

    a_pa_per_l_per_min: Annotated[Quantity, Measure("Pa/(L/min)", 0, 1e6, "relative")] = Field(
        description="linear coefficient"
    )
    b_pa_per_l_per_min_2: Annotated[Quantity, Measure("Pa/(L/min)2", 0, 1e6, "relative")] = Field(
        description="quadratic coefficient"
    )


class PlateResistance(Block):
    """Resistance r0 + c q^-n, q in L/min through the plate."""

    r0_k_per_w: Annotated[Quantity, Measure("K/W", 0, 10, "relative")] = Field(
        description="part that flow leaves alone"
    )
    c_k_per_w: Annotated[Quantity, Measure("K/W", 0, 10, "relative")] = Field(description="part at 1 L/min")
    n: Annotated[Quantity, Measure("1", 0, 2)] = Field(description="exponent of the flow")


class PumpCurve(Block):
    """Pressure rise of a pump over its flow, at one speed."""

    speed_rpm: SheetSpeed = Field(description="speed at which the curve was taken")
    points_l_per_min_kpa: list[PumpPoint] = Field(
        min_length=2, max_length=LONGEST_LIST, description="pairs of flow and pressure, flow rising from 0"
    )

    @field_validator("points_l_per_min_kpa")
    @classmethod
    def _is_a_curve(cls, points: list[tuple[Quantity, Quantity]]) -> list[tuple[Quantity, Quantity]]:
        _check_curve(points)
        return points


class Sheet(Table):
    """Top of every part sheet."""

    format: Format = Field(description="1")
    name: Name = Field(description="how build files call the part; unique over all folders of a build")


class FanSheet(Sheet):
    """A fan."""

    kind: Literal["fan"] = Field(description='"fan"')
    size_mm: Side = Field(description="side of the frame")
    depth_mm: Depth = Field(default=None, description="depth of the frame")
    blades: Annotated[int, Count(1, 60)] | None = Field(default=None, description="number of blades")
    price: Price = Field(default=None, description="price, in any one currency")
    curve: FanCurve = Field(description="pressure over flow")
    sound: FanSound = Field(description="level")
    electric: Electric | None = Field(default=None, description="electrical side; without it 0 W")


class PlateSheet(Sheet, VesselKeys):
    """A cold plate."""

    kind: Literal["plate"] = Field(description='"plate"')
    resistance: PlateResistance = Field(description="from the plate's top to its coolant inlet")
    coolant: CoolantBlock = Field(description="pressure drop")


class PumpSheet(Sheet, VesselKeys):
    """A pump."""

    kind: Literal["pump"] = Field(description='"pump"')
    vanes: Annotated[int, Count(1, 60)] | None = Field(default=None, description="number of vanes of its impeller")
    curve: PumpCurve = Field(description="pressure over flow")
    electric: PumpElectric = Field(description="electrical side")
    sound: PumpSound = Field(description="level")


class ResistanceSheet(Sheet):
    """A filter, grille or guard."""

    kind: Literal["resistance"] = Field(description='"resistance"')
    style: Literal["filter", "grille", "guard"] = Field(description='"filter", "grille" or "guard"')
    depth_mm: Depth = Field(default=None, description="depth of its frame")
    noise_adder_db: Annotated[Quantity, Measure("dB", 0, 30, "dB")] = Field(
        default=preset(3), description="added to the level of a fan row that it stands directly before"
    )
    air: AirBlock = Field(description="pressure drop")
