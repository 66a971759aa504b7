"""What is particular to fans: the two-number estimate of a curve, and the load share."""

from __future__ import annotations

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
