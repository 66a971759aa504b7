"""Coolants: water and mixtures of water with ethylene or propylene glycol, at atmospheric pressure.

All properties are polynomials in t = (T - 313.15 K) / 50 K, the viscosity's in its logarithm; for mixtures
the coefficients are polynomials in the mass fraction x. They were fitted by least squares (relative residuals)

- for water to the reference equations of state and transport (IAPWS formulations [1]_ [2]_ [3]_, evaluated with the
  library CoolProp) at 200 Chebyshev nodes of 0 to 100 degC. Worst relative deviation: density 2e-6, specific
  heat 7e-6, viscosity 1.3e-5, conductivity 1.3e-5;
- for mixtures to the correlations of Melinder [4]_ (evaluated with CoolProp's incompressible fluids) at 25 mass
  fractions from 0 to 60 % and 30 temperatures from freezing, or -10 degC, to 100 degC. The form (powers of x to 5 and
  of t to 3, sum of exponents at most 5) is that of the correlations themselves, so the deviation is below 1e-10;
  what is left is the error of the correlations against measurements.

The mixture correlations do not end in water: at x = 0 they miss its density by up to 0.09 % and its viscosity by up to
1.4 %. So up to x = `BLEND_END` the mixture's values are multiplied by 1 + w(x) (water / mixture(x = 0) - 1) with the
smooth step w = (1 - s)^2 (1 + 2 s), s = x / BLEND_END: pure water at x = 0, the correlation from `BLEND_END` on.

Outside `TEMP_RANGE` and `MASS_FRACTION_RANGE` every property keeps its value at the end of the range: the solver's
passing states stay finite and positive. A caller who ends up there owes the user a word.

References
----------
.. [1] W. Wagner, A. Pruss, "The IAPWS Formulation 1995 for the Thermodynamic Properties of Ordinary Water Substance",
   J. Phys. Chem. Ref. Data 31 (2002) 387, doi:10.1063/1.1461829.
.. [2] M. L. Huber et al., "New International Formulation for the Viscosity of H2O", J. Phys. Chem. Ref. Data 38
   (2009) 101, doi:10.1063/1.3088050.
.. [3] M. L. Huber et al., "New International Formulation for the Thermal Conductivity of H2O", J. Phys. Chem. Ref.
   Data 41 (2012) 033102, doi:10.1063/1.4738955.
.. [4] A. Melinder, "Properties of Secondary Working Fluids for Indirect Systems", 2nd edition, International Institute
   of Refrigeration, Paris 2010.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

TEMP_RANGE = (263.15, 373.15)  # mixtures; water from 273.15 [K]
MASS_FRACTION_RANGE = (0.0, 0.6)  # [-]
BLEND_END = 0.05  # mass fraction from which on the mixture stands alone [-]
REFERENCE_TEMP = 303.15  # water at this temperature is what coolant sides of sheets refer to [K]

_CENTRE_TEMP = 313.15
_TEMP_SCALE = 50.0
_WATER_LOWEST = (273.15 - _CENTRE_TEMP) / _TEMP_SCALE
_MIXTURE_LOWEST = (TEMP_RANGE[0] - _CENTRE_TEMP) / _TEMP_SCALE
_HIGHEST = (TEMP_RANGE[1] - _CENTRE_TEMP) / _TEMP_SCALE

Row: TypeAlias = tuple[float, ...]
Surface: TypeAlias = tuple[Row, ...]  # one row a power of t, in it one coefficient a power of x

# Rising powers of t; SI; "viscosity" holds the natural logarithm.
_WATER: dict[str, Row] = {
    "density": (992.21523879, -19.120348361, -9.288623279, 2.1407246764, -1.006346238, 0.52667679175, -0.15743293067),
    "specific_heat": (
        *(4179.4093976, 4.4903554557, 28.555778776, -18.55402947),
        *(18.908929385, -14.518942365, 10.11445057, -3.203623605),
    ),
    "viscosity": (
        *(-7.3343507067, -0.94000154976, 0.27795598655, -0.098359351455),
        *(0.043864879596, -0.023559870744, 0.01208483771, -0.0031965032961),
    ),
    "conductivity": (
        *(0.62848014636, 0.065386212429, -0.024216825352, 0.004888373823),
        *(-0.0035084451324, 0.0026064926357, -0.00084537131667),
    ),
}
_ETHYLENE_GLYCOL: dict[str, Surface] = {
    "density": (
        (991.80785258, 134.22478819, -135.94042391, 560.88161989, -910.223213, 489.1),
        (-18.026389773, 4.2520882541, -217.39272082, 496.7762804, -360.55),
        (-9.9848042005, 8.1440741649, 19.77758425, -28.825),
        (1.1180015884, -3.63064421, 6.2275),
    ),
    "specific_heat": (
        (4178.4804931, -1254.7307499, 2067.6402704, -14266.561885, 26138.19596, -16180),
        (-1.8652363892, 553.87803739, -827.90936612, 2440.140368, -2136),
        (39.071825777, -271.25289842, 463.5431475, -410.75),
        (-10.938063808, 57.3537939, -89.225),
    ),
    "viscosity": (
        (-7.3275023616, 1.5665795252, 5.8652234198, -20.030571519, 32.00454182, -18.65),
        (-0.92912370551, -0.82935923665, 0.62904595198, -0.635646484, 0.9155),
        (0.30503201449, 0.53729597951, -1.0789198295, 1.01575),
        (-0.10987020091, 0.2950728625, -0.809375),
    ),
    "conductivity": (
        (0.62982562461, -0.52094389328, 0.023882519854, 0.40480359085, -0.524095658, 0.2678),
        (0.067809399143, -0.10771106277, 0.15831759701, -0.245102994, 0.12775),
        (-0.022156261159, 0.1091427474, -0.1814638926, 0.1001),
        (0.0003729881611, -0.003251281575, 0.00295625),
    ),
}
_PROPYLENE_GLYCOL: dict[str, Surface] = {
    "density": (
        (992.52582624, 70.958324418, -40.006726824, 244.81259804, -488.8281667, 234.2),
        (-19.474566614, 1.4067737522, -177.44098483, 272.60137545, -111.05),
        (-10.209712471, 13.079780526, 8.3233641275, -17.9375),
        (2.5969893988, -4.27009164, 4.22),
    ),
    "specific_heat": (
        (4178.2511004, -873.27278844, 1864.1694794, -9612.0209171, 12092.57085, -4959),
        (-1.7014378867, 962.9245665, -3119.4105317, 5717.22722, -3567.5),
        (42.71776717, -374.92286743, 944.42315325, -737.5),
        (-12.869831403, 56.40602425, -60.875),
    ),
    "viscosity": (
        (-7.3380270296, 3.5541612172, -7.5358537286, 31.929479012, -55.973620625, 35.64),
        (-0.94481689443, -0.68737426224, -2.6841040627, 1.36342142, 2.2375),
        (0.32859102559, 0.11738588512, 3.2363738621, -3.9725),
        (-0.1087516272, -0.19822766463, -0.0558125),
    ),
    "conductivity": (
        (0.63007016079, -0.63486186477, 0.20452240587, 0.19800940377, -0.4088031905, 0.2104),
        (0.068404978517, -0.10631564915, 0.015357879892, 0.1431789441, -0.18025),
        (-0.02245315395, 0.13695249502, -0.26063034086, 0.163575),
        (-0.00015253317624, -0.0057304645175, 0.01237125),
    ),
}
_MIXTURES = {"ethylene_glycol": _ETHYLENE_GLYCOL, "propylene_glycol": _PROPYLENE_GLYCOL}

# Rising powers of x from the first, fitted like the rest; within 0.03 K of the correlations for 0 to 60 %.
_FREEZING = {
    "ethylene_glycol": (-30.60605023, -11.897941701, -185.93950419, 82.573742809, 11.669044358),
    "propylene_glycol": (-18.441814497, -127.97501647, 304.84473686, -526.75972696, 122.8391027),
}

# Pure liquids at 20 degC, CRC Handbook of Chemistry and Physics (recalled, not re-read) [kg/m3]
_PURE_DENSITY = {"ethylene_glycol": 1113.5, "propylene_glycol": 1036.1}
_WATER_DENSITY_20 = 998.2

KINDS = ("water", *_MIXTURES)


class CoolantProperties(NamedTuple):
    """Properties of a coolant at one state, each of the broadcast shape of temperature and mass fraction."""

    density: NDArray[np.float64]  # [kg/m3]
    specific_heat: NDArray[np.float64]  # [J/(kg K)]
    viscosity: NDArray[np.float64]  # [Pa s]
    conductivity: NDArray[np.float64]  # [W/(m K)]


def _horner(
    coefficients: Sequence[float | NDArray[np.float64]], x: float | NDArray[np.float64]
) -> float | NDArray[np.float64]:
    """Value of a polynomial given by rising powers, from the top down."""
    total: float | NDArray[np.float64] = coefficients[-1]
    for coefficient in reversed(coefficients[:-1]):
        total = total * x + coefficient
    return total


def _water(t: NDArray[np.float64]) -> CoolantProperties:
    """Pure water at the scaled temperature t."""
    rho, cp, log_mu, k = (np.asarray(_horner(row, t)) for row in _WATER.values())
    return CoolantProperties(rho, cp, np.exp(log_mu), k)


def _mixture(t: NDArray[np.float64], kind: str, x: float | NDArray[np.float64]) -> CoolantProperties:
    """Mixture correlation at the scaled temperature t; powers of x are gathered first: x mostly is one number."""
    rho, cp, log_mu, k = (
        np.asarray(_horner([_horner(row, x) for row in surface], t)) for surface in _MIXTURES[kind].values()
    )
    return CoolantProperties(rho, cp, np.exp(log_mu), k)


def coolant_properties(temp: ArrayLike, kind: str, mass_fraction: ArrayLike = 0.0) -> CoolantProperties:
    """Density, specific heat, viscosity and conductivity of a coolant.

    See the head of this module for form, sources, deviations and the blend towards pure water.

    Parameters
    ----------
    temp : array_like
        Temperature. [K]
    kind : {"water", "ethylene_glycol", "propylene_glycol"}
        What runs in the loop.
    mass_fraction : array_like
        Glycol by mass x; broadcasts with `temp`; not looked at for "water". [-]

    Returns
    -------
    CoolantProperties
        All four properties, each of the broadcast shape. [SI]

    Notes
    -----
    Valid in `TEMP_RANGE` (water from 273.15 K) and `MASS_FRACTION_RANGE`; held at the ends of these outside them.

    References
    ----------
    .. [1] W. Wagner, A. Pruss, J. Phys. Chem. Ref. Data 31 (2002) 387, doi:10.1063/1.1461829.
    .. [2] A. Melinder, "Properties of Secondary Working Fluids for Indirect Systems", IIR, Paris 2010.

    Examples
    --------
    >>> water = coolant_properties(303.15, "water")
    >>> round(float(water.density), 2), round(float(water.viscosity) * 1e3, 4)
    (995.65, 0.7972)
    >>> round(float(coolant_properties(313.15, "ethylene_glycol", 0.3).density), 1)
    1028.8
    """
    t = (np.asarray(temp, dtype=float) - _CENTRE_TEMP) / _TEMP_SCALE
    t_water = np.minimum(np.maximum(t, _WATER_LOWEST), _HIGHEST)
    if kind == "water":
        return _water(t_water)
    fraction = np.clip(np.asarray(mass_fraction, dtype=float), *MASS_FRACTION_RANGE)
    x = float(fraction) if fraction.ndim == 0 else fraction  # a Python number makes the inner sums cheap
    if np.all(fraction == 0.0):
        water = _water(t_water)
        return water if fraction.ndim == 0 else CoolantProperties(*(value + 0.0 * fraction for value in water))
    t_mixture = np.minimum(np.maximum(t, _MIXTURE_LOWEST), _HIGHEST)
    mixture = _mixture(t_mixture, kind, x)
    if np.all(fraction >= BLEND_END):
        return mixture
    s = np.minimum(fraction / BLEND_END, 1.0)
    share = (1.0 - s) ** 2 * (1.0 + 2.0 * s)
    water, start = _water(t_water), _mixture(t_water, kind, 0.0)
    blended = (m * (1.0 + share * (w / m0 - 1.0)) for m, w, m0 in zip(mixture, water, start, strict=True))
    # At x = 0 take the water itself: the product above is equal to it only to rounding, and below 0 degC not at all.
    return CoolantProperties(*(np.where(fraction == 0.0, w, b) for w, b in zip(water, blended, strict=True)))


def mass_fraction_from_volume_fraction(kind: str, volume_fraction: ArrayLike) -> NDArray[np.float64]:
    """Glycol by mass from glycol by volume, both liquids measured at 20 degC before mixing.

    x = v rho_g / (v rho_g + (1 - v) rho_w)

    Parameters
    ----------
    kind : {"water", "ethylene_glycol", "propylene_glycol"}
        What runs in the loop; water gives 0.
    volume_fraction : array_like, any shape
        Share of the glycol in the sum of the two volumes v. [-]

    Returns
    -------
    ndarray, shape of `volume_fraction`
        Share of the glycol in the mass x. [-]

    Notes
    -----
    Pure densities at 20 degC: water 998.2, ethylene glycol 1113.5, propylene glycol 1036.1 kg/m3. Contraction on mixing
    does not matter, the volumes being those before it.

    References
    ----------
    .. [1] "CRC Handbook of Chemistry and Physics" (densities; recalled, not re-read).

    Examples
    --------
    >>> round(float(mass_fraction_from_volume_fraction("ethylene_glycol", 0.3)), 3)
    0.323
    """
    v = np.asarray(volume_fraction, dtype=float)
    if kind == "water":
        return np.zeros_like(v)
    glycol = v * _PURE_DENSITY[kind]
    return np.asarray(glycol / (glycol + (1.0 - v) * _WATER_DENSITY_20))


def freezing_temp(kind: str, mass_fraction: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Temperature at which the first ice forms.

    Parameters
    ----------
    kind : {"water", "ethylene_glycol", "propylene_glycol"}
        What runs in the loop.
    mass_fraction : array_like, any shape
        Glycol by mass, 0 to 0.6. [-]

    Returns
    -------
    ndarray, shape of `mass_fraction`
        Freezing temperature. [K]

    Notes
    -----
    Polynomial of degree 5 through 273.15 K at 0, within 0.03 K of its source up to 60 %.

    References
    ----------
    .. [1] A. Melinder, "Properties of Secondary Working Fluids for Indirect Systems", IIR, Paris 2010.

    Examples
    --------
    >>> round(float(freezing_temp("propylene_glycol", 0.3)) - 273.15, 1)
    -12.8
    """
    x = np.asarray(mass_fraction, dtype=float)
    if kind == "water":
        return np.full_like(x, 273.15)
    x = np.clip(x, *MASS_FRACTION_RANGE)
    return np.asarray(273.15 + x * _horner(_FREEZING[kind], x))


WATER_30 = coolant_properties(REFERENCE_TEMP, "water")
REFERENCE_DENSITY = float(WATER_30.density)  # water at 30 degC, from this model [kg/m3]
REFERENCE_VISCOSITY = float(WATER_30.viscosity)  # water at 30 degC, from this model [Pa s]
