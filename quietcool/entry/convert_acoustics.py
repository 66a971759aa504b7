"""From checked tables to the acoustic records of a build, in SI."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from quietcool.entry.acoustic_records import (
    ROOM,
    Delivery,
    Door,
    Installation,
    NoiseSource,
    Octaves,
    OtherRoom,
    Position,
    Room,
)
from quietcool.entry.acoustic_tables import (
    DeliveryTable,
    DoorTable,
    InstallationTable,
    NoiseSourceTable,
    OtherRoomTable,
    PositionTable,
    SoundingRoom,
)
from quietcool.entry.convert_parts import octaves_of, optional
from quietcool.entry.measures import Quantity
from quietcool.entry.tables import RoomTable
from quietcool.physics.rooms import mean_absorption, mean_absorption_from_reverberation, surface_from_volume
from quietcool.physics.sound import a_weighted_level, power_level_from_pressure_level

_ADDERS = ("push_gap", "push_flush", "pull_gap", "pull_flush", "later_row", "screen_before", "guard_behind")


def room_surface(room: SoundingRoom) -> float | None:
    """Surface from the list of surfaces, as given, or that of a cube of the volume [m2]."""
    if room.surfaces is not None:
        return sum(surface.area_m2.value for surface in room.surfaces)
    if room.surface_m2 is not None:
        return room.surface_m2.value
    return None if room.volume_m3 is None else float(surface_from_volume(room.volume_m3.value))


def room_absorption(room: SoundingRoom) -> float | Octaves | None:
    """Mean absorption as given, from the surfaces (one number or octaves), or by Sabine from the reverberation [-]."""
    if room.surfaces is not None:
        rows = [numbers(surface.absorption) for surface in room.surfaces]
        absorption = np.array(same_length(rows))
        mean = mean_absorption([surface.area_m2.value for surface in room.surfaces], absorption.T)
        return tuple(mean.tolist()) if mean.size > 1 else float(mean[0])
    if room.mean_absorption is not None:
        return one_or_octaves(room.mean_absorption)
    surface = room_surface(room)
    if room.reverberation_s is None or room.volume_m3 is None or surface is None:
        return None
    times = np.array(numbers(room.reverberation_s))
    by_band = mean_absorption_from_reverberation(times, room.volume_m3.value, surface)
    return tuple(by_band.tolist()) if by_band.size > 1 else float(by_band[0])


def room_of(room: RoomTable) -> Room:
    """Room with its absorption, from whatever was given."""
    volume, given = optional(room.volume_m3), room.surfaces is not None or room.surface_m2 is not None
    surface = room_surface(room) if given else None
    return Room(room.temp_c.value, room.altitude_m.value, volume, surface, room_absorption(room))


def other_room(room: OtherRoomTable) -> OtherRoom:
    """Return the record of another room, whose absorption the checks hold known."""
    surface, absorption = room_surface(room), room_absorption(room)
    assert surface is not None, room.name
    assert absorption is not None, room.name
    return OtherRoom(room.name, surface, absorption, optional(room.volume_m3))


def door(table: DoorTable) -> Door:
    """Return the record of a door."""
    return Door(table.name, (table.between[0], table.between[1]), table.area_m2.value, one_or_octaves(table.loss_db))


def noise_source(table: NoiseSourceTable) -> NoiseSource:
    """Return the record of a source of noise that no speed changes."""
    states = None if table.states is None else tuple(table.states)
    if table.power_levels_db is not None:
        bands = octaves_of(table.power_levels_db)
        return NoiseSource(table.name, float(a_weighted_level(bands)), bands, None, states)
    if table.level_dba is not None:
        distance = table.distance_m.value
        level = float(power_level_from_pressure_level(table.level_dba.value, distance, table.mounting))
    else:
        assert table.power_level_dba is not None, table.name
        level = table.power_level_dba.value
    return NoiseSource(table.name, level, None, optional(table.tone_hz), states)


def position(table: PositionTable, field: str) -> Position:
    """Return the record of a position; `field` is what counts where none is given."""
    chosen = "room" if table.room != ROOM else table.field or field
    return Position(
        name=table.name,
        distance=table.distance_m.value,
        directivity=table.directivity.value,
        field="room" if chosen == "room" else "distance",
        partition=one_or_octaves(table.partition_db),
        background=optional(table.background_dba),
        self_noise=optional(table.self_noise_dba),
        limit=optional(table.limit_dba),
        room=table.room,
        background_bands=None if table.background_db is None else octaves_of(table.background_db),
        limit_nc=optional(table.limit_nc),
        limit_nr=optional(table.limit_nr),
        inaudible=table.inaudible_on_track,
        delivery=None if table.delivery is None else _delivery(table.delivery),
    )


def _delivery(table: DeliveryTable) -> Delivery:
    return Delivery(
        noise_floor=table.noise_floor_dbfs.value,
        speech_on_track=table.speech_dbfs.value,
        speech_at_microphone=table.speech_db_spl.value,
        margin=table.margin_db.value,
        states=None if table.states is None else tuple(table.states),
    )


def installation(table: InstallationTable | None) -> Installation:
    """Return the changes to the table of adders, by its terms."""
    if table is None:
        return Installation()
    given = {key.replace("_", " "): adder for key in _ADDERS if (adder := getattr(table, key)) is not None}
    broadband = {term: adder.broadband_db.value for term, adder in given.items() if adder.broadband_db is not None}
    tones = {term: adder.tones_db.value for term, adder in given.items() if adder.tones_db is not None}
    return Installation(table.used, broadband, tones)


def numbers(entered: Quantity | Sequence[Quantity]) -> list[float]:
    """Return one number or octave values as a list."""
    return [entered.value] if isinstance(entered, Quantity) else [quantity.value for quantity in entered]


def one_or_octaves(entered: Quantity | Sequence[Quantity]) -> float | Octaves:
    """Return one number as it is, octave values as a tuple."""
    found = numbers(entered)
    return found[0] if isinstance(entered, Quantity) else tuple(found)


def same_length(rows: list[list[float]]) -> list[list[float]]:
    """Return rows of one number, eight or nine octaves as rows of equal length; 31.5 Hz is like 63 Hz if not given."""
    most = max(len(row) for row in rows)
    return [row * most if len(row) == 1 else row[:1] * (most - len(row)) + row for row in rows]
