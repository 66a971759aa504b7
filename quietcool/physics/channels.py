"""Flow and heat in the narrow channels of a core, and the fins between them: laminar ducts, tubes, whole core.

`aspect_ratio` is short over long side of a rectangular duct. Friction factors of ducts and fins are Fanning's, a
quarter of Darcy's. Reynolds numbers of ducts are on the hydraulic diameter, four areas over the perimeter.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

LAMINAR_END = 2300.0  # duct flow is laminar below it [-]
TURBULENT_START = 4000.0  # and turbulent above this [-]

# Entrance of rectangular ducts, over the aspect ratio: R. K. Shah and A. L. London, "Laminar Flow Forced Convection in
# Ducts", Academic Press, 1978, table of K(inf) and C (recalled, not re-read).
_ENTRANCE_ASPECT = (0.0, 0.2, 0.5, 1.0)
_ENTRANCE_LOSS = (0.674, 0.931, 1.28, 1.43)
_ENTRANCE_CONSTANT = (2.9e-5, 7.6e-5, 2.1e-4, 2.9e-4)


def _polynomial(x: ArrayLike, coefficients: tuple[float, ...]) -> NDArray[np.float64]:
    """Value of a polynomial given by rising powers."""
    result = np.polynomial.polynomial.polyval(np.asarray(x, dtype=float), np.asarray(coefficients))
    return np.asarray(result, dtype=float)


def friction_laminar_rectangular(aspect_ratio: ArrayLike) -> NDArray[np.float64]:
    """Fanning friction factor times Reynolds number of developed laminar flow in a rectangular duct.

    f Re = 24 (1 - 1.3553 x + 1.9467 x^2 - 1.7012 x^3 + 0.9564 x^4 - 0.2537 x^5)

    Parameters
    ----------
    aspect_ratio : array_like
        Short over long side x, 0 to 1. [-]

    Returns
    -------
    ndarray, same shape
        f Re. [-]

    References
    ----------
    .. [1] R. K. Shah, A. L. London, "Laminar Flow Forced Convection in Ducts", Academic Press, 1978, equation 341.

    Examples
    --------
    >>> round(float(friction_laminar_rectangular(0.5)), 4)
    15.5573
    """
    return 24.0 * _polynomial(aspect_ratio, (1.0, -1.3553, 1.9467, -1.7012, 0.9564, -0.2537))


def nusselt_laminar_rectangular_h1(aspect_ratio: ArrayLike) -> NDArray[np.float64]:
    """Nusselt number of developed laminar flow in a rectangular duct, heat flux constant along it (H1).

    Nu = 8.235 (1 - 2.0421 x + 3.0853 x^2 - 2.4765 x^3 + 1.0578 x^4 - 0.1861 x^5)

    Parameters
    ----------
    aspect_ratio : array_like
        Short over long side x, 0 to 1. [-]

    Returns
    -------
    ndarray, same shape
        Nu. [-]

    References
    ----------
    .. [1] R. K. Shah, A. L. London, "Laminar Flow Forced Convection in Ducts", Academic Press, 1978, chapter VII.

    Examples
    --------
    >>> round(float(nusselt_laminar_rectangular_h1(0.25)), 5)
    5.33267
    """
    return 8.235 * _polynomial(aspect_ratio, (1.0, -2.0421, 3.0853, -2.4765, 1.0578, -0.1861))


def nusselt_laminar_rectangular_t(aspect_ratio: ArrayLike) -> NDArray[np.float64]:
    """Nusselt number of developed laminar flow in a rectangular duct, wall temperature constant (T).

    Nu = 7.541 (1 - 2.610 x + 4.970 x^2 - 5.119 x^3 + 2.702 x^4 - 0.548 x^5)

    Parameters
    ----------
    aspect_ratio : array_like
        Short over long side x, 0 to 1. [-]

    Returns
    -------
    ndarray, same shape
        Nu. [-]

    References
    ----------
    .. [1] R. K. Shah, A. L. London, "Laminar Flow Forced Convection in Ducts", Academic Press, 1978, chapter VII.

    Examples
    --------
    >>> round(float(nusselt_laminar_rectangular_t(0.5)), 4)
    3.3887
    """
    return 7.541 * _polynomial(aspect_ratio, (1.0, -2.610, 4.970, -5.119, 2.702, -0.548))


def nusselt_developing(
    re: ArrayLike, prandtl: ArrayLike, diameter_over_length: ArrayLike, developed: ArrayLike = 7.541
) -> NDArray[np.float64]:
    """Mean Nusselt number of laminar flow that develops in speed and temperature along a short duct.

    Nu = (Nu_inf^3 + [1.841 x^(1/3)]^3 + [(2 / (1 + 22 Pr))^(1/6) x^(1/2)]^3)^(1/3),  x = Re Pr D_h / L

    Parameters
    ----------
    re : array_like
        Reynolds number, below 2200. [-]
    prandtl : array_like
        Prandtl number. [-]
    diameter_over_length : array_like
        Hydraulic diameter over length. [-]
    developed : array_like
        Nu_inf: 7.541 for parallel plates; for a rectangular duct its own developed value stands in. [-]

    Returns
    -------
    ndarray, broadcast shape
        Nu. [-]

    Notes
    -----
    Parallel plates of constant temperature. With another Nu_inf it is an approximation.

    References
    ----------
    .. [1] "VDI-Waermeatlas", section Gb 7, equations 36 to 43.

    Examples
    --------
    >>> round(float(nusselt_developing(200.0, 0.7073, 1.0 / 13.04348)), 4)
    7.9839
    """
    x = np.multiply(re, prandtl) * np.asarray(diameter_over_length, dtype=float)
    entrance = np.sqrt(2.0 / (1.0 + 22.0 * np.asarray(prandtl, dtype=float))) * x**1.5
    return np.asarray(np.cbrt(np.asarray(developed, dtype=float) ** 3 + 1.841**3 * x + entrance))


def friction_developing(re: ArrayLike, diameter_over_length: ArrayLike, aspect_ratio: ArrayLike) -> NDArray[np.float64]:
    """Apparent Fanning friction factor of laminar flow from the mouth of a rectangular duct to its end.

    f Re = 3.44/sqrt(x) + [K/(4 x) + (f Re)_inf - 3.44/sqrt(x)] / (1 + C/x^2),  x = L / (D_h Re)

    Parameters
    ----------
    re : array_like
        Reynolds number, above zero, below 2300. [-]
    diameter_over_length : array_like
        Hydraulic diameter over length D_h / L. [-]
    aspect_ratio : array_like
        Short over long side, 0 to 1; K and C are interpolated over it. [-]

    Returns
    -------
    ndarray, broadcast shape
        Apparent f: developing speed profile included, loss at the mouth's edge not. [-]

    References
    ----------
    .. [1] R. K. Shah, "A Correlation for Laminar Hydrodynamic Entry Length Solutions for Circular and Noncircular
       Ducts", J. Fluids Eng. 100 (1978) 177-179, doi:10.1115/1.3448626 (K and C recalled, not re-read).

    Examples
    --------
    >>> round(float(friction_developing(200.0, 1.0, 0.0) * 200.0), 4)
    52.8392
    """
    x = 1.0 / np.multiply(re, diameter_over_length)
    mouth = 3.44 / np.sqrt(x)
    aspect = np.asarray(aspect_ratio, dtype=float)
    loss = np.interp(aspect, _ENTRANCE_ASPECT, _ENTRANCE_LOSS)
    constant = np.interp(aspect, _ENTRANCE_ASPECT, _ENTRANCE_CONSTANT)
    rest = loss / (4.0 * x) + friction_laminar_rectangular(aspect_ratio) - mouth
    return np.asarray((mouth + rest / (1.0 + constant / (x * x))) / np.asarray(re, dtype=float))


def nusselt_gnielinski_1976(re: ArrayLike, prandtl: ArrayLike, friction: ArrayLike) -> NDArray[np.float64]:
    """Nusselt number of turbulent flow in a duct.

    Nu = (f/8) (Re - 1000) Pr / (1 + 12.7 sqrt(f/8) (Pr^(2/3) - 1))

    Parameters
    ----------
    re : array_like
        Reynolds number, 3000 to 5e6. [-]
    prandtl : array_like
        Prandtl number, 0.5 to 2000. [-]
    friction : array_like
        Darcy friction factor f. [-]

    Returns
    -------
    ndarray, broadcast shape
        Nu. [-]

    References
    ----------
    .. [1] V. Gnielinski, "New equations for heat and mass transfer in turbulent pipe and channel flow", Int. Chem. Eng.
       16 (1976) 359-368.

    Examples
    --------
    >>> round(float(nusselt_gnielinski_1976(1e5, 1.2, 0.0185)), 3)
    254.627
    """
    f8, pr = np.asarray(friction, dtype=float) / 8.0, np.asarray(prandtl, dtype=float)
    return np.asarray(f8 * (np.asarray(re) - 1000.0) * pr / (1.0 + 12.7 * np.sqrt(f8) * (np.cbrt(pr) ** 2 - 1.0)))


def fin_efficiency(
    heat_transfer_coefficient: ArrayLike, conductivity: ArrayLike, *, thickness: ArrayLike, length: ArrayLike
) -> NDArray[np.float64]:
    """Efficiency of a straight fin: heat it takes over heat it would take at the temperature of its root.

    eta = tanh(m L) / (m L),  m = sqrt(2 h / (k t))

    Parameters
    ----------
    heat_transfer_coefficient : array_like
        h, above zero. [W/(m2 K)]
    conductivity : array_like
        Of the fin k. [W/(m K)]
    thickness : array_like
        Of the fin t. [m]
    length : array_like
        From the root to where no heat flows: half the height of a fin brazed at both ends. [m]

    Returns
    -------
    ndarray, broadcast shape
        Efficiency, 0 to 1. [-]

    References
    ----------
    .. [1] W. M. Kays, A. L. London, "Compact Heat Exchangers", 3rd edition, McGraw-Hill, 1984, chapter 2.

    Examples
    --------
    >>> round(float(fin_efficiency(80.0, 237.0, thickness=8e-5, length=4e-3)), 6)
    0.957298
    """
    ml = np.sqrt(2.0 * np.asarray(heat_transfer_coefficient) / np.multiply(conductivity, thickness)) * length
    return np.asarray(np.tanh(ml) / ml)


def core_pressure_drop(
    mass_flux: ArrayLike,
    friction: ArrayLike,
    *,
    free_area_ratio: ArrayLike,
    area_ratio: ArrayLike,
    density_in: ArrayLike,
    density_out: ArrayLike,
    contraction_loss: ArrayLike,
    expansion_loss: ArrayLike,
) -> NDArray[np.float64]:
    """Pressure drop of a core: mouth, acceleration by heating, friction, exit.

    p = G^2/(2 rho_1) { 1 - s^2 + K_c + 2 (rho_1/rho_2 - 1) + f (A/A_c) rho_1/rho_m - (1 - s^2 - K_e) rho_1/rho_2 }

    Parameters
    ----------
    mass_flux : array_like
        Mass flow over free area G. [kg/(m2 s)]
    friction : array_like
        Fanning friction factor f. [-]
    free_area_ratio : array_like
        Free area over face area s. [-]
    area_ratio : array_like
        Wetted area over free area A / A_c, 4 L / D_h in channels. [-]
    density_in : array_like
        rho_1. [kg/m3]
    density_out : array_like
        rho_2; the mean rho_m is the harmonic one of both. [kg/m3]
    contraction_loss : array_like
        K_c. [-]
    expansion_loss : array_like
        K_e. [-]

    Returns
    -------
    ndarray, broadcast shape
        Pressure drop. [Pa]

    References
    ----------
    .. [1] W. M. Kays, A. L. London, "Compact Heat Exchangers", 3rd edition, McGraw-Hill, 1984, equation 2-26a.
    .. [2] "Heat Exchanger Design Handbook", section 3.9.10.

    Examples
    --------
    >>> float(core_pressure_drop(4.0, 0.09, free_area_ratio=0.75, area_ratio=50.0, density_in=1.184,
    ...     density_out=1.127, contraction_loss=0.40, expansion_loss=0.20))
    35.830671
    """
    rho_1, expansion = np.asarray(density_in, dtype=float), np.divide(density_in, density_out)
    blocked = 1.0 - np.square(free_area_ratio)
    terms = (
        blocked
        + np.asarray(contraction_loss, dtype=float)
        + 2.0 * (expansion - 1.0)
        + np.multiply(friction, area_ratio) * 0.5 * (1.0 + expansion)
        - (blocked - np.asarray(expansion_loss, dtype=float)) * expansion
    )
    return np.asarray(np.square(mass_flux) / (2.0 * rho_1) * terms)
