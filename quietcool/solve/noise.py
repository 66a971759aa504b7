"""Noise of a build at given speeds: every row's sound power, and what of it arrives at every position.

A-weighted levels, incoherent sums; `spectra.py` has the octaves. Source terms are added in this order: level at
speed (floor included), installation adder by place in the stack, load adder by the share of free flow, number of fans.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from quietcool.entry.build import PUMP
from quietcool.physics import sound
from quietcool.solve.installation import (
    INSTALLATION_ADDERS,
    InstallationAdder,
    adders_of,
    installation_terms,
)
from quietcool.solve.listening import position_floors, position_limits
from quietcool.solve.sources import DEFAULT_BANDS, fixed_bands, fixed_sources, machine_bands, machine_level
from quietcool.solve.transfers import bands_differ, position_transfer, transfer, transfer_bands

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from numpy.typing import ArrayLike, NDArray

    from quietcool.entry.build import AirPath, Build, Number, Sound, State

    Levels: TypeAlias = NDArray[np.float64]

__all__ = [
    "INSTALLATION_ADDERS",
    "InstallationAdder",
    "NoiseState",
    "fixed_heard_levels",
    "installation_terms",
    "position_floors",
    "position_limits",
    "position_transfer",
    "predict_noise",
    "pump_heard_levels",
    "pump_power_level",
    "row_heard_levels",
    "row_power_level",
    "transfer",
]


@dataclass(frozen=True)
class NoiseState:
    """Levels of a build at given speeds. Leading axes are cases."""

    power_levels: Levels  # (..., n_rows + 1) sound power of every fan row, in path order, then the pump [dB(A) re 1 pW]
    contributions: Levels  # (..., n_groups + 1, n_positions) of each group, pump last, where it is heard [dB(A)]
    fixed: Levels  # (..., n_noise_sources, n_positions) of what no speed changes, where it is heard [dB(A)]
    level: Levels  # (..., n_positions) the rig's share: all groups, the pump and what no speed changes [dB(A)]
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


def row_power_level(
    build: Build,
    path: AirPath,
    row_index: int,
    speed: ArrayLike,
    load_share: ArrayLike,
    adders: Mapping[str, InstallationAdder] | None = None,
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
    adders : mapping, optional
        Table of installation adders; the build's own without it.

    Returns
    -------
    ndarray, (...)
        A-weighted sound power level; -inf at speed 0. [dB(A) re 1 pW]
    """
    sheet = _sheet_of(build, path, row_index)
    installed, loaded, counted = row_adders(build, path, row_index, speed, load_share, adders)
    level: Levels = machine_level(sheet, speed) + installed + loaded + counted
    return level


def _sheet_of(build: Build, path: AirPath, row_index: int) -> Sound:
    row = path.fan_rows[row_index]
    return next(group for group in build.fan_groups if group.name == row.group).fan.sound


def row_adders(
    build: Build,
    path: AirPath,
    row_index: int,
    speed: ArrayLike,
    load_share: ArrayLike,
    adders: Mapping[str, InstallationAdder] | None = None,
) -> tuple[Number, Levels, float]:
    """Level of a whole fan row over that of one of its fans at free delivery; arguments as for `row_power_level`.

    Returns
    -------
    tuple
        Installation terms, load adder (...) and 10 lg of the number of fans: the same in every octave. [dB]
    """
    sheet = _sheet_of(build, path, row_index)
    terms = installation_terms(path, row_index, adders_of(build) if adders is None else adders)
    # The free flow of a stopped fan is 0, and so its load share is no number: it must not reach the level.
    share = np.where(np.asarray(speed, float) <= 0.0, 1.0, load_share)
    counted = float(10.0 * np.log10(path.fan_rows[row_index].count))
    return sum(terms.values()), sound.load_adder(share, sheet.load_adder_scale), counted


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
    level: Levels = machine_level(pump.sound, speed) + pump.mounting_adder
    return level


def _heard(build: Build, sheet: Sound, speed: ArrayLike, power_level: Levels) -> Levels:
    """Level at every position of a source of a power level with the spectrum that its sheet has at a speed."""
    if sheet.bands is None or not bands_differ(build):
        return power_level[..., None] + transfer(build)
    level = machine_level(sheet, speed)[..., None]
    silent = level == -np.inf
    shape = np.where(silent, DEFAULT_BANDS, machine_bands(sheet, speed) - np.where(silent, 0.0, level))
    change = sound.a_weighted_level(shape[..., None, :] + transfer_bands(build))
    return power_level[..., None] + change


def row_heard_levels(
    build: Build,
    path: AirPath,
    row_index: int,
    speed: ArrayLike,
    load_share: ArrayLike,
    adders: Mapping[str, InstallationAdder] | None = None,
) -> Levels:
    """Level of a whole fan row at every position; arguments as for `row_power_level`.

    Returns
    -------
    ndarray, (..., n_positions)
        The load adder is the same in every octave, so that it adds to these levels as it does to the power. [dB(A)]
    """
    power_level = row_power_level(build, path, row_index, speed, load_share, adders)
    return _heard(build, _sheet_of(build, path, row_index), speed, power_level)


def pump_heard_levels(build: Build, speed: ArrayLike) -> Levels:
    """Level of the pump at every position, (..., n_positions) [dB(A)]; arguments as for `pump_power_level`."""
    return _heard(build, build.loop.pump.sound, speed, pump_power_level(build, speed))


def fixed_heard_levels(build: Build, state: State | None = None) -> Levels:
    """Level of every source that no speed changes at every position.

    Parameters
    ----------
    build : Build
        Holds the sources.
    state : State, optional
        Only what sounds in it; without it only what sounds in every state.

    Returns
    -------
    ndarray, (..., n_noise_sources, n_positions)
        In the order of `fixed_sources`. A tone has the weighting of its own frequency. [dB(A)]
    """
    sources, bands = fixed_sources(build, state), transfer_bands(build)
    if not sources:
        return np.zeros((0, len(build.positions)))
    levels = []
    for source in sources:
        weights = sound.OCTAVE_A_WEIGHTS if source.tone is None else sound.a_weighting(source.tone)
        levels.append(sound.sum_levels(fixed_bands(source)[..., None, :] + bands + weights))
    return np.stack(np.broadcast_arrays(*levels), axis=-2)


def _rows_and_pump(build: Build) -> list[list[int]]:
    """For every group, the places of its rows in the order of paths and stacks; the pump stands behind the rows."""
    members: dict[str, list[int]] = {name: [] for name in build.group_names}
    rows = [row for path in build.air_paths for row in path.fan_rows]
    for place, row in enumerate(rows):
        members[row.group].append(place)
    members[PUMP].append(len(rows))
    return list(members.values())


def _power_levels(
    build: Build, speeds: Levels, load_share: Levels, adders: Mapping[str, InstallationAdder]
) -> list[Levels]:
    """Return the levels of rows and pump."""
    column = {name: i for i, name in enumerate(build.group_names)}
    levels: list[Levels] = []
    for path in build.air_paths:
        for index, row in enumerate(path.fan_rows):
            speed, share = speeds[..., column[row.group]], load_share[..., len(levels)]
            levels.append(row_power_level(build, path, index, speed, share, adders=adders))
    levels.append(pump_power_level(build, speeds[..., -1]))
    return levels


def _contributions(build: Build, speeds: Levels, power_levels: list[Levels]) -> Levels:
    """Level of every group where it is heard, from the power levels of rows and pump."""
    members, moved = _rows_and_pump(build), transfer(build)
    sheets = [*(group.fan.sound for group in build.fan_groups), build.loop.pump.sound]
    spectral = bands_differ(build)
    found: list[Levels] = []
    by_thing = np.stack(np.broadcast_arrays(*power_levels))
    for group, (places, sheet) in enumerate(zip(members, sheets, strict=True)):
        level = sound.sum_levels(by_thing[places], axis=0) if len(places) != 1 else by_thing[places[0]]
        if spectral and sheet.bands is not None:
            found.append(_heard(build, sheet, speeds[..., group], level))
        else:
            found.append(level[..., None] + moved)
    return np.stack(np.broadcast_arrays(*found), axis=-2)


def predict_noise(
    build: Build,
    speeds: ArrayLike,
    load_share: ArrayLike,
    state: State | None = None,
    *,
    adders: Mapping[str, InstallationAdder] | None = None,
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
        Its limits by position go before the positions' own, and what sounds in it only sounds.
    adders : mapping, optional
        Table of installation adders; the build's own without it.

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
    power_levels = _power_levels(build, speeds, load_share, adders_of(build) if adders is None else adders)
    contributions = _contributions(build, speeds, power_levels)
    fixed = fixed_heard_levels(build, state)
    level = sound.sum_levels(contributions, axis=-2)
    if fixed.shape[-2]:
        level = sound.sum_levels(_along_last_axis([level, sound.sum_levels(fixed, axis=-2)]))
    total = sound.sum_levels(_along_last_axis([level, position_floors(build)]))
    return NoiseState(_along_last_axis(power_levels), contributions, fixed, level, total, position_limits(build, state))
