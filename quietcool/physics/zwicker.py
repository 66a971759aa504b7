"""Loudness of stationary sounds from third-octave levels: the method of Zwicker as ISO 532-1 states it.

Bands of hearing get a core loudness each; towards higher pitch a loud band masks the next ones by a slope that falls
step by step. The area under the upper envelope is the loudness. `loudness.py` turns it into phon.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Values: TypeAlias = NDArray[np.float64]

THIRDS = 28  # 25 Hz to 12.5 kHz
LEAST_LEVEL = -60.0  # what stands for nothing [dB]

# Tables of ISO 532-1:2017, Annex A (A.3 to A.9), read in a transcription.
LOW_RANGES = np.array([45.0, 55.0, 65.0, 71.0, 80.0, 90.0, 100.0, 120.0])  # of the corrections below [dB]
LOW_CORRECTIONS = np.array(  # of the thirds 25 Hz to 250 Hz, by range [dB]
    [
        [-32, -24, -16, -10, -5, 0, -7, -3, 0, -2, 0],
        [-29, -22, -15, -10, -4, 0, -7, -2, 0, -2, 0],
        [-27, -19, -14, -9, -4, 0, -6, -2, 0, -2, 0],
        [-25, -17, -12, -9, -3, 0, -5, -2, 0, -2, 0],
        [-23, -16, -11, -7, -3, 0, -4, -1, 0, -1, 0],
        [-20, -14, -10, -6, -3, 0, -4, -1, 0, -1, 0],
        [-18, -12, -9, -6, -2, 0, -3, -1, 0, -1, 0],
        [-15, -10, -8, -4, -2, 0, -3, -1, 0, -1, 0],
    ],
    dtype=float,
)
THRESHOLD = np.array([30.0, 18, 12, 8, 7, 6, 5, 4] + [3] * 12)  # of the critical bands [dB]
EAR = np.array([0.0] * 10 + [-0.5, -1.6, -3.2, -5.4, -5.6, -4.0, -1.5, 2.0, 5.0, 12.0])  # transmission [dB]
DIFFUSE = np.array(  # diffuse less free field [dB]
    [0, 0, 0.5, 0.9, 1.2, 1.6, 2.3, 2.8, 3, 2, 0, -1.4, -2, -1.9, -1, 0.5, 3, 4, 4.3, 4]
)
WIDTH = np.array(  # thirds to critical bands [dB]
    [-0.25, -0.6, -0.8, -0.8, -0.5, 0, 0.5, 1.1, 1.5, 1.7, 1.8, 1.8, 1.7, 1.6, 1.4, 1.2, 0.8, 0.5, 0, -0.5]
)
UPPER_ENDS = np.array(  # of the bands, the last without a core [Bark]
    [
        0.9,
        1.8,
        2.8,
        3.5,
        4.4,
        5.4,
        6.6,
        7.9,
        9.2,
        10.6,
        12.3,
        13.8,
        15.2,
        16.7,
        18.1,
        19.3,
        20.6,
        21.8,
        22.7,
        23.6,
        24.0,
    ]
)
SLOPE_RANGES = np.array(  # lower ends of the ranges of specific loudness in which a slope holds [sone/Bark]
    [21.5, 18, 15.1, 11.5, 9, 6.1, 4.4, 3.1, 2.13, 1.36, 0.82, 0.42, 0.30, 0.22, 0.15, 0.10, 0.035, 0]
)
SLOPES = np.array(  # by range, for the second to the ninth band and those above [sone/Bark2]
    [
        [13, 8.2, 6.3, 5.5, 5.5, 5.5, 5.5, 5.5],
        [9, 7.5, 6, 5.1, 4.5, 4.5, 4.5, 4.5],
        [7.8, 6.7, 5.6, 4.9, 4.4, 3.9, 3.9, 3.9],
        [6.2, 5.4, 4.6, 4.0, 3.5, 3.2, 3.2, 3.2],
        [4.5, 3.8, 3.6, 3.2, 2.9, 2.7, 2.7, 2.7],
        [3.7, 3.0, 2.8, 2.35, 2.2, 2.2, 2.2, 2.2],
        [2.9, 2.3, 2.1, 1.9, 1.8, 1.7, 1.7, 1.7],
        [2.4, 1.7, 1.5, 1.35, 1.3, 1.3, 1.3, 1.3],
        [1.95, 1.45, 1.3, 1.15, 1.1, 1.1, 1.1, 1.1],
        [1.5, 1.2, 0.94, 0.86, 0.82, 0.82, 0.82, 0.82],
        [0.72, 0.67, 0.64, 0.63, 0.62, 0.62, 0.62, 0.62],
        [0.59, 0.53, 0.51, 0.50, 0.42, 0.42, 0.42, 0.42],
        [0.40, 0.33, 0.26, 0.24, 0.24, 0.22, 0.22, 0.22],
        [0.27, 0.21, 0.20, 0.18, 0.17, 0.17, 0.17, 0.17],
        [0.16, 0.15, 0.14, 0.12, 0.11, 0.11, 0.11, 0.11],
        [0.12, 0.11, 0.10, 0.08, 0.08, 0.08, 0.08, 0.08],
        [0.09, 0.08, 0.07, 0.06, 0.06, 0.06, 0.06, 0.05],
        [0.06, 0.05, 0.03, 0.02, 0.02, 0.02, 0.02, 0.02],
    ]
)
for _table in (LOW_RANGES, LOW_CORRECTIONS, THRESHOLD, EAR, DIFFUSE, WIDTH, UPPER_ENDS, SLOPE_RANGES, SLOPES):
    _table.flags.writeable = False


def loudness_of_thirds(third_octave_levels: ArrayLike, field: Literal["free", "diffuse"] = "free") -> Values:
    """Loudness of a stationary sound.

    N = integral over 0 to 24 Bark of N'(z) dz, N' the upper envelope of core loudnesses and masking slopes

    Parameters
    ----------
    third_octave_levels : array_like, (..., 28)
        Levels of the thirds 25 Hz to 12.5 kHz, up to 120 dB; -inf for nothing. [dB re 20 uPa]
    field : str
        "free" (from the front) or "diffuse". [-]

    Returns
    -------
    ndarray, (...)
        Loudness, not rounded. [sone]

    References
    ----------
    .. [1] ISO 532-1:2017, method for stationary sounds, Annex A.

    Examples
    --------
    The third-octave levels of a test signal of the standard, Annex B.2.

    >>> levels = [-60, -60, 78, 79, 89, 72, 80, 89, 75, 87, 85, 79, 86, 80, 71, 70, 72, 71, 72, 74, 69, 65, 67, 77]
    >>> round(float(loudness_of_thirds(levels + [68, 58, 45, 30])), 2)
    83.3
    """
    levels = np.maximum(np.asarray(third_octave_levels, float), LEAST_LEVEL)
    if levels.shape[-1:] != (THIRDS,):
        raise ValueError(f"third_octave_levels: the last axis must have {THIRDS} bands, got shape {levels.shape}")
    core = core_loudness(_critical_levels(levels, field), THRESHOLD)
    first = np.minimum(0.4 + 0.32 * core[..., 0] ** 0.2, 1.0)  # the lowest band is too wide
    core = np.concatenate([first[..., None] * core[..., :1], core[..., 1:], np.zeros((*core.shape[:-1], 1))], axis=-1)
    return _area(core)


def core_loudness(critical_band_level: ArrayLike, threshold: ArrayLike) -> Values:
    """Core loudness of a critical band.

    N' = 0.0635 * 10^(0.025 L_T) * ((1 - s + s 10^(0.1 (L - L_T)))^0.25 - 1),  s = 0.25; 0 below L_T

    Parameters
    ----------
    critical_band_level : array_like, (...)
        Level of the band at the hearing organ L. [dB]
    threshold : array_like, (...)
        Level of the band at threshold L_T. [dB]

    Returns
    -------
    ndarray, (...)
        Core loudness. [sone/Bark]

    References
    ----------
    .. [1] ISO 532-1:2017, Annex A.

    Examples
    --------
    >>> float(core_loudness(3.0, 3.0)), round(float(core_loudness(40.0, 3.0)), 3)
    (0.0, 0.374)
    """
    limit = np.asarray(threshold, float)
    over = np.maximum(np.asarray(critical_band_level, float) - limit, 0.0)
    loudness: Values = 0.0635 * 10.0 ** (0.025 * limit) * ((0.75 + 0.25 * 10.0 ** (0.1 * over)) ** 0.25 - 1.0)
    return loudness


def _critical_levels(levels: Values, field: str) -> Values:
    """Levels of twenty critical bands at the hearing organ, silent ones at their threshold, (..., 20) [dB]."""
    low = levels[..., :11]
    steps = (low[..., None, :] > LOW_RANGES[:, None] - LOW_CORRECTIONS).sum(axis=-2)
    corrected = low + LOW_CORRECTIONS[np.minimum(steps, len(LOW_RANGES) - 1), np.arange(11)]
    energy = 10.0 ** (corrected / 10.0)
    joined = [energy[..., part].sum(axis=-1) for part in (slice(0, 6), slice(6, 9), slice(9, 11))]
    bands = np.concatenate([10.0 * np.log10(np.stack(joined, axis=-1)), levels[..., 11:]], axis=-1)
    heard = bands - EAR + (DIFFUSE if field == "diffuse" else 0.0)
    return np.where(heard > THRESHOLD, heard - WIDTH, THRESHOLD)


def _area(core: Values) -> Values:
    """Area under core loudnesses and the slopes that fall from them towards higher pitch, (...) [sone]."""
    total, height = np.zeros(core.shape[:-1]), np.zeros(core.shape[:-1])
    for band, end in enumerate(UPPER_ENDS.tolist()):
        floor = core[..., band]
        place = np.full(total.shape, UPPER_ENDS[band - 1] if band else 0.0)
        height = np.maximum(height, floor)
        column = min(max(band - 1, 0), SLOPES.shape[1] - 1)
        # One range after the other, all cases at once; each step ends a range or the band, so that this ends.
        while np.any(falling := (height > floor) & (place < end)):
            step = np.minimum((height[..., None] <= SLOPE_RANGES).sum(axis=-1), len(SLOPE_RANGES) - 1)
            slope = SLOPES[step, column]
            target = np.maximum(SLOPE_RANGES[step], floor)
            width = np.where(falling, np.minimum((height - target) / slope, end - place), 0.0)
            reached = np.where(width < end - place, target, height - width * slope)
            lower = np.where(falling, reached, height)
            total, place, height = total + width * (height + lower) / 2.0, place + width, lower
        total = total + (end - place) * height
    return total
