"""Sound power of every source of a build by octave: fan rows, pump, and what no speed changes.

A source is either one A-weighted number with the default spectrum (k = 55, its shape stays) or a spectrum that slides
with speed (k = 50), never both. Levels of the default spectrum, and of spectra of eight octaves, have nothing at
31.5 Hz: no source says anything about it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from quietcool.physics import bands, sound

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from quietcool.entry.build import Build, NoiseSource, Sound, State

    Levels: TypeAlias = NDArray[np.float64]

DEFAULT_BANDS = np.concatenate([[-np.inf], sound.DEFAULT_SPECTRUM])  # nine octaves over their A-weighted level [dB]
DEFAULT_BANDS.flags.writeable = False


def with_lowest(octave_levels: ArrayLike) -> Levels:
    """Return eight octaves as nine, with nothing at 31.5 Hz; nine as they are."""
    levels = np.asarray(octave_levels, float)
    if levels.shape[-1] == len(DEFAULT_BANDS):
        return levels
    return np.concatenate([np.full((*levels.shape[:-1], 1), -np.inf), levels], axis=-1)


def machine_level(sheet: Sound, speed: ArrayLike) -> Levels:
    """A-weighted sound power level of one fan or pump at a speed, its floor included.

    One number: the speed law. A spectrum: the A-weighted sum of `machine_bands`.

    Parameters
    ----------
    sheet : Sound
        What its sheet says.
    speed : array_like, (...)
        Speed; 0 is silent. [rev/s]

    Returns
    -------
    ndarray, (...)
        Level. [dB(A) re 1 pW]
    """
    if sheet.bands is not None:
        return sound.a_weighted_level(machine_bands(sheet, speed))
    return sound.power_level_at_speed(
        sheet.power_level, speed, sheet.speed, sheet.exponent, floor=sheet.floor_power_level
    )


def machine_bands(sheet: Sound, speed: ArrayLike) -> Levels:
    """Sound power of one fan or pump at a speed by octave, its floor included.

    Parameters
    ----------
    sheet : Sound
        What its sheet says. The floor has the default spectrum: bearings and motor do not slide with the blades.
    speed : array_like, (...)
        Speed; 0 is silent. [rev/s]

    Returns
    -------
    ndarray, (..., 9)
        Levels without weighting. [dB re 1 pW]
    """
    if sheet.bands is None:
        levels: Levels = np.asarray(machine_level(sheet, speed))[..., None] + DEFAULT_BANDS
        return levels
    # Whoever moves the level of a sheet, as errors and calibration do, moves its whole spectrum.
    moved = np.asarray(sheet.power_level - sound.a_weighted_level(sheet.bands))[..., None]
    turning = moved + with_lowest(bands.slide_spectrum(sheet.bands, speed, sheet.speed, sheet.exponent))
    resting = np.where(np.asarray(speed, float) <= 0.0, -np.inf, np.asarray(sheet.floor_power_level, float))
    floor = np.broadcast_to(resting[..., None] + DEFAULT_BANDS, np.broadcast_shapes(turning.shape, (*resting.shape, 9)))
    return sound.sum_levels(np.stack(np.broadcast_arrays(turning, floor)), axis=0)


def fixed_sources(build: Build, state: State | None) -> tuple[NoiseSource, ...]:
    """Return the sources that no speed changes and that sound in a state (in all states: without one)."""
    return tuple(
        source
        for source in build.noise_sources
        if source.states is None or (state is not None and state.name in source.states)
    )


def fixed_bands(source: NoiseSource) -> Levels:
    """Sound power of a source that no speed changes, by octave.

    Parameters
    ----------
    source : NoiseSource
        A tone lies in the octave that holds its frequency, with the weighting of that frequency; one number has the
        default spectrum.

    Returns
    -------
    ndarray, (..., 9)
        Levels without weighting. [dB re 1 pW]
    """
    if source.bands is not None:
        moved = np.asarray(source.power_level - sound.a_weighted_level(source.bands))[..., None]
        spectrum: Levels = moved + with_lowest(source.bands)
        return spectrum
    level = np.asarray(source.power_level, float)[..., None]
    if source.tone is None:
        spread: Levels = level + DEFAULT_BANDS
        return spread
    holds = np.arange(len(DEFAULT_BANDS)) == band_of(source.tone)
    return np.where(holds, level - sound.a_weighting(source.tone), -np.inf)


def band_of(frequency: ArrayLike) -> NDArray[np.intp]:
    """Return the number of the octave that holds a frequency, 0 for 31.5 Hz; the nearest one outside."""
    places = np.log10(np.asarray(frequency, float) / sound.OCTAVE_FREQUENCIES[0]) / bands.BAND_STEP
    found: NDArray[np.intp] = np.clip(np.rint(places), 0, len(DEFAULT_BANDS) - 1).astype(np.intp)
    return found
