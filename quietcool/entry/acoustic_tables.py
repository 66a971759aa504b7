"""The keys of build files that say what sounds, where it sounds and who listens.

The descriptions of the fields are the table of keys that users read.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal, TypeAlias

from pydantic import Discriminator, Field, Tag, model_validator

from quietcool.entry.measures import LONGEST_LIST, Measure, Name, Quantity, Table, Text, exactly_one, preset, refuse

OCTAVES = 8  # 63 Hz to 8 kHz; a ninth, 31.5 Hz, may stand before them
THIRDS = 27  # 25 Hz to 10 kHz, three an octave; 24 from 50 Hz

Level: TypeAlias = Annotated[Quantity, Measure("dB(A)", -20, 120)]
BandLevel: TypeAlias = Annotated[Quantity, Measure("dB", -60, 130)]
Spectrum: TypeAlias = Annotated[list[BandLevel], Field(min_length=OCTAVES, max_length=THIRDS)]
Frequency: TypeAlias = Annotated[Quantity, Measure("Hz", 20, 16_000)]
RoomVolume: TypeAlias = Annotated[Quantity, Measure("m3", 1, 1e6)] | None
RoomSurface: TypeAlias = Annotated[Quantity, Measure("m2", 1, 1e6)] | None
Seconds: TypeAlias = Annotated[Quantity, Measure("s", 0.02, 30)]
MeanAbsorption: TypeAlias = Annotated[Quantity, Measure("1", 0.001, 0.99)]
Nc: TypeAlias = Annotated[Quantity, Measure("1", 15, 70)]
Nr: TypeAlias = Annotated[Quantity, Measure("1", 0, 100)]

_EIGHT = Field(min_length=OCTAVES, max_length=OCTAVES + 1)


def _is_list(entered: Any) -> str:
    return "octave values" if isinstance(entered, list) else "one number"


PARTITION = Measure("dB", 0, 100)
ABSORPTION = Measure("1", 0, 1)

PartitionOrOctaves: TypeAlias = Annotated[
    Annotated[Quantity, PARTITION, Tag("one number")]
    | Annotated[list[Annotated[Quantity, PARTITION]], _EIGHT, Tag("octave values")],
    Discriminator(_is_list),
]
AbsorptionOrOctaves: TypeAlias = Annotated[
    Annotated[Quantity, ABSORPTION, Tag("one number")]
    | Annotated[list[Annotated[Quantity, ABSORPTION]], _EIGHT, Tag("octave values")],
    Discriminator(_is_list),
]
MeanOrOctaves: TypeAlias = Annotated[
    Annotated[MeanAbsorption, Tag("one number")] | Annotated[list[MeanAbsorption], _EIGHT, Tag("octave values")],
    Discriminator(_is_list),
]
TimeOrOctaves: TypeAlias = Annotated[
    Annotated[Seconds, Tag("one number")] | Annotated[list[Seconds], _EIGHT, Tag("octave values")],
    Discriminator(_is_list),
]


def check_spectrum(levels: list[Quantity] | None) -> None:
    """Refuse a list of band levels that is neither of octaves nor of third octaves."""
    if levels is not None and len(levels) not in (OCTAVES, OCTAVES + 1, THIRDS - 3, THIRDS):
        required = "8 octaves from 63 Hz, 9 from 31.5 Hz, 24 thirds from 50 Hz or 27 from 25 Hz"
        raise refuse(required, f"{len(levels)} levels", "give one of these sets, up to 8 or 10 kHz")


class SurfaceTable(Table):
    """A part of a room's surface."""

    area_m2: Annotated[Quantity, Measure("m2", 0.01, 1e5)] = Field(description="its area")
    absorption: AbsorptionOrOctaves = Field(description="its absorption: one number or eight octaves, 63 Hz to 8 kHz")


class SoundingRoom(Table):
    """How a room answers: its size and what its surfaces absorb."""

    volume_m3: RoomVolume = Field(default=None, description="volume of the room")
    surface_m2: RoomSurface = Field(
        default=None, description="surface of the room; without it that of a cube of its volume"
    )
    mean_absorption: MeanOrOctaves | None = Field(
        default=None, description="mean absorption coefficient: one number or eight octaves, 63 Hz to 8 kHz"
    )
    reverberation_s: TimeOrOctaves | None = Field(
        default=None,
        description="time in which the level falls by 60 dB, one number or eight octaves, 63 Hz to 8 kHz; gives the "
        "absorption where it is not given",
    )
    surfaces: list[SurfaceTable] | None = Field(
        default=None,
        min_length=1,
        max_length=LONGEST_LIST,
        description="areas with their absorption, instead of the mean",
    )

    @property
    def absorption_known(self) -> bool:
        """Whether the room's absorption area follows from what is given."""
        if self.surfaces is not None or (self.reverberation_s is not None and self.volume_m3 is not None):
            return True
        return self.mean_absorption is not None and (self.surface_m2 is not None or self.volume_m3 is not None)

    @model_validator(mode="after")
    def _is_told_once(self) -> SoundingRoom:
        if self.surfaces is not None and self.mean_absorption is not None:
            raise refuse("surfaces or mean_absorption", "both", "leave one out")
        if self.reverberation_s is not None and self.volume_m3 is None:
            raise refuse("volume_m3 beside reverberation_s", "no volume_m3", "add the room's volume")
        return self


class OtherRoomTable(SoundingRoom):
    """Another room than the rig's, in which one may listen."""

    name: Name = Field(description="its name")


class DoorTable(Table):
    """A door, window or wall between two rooms."""

    name: Name = Field(description="its name")
    between: Annotated[list[Text], Field(min_length=2, max_length=2)] = Field(
        description='the two rooms by name; "room" is the rig\'s'
    )
    area_m2: Annotated[Quantity, Measure("m2", 0.01, 1e4)] = Field(description="its area")
    loss_db: PartitionOrOctaves = Field(
        description="its sound reduction index: one number or eight octaves, 63 Hz to 8 kHz"
    )


class NoiseSourceTable(Table):
    """A source of noise that no speed changes: a power supply, a drive, coil whine."""

    name: Name = Field(description="its name")
    level_dba: Level | None = Field(default=None, description="sound pressure level at distance_m; or power_level_dba")
    distance_m: Annotated[Quantity, Measure("m", 0.05, 20)] = Field(
        default=preset(1), description="distance of level_dba"
    )
    mounting: Literal["suspended", "plane"] = Field(
        default="suspended", description='how it stood for level_dba: "suspended", or on a hard "plane"'
    )
    power_level_dba: Level | None = Field(default=None, description="sound power level; or level_dba")
    power_levels_db: Spectrum | None = Field(
        default=None,
        description="or sound power by octave, not weighted: 8 from 63 Hz or 9 from 31.5 Hz (24 or 27 third octaves)",
    )
    tone_hz: Frequency | None = Field(default=None, description="the source is a tone of this frequency")
    states: list[Text] | None = Field(
        default=None, max_length=LONGEST_LIST, description="states in which it sounds; all without it"
    )

    @model_validator(mode="after")
    def _has_one_level(self) -> NoiseSourceTable:
        check_spectrum(self.power_levels_db)
        exactly_one(self, "level_dba", "power_level_dba", "power_levels_db")
        for key in ("distance_m", "mounting"):
            if self.level_dba is None and key in self.model_fields_set:
                raise refuse(f"no {key} beside a sound power", key, "remove it: a sound power has neither")
        if self.tone_hz is not None and self.power_levels_db is not None:
            raise refuse("one level for a tone", "power_levels_db", "give power_level_dba or level_dba")
        return self


class DeliveryTable(Table):
    """What a client asks of a track, and how loud speech is at the microphone."""

    noise_floor_dbfs: Annotated[Quantity, Measure("dB", -150, 0)] = Field(
        description="highest noise floor of the track, below full scale"
    )
    speech_dbfs: Annotated[Quantity, Measure("dB", -100, 0)] = Field(
        description="level of speech on the track, measured as the noise floor is"
    )
    speech_db_spl: Annotated[Quantity, Measure("dB", 20, 140)] = Field(
        description="level of that speech at the microphone"
    )
    margin_db: Annotated[Quantity, Measure("dB", 0, 60)] = Field(
        default=preset(0), description="to spare for compression and equalising"
    )
    states: list[Text] | None = Field(
        default=None, max_length=LONGEST_LIST, description="states in which it is held; all without it"
    )


class PositionTable(Table):
    """A place where the rig is heard."""

    name: Name = Field(description="its name; the first position is the default objective")
    distance_m: Annotated[Quantity, Measure("m", 0.05, 200)] = Field(
        description="from the rig; in another room: from the rig to the door"
    )
    directivity: Annotated[Quantity, Measure("1", 0.1, 50)] = Field(
        default=preset(1), description="1 in the open, 2 on a floor, 4 in an edge, 8 in a corner"
    )
    field: Literal["room", "distance"] | None = Field(
        default=None, description='"room" or "distance"; without it "room" where the absorption of the room is known'
    )
    room: Text = Field(default="room", description='where it is: "room", or the name of another room')
    partition_db: PartitionOrOctaves = Field(
        default=preset(0), description="loss of a wall between: one number or eight octaves, 63 Hz to 8 kHz"
    )
    background_dba: Level | None = Field(default=None, description="level there without the rig")
    background_db: Spectrum | None = Field(
        default=None, description="or by octave, not weighted: 8 from 63 Hz or 9 from 31.5 Hz (24 or 27 thirds)"
    )
    self_noise_dba: Level | None = Field(default=None, description="self noise of the microphone")
    limit_dba: Level | None = Field(default=None, description="highest level of the rig's share")
    limit_nc: Nc | None = Field(default=None, description="highest NC rating of the rig's share")
    limit_nr: Nr | None = Field(default=None, description="highest NR rating of the rig's share")
    inaudible_on_track: Annotated[bool, Field(strict=True)] = Field(
        default=False, description="whether the rig's share stays 10 dB under the louder of room and microphone"
    )
    delivery: DeliveryTable | None = Field(
        default=None, description="specification of a track, which limits everything heard and so the rig's share"
    )

    @model_validator(mode="after")
    def _is_told_once(self) -> PositionTable:
        check_spectrum(self.background_db)
        if self.background_dba is not None and self.background_db is not None:
            raise refuse("background_dba or background_db", "both", "leave one out")
        return self


class AdderTable(Table):
    """What a place in a stack adds to the sound of a fan row."""

    broadband_db: Annotated[Quantity, Measure("dB", -20, 30)] | None = Field(
        default=None, description="on the level; without it that of the table"
    )
    tones_db: Annotated[Quantity, Measure("dB", -20, 30)] | None = Field(
        default=None, description="on blade pass and harmonics; without it that of the table"
    )


class InstallationTable(Table):
    """Calibrated numbers for what a place in a stack adds; what is not given stays as it is."""

    used: Annotated[bool, Field(strict=True)] = Field(default=True, description="false: no place adds anything")
    push_gap: AdderTable | None = Field(default=None, description="before the radiator, gap of 10 mm or more")
    push_flush: AdderTable | None = Field(default=None, description="before the radiator, gap below 10 mm")
    pull_gap: AdderTable | None = Field(default=None, description="behind the radiator, gap of 25 mm or more")
    pull_flush: AdderTable | None = Field(default=None, description="behind the radiator, gap below 25 mm")
    later_row: AdderTable | None = Field(default=None, description="every row but the first of a stack, on top")
    screen_before: AdderTable | None = Field(
        default=None, description="screen directly before the first row: instead of its sheet's number"
    )
    guard_behind: AdderTable | None = Field(default=None, description="guard directly behind a row")
