"""Sense of the tables about sound: rooms that doors join, floors that leave something to the rig, names that mean one.

Each check takes what is valid and yields complaints.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TypeAlias

from quietcool.entry.acoustic_tables import DoorTable, NoiseSourceTable, OtherRoomTable, PositionTable, SoundingRoom
from quietcool.entry.build import PUMP, ROOM
from quietcool.entry.convert_acoustics import room_absorption
from quietcool.entry.convert_parts import octaves_of
from quietcool.entry.mistakes import Complaint, nearest
from quietcool.entry.positions import Path
from quietcool.entry.tables import RoomTable, StateTable
from quietcool.entry.view import View
from quietcool.physics.recording import delivery_limit
from quietcool.physics.sound import a_weighted_level, sum_levels
from quietcool.units import shown

Complaints: TypeAlias = Iterator[Complaint]


def check_sound(view: View) -> Complaints:
    """Yield everything about sound that makes no sense."""
    room = view.single("room", RoomTable)
    if room is not None:
        yield from _absorption(room, ("room",))
    for i, beside in view.items("other_room", OtherRoomTable):
        yield from _absorption(beside, ("other_room", i))
        if not beside.absorption_known:
            required = "a room whose absorption is known"
            advice = "add mean_absorption and volume_m3, or surfaces"
            yield Complaint(("other_room", i), required, "no absorption, or neither surface nor volume", advice)
    yield from _doors(view)
    yield from _noise_sources(view)
    yield from _positions(view, room)
    yield from _state_limits(view)


def _absorption(room: SoundingRoom, base: Path) -> Complaints:
    if room.surfaces is not None:
        area = sum(surface.area_m2.value for surface in room.surfaces)
        if room.surface_m2 is not None and abs(area / room.surface_m2.value - 1.0) > 0.01:
            found = f"{room.surface_m2.printed} and surfaces of {area:.4g} m2"
            yield Complaint((*base, "surface_m2"), "the sum of the surfaces", found, "leave surface_m2 out")
        mean = room_absorption(room)
        values = mean if isinstance(mean, tuple) else (mean,)
        if all(value == 0.0 for value in values):
            advice = "give the surfaces their absorption"
            yield Complaint((*base, "surfaces"), "some absorption", "none at all", advice)
        elif any(value == 0.0 for value in values):
            advice = "give some surface an absorption there"
            yield Complaint((*base, "surfaces"), "some absorption in every octave", "none in one of them", advice)
    elif room.reverberation_s is not None and room.volume_m3 is not None and room.mean_absorption is None:
        mean = room_absorption(room)
        highest = max(mean) if isinstance(mean, tuple) else mean
        if highest is not None and not 0.0 < highest < 1.0:
            found = f"a mean absorption of {highest:.2f} by Sabine"
            advice = "check the time, the volume and the surface; a very dead room needs mean_absorption"
            yield Complaint((*base, "reverberation_s"), "a time that such a room can have", found, advice)


def _unknown(path: Path, name: str, known: Iterable[str], what: str) -> Complaint:
    return Complaint(path, f"the name of {what}", shown(name), nearest(name, known, "add it"))


def _doors(view: View) -> Complaints:
    rooms = [ROOM, *view.names("other_room")]
    for i, door in view.items("door", DoorTable):
        for j, name in enumerate(door.between):
            if name not in rooms:
                yield _unknown(("door", i, "between", j), name, rooms, 'a room, or "room"')
        if door.between[0] == door.between[1]:
            found = f"{shown(door.between[0])} twice"
            yield Complaint(("door", i, "between"), "two different rooms", found, "name the room on the other side")


def _noise_sources(view: View) -> Complaints:
    states = view.names("state")
    taken = {PUMP, *view.names("fan_group")}
    for i, source in view.items("noise_source", NoiseSourceTable):
        if source.name in taken:
            required = "another name than that of a fan group or the pump"
            yield Complaint(("noise_source", i, "name"), required, shown(source.name), "rename it")
        yield from _all_known(("noise_source", i, "states"), source.states or [], states, "a state")


def _all_known(path: Path, names: Iterable[str], known: list[str], what: str) -> Complaints:
    for j, name in enumerate(names):
        if name not in known:
            yield _unknown((*path, j), name, known, what)


def _positions(view: View, room: RoomTable | None) -> Complaints:
    rooms, states, reached = [ROOM, *view.names("other_room")], view.names("state"), _reached(view)
    for i, position in view.items("position", PositionTable):
        base: Path = ("position", i)
        elsewhere = position.room != ROOM
        if position.room not in rooms:
            yield _unknown((*base, "room"), position.room, rooms, 'a room, or "room"')
        elif view.complete("door", "other_room") and position.room not in reached:
            advice = f"add a [[door]] that leads to {shown(position.room)}"
            yield Complaint((*base, "room"), "a room that doors join to the rig's", shown(position.room), advice)
        if elsewhere and position.field == "distance":
            required, advice = 'field = "room" in another room', "remove field"
            yield Complaint((*base, "field"), required, '"distance"', advice)
        if (position.field == "room" or elsewhere) and room is not None and not room.absorption_known:
            found = "no absorption, or neither surface nor volume"
            advice = 'add mean_absorption and volume_m3 to [room], or write field = "distance"'
            place = (*base, "room" if elsewhere else "field")
            yield Complaint(place, "a room whose absorption is known", found, advice)
        yield from _floors(position, base)
        if position.delivery is not None:
            yield from _all_known((*base, "delivery", "states"), position.delivery.states or [], states, "a state")


def _reached(view: View) -> set[str]:
    joined = [set(door.between) for _, door in view.items("door", DoorTable)]
    reached: set[str] = {ROOM}
    while more := {name for pair in joined if pair & reached for name in pair} - reached:
        reached |= more
    return reached


def floor_of(position: PositionTable) -> float:
    """Level at a position without the rig: background and microphone [dB(A)]; -inf where neither is given."""
    levels = [level.value for level in (position.background_dba, position.self_noise_dba) if level is not None]
    if position.background_db is not None:
        levels.append(float(a_weighted_level(octaves_of(position.background_db))))
    return float(sum_levels(levels))


def _floors(position: PositionTable, base: Path) -> Complaints:
    floor = floor_of(position)
    if position.inaudible_on_track and floor == float("-inf"):
        required = "background_dba, background_db or self_noise_dba beside inaudible_on_track"
        yield Complaint((*base, "inaudible_on_track"), required, "none", "say what the rig has to hide under")
    spec = position.delivery
    if spec is None:
        return
    levels = (spec.noise_floor_dbfs, spec.speech_dbfs, spec.speech_db_spl, spec.margin_db)
    limit = float(delivery_limit(*(level.value for level in levels)))
    if floor >= limit:
        required = "a room and a microphone that leave something to the rig"
        found = f"{floor:.1f} dB(A) without the rig, {limit:.1f} dB(A) allowed for everything heard"
        advice = "quieten the room, take a quieter microphone, come closer to it, or ask less of the track"
        yield Complaint((*base, "delivery"), required, found, advice)


def _state_limits(view: View) -> Complaints:
    positions = view.names("position")
    silent = {
        position.name for _, position in view.items("position", PositionTable) if floor_of(position) == float("-inf")
    }
    for i, state in view.items("state", StateTable):
        base: Path = ("state", i, "limits")
        for key in ("position_nc", "position_nr"):
            for name in getattr(state.limits, key):
                if name not in positions:
                    yield _unknown((*base, key, name), name, positions, "a position")
        yield from _all_known((*base, "inaudible_at"), state.limits.inaudible_at, positions, "a position")
        for j, name in enumerate(state.limits.inaudible_at):
            if name in silent:
                required = "a position with background_dba, background_db or self_noise_dba"
                yield Complaint((*base, "inaudible_at", j), required, shown(name), "say what the rig has to hide under")
