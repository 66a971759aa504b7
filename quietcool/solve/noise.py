"""Noise of a build at given speeds: every row's sound power, and what of it arrives at every position.

Single-number model: A-weighted levels, incoherent sums. Source terms are added in this order: level at speed
(floor included), installation adder by place in the stack, load adder by the share of free flow, number of fans.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from quietcool.entry.build import ROOM, AirPath, Core, FanRow, Screen
from quietcool.physics import rooms, sound

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from numpy.typing import ArrayLike, NDArray

    from quietcool.entry.build import Build, Number, Position, Room, State

    Levels: TypeAlias = NDArray[np.float64]

GAP_SLACK = 1e-9  # a gap printed in mm may lose this on its way to metres [m]
PUSH_GAP = 0.010  # from here on a row before a core is not flush with it [m]
PULL_GAP = 0.025  # from here on a row behind a core is not flush with it [m]


@dataclass(frozen=True)
class InstallationAdder:
    """What a place in a stack adds to a fan's sound power."""

    term: str  # where it applies
    broadband: Number  # [dB]
    tones: float  # on blade pass and its harmonics, for the band model; the single-number model leaves it [dB]
    tolerance: float = 3.0  # [dB]
    source: str = "common practice, no source; only the order free <= push <= pull is published"


INSTALLATION_ADDERS: dict[str, InstallationAdder] = {
    "free": InstallationAdder("no radiator in the stack", 0.0, 0.0),
    "push gap": InstallationAdder("before the radiator, gap of 10 mm or more", 1.0, 1.0),
    "push flush": InstallationAdder("before the radiator, gap below 10 mm", 2.0, 3.0),
    "pull gap": InstallationAdder("behind the radiator, gap of 25 mm or more", 2.0, 3.0),
    "pull flush": InstallationAdder("behind the radiator, gap below 25 mm", 3.0, 6.0),
    "later row": InstallationAdder("every row but the first of a stack, on top of its place", 2.0, 3.0),
    "screen before": InstallationAdder("screen directly before the first row; its sheet's number goes first", 3.0, 3.0),
    "guard behind": InstallationAdder("guard directly behind a row", 1.0, 0.0),
}


@dataclass(frozen=True)
class NoiseState:
    """Levels of a build at given speeds. Leading axes are cases."""

    power_levels: Levels  # (..., n_rows + 1) sound power of every fan row, in path order, then the pump [dB(A) re 1 pW]
    contributions: Levels  # (..., n_groups + 1, n_positions) of each group, pump last, where it is heard [dB(A)]
    level: Levels  # (..., n_positions) the rig's share: all groups and the pump [dB(A)]
    total: Levels  # (..., n_positions) with background and self-noise of the position, where given [dB(A)]
    limit: Levels  # (n_positions,) on `level`, the state's own before the position's; inf for none [dB(A)]

    @property
    def margin(self) -> Levels:
        """Margin of every position to its limit, positive when kept, (..., n_positions) [dB]."""
        return self.limit - self.level


def _along_last_axis(columns: Iterable[ArrayLike]) -> Levels:
    """Stack columns that may carry different case axes along a new last axis."""
    things = np.stack(np.broadcast_arrays(*(np.asarray(column, float) for column in columns)))
    return np.moveaxis(things, 0, -1)  # things first in memory: sums over them run along the cases


def installation_terms(
    path: AirPath, row_index: int, adders: Mapping[str, InstallationAdder] = INSTALLATION_ADDERS
) -> dict[str, Number]:
    """Terms of the installation adder that apply to a fan row, by their key in the table.

    Parameters
    ----------
    path : AirPath
        The path with the row in its stack.
    row_index : int
        Which of `path.fan_rows`, from 0. [-]
    adders : mapping
        The table; another one than `INSTALLATION_ADDERS` to calibrate or to vary it.

    Returns
    -------
    dict
        Adders that apply [dB]. Steps, no interpolation over the gap. A later row is one that is not the first
        in the order of the stack, with or without a radiator between.
    """
    stack = path.stack
    place = [i for i, element in enumerate(stack) if isinstance(element, FanRow)][row_index]
    row = path.fan_rows[row_index]
    core = next((i for i, element in enumerate(stack) if isinstance(element, Core)), None)
    before = stack[place - 1] if place > 0 else None
    behind = stack[place + 1] if place + 1 < len(stack) else None

    if core is None:
        keys = ["free"]
    elif place < core:
        keys = ["push gap" if row.gap >= PUSH_GAP - GAP_SLACK else "push flush"]
    else:
        keys = ["pull gap" if row.gap >= PULL_GAP - GAP_SLACK else "pull flush"]
    if row_index > 0:
        keys.append("later row")
    if isinstance(behind, Screen) and behind.resistance.style == "guard":
        keys.append("guard behind")
    terms: dict[str, Number] = {key: adders[key].broadband for key in keys}
    if row_index == 0 and isinstance(before, Screen):
        terms["screen before"] = before.resistance.noise_adder
    return terms


def row_power_level(
    build: Build,
    path: AirPath,
    row_index: int,
    speed: ArrayLike,
    load_share: ArrayLike,
    adders: Mapping[str, InstallationAdder] = INSTALLATION_ADDERS,
) -> Levels:
    """Sound power level of a whole fan row.

    L_WA = L_WA,fan(N) + sum of installation terms + load adder + 10 lg(count)

    Parameters
    ----------
    build : Build
        Holds the fan of the row's group.
    path : AirPath
        The path with the row in its stack.
    row_index : int
        Which of `path.fan_rows`, from 0. [-]
    speed : array_like, (...)
        Speed of the row; 0 is silent. [rev/s]
    load_share : array_like, (...)
        Flow of a fan over its free flow at this speed; anything, NaN too, where the row stands still. [-]
    adders : mapping
        Table of installation adders.

    Returns
    -------
    ndarray, (...)
        A-weighted sound power level; -inf at speed 0. [dB(A) re 1 pW]
    """
    row = path.fan_rows[row_index]
    sheet = next(group for group in build.fan_groups if group.name == row.group).fan.sound
    fan = sound.power_level_at_speed(
        sheet.power_level, speed, sheet.speed, sheet.exponent, floor=sheet.floor_power_level
    )
    installation = sum(installation_terms(path, row_index, adders).values())
    # The free flow of a stopped fan is 0, and so its load share is no number: it must not reach the level.
    share = np.where(np.asarray(speed, float) <= 0.0, 1.0, load_share)
    level: Levels = fan + installation + sound.load_adder(share, sheet.load_adder_scale) + 10.0 * np.log10(row.count)
    return level


def pump_power_level(build: Build, speed: ArrayLike) -> Levels:
    """Sound power level of the pump as it is mounted.

    L_WA = L_WA,pump(N) + mounting adder

    Parameters
    ----------
    build : Build
        Holds the pump.
    speed : array_like, (...)
        Speed of the pump; 0 is silent. [rev/s]

    Returns
    -------
    ndarray, (...)
        A-weighted sound power level. [dB(A) re 1 pW]
    """
    pump = build.loop.pump
    sheet = pump.sound
    level: Levels = (
        sound.power_level_at_speed(sheet.power_level, speed, sheet.speed, sheet.exponent, floor=sheet.floor_power_level)
        + pump.mounting_adder
    )
    return level


def _room_surface(room: Room) -> float | Levels:
    if room.surface is not None:
        return room.surface
    if room.volume is None:
        raise ValueError('room: field = "room" needs surface_m2 or volume_m3; got neither')
    return rooms.surface_from_volume(room.volume)


def position_transfer(room: Room, position: Position) -> Levels:
    """Level at a position over the sound power level of the rig.

    Field "distance": 10 lg(Q / (4 pi r^2)) - D;  field "room": 10 lg(Q / (4 pi r^2) + 4 / R) - D

    Parameters
    ----------
    room : Room
        Its surface (6 V^(2/3) where not given) and mean absorption give R.
    position : Position
        Distance, directivity, field and partition D.

    Returns
    -------
    ndarray, (...)
        Level difference. Where absorption or partition are given by octave, both are taken by octave and the
        A-weighted bands of the default spectrum weigh them. [dB]
    """
    in_room = position.field == ROOM
    absorption = room.mean_absorption if in_room else 0.0
    if absorption is None:
        raise ValueError(f'position "{position.name}": field = "room" needs the room\'s mean_absorption; got none')
    in_bands = isinstance(absorption, tuple) or isinstance(position.partition, tuple)

    def columns(value: Number | tuple[float, ...]) -> Levels:
        numbers = np.asarray(value, float)
        return numbers[..., None] if in_bands and not isinstance(value, tuple) else numbers

    distance, directivity = columns(position.distance), columns(position.directivity)
    if in_room:
        constant = rooms.room_constant(columns(_room_surface(room)), columns(absorption))
        field = rooms.direct_and_reverberant(distance, directivity, constant)
    else:
        field = rooms.direct(distance, directivity)
    behind = field - columns(position.partition)
    if not in_bands:
        return behind
    return sound.a_weighted_transfer(np.broadcast_to(behind, (*behind.shape[:-1], len(sound.DEFAULT_SPECTRUM))))


def transfer(build: Build) -> Levels:
    """Level at every position over the sound power level of the rig; see `position_transfer`.

    Parameters
    ----------
    build : Build
        Holds room and positions.

    Returns
    -------
    ndarray, (..., n_positions)
        Level differences. [dB]
    """
    if not build.positions:
        return np.empty(0)
    return _along_last_axis(position_transfer(build.room, position) for position in build.positions)


def position_floors(build: Build) -> Levels:
    """Level at every position with the rig switched off.

    Parameters
    ----------
    build : Build
        Holds the positions.

    Returns
    -------
    ndarray, (n_positions,)
        Energy sum of background and self-noise, -inf where neither is given. [dB(A)]
    """
    floors = [
        sound.sum_levels([x for x in (position.background, position.self_noise) if x is not None])
        for position in build.positions
    ]
    return np.array(floors, float)


def position_limits(build: Build, state: State | None = None) -> Levels:
    """Limit on the rig's share at every position.

    Parameters
    ----------
    build : Build
        Holds the positions with their own limits.
    state : State, optional
        Its limits by position go before the positions' own.

    Returns
    -------
    ndarray, (n_positions,)
        Limits, inf where there is none. [dB(A)]
    """
    own = state.limits.position if state is not None else {}
    limits = [own.get(position.name, position.limit) for position in build.positions]
    return np.array([np.inf if limit is None else limit for limit in limits], float)


def _power_levels(
    build: Build, speeds: Levels, load_share: Levels, adders: Mapping[str, InstallationAdder]
) -> tuple[Levels, Sequence[list[int]]]:
    """Return the levels of rows and pump, and for each group the places of its rows along the last axis."""
    column = {name: i for i, name in enumerate(build.group_names)}
    members: list[list[int]] = [[] for _ in column]
    levels: list[Levels] = []
    for path in build.air_paths:
        for index, row in enumerate(path.fan_rows):
            group, place = column[row.group], len(levels)
            members[group].append(place)
            levels.append(
                row_power_level(build, path, index, speeds[..., group], load_share[..., place], adders=adders)
            )
    members[-1].append(len(levels))
    levels.append(pump_power_level(build, speeds[..., -1]))
    return _along_last_axis(levels), members


def predict_noise(
    build: Build,
    speeds: ArrayLike,
    load_share: ArrayLike,
    state: State | None = None,
    *,
    adders: Mapping[str, InstallationAdder] = INSTALLATION_ADDERS,
) -> NoiseState:
    """Predict the levels of a build at given speeds.

    Parameters
    ----------
    build : Build
        The rig; its numbers may carry case axes.
    speeds : array_like, (..., n_groups + 1)
        Speeds in the order of `build.group_names`, the pump last; 0 is silent. [rev/s]
    load_share : array_like, (..., n_rows)
        Flow of a fan over its free flow at its speed, rows in the order of paths and their stacks. [-]
    state : State, optional
        Its limits by position go before the positions' own; nothing else of it matters to the levels.
    adders : mapping
        Table of installation adders.

    Returns
    -------
    NoiseState
        Levels, all finite or -inf where the inputs are finite.
    """
    speeds, load_share = np.asarray(speeds, float), np.asarray(load_share, float)
    row_count = sum(len(path.fan_rows) for path in build.air_paths)
    for name, array, count in (
        ("speeds", speeds, len(build.group_names)),
        ("load_share", load_share, row_count),
    ):
        if array.shape[-1:] != (count,):
            raise ValueError(f"{name}: the last axis must have {count} entries, got shape {array.shape}")
    power_levels, members = _power_levels(build, speeds, load_share, adders)
    by_thing = np.moveaxis(power_levels, -1, 0)
    groups = _along_last_axis(
        sound.sum_levels(by_thing[places], axis=0) if len(places) != 1 else by_thing[places[0]] for places in members
    )
    contributions: Levels = groups[..., :, None] + transfer(build)[..., None, :]
    level = sound.sum_levels(contributions, axis=-2)
    total = sound.sum_levels(_along_last_axis([level, position_floors(build)]))
    return NoiseState(power_levels, contributions, level, total, position_limits(build, state))
