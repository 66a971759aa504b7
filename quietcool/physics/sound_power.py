"""From microphone readings around a source to its sound power: the logic of ISO 3744 and ISO 3746."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Levels: TypeAlias = NDArray[np.float64]

DB_PER_E_FOLD = 10.0 / np.log(10.0)  # a factor e in energy [dB]


class BackgroundCorrection(NamedTuple):
    """Correction for background, and what it leaves the reading worth."""

    correction: Levels  # K1, to be subtracted from the reading [dB]
    upper_bound: NDArray[np.bool_]  # True where the corrected level is only an upper bound [-]


def subtract_background(total: ArrayLike, background: ArrayLike) -> Levels:
    """Level of a source from a reading that holds the background too, without any limits of validity.

    L = 10 lg( 10^(L_total / 10) - 10^(L_background / 10) )

    Parameters
    ----------
    total : array_like
        Level with the source on, finite. [dB]
    background : array_like
        Level with the source off, same place; -inf for none. [dB]

    Returns
    -------
    ndarray
        Level of the source alone; NaN where the background is not below the total. [dB]

    Notes
    -----
    0.5 dB of error in each reading makes 1.1 dB at 3 dB of difference: see `k1_correction` for the limits.

    References
    ----------
    .. [1] Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., CRC Press, 2018, chapter 1.

    Examples
    --------
    >>> round(float(subtract_background(30.0, 24.0)), 4)
    28.7437
    """
    difference = np.asarray(total, float) - np.asarray(background, float)
    usable = difference > 0.0
    share = -np.expm1(-np.where(usable, difference, 1.0) / DB_PER_E_FOLD)
    return np.where(usable, np.asarray(total, float) + DB_PER_E_FOLD * np.log(share), np.nan)[()]


def k1_correction(
    total: ArrayLike, background: ArrayLike, *, lower_limit: float = 6.0, upper_limit: float = 15.0
) -> BackgroundCorrection:
    """Background correction K1 with the limits of the standard.

    K1 = -10 lg(1 - 10^(-d / 10)),  d = L_total - L_background, held at its value for `lower_limit` below it
    (the corrected level is then an upper bound), 0 above `upper_limit`

    Parameters
    ----------
    total : array_like
        Level with the source on, finite. [dB]
    background : array_like
        Level with the source off, same places; -inf for none. [dB]
    lower_limit : float
        6 for engineering grade (ISO 3744), 3 for survey grade (ISO 3746). [dB]
    upper_limit : float
        15 for engineering grade, 10 for survey grade. [dB]

    Returns
    -------
    BackgroundCorrection
        `correction` K1 [dB] and `upper_bound`, True where d is below `lower_limit`.

    Notes
    -----
    K1 jumps from 0.14 dB to 0 just above 15 dB; the standard has it so.

    References
    ----------
    .. [1] ISO 3744:2010, 8.2.3, equation 16; ISO 3746:2010, 8.3.3.

    Examples
    --------
    A difference of 3 dB gives no more than an upper bound.

    >>> k1, bound = k1_correction(33.0, 30.0)
    >>> round(33.0 - float(k1), 4), bool(bound)
    (31.7437, True)
    """
    difference = np.asarray(total, float) - np.asarray(background, float)
    held = np.maximum(difference, lower_limit)
    k1 = np.where(difference > upper_limit, 0.0, -DB_PER_E_FOLD * np.log(-np.expm1(-held / DB_PER_E_FOLD)))
    return BackgroundCorrection(k1[()], np.asarray(difference < lower_limit)[()])


def k2_correction(surface: ArrayLike, absorption_area: ArrayLike) -> Levels:
    """Environmental correction K2: what the room sends back to the measurement surface.

    K2 = 10 lg(1 + 4 S / A)

    Parameters
    ----------
    surface : array_like
        Measurement surface S. [m2]
    absorption_area : array_like
        Equivalent absorption area A of the room, above 0. [m2]

    Returns
    -------
    ndarray
        Correction, to be subtracted from the mean level. [dB]

    Notes
    -----
    ISO 3744 asks for at most 4 dB, ISO 3746 for at most 7 dB: in a small room measure at 0.5 m, not at 1 m.

    References
    ----------
    .. [1] ISO 3744:2010, Annex A, equation A.2.

    Examples
    --------
    >>> round(float(k2_correction(hemisphere_surface(1.0), 21.3)), 4)
    3.3844
    """
    k2: Levels = 10.0 * np.log10(1.0 + 4.0 * np.asarray(surface, float) / np.asarray(absorption_area, float))
    return k2


def hemisphere_surface(radius: ArrayLike) -> Levels:
    """Measurement surface of a hemisphere over one reflecting plane.

    S = 2 pi r^2

    Parameters
    ----------
    radius : array_like
        Measurement radius r. [m]

    Returns
    -------
    ndarray
        Surface. [m2]

    References
    ----------
    .. [1] ISO 3744:2010, 7.2.3.

    Examples
    --------
    >>> round(float(hemisphere_surface(1.0)), 4)
    6.2832
    """
    surface: Levels = 2.0 * np.pi * np.square(np.asarray(radius, float))
    return surface


def box_surface(length: ArrayLike, width: ArrayLike, height: ArrayLike, distance: ArrayLike) -> Levels:
    """Measurement surface of a box around a source over one reflecting plane.

    S = 4 (a b + b c + c a),  a = l1 / 2 + d,  b = l2 / 2 + d,  c = l3 + d

    Parameters
    ----------
    length, width, height : array_like
        Edges of the reference box l1, l2, l3 (upright). [m]
    distance : array_like
        Measurement distance d from it. [m]

    Returns
    -------
    ndarray
        Surface. [m2]

    References
    ----------
    .. [1] ISO 3744:2010, 7.2.4, equation 9.

    Examples
    --------
    >>> float(box_surface(0.25, 0.50, 0.50, 1.0))
    19.875
    """
    d = np.asarray(distance, float)
    a, b, c = np.asarray(length, float) / 2 + d, np.asarray(width, float) / 2 + d, np.asarray(height, float) + d
    surface: Levels = 4.0 * (a * b + b * c + c * a)
    return surface


def power_level_from_surface_level(
    mean_level: ArrayLike, surface: ArrayLike, k1: ArrayLike = 0.0, k2: ArrayLike = 0.0
) -> Levels:
    """Sound power level from the mean level over a measurement surface.

    L_W = L_p,mean - K1 - K2 + 10 lg(S / 1 m2)

    Parameters
    ----------
    mean_level : array_like
        Energy mean of the readings over the surface. [dB re 20 uPa]
    surface : array_like
        Measurement surface S. [m2]
    k1, k2 : array_like
        Corrections for background and room. [dB]

    Returns
    -------
    ndarray
        Sound power level. [dB re 1 pW]

    References
    ----------
    .. [1] ISO 3744:2010, 8.2.4 and 8.2.5.

    Examples
    --------
    A hemisphere of 1 m in the open: 7.98 dB more than the reading.

    >>> round(float(power_level_from_surface_level(22.0, hemisphere_surface(1.0))), 4)
    29.9818
    """
    level: Levels = (
        np.asarray(mean_level, float) - np.asarray(k1, float) - np.asarray(k2, float) + 10.0 * np.log10(surface)
    )
    return level
