"""What a room makes of sound power: direct and reverberant field, absorption and reverberation.

Diffuse-field statistics, without absorption by the air (below 0.1 dB at 2 kHz in rooms of some 30 m3 with
20 m2 of absorption). Below the Schroeder frequency single modes rule, and levels of tones spread by 5 to 10 dB.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Values: TypeAlias = NDArray[np.float64]

SPEED_OF_SOUND = 343.0  # air at 20 degC [m/s]
ABSORPTION_MAX = 0.99  # mean absorption is taken as at most this [-]; the room constant diverges at 1


def absorption_area(area: ArrayLike, absorption: ArrayLike) -> Values:
    """Equivalent absorption area of a room from its surfaces.

    A = sum_i S_i a_i

    Parameters
    ----------
    area : array_like, (..., n)
        Areas of the surfaces S_i. [m2]
    absorption : array_like, (..., n)
        Their absorption coefficients a_i; bands go on a leading axis. [-]

    Returns
    -------
    ndarray, (...)
        Equivalent absorption area. [m2]

    References
    ----------
    .. [1] Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., CRC Press, 2018, chapter 6.

    Examples
    --------
    >>> round(float(absorption_area([12.0, 47.0], [0.5, 0.1])), 9)
    10.7
    """
    total: Values = np.sum(np.asarray(area, float) * np.asarray(absorption, float), axis=-1)
    return total


def mean_absorption(area: ArrayLike, absorption: ArrayLike) -> Values:
    """Mean absorption coefficient of a room, weighted by area.

    a = sum_i S_i a_i / sum_i S_i

    Parameters
    ----------
    area : array_like, (..., n)
        Areas of the surfaces S_i. [m2]
    absorption : array_like, (..., n)
        Their absorption coefficients a_i; bands go on a leading axis. [-]

    Returns
    -------
    ndarray, (...)
        Mean absorption coefficient. [-]

    References
    ----------
    .. [1] Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., CRC Press, 2018, chapter 6.

    Examples
    --------
    >>> round(float(mean_absorption([10.0, 30.0], [0.5, 0.1])), 9)
    0.2
    """
    mean: Values = absorption_area(area, absorption) / np.sum(np.asarray(area, float), axis=-1)
    return mean


def surface_from_volume(volume: ArrayLike) -> Values:
    """Surface of a cube of a volume, where a room's own surface is not known.

    S = 6 V^(2/3)

    Parameters
    ----------
    volume : array_like
        Volume of the room V. [m3]

    Returns
    -------
    ndarray
        Surface; a real room has more (a box of 4 x 3 x 2.5 m: 2 % more). [m2]

    References
    ----------
    .. [1] Geometry of the cube.

    Examples
    --------
    >>> round(float(surface_from_volume(27.0)), 9)
    54.0
    """
    surface: Values = 6.0 * np.cbrt(np.asarray(volume, float)) ** 2
    return surface


def room_constant(surface: ArrayLike, mean_absorption: ArrayLike) -> Values:
    """Room constant.

    R = S a / (1 - a)

    Parameters
    ----------
    surface : array_like
        Surface of the room S. [m2]
    mean_absorption : array_like
        Mean absorption coefficient a; **values above 0.99 are taken as 0.99**, since R diverges at 1. [-]

    Returns
    -------
    ndarray
        Room constant R. [m2]

    References
    ----------
    .. [1] Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., CRC Press, 2018, equation 6.44.

    Examples
    --------
    >>> round(float(room_constant(59.0, 0.2)), 9)
    14.75
    """
    a = np.minimum(np.asarray(mean_absorption, float), ABSORPTION_MAX)
    constant: Values = np.asarray(surface, float) * a / (1.0 - a)
    return constant


def direct(distance: ArrayLike, directivity: ArrayLike = 1.0) -> Values:
    """Sound pressure level over sound power level in the direct field.

    L_p - L_W = 10 lg( Q / (4 pi r^2) )

    Parameters
    ----------
    distance : array_like
        Distance from the source r, above 0. [m]
    directivity : array_like
        Q: 1 free, 2 on a floor or by a wall, 4 in an edge, 8 in a corner. [-]

    Returns
    -------
    ndarray
        Level difference. [dB]

    References
    ----------
    .. [1] Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., CRC Press, 2018, equation 6.43.

    Examples
    --------
    >>> round(float(direct(1.0)), 4)
    -10.9921
    """
    level: Values = 10.0 * np.log10(np.asarray(directivity, float) / (4.0 * np.pi * np.square(distance)))
    return level


def direct_and_reverberant(distance: ArrayLike, directivity: ArrayLike, room_constant: ArrayLike) -> Values:
    """Sound pressure level over sound power level in a room.

    L_p - L_W = 10 lg( Q / (4 pi r^2) + 4 / R )

    Parameters
    ----------
    distance : array_like
        Distance from the source r, above 0; inf leaves the reverberant part alone. [m]
    directivity : array_like
        Q: 1 free, 2 on a floor or by a wall, 4 in an edge, 8 in a corner. [-]
    room_constant : array_like
        Room constant R; 0 (nothing absorbs) gives inf. [m2]

    Returns
    -------
    ndarray
        Level difference. [dB]

    References
    ----------
    .. [1] Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., CRC Press, 2018, equation 6.43.

    Examples
    --------
    >>> round(40.0 + float(direct_and_reverberant(2.0, 2.0, 33.3342)), 4)
    32.0354
    """
    with np.errstate(divide="ignore"):
        level: Values = 10.0 * np.log10(
            np.asarray(directivity, float) / (4.0 * np.pi * np.square(distance))
            + 4.0 / np.asarray(room_constant, float)
        )
    return level


def critical_distance(directivity: ArrayLike, room_constant: ArrayLike) -> Values:
    """Distance at which direct and reverberant field are equal.

    r_c = sqrt( Q R / (16 pi) )

    Parameters
    ----------
    directivity : array_like
        Q: 1 free, 2 on a floor or by a wall, 4 in an edge, 8 in a corner. [-]
    room_constant : array_like
        Room constant R. [m2]

    Returns
    -------
    ndarray
        Critical distance. [m]

    Notes
    -----
    With R, not with the absorption area A = R (1 - a) as in 0.057 sqrt(Q V / T), so that the fields are equal
    in `direct_and_reverberant` exactly here.

    References
    ----------
    .. [1] Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., CRC Press, 2018, from equation 6.43.

    Examples
    --------
    >>> round(float(critical_distance(2.0, 33.3342)), 4)
    1.1517
    """
    distance: Values = np.sqrt(np.asarray(directivity, float) * np.asarray(room_constant, float) / (16.0 * np.pi))
    return distance


def reverberation_time_sabine(
    volume: ArrayLike, absorption_area: ArrayLike, speed_of_sound: ArrayLike = SPEED_OF_SOUND
) -> Values:
    """Reverberation time by Sabine.

    T = 24 ln(10) V / (c A)

    Parameters
    ----------
    volume : array_like
        Volume of the room V. [m3]
    absorption_area : array_like
        Equivalent absorption area A, above 0. [m2]
    speed_of_sound : array_like
        c. [m/s]

    Returns
    -------
    ndarray
        Time in which the level falls by 60 dB. [s]

    References
    ----------
    .. [1] Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., CRC Press, 2018, chapter 6.

    Examples
    --------
    >>> round(float(reverberation_time_sabine(30.0, 21.3)), 6)
    0.226921
    """
    time: Values = 24.0 * np.log(10.0) * np.asarray(volume, float) / (speed_of_sound * np.asarray(absorption_area))
    return time


def reverberation_time_eyring(
    volume: ArrayLike,
    surface: ArrayLike,
    mean_absorption: ArrayLike,
    speed_of_sound: ArrayLike = SPEED_OF_SOUND,
) -> Values:
    """Reverberation time by Norris and Eyring.

    T = 24 ln(10) V / (-c S ln(1 - a))

    Parameters
    ----------
    volume : array_like
        Volume of the room V. [m3]
    surface : array_like
        Its surface S. [m2]
    mean_absorption : array_like
        Mean absorption coefficient a, above 0 and below 1. [-]
    speed_of_sound : array_like
        c. [m/s]

    Returns
    -------
    ndarray
        Time in which the level falls by 60 dB; shorter than Sabine's. [s]

    References
    ----------
    .. [1] Eyring, C. F., "Reverberation time in 'dead' rooms", J. Acoust. Soc. Am. 1 (1930) 217.

    Examples
    --------
    >>> round(float(reverberation_time_eyring(30.0, 59.0, 0.2)), 6)
    0.367128
    """
    area = -np.asarray(surface, float) * np.log1p(-np.asarray(mean_absorption, float))
    return reverberation_time_sabine(volume, area, speed_of_sound)


def mean_absorption_from_reverberation(
    reverberation_time: ArrayLike,
    volume: ArrayLike,
    surface: ArrayLike,
    speed_of_sound: ArrayLike = SPEED_OF_SOUND,
) -> Values:
    """Mean absorption coefficient from a measured reverberation time, by Sabine.

    a = 24 ln(10) V / (c S T)

    Parameters
    ----------
    reverberation_time : array_like
        Time in which the level falls by 60 dB, T, above 0. [s]
    volume : array_like
        Volume of the room V. [m3]
    surface : array_like
        Its surface S. [m2]
    speed_of_sound : array_like
        c. [m/s]

    Returns
    -------
    ndarray
        Mean absorption coefficient; Sabine's can pass 1 in a very dead room, and is not cut here. [-]

    References
    ----------
    .. [1] Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., CRC Press, 2018, chapter 6.

    Examples
    --------
    >>> round(float(mean_absorption_from_reverberation(0.226921, 30.0, 59.0)), 4)
    0.361
    """
    area = reverberation_time_sabine(volume, 1.0, speed_of_sound) / np.asarray(reverberation_time, float)
    absorption: Values = area / np.asarray(surface, float)
    return absorption


def schroeder_frequency(reverberation_time: ArrayLike, volume: ArrayLike) -> Values:
    """Frequency below which single room modes rule and a diffuse-field level of a tone is no more than a mean.

    f_s = 2000 sqrt(T / V)

    Parameters
    ----------
    reverberation_time : array_like
        Time in which the level falls by 60 dB, T. [s]
    volume : array_like
        Volume of the room V. [m3]

    Returns
    -------
    ndarray
        Frequency; the constant carries sqrt(m3/s)/s. [Hz]

    References
    ----------
    .. [1] Schroeder, M. R., "The 'Schroeder frequency' revisited", J. Acoust. Soc. Am. 99 (1996) 3240.

    Examples
    --------
    >>> round(float(schroeder_frequency(0.226921, 30.0)), 3)
    173.943
    """
    frequency: Values = 2000.0 * np.sqrt(np.asarray(reverberation_time, float) / np.asarray(volume, float))
    return frequency
