"""Pressure drops of everything that air or coolant passes: cores, filters, openings, tubes, fittings.

All drops are positive in flow direction and odd in the flow. Velocities are face velocities unless the name says
otherwise. What has a viscous and an inertial part is written a V (mu / mu_ref) + b V^2 (rho / rho_ref).
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

REFERENCE_DENSITY = 1.2  # of the air that a and b of cores and filters refer to [kg/m3]
REFERENCE_VISCOSITY = 1.8134058821488238e-05  # of air at 293.15 K, US Standard Atmosphere 1976 [Pa s]

# Loss coefficients of small angle fittings on the velocity in the bore: common practice, no source. Handbooks bracket
# them: mitre bends of 90 and 45 degrees 1.2 and 0.3 (Rennels and Hudson, "Pipe Flow", Wiley 2012, mitre bends).
FITTING_LOSS: Mapping[str, float] = MappingProxyType({"90": 1.3, "45": 0.4})

TRANSITION_RANGE = (2000.0, 4000.0)  # Reynolds numbers where pipe friction is anybody's guess, by a factor of 1.6 [-]


class MassFlowCoefficients(NamedTuple):
    """Pressure drop as linear m + quadratic m|m| of the mass flow m."""

    linear: NDArray[np.float64]  # [Pa s/kg]
    quadratic: NDArray[np.float64]  # [Pa s2/kg2]


class ForchheimerFit(NamedTuple):
    """Two coefficients from measured points."""

    a: NDArray[np.float64]  # [Pa s/m]
    b: NDArray[np.float64]  # [Pa s2/m2]
    residual: NDArray[np.float64]  # root mean square of the relative deviations [-]


def forchheimer_pressure_drop(
    velocity: ArrayLike, a: ArrayLike, b: ArrayLike, *, viscosity_ratio: ArrayLike = 1.0, density_ratio: ArrayLike = 1.0
) -> NDArray[np.float64]:
    """Pressure drop of a core, filter, plate or radiator: a viscous and an inertial part.

    p = a V (mu / mu_ref) + b V |V| (rho / rho_ref)

    Parameters
    ----------
    velocity : array_like
        Face velocity V, or a flow where a and b belong to one. [m/s]
    a : array_like
        Viscous coefficient at the reference viscosity. [Pa s/m]
    b : array_like
        Inertial coefficient at the reference density. [Pa s2/m2]
    viscosity_ratio : array_like
        Viscosity over reference viscosity. [-]
    density_ratio : array_like
        Density over reference density. [-]

    Returns
    -------
    ndarray, broadcast shape
        Pressure drop, of the sign of the velocity. [Pa]

    References
    ----------
    .. [1] P. Forchheimer, "Wasserbewegung durch Boden", Z. VDI 45 (1901) 1782 (the form).

    Examples
    --------
    >>> float(forchheimer_pressure_drop(2.0, 3.0, 0.5))
    8.0
    """
    v = np.asarray(velocity, dtype=float)
    return np.asarray(v * (np.multiply(a, viscosity_ratio) + np.multiply(b, density_ratio) * np.abs(v)))


def loss_pressure_drop(velocity: ArrayLike, loss_coefficient: ArrayLike, density: ArrayLike) -> NDArray[np.float64]:
    """Pressure drop of an opening, grille or fitting by its loss coefficient.

    p = K rho v |v| / 2

    Parameters
    ----------
    velocity : array_like
        Velocity in the area that K refers to v. [m/s]
    loss_coefficient : array_like
        K. [-]
    density : array_like
        Density. [kg/m3]

    Returns
    -------
    ndarray, broadcast shape
        Pressure drop, of the sign of the velocity. [Pa]

    References
    ----------
    .. [1] I. E. Idelchik, "Handbook of Hydraulic Resistance", 3rd edition, 1994, chapter 1 (definition).

    Examples
    --------
    >>> float(loss_pressure_drop(2.0, 1.5, 1.2))
    3.6
    """
    v = np.asarray(velocity, dtype=float)
    return np.asarray(0.5 * np.multiply(loss_coefficient, density) * v * np.abs(v))


def mass_flow_coefficients(
    a: ArrayLike,
    b: ArrayLike,
    area: ArrayLike,
    density: ArrayLike,
    viscosity: ArrayLike,
    *,
    reference_density: float = REFERENCE_DENSITY,
    reference_viscosity: float = REFERENCE_VISCOSITY,
) -> MassFlowCoefficients:
    """Coefficients of a core or filter on mass flow, from those on face velocity.

    a V (mu / mu_ref) + b V^2 (rho / rho_ref) with V = m / (rho A) is

    p = [a mu / (mu_ref rho A)] m + [b / (rho_ref rho A^2)] m |m|

    Parameters
    ----------
    a : array_like
        Viscous coefficient at the reference viscosity. [Pa s/m]
    b : array_like
        Inertial coefficient at the reference density. [Pa s2/m2]
    area : array_like
        Face area A. [m2]
    density : array_like
        Mean density of the air inside. [kg/m3]
    viscosity : array_like
        Mean viscosity of the air inside. [Pa s]
    reference_density : float
        Density that b refers to. [kg/m3]
    reference_viscosity : float
        Viscosity that a refers to. [Pa s]

    Returns
    -------
    MassFlowCoefficients
        Linear [Pa s/kg] and quadratic [Pa s2/kg2] coefficient, broadcast shape.

    References
    ----------
    .. [1] P. Forchheimer, "Wasserbewegung durch Boden", Z. VDI 45 (1901) 1782 (the form on velocity).

    Examples
    --------
    At reference air 0.06 kg/s through 0.05 m2 is 1 m/s:

    >>> c = mass_flow_coefficients(3.0, 0.5, 0.05, 1.2, REFERENCE_VISCOSITY)
    >>> round(float(c.linear * 0.06 + c.quadratic * 0.06**2), 9)
    3.5
    """
    mass_per_velocity = np.multiply(density, area)
    linear = np.multiply(a, viscosity) / (reference_viscosity * mass_per_velocity)
    quadratic = np.divide(b, reference_density * np.multiply(mass_per_velocity, area))
    return MassFlowCoefficients(np.asarray(linear), np.asarray(quadratic))


def opening_mass_flow_coefficient(
    loss_coefficient: ArrayLike, area: ArrayLike, density: ArrayLike
) -> NDArray[np.float64]:
    """Quadratic coefficient of an opening on mass flow.

    p = c m |m|,  c = K / (2 rho A^2)

    Parameters
    ----------
    loss_coefficient : array_like
        K on the velocity in `area`. [-]
    area : array_like
        Area A. [m2]
    density : array_like
        Density at the opening. [kg/m3]

    Returns
    -------
    ndarray, broadcast shape
        c. [Pa s2/kg2]

    References
    ----------
    .. [1] I. E. Idelchik, "Handbook of Hydraulic Resistance", 3rd edition, 1994, chapter 1 (definition of K).

    Examples
    --------
    >>> float(opening_mass_flow_coefficient(2.4, 0.1, 1.2))
    100.0
    """
    return np.asarray(np.divide(loss_coefficient, 2.0 * np.multiply(density, np.square(area))))


def reynolds(velocity: ArrayLike, length: ArrayLike, density: ArrayLike, viscosity: ArrayLike) -> NDArray[np.float64]:
    """Reynolds number.

    Re = rho |v| L / mu

    Parameters
    ----------
    velocity : array_like
        Velocity v. [m/s]
    length : array_like
        Length that the correlation at hand asks for L. [m]
    density : array_like
        Density. [kg/m3]
    viscosity : array_like
        Dynamic viscosity. [Pa s]

    Returns
    -------
    ndarray, broadcast shape
        Re, never negative. [-]

    References
    ----------
    .. [1] ISO 80000-11:2019, "Quantities and units - Characteristic numbers", 11-4.1 (number recalled, not re-read).

    Examples
    --------
    >>> float(reynolds(1.0, 0.01, 1000.0, 0.001))
    10000.0
    """
    return np.asarray(np.abs(velocity) * np.multiply(density, length) / viscosity)


def _friction_times_reynolds(re: NDArray[np.float64], relative_roughness: ArrayLike) -> NDArray[np.float64]:
    """Churchill's f Re, which stays finite (64) where f itself does not: at rest."""
    # Below Re = 1 the turbulent part is 110 orders of magnitude below the laminar one; the floor avoids overflow.
    r = np.maximum(re, 1.0)
    rough = 2.457 * np.log((7.0 / r) ** 0.9 + np.multiply(0.27, relative_roughness))
    sum_ab = np.square(np.square(np.square(np.square(rough)))) + np.square(np.square(np.square(np.square(37530.0 / r))))
    r_4 = np.square(np.square(r))
    # Repeated squares: a power costs as much as the rest of the line, and the loop solver lives here.
    return np.asarray(8.0 * (8.0**12 + r_4 * r_4 * r_4 / (sum_ab * np.sqrt(sum_ab))) ** (1.0 / 12.0))


def friction_factor_churchill_1977(re: ArrayLike, relative_roughness: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Darcy friction factor of a tube in all regimes.

    f = 8 [(8/Re)^12 + (A + B)^-1.5]^(1/12),
    A = {2.457 ln[1 / ((7/Re)^0.9 + 0.27 eps/D)]}^16,  B = (37530/Re)^16

    Parameters
    ----------
    re : array_like
        Reynolds number, above zero. [-]
    relative_roughness : array_like
        Roughness over bore eps/D; broadcasts. [-]

    Returns
    -------
    ndarray, broadcast shape
        Darcy friction factor. [-]

    Notes
    -----
    64/Re below about Re = 1500, within 2 % of Colebrook above 4000. In `TRANSITION_RANGE` a smooth guess.

    References
    ----------
    .. [1] S. W. Churchill, "Friction-factor equation spans all fluid-flow regimes", Chemical Engineering 84 (24), 1977,
       91-92.

    Examples
    --------
    >>> round(float(friction_factor_churchill_1977(1e5, 1.5e-4)), 6)
    0.018738
    """
    r = np.asarray(re, dtype=float)
    return np.asarray(_friction_times_reynolds(r, relative_roughness) / r)


friction_factor = friction_factor_churchill_1977  # the recommended one: no jump for a solver to hunt over


def tube_pressure_drop(
    flow: ArrayLike,
    bore: ArrayLike,
    length: ArrayLike,
    loss_coefficient: ArrayLike,
    density: ArrayLike,
    viscosity: ArrayLike,
    *,
    relative_roughness: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Pressure drop of a tube with its fittings.

    p = (f Re) mu L v / (2 D^2) + K rho v |v| / 2,  v = 4 q / (pi D^2)

    Written on f Re, so that it is linear near rest and needs no special case there.

    Parameters
    ----------
    flow : array_like
        Volume flow q. [m3/s]
    bore : array_like
        Inner diameter D. [m]
    length : array_like
        Length L. [m]
    loss_coefficient : array_like
        Sum of K over the fittings, on the velocity in the bore. [-]
    density : array_like
        Density. [kg/m3]
    viscosity : array_like
        Dynamic viscosity. [Pa s]
    relative_roughness : array_like
        Roughness over bore; 0 for hoses and drawn tube. [-]

    Returns
    -------
    ndarray, broadcast shape
        Pressure drop, of the sign of the flow. [Pa]

    References
    ----------
    .. [1] S. W. Churchill, Chemical Engineering 84 (24), 1977, 91-92 (f); Darcy-Weisbach equation.

    Examples
    --------
    >>> float(tube_pressure_drop(1e-8, 0.01, 1.0, 0.0, 996.0, 8e-4)) / (128 * 8e-4 * 1e-8 / np.pi / 0.01**4)
    1.0
    """
    d = np.asarray(bore, dtype=float)
    v = np.asarray(flow, dtype=float) / (0.25 * np.pi * d * d)
    friction_re = _friction_times_reynolds(reynolds(v, d, density, viscosity), relative_roughness)
    friction = friction_re * (np.multiply(viscosity, length) / (2.0 * d * d)) * v
    return np.asarray(friction + loss_pressure_drop(v, loss_coefficient, density))


def fit_forchheimer(velocity: ArrayLike, pressure_drop: ArrayLike) -> ForchheimerFit:
    """Non-negative viscous and inertial coefficients that fit measured pressure drops best.

    minimise  sum_i [(a V_i + b V_i^2) / p_i - 1]^2  over a >= 0, b >= 0

    Relative deviations, because the error of a pressure measurement is stated in per cent; absolute ones would leave
    the slow end, where a quiet rig lives, to chance.

    Parameters
    ----------
    velocity : array_like, (..., n)
        Face velocities, above zero; one point gives a purely inertial or viscous fit, so take two or more. [m/s]
    pressure_drop : array_like, (..., n)
        Pressure drops at the reference air, above zero. [Pa]

    Returns
    -------
    ForchheimerFit
        a [Pa s/m], b [Pa s2/m2] and the root mean square relative deviation, each (...).

    Notes
    -----
    With two unknowns the minimum lies inside, or on one of the two axes: all three are written down and the best
    admissible one is taken. No iteration.

    References
    ----------
    .. [1] C. L. Lawson, R. J. Hanson, "Solving Least Squares Problems", Prentice-Hall, 1974, chapter 23 (the problem).

    Examples
    --------
    >>> fit = fit_forchheimer([0.5, 1.0, 2.0], [1.625, 3.5, 8.0])
    >>> round(float(fit.a), 6), round(float(fit.b), 6), float(fit.residual) < 1e-12
    (3.0, 0.5, True)
    """
    v, p = np.broadcast_arrays(np.asarray(velocity, dtype=float), np.asarray(pressure_drop, dtype=float))
    if np.any(v <= 0.0) or np.any(p <= 0.0):
        raise ValueError("velocities and pressure drops of a fit must be above zero: leave out points at rest")
    u, w = v / p, v * v / p
    uu, uw, ww = (u * u).sum(-1), (u * w).sum(-1), (w * w).sum(-1)
    su, sw = u.sum(-1), w.sum(-1)
    determinant = uu * ww - uw * uw
    independent = determinant > 1e-12 * uu * ww  # all points at one velocity cannot tell a from b
    safe = np.where(independent, determinant, 1.0)
    zero = np.zeros_like(uu)
    inside_a, inside_b = (su * ww - sw * uw) / safe, (sw * uu - su * uw) / safe
    a = np.stack([inside_a, su / uu, zero])
    b = np.stack([inside_b, zero, sw / ww])
    deviation = np.sqrt(np.mean((a[..., None] * u + b[..., None] * w - 1.0) ** 2, axis=-1))
    admissible = (a >= 0.0) & (b >= 0.0)
    admissible[0] &= independent
    best = np.argmin(np.where(admissible, deviation, np.inf), axis=0)[None]
    a_best, b_best, residual = (np.take_along_axis(array, best, axis=0)[0] for array in (a, b, deviation))
    return ForchheimerFit(np.asarray(a_best), np.asarray(b_best), np.asarray(residual))
