"""Louvered fins between flat tubes: heat transfer and friction by the correlations of Chang and co-workers.

Workstation radiators run at or below the lower end of the correlations' range (louver Reynolds numbers of 50 to 150):
shapes are to be trusted there, sizes to about 25 % (heat) and 40 % (friction) unless a measured point scales them
(common practice, no source).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

REYNOLDS_RANGE = (100.0, 3000.0)  # louver Reynolds numbers of the measurements [-]
LOWEST_REYNOLDS = 10.0  # friction is held below it: the correlation has a pole at 2 [-]
BLEND_RANGE = (100.0, 200.0)  # where the two branches of friction, which jump at 150, are blended [-]


class LouverFin(NamedTuple):
    """Shape of a louvered fin between flat tubes."""

    fin_pitch: float  # F_p, centre to centre [m]
    fin_length: float  # F_l, height between two tubes [m]
    fin_thickness: float  # t [m]
    flow_depth: float  # T_d = F_d, in flow direction [m]
    louver_length: float  # L_l [m]
    louver_pitch: float  # L_p [m]
    louver_angle: float  # theta [rad]
    tube_height: float  # D_m, outside, across the flow [m]
    tube_pitch: float  # T_p [m]

    @property
    def free_area_ratio(self) -> float:
        """Free area over face area [-]."""
        free = (self.fin_length - self.fin_thickness) * (self.fin_pitch - self.fin_thickness)
        return free / ((self.fin_length + self.tube_height) * self.fin_pitch)

    @property
    def hydraulic_diameter(self) -> float:
        """Four free areas over the wetted perimeter of a channel [m]."""
        width, height = self.fin_pitch - self.fin_thickness, self.fin_length - self.fin_thickness
        return 2.0 * width * height / (width + height)


def colburn_chang_wang_1997(re: ArrayLike, fin: LouverFin) -> NDArray[np.float64]:
    """Colburn factor of a louvered fin.

    j = Re^-0.49 (theta/90)^0.27 (F_p/L_p)^-0.14 (F_l/L_p)^-0.29 (T_d/L_p)^-0.23 (L_l/L_p)^0.68 (T_p/L_p)^-0.28
    (t/L_p)^-0.05,  theta in degrees;  h = j rho V_c c_p Pr^(-2/3)

    Parameters
    ----------
    re : array_like
        Reynolds number on louver pitch and the velocity in the free area V_c. [-]
    fin : LouverFin
        Shape.

    Returns
    -------
    ndarray, shape of `re`
        j. [-]

    Notes
    -----
    `REYNOLDS_RANGE`; 89 % of its 91 samples within 15 % (recalled, not re-read).

    References
    ----------
    .. [1] Y.-J. Chang, C.-C. Wang, "A generalized heat transfer correlation for louver fin geometry", Int. J. Heat Mass
       Transfer 40 (1997) 533-544, doi:10.1016/0017-9310(96)00116-0.

    Examples
    --------
    >>> fin = LouverFin(1.8e-3, 19e-3, 1e-4, 26e-3, 16.07e-3, 1.534e-3, np.radians(28.0), 5e-3, 19.7e-3)
    >>> round(float(colburn_chang_wang_1997(400.0, fin)), 6)
    0.026382
    """
    lp = fin.louver_pitch
    shape = (
        (np.degrees(fin.louver_angle) / 90.0) ** 0.27
        * (fin.fin_pitch / lp) ** -0.14
        * (fin.fin_length / lp) ** -0.29
        * (fin.flow_depth / lp) ** -0.23
        * (fin.louver_length / lp) ** 0.68
        * (fin.tube_pitch / lp) ** -0.28
        * (fin.fin_thickness / lp) ** -0.05
    )
    return np.asarray(shape * np.asarray(re, dtype=float) ** -0.49)


def _slow(re: NDArray[np.float64], fin: LouverFin) -> NDArray[np.float64]:
    """Branch of the friction factor below Re = 150."""
    pitch, lp, ll = fin.fin_pitch, fin.louver_pitch, fin.louver_length
    f1 = 14.39 * re ** (-0.805 * pitch / fin.fin_length) * np.log(1.0 + pitch / lp) ** 3.04
    f2 = (
        np.log((fin.fin_thickness / pitch) ** 0.48 + 0.9) ** -1.435
        * (fin.hydraulic_diameter / lp) ** -3.01
        * np.log(0.5 * re) ** -3.01
    )
    f3 = (pitch / ll) ** -0.308 * (fin.flow_depth / ll) ** -0.308
    f3 *= np.exp(-0.1167 * fin.tube_pitch / fin.tube_height) * np.degrees(fin.louver_angle) ** 0.35
    return np.asarray(f1 * f2 * f3)


def _fast(re: NDArray[np.float64], fin: LouverFin) -> NDArray[np.float64]:
    """Branch of the friction factor above Re = 150."""
    pitch, lp, angle = fin.fin_pitch, fin.louver_pitch, np.degrees(fin.louver_angle)
    f1 = 4.97 * re ** (0.6049 - 1.064 / angle**0.2) * np.log((fin.fin_thickness / pitch) ** 0.5 + 0.9) ** -0.527
    f2 = (fin.hydraulic_diameter / lp * np.log(0.3 * re)) ** -2.966
    f2 = f2 * (pitch / fin.louver_length) ** (-0.7931 * fin.tube_pitch / (fin.tube_pitch - fin.tube_height))
    f3 = (fin.tube_pitch / fin.tube_height) ** -0.0446 * np.log(1.2 + (lp / pitch) ** 1.4) ** -3.553 * angle**-0.477
    return np.asarray(f1 * f2 * f3)


def friction_chang_2000(re: ArrayLike, fin: LouverFin) -> NDArray[np.float64]:
    """Fanning friction factor of a louvered fin.

    f = f1 f2 f3 of two branches that belong to Re below and above 150:

    below  f1 = 14.39 Re^(-0.805 F_p/F_l) [ln(1 + F_p/L_p)]^3.04,
    f2 = [ln((t/F_p)^0.48 + 0.9)]^-1.435 (D_h/L_p)^-3.01 [ln(0.5 Re)]^-3.01,
    f3 = (F_p/L_l)^-0.308 (F_d/L_l)^-0.308 exp(-0.1167 T_p/D_m) theta^0.35

    above  f1 = 4.97 Re^(0.6049 - 1.064/theta^0.2) [ln((t/F_p)^0.5 + 0.9)]^-0.527,
    f2 = [(D_h/L_p) ln(0.3 Re)]^-2.966 (F_p/L_l)^(-0.7931 T_p/(T_p - D_m)),
    f3 = (T_p/D_m)^-0.0446 [ln(1.2 + (L_p/F_p)^1.4)]^-3.553 theta^-0.477

    The branches jump at 150 by up to half their size. A jump makes a solver hunt, so they are blended over
    `BLEND_RANGE` (smooth step in ln Re, geometric); outside it each stands alone.

    Parameters
    ----------
    re : array_like
        Reynolds number on louver pitch and the velocity in the free area; held at `LOWEST_REYNOLDS` below it. [-]
    fin : LouverFin
        Shape; theta in degrees in the formulas.

    Returns
    -------
    ndarray, shape of `re`
        f. [-]

    Notes
    -----
    83 % of its samples within 15 % (recalled, not re-read).

    References
    ----------
    .. [1] Y.-J. Chang, K.-C. Hsu, Y.-T. Lin, C.-C. Wang, "A generalized friction correlation for louver fin geometry",
       Int. J. Heat Mass Transfer 43 (2000) 2237-2243, doi:10.1016/S0017-9310(99)00289-6.

    Examples
    --------
    >>> fin = LouverFin(1.8e-3, 19e-3, 1e-4, 26e-3, 16.07e-3, 1.534e-3, np.radians(28.0), 5e-3, 19.7e-3)
    >>> round(float(friction_chang_2000(400.0, fin)), 5)
    0.17734
    """
    r = np.maximum(np.asarray(re, dtype=float), LOWEST_REYNOLDS)
    low, high = BLEND_RANGE
    s = np.clip(np.log(r / low) / np.log(high / low), 0.0, 1.0)
    share = s * s * (3.0 - 2.0 * s)
    return np.asarray(_slow(r, fin) ** (1.0 - share) * _fast(r, fin) ** share)
