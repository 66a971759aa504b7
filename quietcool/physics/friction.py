"""Sister correlations of tube friction, turbulent flow only: they bracket the one that the solver uses."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

TURBULENT_RANGE = (4000.0, 1e8)  # Reynolds numbers that both correlations are meant for [-]


def friction_factor_haaland_1983(re: ArrayLike, relative_roughness: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Darcy friction factor of turbulent tube flow, explicit.

    1 / sqrt(f) = -1.8 log10[ (eps/(3.7 D))^1.11 + 6.9/Re ]

    Parameters
    ----------
    re : array_like
        Reynolds number, `TURBULENT_RANGE`. [-]
    relative_roughness : array_like
        Roughness over bore eps/D, 0 to 0.05; broadcasts. [-]

    Returns
    -------
    ndarray, broadcast shape
        Darcy friction factor. [-]

    References
    ----------
    .. [1] S. E. Haaland, "Simple and Explicit Formulas for the Friction Factor in Turbulent Pipe Flow", J. Fluids Eng.
       105 (1983) 89-90, doi:10.1115/1.3240948.

    Examples
    --------
    >>> round(float(friction_factor_haaland_1983(1e5, 1e-4)), 8)
    0.01826505
    """
    rough = (np.asarray(relative_roughness, dtype=float) / 3.7) ** 1.11
    return np.asarray((-1.8 * np.log10(rough + 6.9 / np.asarray(re, dtype=float))) ** -2)


def friction_factor_colebrook_1939(re: ArrayLike, relative_roughness: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Darcy friction factor of turbulent tube flow, the implicit relation solved.

    1 / sqrt(f) = -2 log10[ eps/(3.7 D) + 2.51 / (Re sqrt(f)) ]

    Parameters
    ----------
    re : array_like
        Reynolds number, `TURBULENT_RANGE`. [-]
    relative_roughness : array_like
        Roughness over bore eps/D, 0 to 0.05; broadcasts. [-]

    Returns
    -------
    ndarray, broadcast shape
        Darcy friction factor. [-]

    Notes
    -----
    Newton steps on x = 1 / sqrt(f) from Haaland's value, which is within 2 %: the number of right digits doubles with
    each, so four of them reach rounding.

    References
    ----------
    .. [1] C. F. Colebrook, "Turbulent Flow in Pipes, with Particular Reference to the Transition Region between the
       Smooth and Rough Pipe Laws", J. Inst. Civil Engineers 11 (1939) 133-156, doi:10.1680/ijoti.1939.13150.

    Examples
    --------
    >>> round(float(friction_factor_colebrook_1939(1e5, 1e-4)), 8)
    0.01851387
    """
    rough = np.asarray(relative_roughness, dtype=float) / 3.7
    smooth = 2.51 / np.asarray(re, dtype=float)
    x = friction_factor_haaland_1983(re, relative_roughness) ** -0.5
    for _ in range(4):
        inner = rough + smooth * x
        residual = x + 2.0 * np.log10(inner)
        x = x - residual / (1.0 + 2.0 / np.log(10.0) * smooth / inner)
    return np.asarray(x**-2.0)
