"""Scalar laws of single things: air, one curve, one exchanger, one tube, one root."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq
from scipy.special import i0e

from quietcool.entry.build import Curve

GAS_CONSTANT = 287.05287  # of dry air, ISO 2533:1975, Standard atmosphere, table 1 (recalled, not re-read) [J/(kg K)]
AIR_SPECIFIC_HEAT = 1006.0  # [J/(kg K)]
SHEET_DENSITY = 1.2  # [kg/m3]


def isa_pressure(altitude: float) -> float:
    """Pressure at a geometric altitude below 11 km [m] -> [Pa]; U.S. Standard Atmosphere 1976, eq. 18 and 33a."""
    geopotential = 6356766.0 * altitude / (6356766.0 + altitude)
    return 101325.0 * math.pow(1.0 - 0.0065 * geopotential / 288.15, 9.80665 / (0.0065 * GAS_CONSTANT))


def air_density(temp: float, pressure: float) -> float:
    """Ideal gas [K], [Pa] -> [kg/m3]."""
    return pressure / (GAS_CONSTANT * temp)


def air_viscosity(temp: float) -> float:
    """Sutherland's law with the constants of the U.S. Standard Atmosphere 1976, eq. 51 [K] -> [Pa s]."""
    return 1.458e-6 * math.pow(temp, 1.5) / (temp + 110.4)


VISCOSITY_20 = air_viscosity(293.15)


def falling_root(law: Callable[[float], float], guess: float, width: float, xtol: float) -> float:
    """Root of a falling function by brentq, from a bracket widened around a guess."""
    low, high = guess - width, guess + width
    at_low, at_high = law(low), law(high)
    for _ in range(200):
        if at_low >= 0.0 >= at_high:
            break
        width *= 4.0
        if at_low < 0.0:
            high, at_high = low, at_low
            low -= width
            at_low = law(low)
        else:
            low, at_low = high, at_high
            high += width
            at_high = law(high)
    if at_low == 0.0:
        return low
    if at_high == 0.0:
        return high
    # A law that starts warm answers the same question with other rounding: the ends keep the signs they had.
    ends = {low: at_low, high: at_high}

    def with_known_ends(x: float) -> float:
        return ends[x] if x in ends else law(x)

    return float(brentq(with_known_ends, low, high, xtol=xtol, rtol=4 * np.finfo(float).eps, maxiter=500))


@dataclass
class SheetCurve:
    """A curve of pressure rise with its continuations, at any speed and density."""

    curve: Curve

    def __post_init__(self) -> None:
        """Interpolate, and find the free flow and the coefficient k of the continuations."""
        flow = np.asarray(self.curve.flow) * float(self.curve.flow_scale)
        pressure = np.asarray(self.curve.pressure) * float(self.curve.pressure_scale)
        spline = PchipInterpolator(flow, pressure)
        self.knots = [float(q) for q in flow]
        self.pieces = [[float(c) for c in column] for column in spline.c.T]
        self.shutoff = float(pressure[0])
        slope = float(spline.derivative()(flow[-1]))
        if slope == 0.0:
            slope = float((pressure[-1] - pressure[-2]) / (flow[-1] - flow[-2]))
        self.end_pressure, self.end_slope = float(pressure[-1]), slope
        self.free_flow = self.knots[-1] - self.end_pressure / slope
        self.k = -slope / (2.0 * self.free_flow)
        self.has_saddle = bool(np.any(np.diff(pressure) > 0.0))

    def at_sheet(self, flow: float) -> float:
        """Pressure rise at the sheet's own speed and density [Pa]."""
        if flow < 0.0:
            return self.shutoff + self.k * flow * flow
        if flow >= self.free_flow:
            return -self.k * (flow * flow - self.free_flow * self.free_flow)
        if flow >= self.knots[-1]:
            return self.end_pressure + self.end_slope * (flow - self.knots[-1])
        place = bisect_right(self.knots, flow) - 1
        x = flow - self.knots[place]
        c3, c2, c1, c0 = self.pieces[place]
        return c0 + x * (c1 + x * (c2 + x * c3))

    def rise(self, flow: float, speed: float, density: float) -> float:
        """Pressure rise of one machine at a volume flow, a speed and a density [Pa]."""
        density_ratio = density / self.curve.density
        if speed == 0.0:
            return -density_ratio * self.k * flow * abs(flow)
        ratio = speed / self.curve.speed
        return density_ratio * ratio * ratio * self.at_sheet(flow / ratio)


_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(72)


def cross_unmixed_effectiveness(ntu: float, capacity_ratio: float) -> float:
    """Effectiveness of cross-flow with both streams unmixed, by numerical integration.

    The stream h that flows along s and the stream c along y obey dh/ds = c - h, dc/dy = h - c with h = 1 and c = 0
    at their inlets; h(s, y) = 1 - exp(-y) int_0^s exp(-t) I0(2 sqrt(t y)) dt (Anzelius 1926, ZAMM 6, 291-294;
    Schumann 1929, J. Franklin Institute 208, 405-416). The mean of 1 - h(NTU, y) over 0 < y < Cr NTU is the
    effectiveness (Nusselt 1930, Technische Mechanik und Thermodynamik 1, 417-422).
    """
    if ntu == 0.0:
        return 0.0
    far = capacity_ratio * ntu
    if far < 1e-12:
        return -math.expm1(-ntu)
    # Beyond (sqrt(far) + 6.5)^2 the integrand is below exp(-42).
    near = min(ntu, (math.sqrt(far) + 6.5) ** 2)
    t = (0.5 * near * (_NODES + 1.0))[:, None]
    y = (0.5 * far * (_NODES + 1.0))[None, :]
    integrand = np.exp(-((np.sqrt(t) - np.sqrt(y)) ** 2)) * i0e(2.0 * np.sqrt(t * y))
    return float(_WEIGHTS @ integrand @ _WEIGHTS) * 0.25 * near


def churchill_friction_factor(reynolds: float) -> float:
    """Darcy friction factor of a smooth tube in all regimes; Churchill 1977, Chemical Engineering 84(24), 91-92."""
    if reynolds < 1.0:
        return 64.0 / reynolds
    a = (2.457 * math.log((reynolds / 7.0) ** 0.9)) ** 16
    b = (37530.0 / reynolds) ** 16
    return 8.0 * math.pow((8.0 / reynolds) ** 12 + math.pow(a + b, -1.5), 1.0 / 12.0)
