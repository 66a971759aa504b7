"""What is particular to pumps: where their electrical power goes. Curves and their laws are those of fans."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray


class PumpHeat(NamedTuple):
    """Where a pump's electrical power ends up."""

    coolant: NDArray[np.float64]  # [W]
    surroundings: NDArray[np.float64]  # [W]


def electrical_power(power: ArrayLike, speed: ArrayLike, reference_speed: ArrayLike) -> NDArray[np.float64]:
    """Electrical power of a fan or pump at another speed, by the affinity law.

    P = P_ref |N / N_ref|^3

    Parameters
    ----------
    power : array_like
        Electrical power at `reference_speed`. [W]
    speed : array_like
        Speed asked for; broadcasts. [rev/s]
    reference_speed : array_like
        Speed of `power`, above zero; broadcasts. [rev/s]

    Returns
    -------
    ndarray, broadcast shape
        Electrical power. [W]

    Notes
    -----
    The law holds for shaft power. That the efficiency of the small motor stays the same is an assumption that flatters
    low speeds (common practice, no source).

    References
    ----------
    .. [1] ISO 5801:2017, "Fans - Performance testing using standardized airways", conversion rules (fan laws; clause
       recalled, not re-read).

    Examples
    --------
    >>> float(electrical_power(16.0, 30.0, 60.0))
    2.0
    """
    ratio = np.abs(np.asarray(speed, dtype=float) / np.asarray(reference_speed, dtype=float))
    return np.asarray(np.asarray(power, dtype=float) * ratio * ratio * ratio)


def hydraulic_power(flow: ArrayLike, pressure_rise: ArrayLike) -> NDArray[np.float64]:
    """Power that a pump or fan gives to the stream.

    P = q p

    Parameters
    ----------
    flow : array_like
        Volume flow. [m3/s]
    pressure_rise : array_like
        Pressure rise at that flow; broadcasts. [Pa]

    Returns
    -------
    ndarray, broadcast shape
        Power, positive when the stream gains it. [W]

    References
    ----------
    .. [1] ISO 9906:2012, "Rotodynamic pumps - Hydraulic performance acceptance tests", definition of pump power output
       (recalled, not re-read).

    Examples
    --------
    >>> float(hydraulic_power(1e-4, 4e4))
    4.0
    """
    return np.asarray(np.asarray(flow, dtype=float) * np.asarray(pressure_rise, dtype=float))


def heat_split(power: ArrayLike, coolant_share: ArrayLike) -> PumpHeat:
    """Split of a pump's electrical power into heat for the coolant and heat for what surrounds the pump.

    P_coolant = share P,  P_surroundings = P - P_coolant

    Parameters
    ----------
    power : array_like
        Electrical power. [W]
    coolant_share : array_like
        Share that ends in the coolant, 0 to 1; hydraulic power included, for it turns to heat in the ring. [-]

    Returns
    -------
    PumpHeat
        Both heats, broadcast shape. [W]

    Notes
    -----
    In a wet-rotor pump nearly all of it: 0.8 to 1.0 (common practice, no source).

    References
    ----------
    .. [1] Energy balance of the pump at steady temperature.

    Examples
    --------
    >>> heat = heat_split(18.0, 0.9)
    >>> round(float(heat.coolant), 6), round(float(heat.surroundings), 6)
    (16.2, 1.8)
    """
    total = np.asarray(power, dtype=float)
    coolant = np.asarray(total * np.asarray(coolant_share, dtype=float))
    return PumpHeat(coolant, np.asarray(total - coolant))
