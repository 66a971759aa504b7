"""Air in a closed loop: what temperature and weather do to its pressure, and what a leak does.

Ideal gas in a rigid volume. Soft tube creeps and expands, so that the first minutes say nothing; with it every rate
is an indication, not a measurement.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Values: TypeAlias = NDArray[np.float64]

GAS_CONSTANT = 8.314462618  # molar gas constant, CODATA 2018 [J/(mol K)]


def pressure_at_start_temp(pressure: ArrayLike, temp: ArrayLike, start_temp: ArrayLike) -> Values:
    """Pressure that a closed volume of air would show at its temperature of the start.

    p' = p T_1 / T

    Parameters
    ----------
    pressure : array_like
        Absolute pressure p, above 0: gauge pressure plus barometer. [Pa]
    temp : array_like
        Temperature T of the air inside at that moment. [K]
    start_temp : array_like
        Temperature T_1 to compare at. [K]

    Returns
    -------
    ndarray
        Absolute pressure at `start_temp`; without a leak it equals that of the start. [Pa]

    References
    ----------
    .. [1] Ideal gas at constant volume; by definition.

    Examples
    --------
    >>> round(float(pressure_at_start_temp(149000.0, 294.15, 295.15)), 4)
    149506.5443
    """
    corrected: Values = np.asarray(pressure, float) * np.asarray(start_temp, float) / np.asarray(temp, float)
    return corrected


def pressure_per_kelvin(pressure: ArrayLike, temp: ArrayLike) -> Values:
    """Change of the pressure of a closed volume of air for one kelvin.

    dp/dT = p / T

    Parameters
    ----------
    pressure : array_like
        Absolute pressure p. [Pa]
    temp : array_like
        Temperature T of the air. [K]

    Returns
    -------
    ndarray
        Change of pressure with temperature. [Pa/K]

    References
    ----------
    .. [1] Ideal gas at constant volume; by definition.

    Examples
    --------
    >>> round(float(pressure_per_kelvin(151325.0, 295.15)), 1)
    512.7
    """
    slope: Values = np.asarray(pressure, float) / np.asarray(temp, float)
    return slope


def leak_rate(corrected_drop: ArrayLike, volume: ArrayLike, duration: ArrayLike) -> Values:
    """Rate at which a closed volume loses air, as pressure times volume over time.

    q = V (p_1 - p_2') / t

    Parameters
    ----------
    corrected_drop : array_like
        Fall of the absolute pressure p_1 - p_2', both at the temperature of the start; negative for a rise. [Pa]
    volume : array_like
        Volume V of the air inside. [m3]
    duration : array_like
        Time t between the two readings, above 0. [s]

    Returns
    -------
    ndarray
        Leak rate, 1 Pa m3/s = 10 mbar L/s. [Pa m3/s]

    References
    ----------
    .. [1] ISO 20484:2017, "Non-destructive testing - Leak testing - Vocabulary": leak rate as pressure times volume
       over time (recalled, not re-read).

    Examples
    --------
    >>> print(f"{float(leak_rate(493.4557, 0.0012, 1800.0)):.6e}")
    3.289705e-04
    """
    rate: Values = np.asarray(corrected_drop, float) * np.asarray(volume, float) / np.asarray(duration, float)
    return rate


def molar_rise_rate(
    volume: ArrayLike,
    start_pressure: ArrayLike,
    *,
    start_temp: ArrayLike,
    end_pressure: ArrayLike,
    end_temp: ArrayLike,
    duration: ArrayLike,
) -> Values:
    """Rate at which air enters a closed volume, counted in moles; negative where it leaves.

    n = V/R (p_2/T_2 - p_1/T_1) / t

    Parameters
    ----------
    volume : array_like
        Volume V of the air inside. [m3]
    start_pressure : array_like
        Absolute pressure p_1 at the start. [Pa]
    start_temp : array_like
        Temperature T_1 at the start. [K]
    end_pressure : array_like
        Absolute pressure p_2 at the end. [Pa]
    end_temp : array_like
        Temperature T_2 at the end. [K]
    duration : array_like
        Time t between the two, above 0. [s]

    Returns
    -------
    ndarray
        Amount of air that comes in. [mol/s]

    References
    ----------
    .. [1] Code of Federal Regulations (United States), title 40, section 1065.644, "Vacuum-decay leak rate",
       equation 1065.644-1.

    Examples
    --------
    >>> rate = molar_rise_rate(
    ...     0.002, 25300.0, start_temp=293.15, end_pressure=50600.0, end_temp=293.15, duration=70.0
    ... )
    >>> print(f"{float(rate):.4e}")
    2.9657e-04
    """
    density_rise = np.asarray(end_pressure, float) / np.asarray(end_temp, float) - np.asarray(
        start_pressure, float
    ) / np.asarray(start_temp, float)
    rate: Values = np.asarray(volume, float) / GAS_CONSTANT * density_rise / np.asarray(duration, float)
    return rate


def volume_in_tube(bore: ArrayLike, length: ArrayLike) -> Values:
    """Volume inside a round tube.

    V = pi/4 d^2 l

    Parameters
    ----------
    bore : array_like
        Inner diameter d. [m]
    length : array_like
        Length l. [m]

    Returns
    -------
    ndarray
        Volume. [m3]

    References
    ----------
    .. [1] Geometry of the cylinder; by definition.

    Examples
    --------
    >>> round(1000.0 * float(volume_in_tube(0.010, 3.4)), 4)
    0.267
    """
    volume: Values = np.pi / 4.0 * np.asarray(bore, float) ** 2 * np.asarray(length, float)
    return volume
