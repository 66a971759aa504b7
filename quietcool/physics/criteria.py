"""Room criteria: the NC and NR rating of an octave spectrum."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, NamedTuple, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Values: TypeAlias = NDArray[np.float64]

BANDS = np.array([31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0])  # nominal mid-bands [Hz]
BANDS.flags.writeable = False
SPEECH_BANDS = slice(-5, -1)  # 500 Hz to 4 kHz: speech interference level

NC_RATINGS = np.arange(15.0, 71.0, 5.0)  # curves of the table [NC]
NC_RATINGS.flags.writeable = False
NC_CURVES = np.array(
    [
        [61, 47, 36, 28, 22, 18, 14, 12, 11],
        [63, 50, 40, 33, 26, 22, 20, 17, 16],
        [65, 54, 44, 37, 31, 27, 24, 22, 22],
        [68, 57, 48, 41, 35, 32, 29, 28, 27],
        [71, 60, 52, 45, 40, 36, 34, 33, 32],
        [74, 64, 56, 50, 44, 41, 39, 38, 37],
        [76, 67, 60, 54, 49, 46, 44, 43, 42],
        [79, 71, 64, 58, 54, 51, 49, 48, 47],
        [82, 74, 67, 62, 58, 56, 54, 53, 52],
        [85, 77, 71, 66, 63, 60, 59, 58, 57],
        [88, 80, 75, 71, 68, 65, 64, 63, 62],
        [90, 84, 79, 75, 72, 71, 70, 68, 68],
    ],
    dtype=float,
)
"""Octave levels, 31.5 Hz to 8 kHz, of the curves NC-15 to NC-70 [dB]: ANSI/ASA S12.2-2019, Table 1 (in transcription).

Twelve cells (seven up to NC-40) differ by 1 dB from the classic table of Beranek (1957) that many texts still print.
"""
NC_CURVES.flags.writeable = False

NR_OFFSET = np.array([55.4, 35.5, 22.0, 12.0, 4.8, 0.0, -3.5, -6.1, -8.0])  # a of L = a + b NR [dB]
NR_SLOPE = np.array([0.681, 0.790, 0.870, 0.930, 0.974, 1.000, 1.015, 1.025, 1.030])  # b of L = a + b NR [-]
NR_OFFSET.flags.writeable = NR_SLOPE.flags.writeable = False


class RoomRating(NamedTuple):
    """Rating of a spectrum and the band that decides it."""

    rating: Values  # NC or NR; -inf below the lowest, inf above the highest NC curve [-]
    frequency: Values  # nominal mid-band that touches the rating's curve; NaN where none does [Hz]


def _last_bands(levels: ArrayLike) -> tuple[Values, int]:
    spectrum = np.asarray(levels, float)
    count = spectrum.shape[-1] if spectrum.ndim else 0
    if count not in (8, 9):
        raise ValueError(f"octave_levels: the last axis must have 8 or 9 bands, got {count}")
    return spectrum, count


def _highest(by_band: Values, count: int) -> RoomRating:
    place = np.argmax(by_band, axis=-1)
    rating: Values = np.take_along_axis(by_band, place[..., None], axis=-1)[..., 0][()]
    return RoomRating(rating, np.where(np.isfinite(rating) | (rating > 0.0), BANDS[-count:][place], np.nan)[()])


def nr_curve(rating: ArrayLike) -> Values:
    """Octave levels of a noise rating curve.

    L = a + b NR

    Parameters
    ----------
    rating : array_like, (...)
        NR. [-]

    Returns
    -------
    ndarray, (..., 9)
        Levels in the octaves 31.5 Hz to 8 kHz. [dB]

    References
    ----------
    .. [1] ISO/R 1996:1971; constants a and b as in AS 1469 (read in a transcription).

    Examples
    --------
    >>> [round(float(level), 2) for level in nr_curve(15.0)[4:7]]
    [19.41, 15.0, 11.72]
    """
    levels: Values = NR_OFFSET + NR_SLOPE * np.asarray(rating, float)[..., None]
    return levels


def nr_rating(octave_levels: ArrayLike) -> RoomRating:
    """Noise rating of an octave spectrum: the highest curve that a band touches.

    NR = max over bands of (L - a) / b

    Parameters
    ----------
    octave_levels : array_like, (..., 8) or (..., 9)
        Band levels without weighting, up to the 8 kHz octave, from 63 Hz or from 31.5 Hz. [dB]

    Returns
    -------
    RoomRating
        NR, not rounded, and the band that decides it.

    References
    ----------
    .. [1] ISO/R 1996:1971; constants a and b as in AS 1469 (read in a transcription).

    Examples
    --------
    >>> rating, band = nr_rating([45, 38, 32, 27, 22, 18, 14, 10])
    >>> round(float(rating), 2), float(band)
    (22.79, 500.0)
    """
    levels, count = _last_bands(octave_levels)
    return _highest((levels - NR_OFFSET[-count:]) / NR_SLOPE[-count:], count)


def nc_curve(rating: ArrayLike) -> Values:
    """Octave levels of a noise criterion curve, straight between the curves of the table.

    L_i = linear interpolation of the table in NC, band by band

    Parameters
    ----------
    rating : array_like, (...)
        NC, 15 to 70. [-]

    Returns
    -------
    ndarray, (..., 9)
        Levels in the octaves 31.5 Hz to 8 kHz; NaN outside the table. [dB]

    References
    ----------
    .. [1] ANSI/ASA S12.2-2019, Table 1. That curves between the printed ones are straight is a choice of ours.

    Examples
    --------
    >>> [float(level) for level in nc_curve(32.5)[1:4]]
    [58.5, 50.0, 43.0]
    """
    nc = np.asarray(rating, float)
    bands = [np.interp(nc, NC_RATINGS, curve, left=np.nan, right=np.nan) for curve in NC_CURVES.T]
    return np.stack(bands, axis=-1)


def nc_tangency(octave_levels: ArrayLike) -> RoomRating:
    """Noise criterion of an octave spectrum by tangency: the highest curve that a band touches.

    NC = max over bands of the curve through that band's level

    Parameters
    ----------
    octave_levels : array_like, (..., 8) or (..., 9)
        Band levels without weighting, up to the 8 kHz octave, from 63 Hz or from 31.5 Hz. [dB]

    Returns
    -------
    RoomRating
        NC, not rounded, and the band that decides it; -inf below NC-15 in every band, inf above NC-70.

    References
    ----------
    .. [1] ANSI/ASA S12.2-2019, 5.2.3 and Table 1.

    Examples
    --------
    >>> rating, band = nc_tangency([45, 38, 32, 27, 22, 18, 14, 10])
    >>> float(rating), float(band)
    (21.0, 500.0)
    """
    levels, count = _last_bands(octave_levels)
    columns = NC_CURVES.T[-count:]
    by_band = [
        np.interp(levels[..., i], curve, NC_RATINGS, left=-np.inf, right=np.inf) for i, curve in enumerate(columns)
    ]
    return _highest(np.stack(by_band, axis=-1), count)


def nc_rating(octave_levels: ArrayLike) -> RoomRating:
    """Noise criterion of an octave spectrum by the rule of the standard.

    NC-(SIL) with SIL the mean of 500 Hz to 4 kHz, rounded, if no band exceeds that curve; tangency otherwise

    Parameters
    ----------
    octave_levels : array_like, (..., 8) or (..., 9)
        Band levels without weighting, up to the 8 kHz octave, from 63 Hz or from 31.5 Hz. [dB]

    Returns
    -------
    RoomRating
        NC, and the band that decides it (NaN for a rating by SIL); -inf below NC-15, inf above NC-70.

    References
    ----------
    .. [1] ANSI/ASA S12.2-2019, 5.2.2 and 5.2.3.

    Examples
    --------
    >>> rating, band = nc_rating([50, 42, 35, 30, 26, 21, 17, 13])
    >>> float(rating), float(band)
    (24.0, nan)
    """
    levels, count = _last_bands(octave_levels)
    speech = np.floor(np.mean(levels[..., SPEECH_BANDS], axis=-1) + 0.5)
    by_speech = np.all(levels <= nc_curve(speech)[..., -count:] + 1e-9, axis=-1)  # a touch is no excess
    tangent = nc_tangency(levels)
    return RoomRating(
        np.where(by_speech, speech, tangent.rating)[()], np.where(by_speech, np.nan, tangent.frequency)[()]
    )


def nr_margin(octave_levels: ArrayLike, limit: ArrayLike) -> Values:
    """How far a spectrum stays under a noise rating curve: what every band may rise before the rating is passed.

    m = min over bands of (a + b NR - L)

    Parameters
    ----------
    octave_levels : array_like, (..., 8) or (..., 9)
        Band levels without weighting, up to the 8 kHz octave, from 63 Hz or from 31.5 Hz. [dB]
    limit : array_like, (...)
        NR that must not be passed. [-]

    Returns
    -------
    ndarray, (...)
        Margin, positive when kept. [dB]

    References
    ----------
    .. [1] ISO/R 1996:1971; constants a and b as in AS 1469 (read in a transcription).

    Examples
    --------
    >>> round(float(nr_margin([45, 38, 32, 27, 22, 18, 14, 10], 25.0)), 2)
    2.15
    """
    levels, count = _last_bands(octave_levels)
    margin: Values = np.min(nr_curve(limit)[..., -count:] - levels, axis=-1)
    return margin


def nc_margin(octave_levels: ArrayLike, limit: ArrayLike) -> Values:
    """How far a spectrum stays under a noise criterion: what every band may rise before the rating is passed.

    m = min( min over bands of (curve - L), floor(NC) + 0.5 - SIL ): neither tangency nor the rounded mean of 500 Hz
    to 4 kHz may pass the limit

    Parameters
    ----------
    octave_levels : array_like, (..., 8) or (..., 9)
        Band levels without weighting, up to the 8 kHz octave, from 63 Hz or from 31.5 Hz. [dB]
    limit : array_like, (...)
        NC that must not be passed, 15 to 70. [-]

    Returns
    -------
    ndarray, (...)
        Margin, positive when kept. [dB]

    Notes
    -----
    A spectrum that lies on a curve below NC-30 is rated above that curve, for the curve's own SIL is higher.

    References
    ----------
    .. [1] ANSI/ASA S12.2-2019, 5.2.2, 5.2.3 and Table 1.

    Examples
    --------
    >>> float(nc_margin([45, 38, 32, 27, 22, 18, 14, 10], 25.0))
    4.0
    """
    levels, count = _last_bands(octave_levels)
    tangency = np.min(nc_curve(limit)[..., -count:] - levels, axis=-1)
    with np.errstate(invalid="ignore"):
        speech = np.floor(np.asarray(limit, float)) + 0.5 - np.mean(levels[..., SPEECH_BANDS], axis=-1)
    margin: Values = np.minimum(tangency, speech)
    return margin


def tangency_index(octave_levels: ArrayLike, criterion: Literal["nc", "nr"]) -> RoomRating:
    """Rating by the highest curve that a band touches, as a number that a search can follow below the lowest curve.

    max over bands of the curve through that band's level; NC beyond its table goes on with the table's end slopes

    Parameters
    ----------
    octave_levels : array_like, (..., 8) or (..., 9)
        Band levels without weighting, up to the 8 kHz octave, from 63 Hz or from 31.5 Hz. [dB]
    criterion : str
        "nc" or "nr". [-]

    Returns
    -------
    RoomRating
        Rating, not rounded, -inf for silence; and the band that decides it.

    References
    ----------
    .. [1] ANSI/ASA S12.2-2019, 5.2.3 and Table 1; ISO/R 1996:1971. The continuation of NC is a choice of ours.

    Examples
    --------
    >>> round(float(tangency_index([20.0] * 8, "nc").rating), 2)
    23.33
    """
    levels, count = _last_bands(octave_levels)
    by_band = [index_of_band(levels[..., i], 9 - count + i, criterion) for i in range(count)]
    return _highest(np.stack(by_band, axis=-1), count)


def index_of_band(level: ArrayLike, band: int, criterion: Literal["nc", "nr"]) -> Values:
    """Curve that goes through the level of one octave, continued as in `tangency_index`.

    NR = (L - a) / b;  NC by the table, straight between and beyond its curves

    Parameters
    ----------
    level : array_like, (...)
        Level of the octave without weighting. [dB]
    band : int
        Which octave, 0 for 31.5 Hz. [-]
    criterion : str
        "nc" or "nr". [-]

    Returns
    -------
    ndarray, (...)
        Rating, rising with the level. [-]

    References
    ----------
    .. [1] ANSI/ASA S12.2-2019, 5.2.3 and Table 1; ISO/R 1996:1971. The continuation of NC is a choice of ours.

    Examples
    --------
    >>> float(index_of_band(27.0, 4, "nc")), round(float(index_of_band(27.0, 4, "nr")), 2)
    (21.0, 22.79)
    """
    height = np.asarray(level, float)
    if criterion == "nr":
        rating: Values = (height - NR_OFFSET[band]) / NR_SLOPE[band]
        return rating
    curve = NC_CURVES[:, band]
    first, last = ((NC_RATINGS[i + 1] - NC_RATINGS[i]) / (curve[i + 1] - curve[i]) for i in (0, -2))
    inside = np.interp(height, curve, NC_RATINGS)
    below, above = np.minimum(height - curve[0], 0.0), np.maximum(height - curve[-1], 0.0)
    extended: Values = inside + first * below + last * above
    return extended
