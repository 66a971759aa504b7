"""Heat exchangers: effectiveness over NTU, conductances, and the conductance of a whole radiator.

NTU = UA / C_min, capacity ratio C_r = C_min / C_max, heat = effectiveness C_min (T_hot,in - T_cold,in).
Flows enter by their size: which way a stream runs does not matter to a cross-flow core.
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

REFERENCE_DENSITY = 1.2  # of the air in which `ua_air_velocity` of a sheet is meant [kg/m3]

_ROUNDING = 1e-15  # relative remainder at which the series is cut
_LARGEST_NTU = 740.0  # e^-740 is the last that does not underflow; the series clips beyond
_ASYMPTOTIC = 500.0  # C_r NTU from which on the expansion for large arguments is exact to 1e-9
_BANDS = (0.0, 0.25, 1.0, 4.0, 32.0, _ASYMPTOTIC, np.inf)  # the number of terms follows the largest in a band
_TINY = 1e-200  # keeps a division by a flow at rest finite


class UaFit(NamedTuple):
    """The four numbers of a radiator's heat side from measured points."""

    ua_air: float  # at the reference face velocity and 1.2 kg/m3 [W/K]
    ua_air_exponent: float  # [-]
    ua_coolant: float  # at the reference coolant flow [W/K]
    ua_coolant_exponent: float  # [-]
    worst_deviation: float  # largest relative deviation of a point, absolute value [-]


def _series(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
    """Effectiveness from a = NTU and b = C_r NTU by the series, b at most some hundreds.

    e^-b sum_{m >= 0} b^m / (m+1)! S_(m+1)(a),  S_m = sum_{j <= m} P(j, a),  P(j+1, a) = P(j, a) - e^-a a^j / j!
    """
    largest = float(np.fmax.reduce(b, initial=0.0))  # a case that is not a number must not end the sum for all
    a = np.minimum(a, _LARGEST_NTU)
    probability = -np.expm1(-a)  # P(1, a)
    mass = np.exp(-a)
    tail = probability.copy()
    weight = np.exp(-b)
    total = weight * probability
    room = np.empty_like(total)
    left, m = np.exp(-largest), 0  # left: largest^m / m! e^-largest
    while left * max(1.0, largest) > _ROUNDING * (1.0 - largest / (m + 1.0)):
        m += 1
        left *= largest / m
        mass *= np.multiply(a, 1.0 / m, out=room)  # in place and without divisions: this is the hottest loop of all
        probability -= mass
        tail += probability
        weight *= np.multiply(b, 1.0 / (m + 1.0), out=room)
        total += np.multiply(weight, tail, out=room)
    return total


def _expansion(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
    """Effectiveness for large b = C_r NTU.

    The series is E[min(X, Y)] / b of two Poisson numbers with means a and b. Their difference is nearly normal: the
    terms behind the first are those of Edgeworth (skewness, kurtosis) and of Euler and Maclaurin (whole numbers).
    """
    from scipy.special import erfc  # rarely reached, and slow to load

    sigma = np.sqrt(a + b)
    z = np.minimum((a - b) / sigma, 1e3)  # beyond it everything below is zero
    density = np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)
    normal = sigma * density - (a - b) * 0.5 * erfc(z / np.sqrt(2.0))
    z2 = z * z
    skew = z2 * (z2 * z2 - 6.0 * z2 + 3.0) / (72.0 * sigma) / (a + b)
    second = -z2 / (6.0 * sigma) + ((z2 - 1.0) / 24.0 - 1.0 / 12.0) / sigma + skew
    return np.asarray(1.0 - (normal + density * second) / b)


def effectiveness_cross_unmixed(ntu: ArrayLike, capacity_ratio: ArrayLike) -> NDArray[np.float64]:
    """Effectiveness of cross-flow with both streams unmixed: the exact relation.

    eps = 1 / (C_r NTU) sum_{k >= 0} P(k+1, NTU) P(k+1, C_r NTU),  P(k+1, x) = 1 - e^-x sum_{m <= k} x^m / m!

    summed the other way round, so that no division by C_r is left and all terms are positive (C_r -> 0 needs no
    branch, small arguments cancel nothing):

    eps = e^-b sum_{m >= 0} b^m / (m+1)! sum_{j = 1..m+1} P(j, NTU),  b = C_r NTU

    Parameters
    ----------
    ntu : array_like
        Number of transfer units UA / C_min, 0 and up. [-]
    capacity_ratio : array_like
        C_min / C_max, 0 to 1; broadcasts. [-]

    Returns
    -------
    ndarray, broadcast shape
        Effectiveness, never above 1. [-]

    Notes
    -----
    The number of terms follows the largest b = C_r NTU of a band of the batch: 11 for b up to 0.25, 16 for b up to 1,
    about b + 8 sqrt(b) + 10 in all. Relative error 1e-14 (1e-12 for b in the hundreds); above b = 500 an expansion for
    large arguments with error below 1e-9 takes over.

    References
    ----------
    .. [1] J. L. Mason, "Heat transfer in crossflow", Proc. 2nd U.S. National Congress of Applied Mechanics, ASME 1955,
       801-803.
    .. [2] B. S. Baclic, "A simplified formula for cross-flow heat exchanger effectiveness", J. Heat Transfer 100 (1978)
       746-747, doi:10.1115/1.3450893.

    Examples
    --------
    >>> round(float(effectiveness_cross_unmixed(1.0, 0.25)), 6)
    0.588011
    """
    n = np.asarray(ntu, dtype=float)
    a, b = np.broadcast_arrays(n, np.minimum(n, 1e300) * np.asarray(capacity_ratio, dtype=float))
    shape, a, b = a.shape, a.ravel(), b.ravel()
    largest = float(np.fmax.reduce(b, initial=0.0))
    upper = next(hi for hi in _BANDS[1:] if largest <= hi)
    result = np.full(b.shape, np.nan)  # what is in no band is not a number to begin with
    if upper <= _BANDS[2]:
        result = _series(a, b)
    else:
        for lower, upper in pairwise(_BANDS):
            inside = (b <= upper) & ((b > lower) | (lower == 0.0))
            if inside.any():
                result[inside] = (_expansion if lower >= _ASYMPTOTIC else _series)(a[inside], b[inside])
    return np.asarray(np.minimum(result, 1.0).reshape(shape))


def ua_total(ua_air: ArrayLike, ua_coolant: ArrayLike) -> NDArray[np.float64]:
    """Conductance of two films in series, the wall left out.

    1/UA = 1/UA_air + 1/UA_coolant

    Parameters
    ----------
    ua_air : array_like
        Air-side conductance, 0 and up. [W/K]
    ua_coolant : array_like
        Coolant-side conductance, 0 and up; broadcasts. [W/K]

    Returns
    -------
    ndarray, broadcast shape
        Conductance from coolant to air; 0 where either is 0. [W/K]

    References
    ----------
    .. [1] W. M. Kays, A. L. London, "Compact Heat Exchangers", 3rd edition, McGraw-Hill, 1984, chapter 2.

    Examples
    --------
    >>> float(ua_total(30.0, 60.0))
    20.0
    """
    air, coolant = np.asarray(ua_air, dtype=float), np.asarray(ua_coolant, dtype=float)
    return np.asarray(air * (coolant / np.maximum(air + coolant, _TINY)))


def ua_power_law(ua_reference: ArrayLike, ratio: ArrayLike, exponent: ArrayLike) -> NDArray[np.float64]:
    """Conductance of one side at another flow.

    UA = UA_ref ratio^n

    Parameters
    ----------
    ua_reference : array_like
        Conductance at ratio 1. [W/K]
    ratio : array_like
        Mass flux or flow over that of the reference; its size counts, not its sign. [-]
    exponent : array_like
        n, 0 to 1. [-]

    Returns
    -------
    ndarray, broadcast shape
        Conductance. [W/K]

    References
    ----------
    .. [1] W. M. Kays, A. L. London, "Compact Heat Exchangers", 3rd edition, McGraw-Hill, 1984 (power laws of j).

    Examples
    --------
    >>> float(ua_power_law(10.0, 4.0, 0.5))
    20.0
    """
    return np.asarray(ua_reference * np.abs(np.asarray(ratio, dtype=float)) ** np.asarray(exponent, dtype=float))


def radiator_conductance(
    air_mass_flow: ArrayLike,
    coolant_flow: ArrayLike,
    *,
    face_area: ArrayLike,
    ua_air: ArrayLike,
    ua_air_velocity: ArrayLike,
    ua_air_exponent: ArrayLike,
    ua_coolant: ArrayLike,
    ua_coolant_flow: ArrayLike,
    ua_coolant_exponent: ArrayLike,
    coolant_capacity_rate: ArrayLike,
    air_specific_heat: ArrayLike,
    reference_density: float = REFERENCE_DENSITY,
) -> NDArray[np.float64]:
    """Heat that a radiator moves per kelvin between its two inlets, by its forced flows.

    G = eps(UA / C_min, C_min / C_max) C_min,  1/UA = 1/UA_air + 1/UA_coolant,
    UA_air = ua_air (|m| / (A rho_ref V_ref))^n_air,  UA_coolant = ua_coolant (|q| / q_ref)^n_coolant

    Parameters
    ----------
    air_mass_flow : array_like
        Mass flow of air, either way. [kg/s]
    coolant_flow : array_like
        Volume flow of coolant, either way. [m3/s]
    face_area : array_like
        Face area A. [m2]
    ua_air : array_like
        Air-side conductance at `ua_air_velocity` and the reference density. [W/K]
    ua_air_velocity : array_like
        Face velocity of `ua_air` V_ref. [m/s]
    ua_air_exponent : array_like
        n_air. [-]
    ua_coolant : array_like
        Coolant-side conductance at `ua_coolant_flow`. [W/K]
    ua_coolant_flow : array_like
        Volume flow of `ua_coolant` q_ref. [m3/s]
    ua_coolant_exponent : array_like
        n_coolant. [-]
    coolant_capacity_rate : array_like
        Density times specific heat times volume flow of the coolant; its size counts. [W/K]
    air_specific_heat : array_like
        Specific heat of air. [J/(kg K)]
    reference_density : float
        Density that `ua_air_velocity` is meant at. [kg/m3]

    Returns
    -------
    ndarray, broadcast shape
        G: never above the capacity rate of either stream, exactly 0 where one stands still. [W/K]

    References
    ----------
    .. [1] W. M. Kays, A. L. London, "Compact Heat Exchangers", 3rd edition, McGraw-Hill, 1984, chapter 2.
    .. [2] J. L. Mason, "Heat transfer in crossflow", Proc. 2nd U.S. National Congress of Applied Mechanics, 1955.

    Examples
    --------
    >>> float(radiator_conductance(0.05184, 6.67e-5, face_area=0.0432, ua_air=150.0, ua_air_velocity=1.0,
    ...     ua_air_exponent=0.4, ua_coolant=225.0, ua_coolant_flow=6.67e-5, ua_coolant_exponent=0.0,
    ...     coolant_capacity_rate=276.4, air_specific_heat=1006.0))
    40.301
    """
    air_rate = np.abs(np.multiply(air_mass_flow, air_specific_heat))
    coolant_rate = np.abs(np.asarray(coolant_capacity_rate, dtype=float))
    smaller, larger = np.minimum(air_rate, coolant_rate), np.maximum(air_rate, coolant_rate)
    mass_flux_ratio = np.abs(air_mass_flow) / (reference_density * np.multiply(face_area, ua_air_velocity))
    ua = ua_total(
        ua_power_law(ua_air, mass_flux_ratio, ua_air_exponent),
        ua_power_law(ua_coolant, np.divide(coolant_flow, ua_coolant_flow), ua_coolant_exponent),
    )
    capacity_ratio = smaller / np.maximum(larger, _TINY)
    return np.asarray(effectiveness_cross_unmixed(ua / np.maximum(smaller, _TINY), capacity_ratio) * smaller)


def fit_ua(
    face_velocity: ArrayLike,
    coolant_flow: ArrayLike,
    conductance: ArrayLike,
    *,
    face_area: float,
    volumetric_heat_capacity: float,
    ua_air_velocity: float,
    ua_coolant_flow: float,
    air_specific_heat: float,
    air_density: float = REFERENCE_DENSITY,
    exponents: tuple[float, float] = (0.4, 0.2),
) -> UaFit:
    """Air-side and coolant-side conductances and exponents that fit measured heat per kelvin best.

    minimise  sum_i [ln(G(V_i, q_i) / G_i)]^2 + w sum_k (x_k - x_k,start)^2,
    x = (ln ua_air, n_air, ln ua_coolant, n_coolant), n_air in [0, 1], n_coolant in [0, 0.8], w = 1e-8

    Few sheets tell all four apart (one coolant flow says nothing about n_coolant). The pull w towards the start then
    picks the values nearest to it; where the points do tell, it moves the answer by less than a millionth.

    Parameters
    ----------
    face_velocity : array_like, (n,)
        Face velocities, above zero. [m/s]
    coolant_flow : array_like, (n,) or one number
        Coolant flows, above zero. [m3/s]
    conductance : array_like, (n,)
        Measured heat per kelvin between coolant inlet and air inlet, below both capacity rates. [W/K]
    face_area : float
        Face area. [m2]
    volumetric_heat_capacity : float
        Density times specific heat of the coolant of the measurement. [J/(m3 K)]
    ua_air_velocity : float
        Face velocity that the result refers to. [m/s]
    ua_coolant_flow : float
        Coolant flow that the result refers to. [m3/s]
    air_specific_heat : float
        Specific heat of air. [J/(kg K)]
    air_density : float
        Density of the air of the measurement at the core's inlet. [kg/m3]
    exponents : tuple of float
        Start of n_air and n_coolant, kept where the points say nothing (common practice, no source). [-]

    Returns
    -------
    UaFit
        The four numbers and the largest relative deviation of a point.

    References
    ----------
    .. [1] E. E. Wilson, "A basis for rational design of heat transfer apparatus", Trans. ASME 37 (1915) 47-82 (telling
       the two films apart by their dependence on flow).

    Examples
    --------
    >>> fit = fit_ua([0.5, 1.0, 2.0], 6.67e-5, [23.6, 40.3, 62.5], face_area=0.0432, volumetric_heat_capacity=4.16e6,
    ...     ua_air_velocity=1.0, ua_coolant_flow=6.67e-5, air_specific_heat=1006.0)
    >>> fit.worst_deviation < 0.01
    True
    """
    from scipy.optimize import least_squares  # slow to load, needed for measured sheets only

    v, q, g = np.broadcast_arrays(*(np.asarray(x, dtype=float) for x in (face_velocity, coolant_flow, conductance)))
    air_rate, coolant_rate = air_density * face_area * v * air_specific_heat, volumetric_heat_capacity * q
    if not np.all((g > 0.0) & (g < np.minimum(air_rate, coolant_rate))):
        raise ValueError("heat per kelvin must lie above zero and below the capacity rates of air and coolant")

    def deviation(x: NDArray[np.float64]) -> NDArray[np.float64]:
        model = radiator_conductance(
            air_density * face_area * v,
            q,
            face_area=face_area,
            ua_air=np.exp(x[0]),
            ua_air_velocity=ua_air_velocity,
            ua_air_exponent=x[1],
            ua_coolant=np.exp(x[2]),
            ua_coolant_flow=ua_coolant_flow,
            ua_coolant_exponent=x[3],
            coolant_capacity_rate=coolant_rate,
            air_specific_heat=air_specific_heat,
        )
        return np.asarray(np.log(model / g))

    # Start: all of the resistance, counted as C_min NTU with NTU from the one-stream limit, shared 2 to 1.
    smaller = np.minimum(air_rate, coolant_rate)
    ua = float(np.median(-smaller * np.log1p(-g / smaller)))
    start = np.array([np.log(1.5 * ua), exponents[0], np.log(3.0 * ua), exponents[1]])
    bounds = ([-np.inf, 0.0, -np.inf, 0.0], [np.inf, 1.0, np.inf, 0.8])

    def pulled(x: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.concatenate([deviation(x), 1e-4 * (x - start)])

    found = least_squares(pulled, start, bounds=bounds, xtol=1e-14, ftol=1e-14).x
    worst = float(np.max(np.abs(np.expm1(deviation(found)))))
    return UaFit(float(np.exp(found[0])), float(found[1]), float(np.exp(found[2])), float(found[3]), worst)
