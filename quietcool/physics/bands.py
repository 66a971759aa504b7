"""Octave spectra: thirds to octaves, spectra that slide with speed, and the noise between two frequencies.

Octaves are those of IEC 61260-1, base ten, ending at 8 kHz: nine from 31.5 Hz or eight from 63 Hz.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Levels: TypeAlias = NDArray[np.float64]

BAND_STEP = 0.3  # of lg f from octave to octave: a factor of 10^0.3, 1.9953
HALF_BAND = 10.0 ** (BAND_STEP / 2.0)  # edge over mid-band frequency [-]
TOP_BAND = 1000.0 * 10.0 ** (3 * BAND_STEP)  # exact mid-band frequency of the 8 kHz octave [Hz]
BAND_COUNTS = (8, 9)  # octaves up to 8 kHz: from 63 Hz, from 31.5 Hz


def band_frequencies(count: int = 9) -> Levels:
    """Exact mid-band frequencies of the last octaves up to 8 kHz.

    f = 1000 * 10^(0.3 n)

    Parameters
    ----------
    count : int
        How many octaves: 9 from 31.5 Hz, 8 from 63 Hz.

    Returns
    -------
    ndarray, (count,)
        Mid-band frequencies. [Hz]

    References
    ----------
    .. [1] IEC 61260-1:2014, 5.2 to 5.4: octave ratio 10^(3/10).

    Examples
    --------
    >>> [round(float(f), 3) for f in band_frequencies(8)[:2]]
    [63.096, 125.893]
    """
    frequencies: Levels = TOP_BAND * 10.0 ** (-BAND_STEP * np.arange(count - 1, -1, -1.0))
    return frequencies


def octaves_from_thirds(third_octave_levels: ArrayLike) -> Levels:
    """Octave levels from third-octave levels.

    L = 10 lg( sum of three 10^(L_i / 10) )

    Parameters
    ----------
    third_octave_levels : array_like, (..., 3 n)
        Levels of the three thirds of each octave in turn: 24 from 50 Hz, or 27 from 25 Hz, to 10 kHz. [dB]

    Returns
    -------
    ndarray, (..., n)
        Octave levels. [dB]

    References
    ----------
    .. [1] IEC 61260-1:2014: three third octaves share the edges of one octave.

    Examples
    --------
    >>> round(float(octaves_from_thirds([20.0, 20.0, 20.0])[0]), 4)
    24.7712
    """
    thirds = np.asarray(third_octave_levels, float)
    energies = 10.0 ** (thirds.reshape(*thirds.shape[:-1], -1, 3) / 10.0)
    with np.errstate(divide="ignore"):
        levels: Levels = 10.0 * np.log10(energies.sum(axis=-1))
    return levels


def slide_spectrum(
    reference_levels: ArrayLike, speed: ArrayLike, reference_speed: ArrayLike, exponent: ArrayLike = 50.0
) -> Levels:
    """Octave spectrum of a fan or pump at another speed: its shape moves along the frequency with the speed.

    L(f, N) = S(f N_ref / N) + c, S straight between the bands over lg f and level beyond the first and the last;
    c such that the energy sum over the bands is that at N_ref plus k lg(N / N_ref);  -inf at N = 0

    Parameters
    ----------
    reference_levels : array_like, (8,) or (9,), or with leading axes that broadcast with `speed`
        Octave levels without weighting at `reference_speed`, up to the 8 kHz octave; finite. [dB re 1 pW]
    speed : array_like, (...)
        Speed N; 0 is silent. [rev/s]
    reference_speed : array_like
        Speed of `reference_levels`, above 0. [rev/s]
    exponent : array_like
        k: decibels of total power per decade of speed. [dB]

    Returns
    -------
    ndarray, (..., 8) or (..., 9)
        Octave levels in the same bands. [dB re 1 pW]

    Notes
    -----
    The Strouhal number of every feature of the spectrum stays. With k = 50 and the shift, the A-weighted level of
    a small fan follows 55 to 60 lg N: a single A-weighted number takes that exponent and does not slide.

    References
    ----------
    .. [1] Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., CRC Press, 2018, chapter on sound power
       estimation: 50 lg of speed. That a spectrum slides as a whole is similarity; that it is interpolated straight,
       held at its ends and scaled to the total is a choice of ours.

    Examples
    --------
    Twice the speed moves a flat spectrum into itself and lifts it by 50 lg 2.

    >>> [round(float(level), 3) for level in slide_spectrum([20.0] * 8, 2.0, 1.0)[:2]]
    [35.051, 35.051]
    >>> bool(np.all(slide_spectrum([20.0] * 8, 0.0, 1.0) == -np.inf))
    True
    """
    shape, n = np.asarray(reference_levels, float), np.shape(reference_levels)[-1]
    turning = np.where(np.asarray(speed, float) > 0.0, speed, np.nan if np.any(np.isnan(speed)) else 1.0)
    decades = np.log10(turning) - np.log10(reference_speed)
    place = np.clip(np.arange(n) - decades[..., None] / BAND_STEP, 0.0, n - 1.0)
    below = np.minimum(np.nan_to_num(place), n - 1.001).astype(np.intp)
    around = np.broadcast_to(shape, (*np.broadcast_shapes(shape.shape[:-1], place.shape[:-1]), n))
    below = np.broadcast_to(below, around.shape)
    low, high = (np.take_along_axis(around, places, axis=-1) for places in (below, below + 1))
    moved = low + (place - below) * (high - low)
    wanted = _total(shape) + np.asarray(exponent, float) * decades
    levels = moved + (wanted - _total(moved))[..., None]
    return np.where((np.asarray(speed, float) <= 0.0)[..., None], -np.inf, levels)


def _total(levels: Levels) -> Levels:
    total: Levels = 10.0 * np.log10(np.sum(10.0 ** (levels / 10.0), axis=-1))
    return total


def noise_between(octave_levels: ArrayLike, lower: ArrayLike, upper: ArrayLike) -> Levels:
    """Level of the noise between two frequencies, from an octave spectrum.

    L = 10 lg( sum_i 10^(L_i / 10) * overlap_i / width_i ): the energy of an octave is even over its hertz

    Parameters
    ----------
    octave_levels : array_like, (..., 8) or (..., 9)
        Octave levels without weighting, without the tones, up to the 8 kHz octave. [dB]
    lower, upper : array_like, (...)
        The two frequencies, lower first. [Hz]

    Returns
    -------
    ndarray, (...)
        Level; -inf where no octave reaches. [dB]

    References
    ----------
    .. [1] By definition of a spectral density that is constant in a band, edges after IEC 61260-1:2014.

    Examples
    --------
    A tenth of the width of a band holds a tenth of its energy.

    >>> round(float(noise_between([20.0] * 9, 1000.0, 1000.0 + 0.1 * (HALF_BAND - 1 / HALF_BAND) * 1000.0)), 6)
    10.0
    """
    levels = np.asarray(octave_levels, float)
    middle = band_frequencies(levels.shape[-1])
    low, high = middle / HALF_BAND, middle * HALF_BAND
    first, last = np.asarray(lower, float)[..., None], np.asarray(upper, float)[..., None]
    overlap = np.clip(np.minimum(high, last) - np.maximum(low, first), 0.0, None)
    with np.errstate(divide="ignore"):
        level: Levels = 10.0 * np.log10(np.sum(10.0 ** (levels / 10.0) * overlap / (high - low), axis=-1))
    return level
