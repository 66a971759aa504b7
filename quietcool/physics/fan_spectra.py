"""Handbook estimates of fan sound: octave levels from flow and pressure, and scaling with size.

Made for ducted fans above 0.3 m and hundreds of pascals. For a quiet 120 mm fan the level comes out some 5 to
15 dB too high (common practice, no source): use it for the shape of a spectrum and for differences.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Levels: TypeAlias = NDArray[np.float64]

REFERENCE_FLOW = 0.472e-3  # 1 cubic foot a minute, as the method rounds it [m3/s]
REFERENCE_PRESSURE = 249.0  # 1 inch of water, as the method rounds it [Pa]

SPECIFIC_LEVELS = {  # octaves 63 Hz to 8 kHz at reference flow and pressure [dB re 1 pW]
    "tube-axial": (48.0, 47.0, 49.0, 53.0, 52.0, 51.0, 43.0, 40.0),
    "propeller": (48.0, 51.0, 58.0, 56.0, 55.0, 52.0, 46.0, 42.0),
    "vane-axial": (49.0, 43.0, 46.0, 43.0, 41.0, 36.0, 30.0, 28.0),  # hub ratio 0.4 to 0.6
}
BLADE_PASS_INCREMENT = {"tube-axial": 7.0, "propeller": 5.0, "vane-axial": 6.0}  # in the band of the blade pass [dB]

OFF_PEAK_SHARES = (0.50, 0.55, 0.65, 0.75, 0.85, 0.90)  # static efficiency over its peak from which a step holds [-]
OFF_PEAK_ADDERS = (16.0, 15.0, 12.0, 9.0, 6.0, 3.0, 0.0)  # below the first share, between, above the last [dB]


def power_level_at_diameter(
    reference_level: ArrayLike, diameter: ArrayLike, reference_diameter: ArrayLike, exponent: ArrayLike = 70.0
) -> Levels:
    """Sound power level of a geometrically similar fan of another size at the same speed.

    L_W = L_ref + k_D lg(D / D_ref)

    Parameters
    ----------
    reference_level : array_like
        Sound power level at `reference_diameter`. [dB re 1 pW]
    diameter, reference_diameter : array_like
        Rotor or frame sizes, above 0. [m]
    exponent : array_like
        k_D: decibels per decade of size. [dB]

    Returns
    -------
    ndarray
        Sound power level. [dB re 1 pW]

    Notes
    -----
    Small fans of different frames are rarely similar: an uncertainty of 5 dB, only where nothing better is known.

    References
    ----------
    .. [1] Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., CRC Press, 2018, chapter on sound power
       estimation: 70 lg of diameter.

    Examples
    --------
    >>> round(float(power_level_at_diameter(0.0, 0.140, 0.120)), 4)
    4.6863
    """
    level: Levels = np.asarray(reference_level, float) + np.asarray(exponent, float) * np.log10(
        np.asarray(diameter, float) / reference_diameter
    )
    return level


def off_peak_adder(efficiency_share: ArrayLike) -> Levels:
    """Adder for a fan that works away from its best efficiency.

    0, 3, 6, 9, 12, 15 and 16 dB from 90, 85, 75, 65, 55, 50 and 0 % of the peak static efficiency

    Parameters
    ----------
    efficiency_share : array_like
        Static efficiency over its peak. [-]

    Returns
    -------
    ndarray
        Adder in all bands. [dB]

    References
    ----------
    .. [1] Long, M., "Architectural Acoustics", 2nd ed., Academic Press, 2014, chapter 13, after ASHRAE 1987.

    Examples
    --------
    >>> [float(off_peak_adder(share)) for share in (1.0, 0.8, 0.4)]
    [0.0, 6.0, 16.0]
    """
    steps = np.searchsorted(OFF_PEAK_SHARES, np.asarray(efficiency_share, float), side="right")
    adders: Levels = np.asarray(OFF_PEAK_ADDERS)[steps]
    return adders


def specific_power_levels(
    flow: ArrayLike,
    pressure: ArrayLike,
    kind: Literal["tube-axial", "propeller", "vane-axial"] = "tube-axial",
    off_peak: ArrayLike = 0.0,
) -> Levels:
    """Octave sound power of a fan (rotor below 1 m) from its duty alone.

    L_W,i = K_i + 10 lg(Q / Q_ref) + 20 lg(p / p_ref) + C

    Parameters
    ----------
    flow : array_like, (...)
        Volume flow Q, above 0. [m3/s]
    pressure : array_like, (...)
        Static pressure rise p, above 0. [Pa]
    kind : str
        "tube-axial", "propeller" or "vane-axial". [-]
    off_peak : array_like, (...)
        C, see `off_peak_adder`. [dB]

    Returns
    -------
    ndarray, (..., 8)
        Levels in the octaves 63 Hz to 8 kHz, of one opening; the blade-pass increment goes on top. [dB re 1 pW]

    Notes
    -----
    20 lg of the pressure, not 10: only so do the fan laws give 50 lg of speed and 70 lg of diameter.

    References
    ----------
    .. [1] Long, M., "Architectural Acoustics", 2nd ed., Academic Press, 2014, Table 13.5, after ASHRAE 1987
       (read in a transcription).

    Examples
    --------
    >>> round(float(specific_power_levels(0.0236, 20.0)[3]), 3)
    48.086
    """
    duty = 10.0 * np.log10(np.asarray(flow, float) / REFERENCE_FLOW)
    duty = duty + 20.0 * np.log10(np.asarray(pressure, float) / REFERENCE_PRESSURE) + np.asarray(off_peak, float)
    levels: Levels = np.asarray(duty)[..., None] + np.asarray(SPECIFIC_LEVELS[kind])
    return levels


def tone_over_band(increment: ArrayLike) -> Levels:
    """Level of a tone over the noise of its octave, from what it adds to that octave.

    L_tone - L_noise = 10 lg(10^(I / 10) - 1)

    Parameters
    ----------
    increment : array_like
        I: octave level with the tone less octave level without it, above 0. [dB]

    Returns
    -------
    ndarray
        Level difference. [dB]

    References
    ----------
    .. [1] By definition of the increment, as in Long, M., "Architectural Acoustics", 2nd ed., Academic Press, 2014,
       Table 13.5 (blade-pass increment; read in a transcription).

    Examples
    --------
    A tone as strong as the noise adds 3 dB.

    >>> round(float(tone_over_band(10.0 * np.log10(2.0))), 9)
    0.0
    """
    over: Levels = 10.0 * np.log10(10.0 ** (np.asarray(increment, float) / 10.0) - 1.0)
    return over
