"""Effectiveness of the other flow arrangements: they bracket the cross-flow that the solver uses.

NTU = UA / C_min, capacity ratio C_r = C_min / C_max, heat = effectiveness C_min (T_hot,in - T_cold,in).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def effectiveness_counterflow(ntu: ArrayLike, capacity_ratio: ArrayLike) -> NDArray[np.float64]:
    """Effectiveness of counterflow, the best that any arrangement reaches.

    eps = (1 - e^-x) / (1 - C_r e^-x),  x = NTU (1 - C_r);  NTU / (1 + NTU) at C_r = 1

    Parameters
    ----------
    ntu : array_like
        Number of transfer units. [-]
    capacity_ratio : array_like
        C_min / C_max, 0 to 1; broadcasts. [-]

    Returns
    -------
    ndarray, broadcast shape
        Effectiveness. [-]

    References
    ----------
    .. [1] W. M. Kays, A. L. London, "Compact Heat Exchangers", 3rd edition, McGraw-Hill, 1984, chapter 2.

    Examples
    --------
    >>> round(float(effectiveness_counterflow(9.0, 1.0)), 12)
    0.9
    """
    n, cr = np.asarray(ntu, dtype=float), np.asarray(capacity_ratio, dtype=float)
    # 1 - e^-x and 1 - C_r e^-x = (1 - C_r) - C_r (e^-x - 1), both divided by (1 - C_r): no cancellation near C_r = 1.
    x = n * (1.0 - cr)
    quotient = n * np.where(x > 0.0, -np.expm1(-x) / np.where(x > 0.0, x, 1.0), 1.0)
    return np.asarray(quotient / (1.0 + cr * quotient))


def effectiveness_parallel(ntu: ArrayLike, capacity_ratio: ArrayLike) -> NDArray[np.float64]:
    """Effectiveness of parallel flow, the worst of the plain arrangements.

    eps = (1 - e^(-NTU (1 + C_r))) / (1 + C_r)

    Parameters
    ----------
    ntu : array_like
        Number of transfer units. [-]
    capacity_ratio : array_like
        C_min / C_max, 0 to 1; broadcasts. [-]

    Returns
    -------
    ndarray, broadcast shape
        Effectiveness. [-]

    References
    ----------
    .. [1] W. M. Kays, A. L. London, "Compact Heat Exchangers", 3rd edition, McGraw-Hill, 1984, chapter 2.

    Examples
    --------
    >>> round(float(effectiveness_parallel(1.0, 0.5)), 6)
    0.517913
    """
    both = 1.0 + np.asarray(capacity_ratio, dtype=float)
    return np.asarray(-np.expm1(-np.asarray(ntu, dtype=float) * both) / both)


def effectiveness_cross_max_mixed(ntu: ArrayLike, capacity_ratio: ArrayLike) -> NDArray[np.float64]:
    """Effectiveness of cross-flow with the stream of C_max mixed.

    eps = (1 - exp{-C_r [1 - e^-NTU]}) / C_r

    Parameters
    ----------
    ntu : array_like
        Number of transfer units. [-]
    capacity_ratio : array_like
        C_min / C_max, above 0 to 1; broadcasts. [-]

    Returns
    -------
    ndarray, broadcast shape
        Effectiveness. [-]

    References
    ----------
    .. [1] W. M. Kays, A. L. London, "Compact Heat Exchangers", 3rd edition, McGraw-Hill, 1984, chapter 2.

    Examples
    --------
    >>> round(float(effectiveness_cross_max_mixed(5.0, 0.7)), 6)
    0.71581
    """
    cr = np.asarray(capacity_ratio, dtype=float)
    return np.asarray(-np.expm1(cr * np.expm1(-np.asarray(ntu, dtype=float))) / cr)


def effectiveness_cross_min_mixed(ntu: ArrayLike, capacity_ratio: ArrayLike) -> NDArray[np.float64]:
    """Effectiveness of cross-flow with the stream of C_min mixed.

    eps = 1 - exp{-[1 - e^(-C_r NTU)] / C_r}

    Parameters
    ----------
    ntu : array_like
        Number of transfer units. [-]
    capacity_ratio : array_like
        C_min / C_max, above 0 to 1; broadcasts. [-]

    Returns
    -------
    ndarray, broadcast shape
        Effectiveness. [-]

    References
    ----------
    .. [1] W. M. Kays, A. L. London, "Compact Heat Exchangers", 3rd edition, McGraw-Hill, 1984, chapter 2.

    Examples
    --------
    >>> round(float(effectiveness_cross_min_mixed(5.0, 0.7)), 6)
    0.749784
    """
    cr = np.asarray(capacity_ratio, dtype=float)
    return np.asarray(-np.expm1(np.expm1(-cr * np.asarray(ntu, dtype=float)) / cr))


def ntu_from_effectiveness_counterflow(effectiveness: ArrayLike, capacity_ratio: ArrayLike) -> NDArray[np.float64]:
    """Number of transfer units that counterflow needs for an effectiveness.

    NTU = ln[(1 - C_r eps) / (1 - eps)] / (1 - C_r);  eps / (1 - eps) at C_r = 1

    Parameters
    ----------
    effectiveness : array_like
        eps, 0 to below 1. [-]
    capacity_ratio : array_like
        C_min / C_max, 0 to 1; broadcasts. [-]

    Returns
    -------
    ndarray, broadcast shape
        NTU. [-]

    References
    ----------
    .. [1] W. M. Kays, A. L. London, "Compact Heat Exchangers", 3rd edition, McGraw-Hill, 1984, chapter 2.

    Examples
    --------
    >>> round(float(ntu_from_effectiveness_counterflow(0.9, 1.0)), 9)
    9.0
    """
    eps, cr = np.asarray(effectiveness, dtype=float), np.asarray(capacity_ratio, dtype=float)
    quotient = eps / (1.0 - eps)
    x = (1.0 - cr) * quotient  # ln(1 + x) is the logarithm above
    return np.asarray(quotient * np.where(x > 0.0, np.log1p(x) / np.where(x > 0.0, x, 1.0), 1.0))


def ntu_from_effectiveness_parallel(effectiveness: ArrayLike, capacity_ratio: ArrayLike) -> NDArray[np.float64]:
    """Number of transfer units that parallel flow needs for an effectiveness.

    NTU = -ln[1 - eps (1 + C_r)] / (1 + C_r)

    Parameters
    ----------
    effectiveness : array_like
        eps, 0 to below 1 / (1 + C_r). [-]
    capacity_ratio : array_like
        C_min / C_max, 0 to 1; broadcasts. [-]

    Returns
    -------
    ndarray, broadcast shape
        NTU. [-]

    References
    ----------
    .. [1] W. M. Kays, A. L. London, "Compact Heat Exchangers", 3rd edition, McGraw-Hill, 1984, chapter 2.

    Examples
    --------
    >>> round(float(ntu_from_effectiveness_parallel(0.588115606841755, 0.7)), 9)
    5.0
    """
    both = 1.0 + np.asarray(capacity_ratio, dtype=float)
    return np.asarray(-np.log1p(-np.asarray(effectiveness, dtype=float) * both) / both)


def ntu_from_effectiveness_cross_max_mixed(effectiveness: ArrayLike, capacity_ratio: ArrayLike) -> NDArray[np.float64]:
    """Number of transfer units that cross-flow with C_max mixed needs for an effectiveness.

    NTU = -ln[1 + ln(1 - C_r eps) / C_r]

    Parameters
    ----------
    effectiveness : array_like
        eps, 0 to below its limit (1 - e^-C_r) / C_r. [-]
    capacity_ratio : array_like
        C_min / C_max, above 0 to 1; broadcasts. [-]

    Returns
    -------
    ndarray, broadcast shape
        NTU. [-]

    References
    ----------
    .. [1] W. M. Kays, A. L. London, "Compact Heat Exchangers", 3rd edition, McGraw-Hill, 1984, chapter 2.

    Examples
    --------
    >>> round(float(ntu_from_effectiveness_cross_max_mixed(0.7158099831204696, 0.7)), 9)
    5.0
    """
    cr = np.asarray(capacity_ratio, dtype=float)
    return np.asarray(-np.log1p(np.log1p(-cr * np.asarray(effectiveness, dtype=float)) / cr))


def ntu_from_effectiveness_cross_min_mixed(effectiveness: ArrayLike, capacity_ratio: ArrayLike) -> NDArray[np.float64]:
    """Number of transfer units that cross-flow with C_min mixed needs for an effectiveness.

    NTU = -ln[1 + C_r ln(1 - eps)] / C_r

    Parameters
    ----------
    effectiveness : array_like
        eps, 0 to below its limit 1 - e^(-1 / C_r). [-]
    capacity_ratio : array_like
        C_min / C_max, above 0 to 1; broadcasts. [-]

    Returns
    -------
    ndarray, broadcast shape
        NTU. [-]

    References
    ----------
    .. [1] W. M. Kays, A. L. London, "Compact Heat Exchangers", 3rd edition, McGraw-Hill, 1984, chapter 2.

    Examples
    --------
    >>> round(float(ntu_from_effectiveness_cross_min_mixed(0.7497843941508544, 0.7)), 9)
    5.0
    """
    cr = np.asarray(capacity_ratio, dtype=float)
    return np.asarray(-np.log1p(cr * np.log1p(-np.asarray(effectiveness, dtype=float))) / cr)
