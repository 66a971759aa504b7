"""Whether a tone stands out of noise: prominence ratio, masked threshold, threshold of hearing, beats one notices.

The critical band itself and the limits of prominence are in `tones.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Values: TypeAlias = NDArray[np.float64]

LOWEST_EDGE = 20.0  # no band of the method reaches below [Hz]
CUT_BELOW = 171.4  # up to here the lower band is cut at 20 Hz and scaled to a width of 100 Hz [Hz]
LOWER_EDGES = ((1600.0, (-149.5, 1.001, -6.90e-5)), (np.inf, (6.8, 0.806, -8.20e-6)))
UPPER_EDGES = ((1600.0, (149.5, 1.035, 7.70e-5)), (np.inf, (3.3, 1.215, 2.16e-5)))

THRESHOLD_FREQUENCIES = (
    20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0, 800.0,
    1000.0, 1250.0, 1600.0, 2000.0, 2500.0, 3150.0, 4000.0, 5000.0, 6300.0, 8000.0, 10000.0, 12500.0,
)  # fmt: skip
THRESHOLD_LEVELS = (
    78.5, 68.7, 59.5, 51.1, 44.0, 37.5, 31.5, 26.5, 22.1, 17.9, 14.4, 11.4, 8.6, 6.2, 4.4, 3.0, 2.2,
    2.4, 3.5, 1.7, -1.3, -4.2, -6.0, -5.4, -1.5, 6.0, 12.6, 13.9, 12.3,
)  # fmt: skip

BEAT_RANGE = (0.3, 15.0)  # slower is a drift, faster is rough [Hz]; common practice, no source
BEAT_DIFFERENCE = 10.0  # of the two levels; beyond, the depth is below 5.7 dB [dB]; common practice, no source


class AdjacentBands(NamedTuple):
    """Outer edges of the critical bands below and above that of a tone."""

    lower: Values  # lower edge of the band below [Hz]
    upper: Values  # upper edge of the band above [Hz]


def adjacent_bands(frequency: ArrayLike) -> AdjacentBands:
    """Outer edges of the two critical bands beside that of a tone.

    f_out = c_0 + c_1 f + c_2 f^2;  20 Hz for the lower band up to 171.4 Hz

    Parameters
    ----------
    frequency : array_like, (...)
        Frequency of the tone f. [Hz]

    Returns
    -------
    AdjacentBands
        Outer edges; the inner ones are those of the tone's own critical band.

    References
    ----------
    .. [1] ECMA-418-1, "Psychoacoustic metrics for ITT equipment, part 1: prominent discrete tones", prominence ratio.

    Examples
    --------
    >>> lower, upper = adjacent_bands(1000.0)
    >>> round(float(lower), 1), round(float(upper), 1)
    (782.5, 1261.5)
    """
    f = np.asarray(frequency, float)
    lower = np.where(f <= CUT_BELOW, LOWEST_EDGE, _edge(f, LOWER_EDGES))
    return AdjacentBands(lower[()], _edge(f, UPPER_EDGES)[()])


def _edge(f: Values, pieces: tuple[tuple[float, tuple[float, float, float]], ...]) -> Values:
    (split, near), (_, far) = pieces
    low, high = (c[0] + c[1] * f + c[2] * f * f for c in (near, far))
    return np.where(f <= split, low, high)


def prominence_ratio(
    middle_level: ArrayLike,
    lower_level: ArrayLike,
    upper_level: ArrayLike,
    frequency: ArrayLike,
    lower_width: ArrayLike,
) -> Values:
    """Prominence ratio of a tone: its critical band over the mean of the two beside it.

    PR = 10 lg( P_M / ((g P_L + P_U) / 2) ),  g = 100 / (f_1 - 20) up to 171.4 Hz, else 1

    Parameters
    ----------
    middle_level : array_like, (...)
        Level of tone and noise in the tone's critical band. [dB]
    lower_level, upper_level : array_like, (...)
        Levels in the critical bands below and above. [dB]
    frequency : array_like, (...)
        Frequency of the tone. [Hz]
    lower_width : array_like, (...)
        Width of the band below as it was taken, above 0. [Hz]

    Returns
    -------
    ndarray, (...)
        Prominence ratio. [dB]

    References
    ----------
    .. [1] ECMA-418-1, "Psychoacoustic metrics for ITT equipment, part 1: prominent discrete tones", prominence ratio.

    Examples
    --------
    >>> round(float(prominence_ratio(30.0, 20.0, 20.0, 500.0, 110.0)), 9)
    10.0
    """
    scale = np.where(np.asarray(frequency, float) <= CUT_BELOW, 100.0 / np.asarray(lower_width, float), 1.0)
    lower, upper = (10.0 ** (np.asarray(level, float) / 10.0) for level in (lower_level, upper_level))
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio: Values = np.asarray(middle_level, float) - 10.0 * np.log10(0.5 * (scale * lower + upper))
    return ratio


def proximity_spacing(frequency: ArrayLike) -> Values:
    """Spacing below which two tones of one critical band are heard as one.

    df = 21 * 10^(1.2 |lg(f / 212)|^1.8)

    Parameters
    ----------
    frequency : array_like, (...)
        Frequency of the stronger tone f, 89.1 Hz to 1 kHz. [Hz]

    Returns
    -------
    ndarray, (...)
        Spacing. [Hz]

    References
    ----------
    .. [1] ECMA-418-1, "Psychoacoustic metrics for ITT equipment, part 1: prominent discrete tones", multiple tones.

    Examples
    --------
    >>> float(proximity_spacing(212.0))
    21.0
    """
    spacing: Values = 21.0 * 10.0 ** (1.2 * np.abs(np.log10(np.asarray(frequency, float) / 212.0)) ** 1.8)
    return spacing


def masking_index(frequency: ArrayLike) -> Values:
    """Level of a just audible tone over the level of the noise in its critical band.

    a_v = -2 - lg(1 + (f / 502)^2.5)

    Parameters
    ----------
    frequency : array_like, (...)
        Frequency of the tone f. [Hz]

    Returns
    -------
    ndarray, (...)
        Level difference, negative. [dB]

    References
    ----------
    .. [1] DIN 45681:2005, masking index; recalled, not re-read. Zwicker & Fastl, "Psychoacoustics", chapter 4, has
       the same course: 2 dB under the noise of the critical band at low, 5 to 6 dB under it at high frequencies.

    Examples
    --------
    >>> round(float(masking_index(502.0)), 4)
    -2.301
    """
    index: Values = -2.0 - np.log10(1.0 + (np.asarray(frequency, float) / 502.0) ** 2.5)
    return index


def hearing_threshold(frequency: ArrayLike) -> Values:
    """Threshold of hearing for a pure tone, both ears, free field from the front.

    T_f of the table, straight between its frequencies over lg f

    Parameters
    ----------
    frequency : array_like, (...)
        Frequency of the tone, 20 Hz to 12.5 kHz. [Hz]

    Returns
    -------
    ndarray, (...)
        Threshold; inf outside the table. [dB re 20 uPa]

    References
    ----------
    .. [1] ISO 226:2003, Table 1, column T_f.

    Examples
    --------
    >>> [float(hearing_threshold(f)) for f in (100.0, 1000.0, 16000.0)]
    [26.5, 2.4, inf]
    """
    f = np.maximum(np.asarray(frequency, float), 1e-3)
    inside = np.interp(np.log10(f), np.log10(THRESHOLD_FREQUENCIES), THRESHOLD_LEVELS, left=np.inf, right=np.inf)
    return np.asarray(inside)[()]


def notices_beat(frequency: ArrayLike, level_difference: ArrayLike) -> NDArray[np.bool_]:
    """Whether the beat of two audible tones is one that people notice.

    0.3 Hz < f_beat < 15 Hz and |d| < 10 dB

    Parameters
    ----------
    frequency : array_like, (...)
        Beat frequency. [Hz]
    level_difference : array_like, (...)
        Difference d of the levels of the two tones, of either sign. [dB]

    Returns
    -------
    ndarray of bool, (...)
        True where it is noticed. [-]

    Notes
    -----
    Common practice, no source for the limits. Fluctuation is strongest near 4 Hz and turns into roughness between
    15 and 20 Hz (Zwicker & Fastl, "Psychoacoustics", chapters on fluctuation strength and roughness).

    Examples
    --------
    >>> bool(notices_beat(1.4, 3.0)), bool(notices_beat(20.0, 0.0))
    (True, False)
    """
    f, low, high = np.asarray(frequency, float), *BEAT_RANGE
    deep = np.abs(np.asarray(level_difference, float)) < BEAT_DIFFERENCE
    noticed: NDArray[np.bool_] = (f > low) & (f < high) & deep
    return noticed
