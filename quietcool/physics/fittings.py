"""Loss coefficients of changes of section and of sheets, from their shape alone."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def contraction_loss_coefficient(larger_bore: ArrayLike, smaller_bore: ArrayLike) -> NDArray[np.float64]:
    """Loss coefficient of a sudden, sharp contraction, on the velocity in the smaller bore.

    K = 0.0696 (1 - beta^5) lambda^2 + (lambda - 1)^2,  lambda = 1 + 0.622 (1 - 0.215 beta^2 - 0.785 beta^5)

    Parameters
    ----------
    larger_bore : array_like
        Bore before the contraction. [m]
    smaller_bore : array_like
        Bore behind it; beta is smaller over larger. [m]

    Returns
    -------
    ndarray, broadcast shape
        K on the velocity in the smaller bore. [-]

    Notes
    -----
    Turbulent flow. Laminar flow through small fittings loses up to two or three times as much.

    References
    ----------
    .. [1] D. C. Rennels, H. M. Hudson, "Pipe Flow: A Practical and Comprehensive Guide", Wiley, 2012, sharp-edged
       contraction.

    Examples
    --------
    >>> round(float(contraction_loss_coefficient(1.0, 0.4)), 6)
    0.530127
    """
    beta = np.asarray(smaller_bore, dtype=float) / np.asarray(larger_bore, dtype=float)
    beta_5 = beta**5
    jet = 1.0 + 0.622 * (1.0 - 0.215 * beta * beta - 0.785 * beta_5)
    return np.asarray(0.0696 * (1.0 - beta_5) * jet * jet + (jet - 1.0) ** 2)


def expansion_loss_coefficient(smaller_bore: ArrayLike, larger_bore: ArrayLike) -> NDArray[np.float64]:
    """Loss coefficient of a sudden expansion, on the velocity in the smaller bore.

    K = (1 - beta^2)^2

    Parameters
    ----------
    smaller_bore : array_like
        Bore before the expansion. [m]
    larger_bore : array_like
        Bore behind it; beta is smaller over larger. [m]

    Returns
    -------
    ndarray, broadcast shape
        K on the velocity in the smaller bore. [-]

    References
    ----------
    .. [1] Borda-Carnot loss; I. E. Idelchik, "Handbook of Hydraulic Resistance", 3rd edition, 1994, chapter 4.

    Examples
    --------
    >>> round(float(expansion_loss_coefficient(8.0, 10.0)), 6)
    0.1296
    """
    beta = np.asarray(smaller_bore, dtype=float) / np.asarray(larger_bore, dtype=float)
    return np.asarray((1.0 - beta * beta) ** 2)


def perforated_sheet_loss_coefficient(
    free_area_ratio: ArrayLike, discharge_coefficient: ArrayLike = 0.6
) -> NDArray[np.float64]:
    """Loss coefficient of a sharp-edged perforated sheet that recovers no velocity, on the face velocity.

    K = 1 / (C_d phi)^2

    Parameters
    ----------
    free_area_ratio : array_like
        Open share of the face phi, above 0. [-]
    discharge_coefficient : array_like
        C_d; 0.6 for sharp edges. [-]

    Returns
    -------
    ndarray, broadcast shape
        K on the face velocity. [-]

    Notes
    -----
    Rounded edges and pressure recovery lower it two- to threefold; one measured point beats any formula.

    References
    ----------
    .. [1] Orifice equation with C_d = 0.6 (common practice, no source for the value on sheets).

    Examples
    --------
    >>> round(float(perforated_sheet_loss_coefficient(0.5)), 4)
    11.1111
    """
    return np.asarray(1.0 / np.square(np.multiply(discharge_coefficient, free_area_ratio)))
