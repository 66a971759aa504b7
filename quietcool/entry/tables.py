"""The keys of build files: one model a table.

The descriptions of the fields are the table of keys that users read.
"""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal, TypeAlias

from pydantic import BeforeValidator, ConfigDict, Discriminator, Field, Tag, model_validator

from quietcool.entry.acoustic_tables import (
    DoorTable,
    InstallationTable,
    Level,
    Nc,
    NoiseSourceTable,
    Nr,
    OtherRoomTable,
    PositionTable,
    SoundingRoom,
)
from quietcool.entry.choice_tables import WhatIfTable
from quietcool.entry.elements import Element
from quietcool.entry.measures import (
    LONGEST_LIST,
    Count,
    Format,
    Measure,
    Name,
    Pair,
    Quantity,
    Table,
    Text,
    form,
    preset,
    refuse,
    without_note,
)
from quietcool.entry.workshop_tables import RATING, Clearance, ControllerTable, Rating, Room, SupplyTable, Volume

MOST_BANDS = 50

Speed: TypeAlias = Annotated[Quantity, Measure("rpm", 0, 30_000)]
TurningSpeed: TypeAlias = Annotated[Quantity, Measure("rpm", 50, 30_000)]
SpeedStep: TypeAlias = Annotated[Quantity, Measure("rpm", 1, 5000)]
Band: TypeAlias = Annotated[tuple[Quantity, Quantity], Pair(Measure("rpm", 0, 30_000), Measure("rpm", 0, 30_000))]
Bands: TypeAlias = Annotated[list[Band], Field(max_length=MOST_BANDS)]
RoomTemp: TypeAlias = Annotated[Quantity, Measure("degC", -30, 70)]


def _is_table(entered: Any) -> str:
    return "by name" if isinstance(entered, dict) else "one number"


HEAT = Measure("W", 0, 20_000)
AIR_LIMIT = Measure("degC", 0, 150)

HeatOrByName: TypeAlias = Annotated[
    Annotated[Quantity, HEAT, Tag("one number")]
    | Annotated[dict[str, Annotated[Quantity, HEAT]], BeforeValidator(without_note), Tag("by name")],
    Discriminator(_is_table),
]
TempOrByName: TypeAlias = Annotated[
    Annotated[Quantity, AIR_LIMIT, Tag("one number")]
    | Annotated[dict[str, Annotated[Quantity, AIR_LIMIT]], BeforeValidator(without_note), Tag("by name")],
    Discriminator(_is_table),
]


class RoomTable(SoundingRoom):
    """The air that the rig breathes and the room that it sounds in."""

    temp_c: RoomTemp = Field(description="temperature of the air that the intakes breathe")
    altitude_m: Annotated[Quantity, Measure("m", -500, 9000)] = Field(
        default=preset(0), description="height above the sea"
    )


class EnclosureTable(Table):
    """A case around part of the rig."""

    name: Name = Field(description="its name")


class FanGroupTable(Table):
    """Fans that share one speed."""

    name: Name = Field(description="its name")
    fan: Text = Field(description="name of the fan's sheet")
    min_rpm: Speed = Field(description="lowest speed")
    max_rpm: TurningSpeed = Field(description="highest speed")
    step_rpm: SpeedStep = Field(
        default=preset(20), description="speeds are min_rpm, min_rpm + step_rpm, ... up to max_rpm"
    )
    avoid_rpm: Bands = Field(default=[], description="closed bands to stay out of, as pairs")
    may_stop: Annotated[bool, Field(strict=True)] = Field(default=False, description="whether 0 is allowed too")
    rpm: Speed | None = Field(default=None, description="present speed")
    channel: Text | None = Field(default=None, description="controller channel")
    speed_spread_percent: Annotated[Quantity, Measure("percent", 0, 20)] | None = Field(
        default=None, description="by which the speeds of its fans differ, fastest to slowest; 1 without it"
    )


class AirPathTable(Table):
    """A stack of elements that air passes from one node to another."""

    name: Name = Field(description="its name")
    source: Text = Field(alias="from", description='node the stack begins at: "room" or an enclosure')
    target: Text = Field(alias="to", description="node it ends at")
    stack: list[Element] = Field(
        min_length=1, max_length=LONGEST_LIST, description="elements in the order in which the air meets them"
    )
    series_efficiency: Annotated[Quantity, Measure("1", 0.5, 1)] = Field(
        default=preset(0.925), description="multiplies the pressure rise of each row where a stack has more than one"
    )
    space_depth_mm: Room = Field(default=None, description="depth that the case leaves for the stack")
    space_length_mm: Room = Field(default=None, description="length that it leaves for the radiator with its end tanks")
    clearance_mm: Clearance = Field(default=None, description="to keep free of space_depth_mm; 5 without it")


class PointTable(Table):
    """A place in a source whose temperature is read."""

    name: Name = Field(description="its name")
    resistance_k_per_w: Annotated[Quantity, Measure("K/W", 0, 10)] = Field(description="from the plate to this place")
    limit_c: Annotated[Quantity, Measure("degC", 0, 200)] | None = Field(
        default=None, description="highest temperature"
    )
    share: Annotated[Quantity, Measure("1", 0, 1)] = Field(
        default=preset(1), description="share of the source's heat that passes the resistance"
    )


class SourceTable(Table):
    """A heat source on the loop."""

    name: Name = Field(description="its name")
    plate: Text = Field(description="name of the plate's sheet")
    points: list[PointTable] = Field(
        min_length=1, max_length=LONGEST_LIST, description="places whose temperature is read"
    )
    kind: Literal["cpu", "gpu"] | None = Field(
        default=None, description='"cpu" or "gpu": which common temperatures a diagnosis compares with'
    )
    peak_w: Annotated[Quantity, HEAT] | None = Field(
        default=None, description="electrical power that it draws for a moment, some 100 microseconds"
    )


class CoolantTable(Table):
    """What runs in the loop."""

    kind: Literal["water", "ethylene_glycol", "propylene_glycol"] = Field(
        description='"water", "ethylene_glycol" or "propylene_glycol"'
    )
    mass_percent: Annotated[Quantity, Measure("percent", 0, 60)] = Field(
        default=preset(0), description="glycol by mass"
    )
    volume_percent: Annotated[Quantity, Measure("percent", 0, 60)] | None = Field(
        default=None, description="or glycol by volume at 20 degC"
    )

    @model_validator(mode="after")
    def _is_told_once(self) -> CoolantTable:
        given = {"mass_percent", "volume_percent"} & self.model_fields_set
        if len(given) == 2:
            raise refuse("mass_percent or volume_percent", "both", "leave one out")
        glycol = self.volume_percent or self.mass_percent
        if self.kind == "water" and glycol.value > 0.0:
            raise refuse("no glycol in water", glycol.printed, 'write kind = "ethylene_glycol" or "propylene_glycol"')
        return self


class FittingsTable(Table):
    """Bends of the ring, by their angle."""

    right: Annotated[int, Count(0, 1000)] = Field(
        default=preset(0), alias="90", description="bends of 90 degrees, K = 1.3 each"
    )
    half: Annotated[int, Count(0, 1000)] = Field(default=0, alias="45", description="bends of 45 degrees, K = 0.4 each")


class TubeTable(Table):
    """All tube of the ring."""

    bore_mm: Annotated[Quantity, Measure("mm", 1, 100)] = Field(description="inner diameter")
    length_m: Annotated[Quantity, Measure("m", 0, 200)] = Field(description="length of all tube together")
    fittings: FittingsTable = Field(default=preset({}), description="how many bends of which angle")


class ParallelTable(Table):
    """Branches of the loop side by side."""

    tag: ClassVar[str] = "side by side"
    parallel: list[list[OrderElement]] = Field(max_length=LONGEST_LIST, description="branches, each a list like order")


def _order_element(entered: Any) -> str | None:
    return "one name" if isinstance(entered, str) else "side by side" if isinstance(entered, dict) else None


OrderElement: TypeAlias = Annotated[
    Annotated[Text, Tag("one name")] | Annotated[ParallelTable, Tag("side by side")],
    Discriminator(_order_element, **form("a name or { parallel = [[...], [...]] }", "write a name in quotes")),
]


class LoopTable(Table):
    """The coolant ring."""

    coolant: CoolantTable = Field(description="what runs in it")
    volume_l: Annotated[Quantity, Measure("L", 0.01, 1000)] = Field(description="coolant in the ring")
    pump: Text = Field(description="name of the pump's sheet")
    pump_min_rpm: TurningSpeed = Field(description="lowest speed")
    pump_max_rpm: TurningSpeed = Field(description="highest speed")
    pump_step_rpm: SpeedStep = Field(default=preset(20), description="step of the speeds, as of a fan group")
    pump_avoid_rpm: Bands = Field(default=[], description="closed bands to stay out of, as pairs")
    pump_rpm: Speed | None = Field(default=None, description="present speed")
    order: list[OrderElement] = Field(
        min_length=1,
        max_length=LONGEST_LIST,
        description='station by station: "pump", sources, radiators by their path\'s name, { parallel = ... }',
    )
    pump_enclosure: Text | None = Field(
        default=None, description="node that the rest of the pump's power warms; the first enclosure, else the room"
    )
    tube: TubeTable = Field(description="all tube of the ring")
    min_flow_l_per_min: Annotated[Quantity, Measure("L/min", 0, 1000)] = Field(
        default=preset(0), description="lowest flow"
    )
    pump_channel: Text | None = Field(default=None, description="controller channel; without it the supply feeds it")
    reservoir_l: Volume = Field(default=None, description="coolant in the reservoir")
    max_bar: Rating = Field(default=None, description=f"{RATING}: the weakest of tube, fittings and reservoir")


class HeatTable(Table):
    """Heat of a state: sources by their name, enclosure air under `air`."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, Annotated[Quantity, HEAT]]

    air: HeatOrByName | None = Field(default=None, description="into enclosure air: into the first, or by name")

    @property
    def by_source(self) -> dict[str, Quantity]:
        """Heat into the coolant by source."""
        return self.__pydantic_extra__


class LimitsTable(Table):
    """Limits of a state besides those of the sensing points."""

    coolant_c: Annotated[Quantity, Measure("degC", 0, 150)] | None = Field(
        default=None, description="hottest station of the ring"
    )
    enclosure_air_c: TempOrByName | None = Field(default=None, description="air of every enclosure, or by name")
    position_dba: Annotated[dict[str, Level], BeforeValidator(without_note)] = Field(
        default=preset({}), description="by position, instead of its limit_dba"
    )
    position_nc: Annotated[dict[str, Nc], BeforeValidator(without_note)] = Field(
        default=preset({}), description="by position, instead of its limit_nc"
    )
    position_nr: Annotated[dict[str, Nr], BeforeValidator(without_note)] = Field(
        default=preset({}), description="by position, instead of its limit_nr"
    )
    inaudible_at: list[Text] = Field(
        default=[], max_length=LONGEST_LIST, description="positions whose track must not hear the rig in this state"
    )


class StateTable(Table):
    """A workload."""

    name: Name = Field(description="its name")
    heat_w: HeatTable = Field(description="heat into the coolant by source, and `air`: into enclosure air")
    limits: LimitsTable = Field(default=preset({}), description="what must hold besides the limits of the points")
    room_temp_c: RoomTemp | None = Field(default=None, description="the room's temperature in this state")


class BuildTable(Table):
    """A build file."""

    format: Format = Field(description="1")
    title: Annotated[Text, Field(min_length=1, max_length=200)] = Field(description="what the rig is called")
    parts: list[Text] = Field(
        min_length=1, max_length=20, description="folders with part sheets, inside the build file's own folder tree"
    )
    room: RoomTable = Field(description="the room")
    enclosure: list[EnclosureTable] = Field(default=[], max_length=LONGEST_LIST, description="cases around the rig")
    fan_group: list[FanGroupTable] = Field(default=[], max_length=LONGEST_LIST, description="fans that share a speed")
    air_path: list[AirPathTable] = Field(min_length=1, max_length=LONGEST_LIST, description="ways of the air")
    source: list[SourceTable] = Field(min_length=1, max_length=LONGEST_LIST, description="heat sources on the loop")
    loop: LoopTable = Field(description="the coolant ring")
    position: list[PositionTable] = Field(min_length=1, max_length=LONGEST_LIST, description="where the rig is heard")
    state: list[StateTable] = Field(min_length=1, max_length=LONGEST_LIST, description="workloads")
    noise_source: list[NoiseSourceTable] = Field(
        default=[], max_length=LONGEST_LIST, description="sources of noise that no speed changes"
    )
    other_room: list[OtherRoomTable] = Field(default=[], max_length=LONGEST_LIST, description="rooms besides the rig's")
    door: list[DoorTable] = Field(default=[], max_length=LONGEST_LIST, description="doors and walls between rooms")
    controller: ControllerTable | None = Field(default=None, description="what drives the fans")
    supply: SupplyTable | None = Field(default=None, description="power supply and mains circuit")
    installation: InstallationTable | None = Field(
        default=None, description="calibrated numbers for what a place in a stack adds to the noise"
    )
    scenarios: WhatIfTable | None = Field(default=None, description="what the rig must live through")


ParallelTable.model_rebuild()
LoopTable.model_rebuild()
BuildTable.model_rebuild()
