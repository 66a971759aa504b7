"""Loudness and loudness level."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Values: TypeAlias = NDArray[np.float64]

LOUDNESS_LEVEL_FLOOR = 3.0  # what the standard's program answers for anything quieter [phon]


def phon_from_sone(loudness: ArrayLike) -> Values:
    """Loudness level from loudness.

    L_N = 40 + 10 log2(N) from 1 sone on, 40 N^0.35 below, at least 3 phon

    Parameters
    ----------
    loudness : array_like
        Loudness N, not negative. [sone]

    Returns
    -------
    ndarray
        Loudness level. [phon]

    Notes
    -----
    Quiet fans lie below 1 sone, where a factor of two is no longer 10 phon.

    References
    ----------
    .. [1] ISO 532-1:2017, Zwicker method, and its program.

    Examples
    --------
    >>> [round(float(phon_from_sone(n)), 4) for n in (2.0, 0.25)]
    [50.0, 24.6229]
    """
    n = np.asarray(loudness, float)
    quiet = np.maximum(40.0 * n**0.35, LOUDNESS_LEVEL_FLOOR)
    return np.where(n < 1.0, quiet, 40.0 + 10.0 * np.log2(np.maximum(n, 1.0)))[()]


def sone_from_phon(loudness_level: ArrayLike) -> Values:
    """Loudness from loudness level, the inverse of `phon_from_sone` above 3 phon.

    N = 2^((L_N - 40) / 10) from 40 phon on, (L_N / 40)^(1 / 0.35) below

    Parameters
    ----------
    loudness_level : array_like
        Loudness level L_N; anything negative counts as 0. [phon]

    Returns
    -------
    ndarray
        Loudness. [sone]

    References
    ----------
    .. [1] ISO 532-1:2017, Zwicker method, and its program.

    Examples
    --------
    >>> round(float(sone_from_phon(45.0)), 4)
    1.4142
    """
    level = np.asarray(loudness_level, float)
    quiet = (np.clip(level, 0.0, 40.0) / 40.0) ** (1.0 / 0.35)
    loud = 2.0 ** ((np.maximum(level, 40.0) - 40.0) / 10.0)
    loudness: Values = np.where(level < 40.0, quiet, loud)[()]
    return loudness
