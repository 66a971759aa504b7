"""Tones of fans and pumps: where they lie, how they beat, and when one counts as prominent."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Values: TypeAlias = NDArray[np.float64]

TONE_RANGE = (89.1, 11200.0)  # frequencies that ECMA-418-1 gives a verdict for [Hz]


class BandEdges(NamedTuple):
    """Edges of a band."""

    lower: Values  # [Hz]
    upper: Values  # [Hz]


def blade_pass_frequency(speed: ArrayLike, blade_count: ArrayLike, harmonic: ArrayLike = 1) -> Values:
    """Blade pass frequency of a rotor, or one of its harmonics.

    f = k N B

    Parameters
    ----------
    speed : array_like
        Speed N. [rev/s]
    blade_count : array_like
        Blades B, or vanes of a pump. [-]
    harmonic : array_like
        Order k, 1 for the fundamental. [-]

    Returns
    -------
    ndarray
        Frequency. [Hz]

    References
    ----------
    .. [1] Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., CRC Press, 2018, section on fan noise.

    Examples
    --------
    1200 rpm with nine blades.

    >>> float(blade_pass_frequency(20.0, 9))
    180.0
    """
    frequency: Values = np.asarray(speed, float) * np.asarray(blade_count) * np.asarray(harmonic)
    return frequency


def beat_frequency(first: ArrayLike, second: ArrayLike) -> Values:
    """Frequency at which the level of two close tones rises and falls.

    f_beat = |f_2 - f_1|

    Parameters
    ----------
    first, second : array_like
        Frequencies of the tones. [Hz]

    Returns
    -------
    ndarray
        Beat frequency. [Hz]

    References
    ----------
    .. [1] Trigonometry of the sum of two sines; no reference needed.

    Examples
    --------
    >>> round(float(beat_frequency(116.667, 118.067)), 3)
    1.4
    """
    difference: Values = np.abs(np.asarray(second, float) - np.asarray(first, float))
    return difference


def beat_depth(level_difference: ArrayLike) -> Values:
    """Swing of the level of two beating tones, from its highest to its lowest value.

    depth = 20 lg((1 + r) / (1 - r)),  r = 10^(-|d| / 20)

    Parameters
    ----------
    level_difference : array_like
        Difference d of the levels of the tones, of either sign. [dB]

    Returns
    -------
    ndarray
        Depth; inf for equal tones. [dB]

    References
    ----------
    .. [1] Trigonometry of the sum of two sines; no reference needed.

    Examples
    --------
    >>> round(float(beat_depth(3.0)), 4)
    15.3402
    """
    r = 10.0 ** (-np.abs(np.asarray(level_difference, float)) / 20.0)
    with np.errstate(divide="ignore"):
        depth: Values = 20.0 * np.log10((1.0 + r) / (1.0 - r))
    return depth


def beat_peak(level_difference: ArrayLike) -> Values:
    """Highest level of two beating tones over the stronger one.

    peak = 20 lg(1 + r),  r = 10^(-|d| / 20)

    Parameters
    ----------
    level_difference : array_like
        Difference d of the levels of the tones, of either sign. [dB]

    Returns
    -------
    ndarray
        Level difference. [dB]

    References
    ----------
    .. [1] Trigonometry of the sum of two sines; no reference needed.

    Examples
    --------
    >>> round(float(beat_peak(0.0)), 4)
    6.0206
    """
    peak: Values = 20.0 * np.log10(1.0 + 10.0 ** (-np.abs(np.asarray(level_difference, float)) / 20.0))
    return peak


def beat_mean(level_difference: ArrayLike) -> Values:
    """Level of two beating tones over the stronger one, averaged over many beats.

    mean = 10 lg(1 + r^2),  r = 10^(-|d| / 20)

    Parameters
    ----------
    level_difference : array_like
        Difference d of the levels of the tones, of either sign. [dB]

    Returns
    -------
    ndarray
        Level difference; the incoherent sum. [dB]

    References
    ----------
    .. [1] Trigonometry of the sum of two sines; no reference needed.

    Examples
    --------
    >>> round(float(beat_mean(0.0)), 4)
    3.0103
    """
    mean: Values = 10.0 * np.log10(1.0 + 10.0 ** (-np.abs(np.asarray(level_difference, float)) / 10.0))
    return mean


def critical_bandwidth(frequency: ArrayLike) -> Values:
    """Width of the critical band of hearing around a frequency.

    df_c = 25 + 75 (1 + 1.4 (f / 1000)^2)^0.69

    Parameters
    ----------
    frequency : array_like
        Frequency f. [Hz]

    Returns
    -------
    ndarray
        Bandwidth. [Hz]

    References
    ----------
    .. [1] ECMA-418-1, "Psychoacoustic metrics for ITT equipment, part 1: prominent discrete tones".

    Examples
    --------
    >>> round(float(critical_bandwidth(350.0)), 3)
    108.655
    """
    width: Values = 25.0 + 75.0 * (1.0 + 1.4 * (np.asarray(frequency, float) / 1000.0) ** 2) ** 0.69
    return width


def critical_band(frequency: ArrayLike) -> BandEdges:
    """Edges of the critical band around a frequency.

    f <= 500 Hz: f -/+ df_c / 2;  above: f_1 = (sqrt(df_c^2 + 4 f^2) - df_c) / 2, f_2 = f_1 + df_c

    Parameters
    ----------
    frequency : array_like
        Frequency f. [Hz]

    Returns
    -------
    BandEdges
        Lower and upper edge: their arithmetic (below) or geometric (above 500 Hz) mean is f.

    References
    ----------
    .. [1] ECMA-418-1, "Psychoacoustic metrics for ITT equipment, part 1: prominent discrete tones".

    Examples
    --------
    >>> lower, upper = critical_band(1000.0)
    >>> round(float(lower), 2), round(float(upper), 2)
    (922.17, 1084.39)
    """
    f, width = np.asarray(frequency, float), critical_bandwidth(frequency)
    lower = np.where(f <= 500.0, f - width / 2.0, (np.sqrt(width**2 + 4.0 * f**2) - width) / 2.0)[()]
    return BandEdges(lower, lower + width)


def _limit(frequency: ArrayLike, high: float, slope: float) -> Values:
    f = np.asarray(frequency, float)
    inside = (f >= TONE_RANGE[0]) & (f <= TONE_RANGE[1])
    decades = np.log10(1000.0 / np.where(inside, np.minimum(f, 1000.0), 1000.0))
    return np.where(inside, high + slope * decades, np.nan)[()]


def tone_to_noise_limit(frequency: ArrayLike) -> Values:
    """Tone-to-noise ratio from which on a tone is prominent.

    8 + 8.33 lg(1000 / f) dB below 1 kHz, 8 dB from there on

    Parameters
    ----------
    frequency : array_like
        Frequency of the tone f. [Hz]

    Returns
    -------
    ndarray
        Limit; NaN outside 89.1 Hz to 11.2 kHz, where there is no verdict. [dB]

    References
    ----------
    .. [1] ECMA-418-1, "Psychoacoustic metrics for ITT equipment, part 1: prominent discrete tones".

    Examples
    --------
    >>> round(float(tone_to_noise_limit(350.0)), 4)
    11.7979
    """
    return _limit(frequency, 8.0, 8.33)


def prominence_limit(frequency: ArrayLike) -> Values:
    """Prominence ratio from which on a tone is prominent.

    9 + 10 lg(1000 / f) dB below 1 kHz, 9 dB from there on

    Parameters
    ----------
    frequency : array_like
        Frequency of the tone f. [Hz]

    Returns
    -------
    ndarray
        Limit; NaN outside 89.1 Hz to 11.2 kHz, where there is no verdict. [dB]

    References
    ----------
    .. [1] ECMA-418-1, "Psychoacoustic metrics for ITT equipment, part 1: prominent discrete tones".

    Examples
    --------
    >>> round(float(prominence_limit(350.0)), 4)
    13.5593
    """
    return _limit(frequency, 9.0, 10.0)
