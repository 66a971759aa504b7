"""What is particular to fans: the two-number estimate of a curve, the load share, rows, and their operating points."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

ELLIPSE_POINTS = 11


def quarter_ellipse(free_flow: float, shutoff_pressure: float) -> tuple[Floats, Floats]:
    r"""Estimate a fan curve from its two end points.

    p = p_max sqrt(1 - (Q / Q_max)^2), sampled at 11 equal flow steps.

    Parameters
    ----------
    free_flow : float
        Flow at zero pressure. [m3/s]
    shutoff_pressure : float
        Pressure at zero flow. [Pa]

    Returns
    -------
    tuple of ndarray, (11,)
        Flows [m3/s] and pressures [Pa].

    Notes
    -----
    An estimate: real curves of axial fans sag in the middle. The ellipse itself would end with infinite slope,
    hence the samples.

    References
    ----------
    .. [1] Common practice, no source.

    Examples
    --------
    >>> flow, pressure = quarter_ellipse(0.03, 20.0)
    >>> float(pressure[6])
    16.0
    """
    fraction = np.linspace(0.0, 1.0, ELLIPSE_POINTS)
    return free_flow * fraction, shutoff_pressure * np.sqrt(1.0 - fraction**2)


def load_share(flow: ArrayLike, free_flow: ArrayLike) -> Floats:
    r"""Flow of a fan as a share of its free delivery at the same speed.

    share = Q / Q_free(N), at least 0; 0 for a fan at rest.

    Parameters
    ----------
    flow : array_like, (...)
        Flow through one fan. [m3/s]
    free_flow : array_like, (...)
        Its free delivery at the speed it turns with. [m3/s]

    Returns
    -------
    ndarray, (...)
        1 at free delivery, 0 at shut-off or in reversed flow. [-]

    References
    ----------
    .. [1] Definition.

    Examples
    --------
    >>> float(load_share(0.012, 0.03))
    0.4
    >>> float(load_share(-0.01, 0.03)), float(load_share(0.01, 0.0))
    (0.0, 0.0)
    """
    free = np.asarray(free_flow, dtype=np.float64)
    share = np.asarray(flow, dtype=np.float64) / np.where(free > 0.0, free, 1.0)
    return np.where(free > 0.0, np.maximum(share, 0.0), 0.0)


class Crossing(NamedTuple):
    """One flow at which a fan meets what it works against."""

    flow: float  # [m3/s]
    stable: bool  # the fan's pressure falls faster there than the system's: a small excess of flow dies away


def find_crossings(
    excess: Callable[[Floats], Floats], lowest: float, highest: float, *, points: int = 4001
) -> list[Crossing]:
    r"""All operating points of one fan, rising in flow.

    Roots of p_fan(Q) - p_system(Q); stable where the difference falls with flow.

    Parameters
    ----------
    excess : callable
        Fan pressure less system pressure at flows (n,). [m3/s] -> [Pa]
    lowest, highest : float
        Flows to search between. [m3/s]
    points : int
        Of the scan; two crossings nearer than a step can be missed.

    Returns
    -------
    list of Crossing

    References
    ----------
    .. [1] Greitzer, E. M., "The stability of pumping systems", J. Fluids Eng. 103 (1981) 193-242: static stability
       needs the machine's slope below the system's (recalled, not re-read).

    Examples
    --------
    >>> find_crossings(lambda q: 10.0 - 2.0 * q, 0.0, 10.0)
    [Crossing(flow=5.0, stable=True)]
    """
    from scipy.optimize import brentq  # loaded where it is used: it takes longer to load than an answer takes

    grid = np.linspace(lowest, highest, points)
    value = excess(grid)
    crossings = [Crossing(float(q), _falls(excess, float(q), grid[1] - grid[0])) for q in grid[value == 0.0]]
    for i in np.flatnonzero(value[:-1] * value[1:] < 0.0):
        root = float(brentq(lambda q: float(excess(np.array([q]))[0]), grid[i], grid[i + 1], xtol=1e-15, rtol=1e-14))
        crossings.append(Crossing(root, bool(value[i] > 0.0)))
    return sorted(crossings)


def _falls(excess: Callable[[Floats], Floats], flow: float, step: float) -> bool:
    """Tell whether the excess changes from above to below zero at a root that the scan hit exactly."""
    below, above = excess(np.array([flow - 1e-3 * step, flow + 1e-3 * step]))
    return bool(below > above)
