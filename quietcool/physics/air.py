"""Dry air: the atmosphere's pressure at an altitude, and the properties that flow and heat need.

Temperatures in kelvin, pressures absolute in pascal. Humidity is left out: at 20 degC and 50 % relative
humidity it lowers the density by 0.4 %, less than any sheet is good for.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

GAS_CONSTANT = 287.05287  # specific gas constant of dry air, ISO 2533:1975 [J/(kg K)]
SPECIFIC_HEAT = 1006.0  # at constant pressure, dry air near 300 K [J/(kg K)]
REFERENCE_DENSITY = 1.2  # density to which fan and core sheets refer [kg/m3]
REFERENCE_TEMP = 293.15  # temperature to which viscous coefficients refer [K]

SEA_LEVEL_PRESSURE = 101325.0  # [Pa]
SEA_LEVEL_TEMP = 288.15  # [K]
LAPSE_RATE = 0.0065  # fall of temperature per geopotential metre [K/m]
STANDARD_GRAVITY = 9.80665  # [m/s2]
EARTH_RADIUS = 6356766.0  # radius that relates geometric to geopotential altitude [m]

SUTHERLAND_FACTOR = 1.458e-6  # beta of the US Standard Atmosphere 1976 [kg/(s m K^0.5)]
SUTHERLAND_TEMP = 110.4  # S of the US Standard Atmosphere 1976 [K]

ALTITUDE_RANGE = (-500.0, 11000.0)  # troposphere; beyond it `isa_pressure` is not meant [m]
TEMP_RANGE = (200.0, 500.0)  # where the property formulas are good to about 1 % [K]


class AirProperties(NamedTuple):
    """Properties of air at one state."""

    density: NDArray[np.float64]  # [kg/m3]
    specific_heat: NDArray[np.float64]  # [J/(kg K)]
    viscosity: NDArray[np.float64]  # [Pa s]
    conductivity: NDArray[np.float64]  # [W/(m K)]


def isa_temp(altitude: ArrayLike) -> NDArray[np.float64]:
    """Temperature of the standard atmosphere at a geometric altitude.

    T = T_0 - L H,  H = r Z / (r + Z)

    Parameters
    ----------
    altitude : array_like, any shape
        Geometric altitude above sea level Z. [m]

    Returns
    -------
    ndarray, shape of `altitude`
        Temperature outdoors. [K]

    Notes
    -----
    Troposphere only, `ALTITUDE_RANGE`.

    References
    ----------
    .. [1] ISO 2533:1975, "Standard Atmosphere", clause 2.

    Examples
    --------
    >>> round(float(isa_temp(1000.0)), 3)
    281.651
    """
    z = np.asarray(altitude, dtype=float)
    result: NDArray[np.float64] = SEA_LEVEL_TEMP - LAPSE_RATE * EARTH_RADIUS * z / (EARTH_RADIUS + z)
    return result


def isa_pressure(altitude: ArrayLike) -> NDArray[np.float64]:
    """Pressure of the standard atmosphere at a geometric altitude.

    p = p_0 (T / T_0)^(g / (R L))

    Indoors take this pressure together with the temperature of the room, not the atmosphere's own.

    Parameters
    ----------
    altitude : array_like, any shape
        Geometric altitude above sea level. [m]

    Returns
    -------
    ndarray, shape of `altitude`
        Absolute pressure. [Pa]

    Notes
    -----
    Troposphere only, `ALTITUDE_RANGE`.

    References
    ----------
    .. [1] ISO 2533:1975, "Standard Atmosphere", clause 2.
    .. [2] "U.S. Standard Atmosphere, 1976", NOAA-S/T 76-1562, equation 33a.

    Examples
    --------
    >>> round(float(isa_pressure(1500.0)), 1)
    84559.7
    """
    exponent = STANDARD_GRAVITY / (GAS_CONSTANT * LAPSE_RATE)
    result: NDArray[np.float64] = SEA_LEVEL_PRESSURE * (isa_temp(altitude) / SEA_LEVEL_TEMP) ** exponent
    return result


def density(temp: ArrayLike, pressure: ArrayLike) -> NDArray[np.float64]:
    """Density of dry air as an ideal gas.

    rho = p / (R T)

    Parameters
    ----------
    temp : array_like
        Temperature. [K]
    pressure : array_like
        Absolute pressure; broadcasts with `temp`. [Pa]

    Returns
    -------
    ndarray, broadcast shape
        Density. [kg/m3]

    References
    ----------
    .. [1] ISO 2533:1975, "Standard Atmosphere", clause 2 (equation of state and R).

    Examples
    --------
    >>> round(float(density(293.15, 101325.0)), 5)
    1.20411
    """
    result: NDArray[np.float64] = np.asarray(pressure, dtype=float) / (GAS_CONSTANT * np.asarray(temp, dtype=float))
    return result


def viscosity(temp: ArrayLike) -> NDArray[np.float64]:
    """Dynamic viscosity of air after Sutherland.

    mu = beta T^(3/2) / (T + S)

    Parameters
    ----------
    temp : array_like, any shape
        Temperature T. [K]

    Returns
    -------
    ndarray, shape of `temp`
        Dynamic viscosity. [Pa s]

    References
    ----------
    .. [1] "U.S. Standard Atmosphere, 1976", NOAA-S/T 76-1562, equation 51.

    Examples
    --------
    >>> float(viscosity(288.15)) * 1e5
    1.7894
    """
    t = np.asarray(temp, dtype=float)
    # The square root is several times cheaper than a power of 1.5, and the solver calls this a lot.
    result: NDArray[np.float64] = SUTHERLAND_FACTOR * t * np.sqrt(t) / (t + SUTHERLAND_TEMP)
    return result


def conductivity(temp: ArrayLike) -> NDArray[np.float64]:
    """Thermal conductivity of air.

    k = 2.64638e-3 T^(3/2) / (T + 245.4 * 10^(-12/T))

    Parameters
    ----------
    temp : array_like, any shape
        Temperature T. [K]

    Returns
    -------
    ndarray, shape of `temp`
        Thermal conductivity. [W/(m K)]

    References
    ----------
    .. [1] "U.S. Standard Atmosphere, 1976", NOAA-S/T 76-1562, equation 53.

    Examples
    --------
    >>> round(float(conductivity(288.15)), 6)
    0.025326
    """
    t = np.asarray(temp, dtype=float)
    result: NDArray[np.float64] = 2.64638e-3 * t * np.sqrt(t) / (t + 245.4 * 10.0 ** (-12.0 / t))
    return result


def properties(temp: ArrayLike, pressure: ArrayLike) -> AirProperties:
    """Density, specific heat, viscosity and conductivity of air at one state.

    Parameters
    ----------
    temp : array_like
        Temperature. [K]
    pressure : array_like
        Absolute pressure; broadcasts with `temp`. [Pa]

    Returns
    -------
    AirProperties
        All four properties, each of the broadcast shape.

    References
    ----------
    .. [1] "U.S. Standard Atmosphere, 1976", NOAA-S/T 76-1562 (the single formulas name their equations).

    Examples
    --------
    >>> round(float(properties(293.15, 101325.0).density), 5)
    1.20411
    """
    rho = density(temp, pressure)
    ones = np.ones_like(rho)
    return AirProperties(rho, SPECIFIC_HEAT * ones, viscosity(temp) * ones, conductivity(temp) * ones)


REFERENCE_VISCOSITY = float(viscosity(REFERENCE_TEMP))  # to which viscous coefficients of sheets refer [Pa s]
REFERENCE_AIR = AirProperties(
    np.asarray(REFERENCE_DENSITY),
    np.asarray(SPECIFIC_HEAT),
    np.asarray(REFERENCE_VISCOSITY),
    conductivity(REFERENCE_TEMP),
)  # the air of the sheets: 20 degC, 1.2 kg/m3
