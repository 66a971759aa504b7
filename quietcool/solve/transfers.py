"""From sound power at the rig to the level at a position: one room, or several with doors between them, by octave."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from quietcool.entry.build import ROOM
from quietcool.physics import partitions, rooms, sound

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from quietcool.entry.build import Build, Door, Number, OtherRoom, Position, Room

    Levels: TypeAlias = NDArray[np.float64]

BANDS = 9  # octaves 31.5 Hz to 8 kHz


def nine_octaves(value: Number | tuple[float, ...]) -> Levels:
    """Return one number as (..., 1), octave values as (9,): 31.5 Hz is like 63 Hz where it is not given."""
    if isinstance(value, tuple):
        return np.array(value[:1] * (BANDS - len(value)) + value, float)
    return np.asarray(value, float)[..., None]


def surface_of(room: Room) -> float | Levels:
    """Return the surface of the rig's room, that of a cube of its volume where it is not given [m2]."""
    if room.surface is not None:
        return room.surface
    if room.volume is None:
        raise ValueError('room: field = "room" needs surface_m2 or volume_m3; got neither')
    return rooms.surface_from_volume(room.volume)


def _in_rigs_room(room: Room, position: Position) -> Levels:
    """Level over sound power level in the rig's room, before any partition: (..., 1) or (..., 9) [dB]."""
    distance, directivity = nine_octaves(position.distance), nine_octaves(position.directivity)
    if position.field != ROOM:
        return rooms.direct(distance, directivity)
    if room.mean_absorption is None:
        raise ValueError(f'position "{position.name}": field = "room" needs the room\'s mean_absorption; got none')
    constant = rooms.room_constant(nine_octaves(surface_of(room)), nine_octaves(room.mean_absorption))
    return rooms.direct_and_reverberant(distance, directivity, constant)


def _into_room(position: Position, others: Sequence[OtherRoom], doors: Sequence[Door]) -> Levels:
    """Level in another room over that before the doors of the rig's room, all ways through doors summed, (9,) [dB].

    Rooms are taken in the order of the fewest doors; nothing is sent back towards the rig.
    """
    known = {other.name: other for other in others}
    change: dict[str, Levels] = {ROOM: np.zeros(BANDS)}
    while position.room not in change:
        reached: dict[str, list[Levels]] = {}
        for door in doors:
            for near, far in (door.between, door.between[::-1]):
                if near in change and far not in change:
                    room = known[far]
                    absorbed = room.surface * np.minimum(nine_octaves(room.mean_absorption), rooms.ABSORPTION_MAX)
                    through = partitions.level_change_through_partition(
                        nine_octaves(door.sound_reduction), door.area, absorbed
                    )
                    reached.setdefault(far, []).append(change[near] + through)
        if not reached:
            raise ValueError(f'position "{position.name}": no door leads to {position.room}')
        change |= {name: sound.sum_levels(np.array(ways), axis=0) for name, ways in reached.items()}
    return change[position.room]


def position_bands(build: Build, position: Position) -> Levels:
    """Level at a position over the sound power level of the rig, by octave.

    In the rig's room: 10 lg(Q / (4 pi r^2) + 4 / R) - D, without 4 / R for field "distance". In another room: the
    same at the door, then - R_door + 10 lg(S / A) of every door on the way.

    Parameters
    ----------
    build : Build
        Holds the rooms and the doors.
    position : Position
        Distance, directivity, field and partition D.

    Returns
    -------
    ndarray, (..., 1) or (..., 9)
        Level difference, one value where all octaves have the same. [dB]
    """
    field = _in_rigs_room(build.room, position)
    if position.room != ROOM:
        field = field + _into_room(position, build.other_rooms, build.doors)
    return field - nine_octaves(position.partition)


def position_transfer(room: Room, position: Position, build: Build | None = None) -> Levels:
    """Level at a position over the sound power level of the rig, of A-weighted levels.

    Field "distance": 10 lg(Q / (4 pi r^2)) - D;  field "room": 10 lg(Q / (4 pi r^2) + 4 / R) - D

    Parameters
    ----------
    room : Room
        Its surface (6 V^(2/3) where not given) and mean absorption give R.
    position : Position
        Distance, directivity, field and partition D.
    build : Build, optional
        Holds the other rooms and the doors, for a position in one of them.

    Returns
    -------
    ndarray, (...)
        Level difference. Where absorption or partition are given by octave, both are taken by octave and the
        A-weighted bands of the default spectrum weigh them. [dB]
    """
    if position.room != ROOM:
        if build is None:
            raise ValueError(f'position "{position.name}": the other rooms and doors are needed')
        bands = position_bands(build, position)
    else:
        bands = _in_rigs_room(room, position) - nine_octaves(position.partition)
    if bands.shape[-1] == 1:
        return bands[..., 0]
    return sound.a_weighted_transfer(bands[..., 1:])  # the default spectrum begins at 63 Hz


def transfer(build: Build) -> Levels:
    """Level at every position over the sound power level of the rig; see `position_transfer`.

    Parameters
    ----------
    build : Build
        Holds rooms and positions.

    Returns
    -------
    ndarray, (..., n_positions)
        Level differences. [dB]
    """
    if not build.positions:
        return np.empty(0)
    columns = [position_transfer(build.room, position, build) for position in build.positions]
    things = np.stack(np.broadcast_arrays(*columns))
    return np.moveaxis(things, 0, -1)  # things first in memory: sums over them run along the cases


def transfer_bands(build: Build) -> Levels:
    """Level at every position over the sound power level of the rig, by octave.

    Parameters
    ----------
    build : Build
        Holds rooms and positions.

    Returns
    -------
    ndarray, (..., n_positions, 9)
        Level differences, octaves 31.5 Hz to 8 kHz. [dB]
    """
    if not build.positions:
        return np.empty((0, BANDS))
    columns = [position_bands(build, position) for position in build.positions]
    cases = np.broadcast_shapes(*(column.shape[:-1] for column in columns))
    return np.stack([np.broadcast_to(column, (*cases, BANDS)) for column in columns], axis=-2)


def bands_differ(build: Build) -> bool:
    """Whether some position hears octaves differently, so that a spectrum matters to what arrives there."""
    return any(position_bands(build, position).shape[-1] > 1 for position in build.positions)
