"""Cold plates: their resistance to the coolant, and what a stream's temperature gains on its way."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

PLATE_REFERENCE_FLOW = 1e-3 / 60.0  # 1 L/min, at which c of a plate is meant [m3/s]


def plate_thermal_resistance(
    flow: ArrayLike, r0: ArrayLike, c: ArrayLike, n: ArrayLike, *, reference_flow: float = PLATE_REFERENCE_FLOW
) -> NDArray[np.float64]:
    """Thermal resistance of a cold plate from its surface to its coolant inlet.

    R = r0 + c (|q| / q_ref)^-n

    Parameters
    ----------
    flow : array_like
        Volume flow through the plate q. [m3/s]
    r0 : array_like
        Part that the flow does not change. [K/W]
    c : array_like
        Part that it does, at the reference flow. [K/W]
    n : array_like
        Exponent: 0.3 to 0.5 laminar, 0.8 turbulent. [-]
    reference_flow : float
        Flow of `c`. [m3/s]

    Returns
    -------
    ndarray, broadcast shape
        Resistance; infinite at rest if n is above 0. [K/W]

    References
    ----------
    .. [1] Conduction and convection in series with h ~ q^n (common practice, no source for the values of n).

    Examples
    --------
    >>> round(float(plate_thermal_resistance(2e-3 / 60.0, 0.03, 0.03, 0.8)), 7)
    0.0472305
    """
    ratio = np.abs(np.asarray(flow, dtype=float)) / reference_flow
    with np.errstate(divide="ignore"):
        return np.asarray(r0 + c * ratio ** -np.asarray(n, dtype=float))


def temp_rise(heat_rate: ArrayLike, capacity_rate: ArrayLike) -> NDArray[np.float64]:
    """Rise of a stream's temperature by the heat it takes up.

    rise = P / C,  C = rho q c_p

    Parameters
    ----------
    heat_rate : array_like
        Heat into the stream P. [W]
    capacity_rate : array_like
        Capacity rate of the stream C. [W/K]

    Returns
    -------
    ndarray, broadcast shape
        Rise. [K]

    References
    ----------
    .. [1] Energy balance of a steady stream.

    Examples
    --------
    >>> round(float(temp_rise(400.0, 1.2 * 1006.0 * 100.0 / 3600.0)), 3)
    11.928
    """
    return np.asarray(np.asarray(heat_rate, dtype=float) / np.asarray(capacity_rate, dtype=float))
