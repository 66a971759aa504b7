"""Octave spectra of a build at every position: each source's share, the rig, and everything that is heard.

Batched: leading axes are cases. Energies are multiplied and summed, and turned to levels at the end, a chunk of cases
at a time, so that memory is bounded by the answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np

from quietcool.entry.build import PUMP
from quietcool.physics import sound
from quietcool.solve.installation import InstallationAdder, adders_of
from quietcool.solve.listening import floor_bands
from quietcool.solve.noise import row_adders
from quietcool.solve.sources import fixed_bands, fixed_sources, machine_bands
from quietcool.solve.transfers import transfer_bands

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import ArrayLike, NDArray

    from quietcool.entry.build import AirPath, Build, State

    Levels: TypeAlias = NDArray[np.float64]

CHUNK = 2048  # cases worked at together


@dataclass(frozen=True)
class SpectrumState:
    """What is heard of a build, octaves 31.5 Hz to 8 kHz without weighting. Leading axes are cases."""

    sources: tuple[str, ...]  # the groups, the pump, then what no speed changes
    contributions: Levels  # (..., n_sources, n_positions, 9) [dB]
    contribution_levels: Levels  # (..., n_sources, n_positions) A-weighted; a tone at its own frequency [dB(A)]
    rig: Levels  # (..., n_positions, 9) all sources together [dB]
    total: Levels  # (..., n_positions, 9) with background and self noise of the position [dB]

    @property
    def level(self) -> Levels:
        """The rig's share, A-weighted, (..., n_positions) [dB(A)]."""
        return sound.sum_levels(self.contribution_levels, axis=-2)


class _Sources(NamedTuple):
    """Sound power of every source, with the weight that each octave of it has."""

    names: tuple[str, ...]
    energy: Levels  # (..., n_sources, 9) over 1 pW [-]
    weight: Levels  # (n_sources, 9) A-weighting as a factor on energy [-]


def predict_spectra(
    build: Build,
    speeds: ArrayLike,
    load_share: ArrayLike,
    state: State | None = None,
    *,
    adders: Mapping[str, InstallationAdder] | None = None,
) -> SpectrumState:
    """Predict octave spectra at every position.

    Parameters
    ----------
    build : Build
        The rig; its numbers may carry case axes.
    speeds : array_like, (..., n_groups + 1)
        Speeds in the order of `build.group_names`, the pump last; 0 is silent. [rev/s]
    load_share : array_like, (..., n_rows)
        Flow of a fan over its free flow at its speed, rows in the order of paths and their stacks. [-]
    state : State, optional
        Only what sounds in it; without it only what sounds in every state.
    adders : mapping, optional
        Table of installation adders; the build's own without it.

    Returns
    -------
    SpectrumState
        Its A-weighted sums are the levels of `noise.predict_noise`.
    """
    speeds, load_share = np.asarray(speeds, float), np.asarray(load_share, float)
    sources = source_energies(build, speeds, load_share, state, adders=adders)
    gain = _factor(transfer_bands(build))
    floor = _factor(floor_bands(build))
    cases = np.broadcast_shapes(sources.energy.shape[:-2], gain.shape[:-2])
    n, positions, bands = len(sources.names), gain.shape[-2], gain.shape[-1]
    energy = np.broadcast_to(sources.energy, (*cases, n, bands)).reshape(-1, n, bands)
    gains = np.broadcast_to(gain, (*cases, positions, bands)).reshape(-1, positions, bands)
    contributions = np.empty((len(energy), n, positions, bands))
    levels = np.empty((len(energy), n, positions))
    rig, total = np.empty((len(energy), positions, bands)), np.empty((len(energy), positions, bands))
    for start in range(0, len(energy), CHUNK):
        part = slice(start, start + CHUNK)
        arriving = energy[part, :, None, :] * gains[part, None, :, :]
        levels[part] = _level(np.einsum("cspb,sb->csp", arriving, sources.weight))
        together = arriving.sum(axis=1)
        rig[part], total[part] = _level(together), _level(together + floor)
        contributions[part] = _level(arriving)
    return SpectrumState(
        sources.names,
        contributions.reshape(*cases, n, positions, bands),
        levels.reshape(*cases, n, positions),
        rig.reshape(*cases, positions, bands),
        total.reshape(*cases, positions, bands),
    )


def rig_spectrum(build: Build, speeds: ArrayLike, load_share: ArrayLike, state: State | None = None) -> Levels:
    """The rig's share at every position by octave: `predict_spectra` without what each source adds to it.

    Parameters
    ----------
    build, speeds, load_share, state
        As for `predict_spectra`.

    Returns
    -------
    ndarray, (..., n_positions, 9)
        Levels without weighting. [dB]
    """
    sources = source_energies(build, np.asarray(speeds, float), np.asarray(load_share, float), state)
    energy: Levels = sources.energy.sum(axis=-2)
    return _level(energy[..., None, :] * _factor(transfer_bands(build)))


def row_band_levels(build: Build, path: AirPath, row_index: int, speed: ArrayLike, load_share: ArrayLike) -> Levels:
    """Level of a whole fan row at every position by octave; arguments as for `noise.row_power_level`.

    Returns
    -------
    ndarray, (..., n_positions, 9)
        Levels without weighting. [dB]
    """
    row = path.fan_rows[row_index]
    sheet = next(group for group in build.fan_groups if group.name == row.group).fan.sound
    installed, loaded, counted = row_adders(build, path, row_index, speed, load_share)
    power = machine_bands(sheet, speed) + np.asarray(installed + loaded + counted)[..., None]
    heard: Levels = power[..., None, :] + transfer_bands(build)
    return heard


def pump_band_levels(build: Build, speed: ArrayLike) -> Levels:
    """Level of the pump at every position by octave, (..., n_positions, 9) [dB]; as `noise.pump_power_level`."""
    pump = build.loop.pump
    power = machine_bands(pump.sound, speed) + np.asarray(pump.mounting_adder)[..., None]
    heard: Levels = power[..., None, :] + transfer_bands(build)
    return heard


def fixed_band_levels(build: Build, state: State | None = None) -> Levels:
    """Level of what no speed changes at every position by octave, (n_noise_sources, n_positions, 9) [dB]."""
    sources = fixed_sources(build, state)
    if not sources:
        return np.zeros((0, len(build.positions), 9))
    power = np.stack([fixed_bands(source) for source in sources])
    return power[:, None, :] + transfer_bands(build)


def source_energies(
    build: Build,
    speeds: Levels,
    load_share: Levels,
    state: State | None = None,
    *,
    adders: Mapping[str, InstallationAdder] | None = None,
) -> _Sources:
    """Sound power of every group, of the pump and of what no speed changes, as energies; as `predict_spectra`."""
    table = adders_of(build) if adders is None else adders
    column = {name: i for i, name in enumerate(build.group_names)}
    by_group: dict[str, Levels] = {}
    alone = {group.name: machine_bands(group.fan.sound, speeds[..., column[group.name]]) for group in build.fan_groups}
    place = 0
    for path in build.air_paths:
        for index, row in enumerate(path.fan_rows):
            speed, share = speeds[..., column[row.group]], load_share[..., place]
            installed, loaded, counted = row_adders(build, path, index, speed, share, table)
            added = np.asarray(installed + loaded + counted)
            energy = _factor(alone[row.group]) * _factor(added)[..., None]
            by_group[row.group] = by_group[row.group] + energy if row.group in by_group else energy
            place += 1
    pump = machine_bands(build.loop.pump.sound, speeds[..., -1])
    by_group[PUMP] = _factor(pump + np.asarray(build.loop.pump.mounting_adder)[..., None])
    fixed = fixed_sources(build, state)
    silence = np.zeros(9)
    energies = [by_group.get(name, silence) for name in column] + [_factor(fixed_bands(source)) for source in fixed]
    weights = [sound.OCTAVE_A_WEIGHTS] * len(column)
    weights += [
        sound.OCTAVE_A_WEIGHTS if source.tone is None else np.full(9, sound.a_weighting(source.tone))
        for source in fixed
    ]
    names = (*column, *(source.name for source in fixed))
    return _Sources(names, np.stack(np.broadcast_arrays(*energies), axis=-2), _factor(np.array(weights)))


def _factor(levels: Levels) -> Levels:
    factor: Levels = 10.0 ** (np.asarray(levels, float) / 10.0)
    return factor


def _level(energy: Levels) -> Levels:
    with np.errstate(divide="ignore"):
        level: Levels = 10.0 * np.log10(energy)
    return level
