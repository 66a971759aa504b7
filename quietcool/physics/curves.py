"""Pressure-flow curves of fans and pumps: monotone cubics between points, continued to all flows, scaled with speed.

A curve is kept as one piecewise cubic over the whole flow axis: the continuation to reversed flow, the pieces
between the sheet's points, and the continuation beyond free delivery. Speed moves the *curve* by the fan laws;
an operating point must never be moved by them (a finned core is nearly linear in flow).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

FEW_FLOWS = 256  # up to so many flows, all comparisons at once cost less than the calls they save
OUT_OF_REACH = 1e300  # a knot beyond all flows, and still 0 when it is stretched by nothing [m3/s]
SEARCH_BY_COMPARISON = 24  # up to so many knots, counting comparisons beats a binary search on arrays


class PressureCurve(NamedTuple):
    """Piecewise cubic p_c(Q) at the sheet's own speed and density, defined for every flow."""

    knots: Floats  # flows where a piece ends and the next starts, from 0 to free delivery, (n,) [m3/s]
    starts: Floats  # flow from which each piece counts, (n + 1,) [m3/s]
    coefficients: Floats  # ascending powers of (Q - start), (4, n + 1) [Pa, Pa s/m3, ...]
    free_flow: float  # flow at zero pressure [m3/s]
    shutoff_pressure: float  # pressure at zero flow [Pa]
    resistance: float  # k of the continuation: p = -k Q|Q| for the stopped machine [Pa s2/m6]
    last_peak: float  # highest flow at which pressure still rises with flow; 0 if it never does [m3/s]
    speed: float  # speed of the sheet [rev/s]
    density: float  # density of the sheet [kg/m3]


class PressureCurves(NamedTuple):
    """Several curves that are asked at once, each for a row of flows, from `stack_curves`."""

    knots: Floats  # (n, curves, 1), those of a shorter curve far beyond all flows [m3/s]
    starts: Floats  # of all pieces, curve by curve, (curves (n + 1),) [m3/s]
    coefficients: Floats  # (4, curves (n + 1)) [Pa, Pa s/m3, ...]
    first: NDArray[np.intp]  # of each curve's pieces, (curves, 1)
    last_peak: Floats  # (curves, 1) [m3/s]
    steep: Floats  # slope from shut-off to free delivery and as much again, (curves, 1) [Pa s/m3]
    speed: Floats  # (curves, 1) [rev/s]
    density: Floats  # (curves, 1) [kg/m3]


def pressure_curve(flow: ArrayLike, pressure: ArrayLike, *, speed: float, density: float) -> PressureCurve:
    r"""Build the curve through a sheet's points.

    PCHIP between the points. A curve that ends above zero pressure runs on with its last slope to zero: that flow
    is Q_free. Beyond it, p = -k (Q^2 - Q_free^2) with k = -p'(Q_free) / (2 Q_free), so that the slope is continuous;
    where the end slope is zero the last chord takes its place. Reversed flow meets p = p(0) + k Q^2. A machine at
    rest is therefore the resistance k Q|Q| without a special case.

    Parameters
    ----------
    flow : array_like, (n,)
        Rising from 0. [m3/s]
    pressure : array_like, (n,)
        Static pressure rise, positive at zero flow, never negative, last value below the first. [Pa]
    speed : float
        Speed of the curve. [rev/s]
    density : float
        Density of the curve. [kg/m3]

    Returns
    -------
    PressureCurve

    Raises
    ------
    ValueError
        If flows do not rise from 0, a pressure is negative, or the last chord does not fall.

    References
    ----------
    .. [1] Fritsch, F. N. and Butland, J., "A method for constructing local monotone piecewise cubic interpolants",
       SIAM J. Sci. Stat. Comput. 5 (1984) 300-304, doi:10.1137/0905021 (the slopes of the interpolant).

    Examples
    --------
    >>> curve = pressure_curve([0, 20, 40, 60, 80, 100], [24, 21, 18.5, 15, 9, 0], speed=25.0, density=1.2)
    >>> float(pressure_rise(curve, 50.0, 25.0, 1.2).pressure)
    16.938048
    """
    q = np.asarray(flow, dtype=np.float64)
    p = np.asarray(pressure, dtype=np.float64)
    if q.ndim != 1 or q.shape != p.shape or q.size < 2 or q[0] != 0.0 or np.any(np.diff(q) <= 0.0):
        raise ValueError("a curve needs at least two points with flow rising from 0")
    chord = (p[-1] - p[-2]) / (q[-1] - q[-2])
    if np.any(p < 0.0) or p[0] <= 0.0 or chord >= 0.0:
        raise ValueError("a curve needs pressures of at least 0, more than 0 at zero flow, and a falling end")
    pieces, end_slope = monotone_cubic(q, p)
    slope = end_slope if end_slope < 0.0 else chord
    starts, rows, free_flow = list(q[:-1]), [*pieces], float(q[-1])
    if p[-1] > 0.0:
        free_flow += -p[-1] / slope
        starts.append(q[-1])
        rows.append(np.array([p[-1], slope, 0.0, 0.0]))
    k = -slope / (2.0 * free_flow)
    backward = np.array([p[0], 0.0, k, 0.0])
    beyond = np.array([0.0, -2.0 * k * free_flow, -k, 0.0])
    return PressureCurve(
        knots=np.array([*starts, free_flow]),
        starts=np.array([0.0, *starts, free_flow]),
        coefficients=np.column_stack([backward, *rows, beyond]),
        free_flow=free_flow,
        shutoff_pressure=float(p[0]),
        resistance=k,
        last_peak=float(
            max((b for a, b, low, high in zip(q[:-1], q[1:], p[:-1], p[1:], strict=True) if high > low), default=0.0)
        ),
        speed=speed,
        density=density,
    )


def stack_curves(curves: Sequence[PressureCurve]) -> PressureCurves:
    """Put curves side by side, so that one call of `pressure_rise` asks them all.

    Parameters
    ----------
    curves : sequence of PressureCurve
        At least one.

    Returns
    -------
    PressureCurves
        The shorter ones are filled up with knots that no flow reaches, and with their last piece: at rest, where all
        stretched knots are 0, a forward flow lies beyond every one of them.

    Notes
    -----
    Numbers are put side by side and none is made: no reference needed.

    Examples
    --------
    >>> short = pressure_curve([0, 50, 100], [24, 15, 0], speed=25.0, density=1.2)
    >>> long = pressure_curve([0, 20, 40, 60, 80, 100], [24, 21, 18.5, 15, 9, 0], speed=25.0, density=1.2)
    >>> pressure_rise(stack_curves([short, long]), np.array([[50.0], [60.0]]), 25.0, 1.2).pressure.tolist()
    [[15.0], [15.0]]
    """
    most = max(curve.knots.size for curve in curves)
    missing = [most - curve.knots.size for curve in curves]

    def column(values: Sequence[float]) -> Floats:
        return np.array(values)[:, None]

    knots = [np.append(curve.knots, [OUT_OF_REACH] * more) for curve, more in zip(curves, missing, strict=True)]
    starts = [np.append(c.starts, [c.starts[-1]] * more) for c, more in zip(curves, missing, strict=True)]
    pieces = [np.pad(c.coefficients, ((0, 0), (0, more)), "edge") for c, more in zip(curves, missing, strict=True)]
    return PressureCurves(
        knots=np.stack(knots, axis=-1)[..., None],
        starts=np.concatenate(starts),
        coefficients=np.concatenate(pieces, axis=1),
        first=(most + 1) * np.arange(len(curves), dtype=np.intp)[:, None],
        last_peak=column([curve.last_peak for curve in curves]),
        steep=column([2.0 * curve.shutoff_pressure / curve.free_flow for curve in curves]),
        speed=column([curve.speed for curve in curves]),
        density=column([curve.density for curve in curves]),
    )


def monotone_cubic(x: Floats, y: Floats) -> tuple[Floats, float]:
    r"""Monotone piecewise cubic through points: no overshoot between them.

    The slope at an inner point is the weighted harmonic mean of its chords (0 where they differ in sign); at an end
    it is the three-point formula, kept from changing sign and from exceeding three chords.

    Parameters
    ----------
    x : ndarray, (n,)
        Rising, at least two. [any]
    y : ndarray, (n,)
        Values. [any]

    Returns
    -------
    tuple
        Coefficients of each piece in ascending powers of (x - start), (n - 1, 4), and the slope at the last point.
        [units of y over powers of x]

    Notes
    -----
    Written out rather than imported: the module that holds it in the usual library takes longer to load than a
    whole answer takes to compute. The tests compare it with that library.

    References
    ----------
    .. [1] Fritsch, F. N. and Butland, J., "A method for constructing local monotone piecewise cubic interpolants",
       SIAM J. Sci. Stat. Comput. 5 (1984) 300-304, doi:10.1137/0905021.

    Examples
    --------
    By hand: chords -1 and -3/2, slopes -5/6, -27/23 and -11/6.

    >>> pieces, end_slope = monotone_cubic(np.array([0.0, 1.0, 3.0]), np.array([4.0, 3.0, 0.0]))
    >>> [round(float(c), 6) for c in pieces[0]], round(end_slope, 6)
    ([4.0, -0.833333, -0.15942, -0.007246], -1.833333)
    """
    h, chord = np.diff(x), np.diff(y) / np.diff(x)
    if x.size == 2:
        slopes = np.array([chord[0], chord[0]])
    else:
        before, after = 2.0 * h[1:] + h[:-1], h[1:] + 2.0 * h[:-1]
        falls_or_rises = chord[:-1] * chord[1:] > 0.0
        safe = [np.where(falls_or_rises, c, 1.0) for c in (chord[:-1], chord[1:])]
        inner = np.where(falls_or_rises, (before + after) / (before / safe[0] + after / safe[1]), 0.0)
        first, last = _end_slope(h[0], h[1], chord[0], chord[1]), _end_slope(h[-1], h[-2], chord[-1], chord[-2])
        slopes = np.concatenate([[first], inner, [last]])
    square = (3.0 * chord - 2.0 * slopes[:-1] - slopes[1:]) / h
    cubic = (slopes[:-1] + slopes[1:] - 2.0 * chord) / h**2
    return np.stack([y[:-1], slopes[:-1], square, cubic], axis=-1), float(slopes[-1])


def _end_slope(h0: float, h1: float, chord0: float, chord1: float) -> float:
    """Three-point slope at an end, of the sign of its chord and no more than three times as steep."""
    slope = ((2.0 * h0 + h1) * chord0 - h0 * chord1) / (h0 + h1)
    if np.sign(slope) != np.sign(chord0):
        return 0.0
    if np.sign(chord0) != np.sign(chord1) and abs(slope) > 3.0 * abs(chord0):
        return 3.0 * chord0
    return slope


class PressureRise(NamedTuple):
    """Pressure rise of a machine and its slope."""

    pressure: Floats  # [Pa]
    slope: Floats  # derivative by flow [Pa s/m3]


def pressure_rise(
    curve: PressureCurve | PressureCurves,
    flow: ArrayLike,
    speed: ArrayLike,
    density: ArrayLike,
    *,
    flow_scale: ArrayLike = 1.0,
    pressure_scale: ArrayLike = 1.0,
) -> PressureRise:
    r"""Pressure rise at any flow, speed and density by the fan laws on the curve.

    p(Q, N, rho) = (rho / rho_c) (N / N_c)^2 p_c(Q N_c / N)

    Parameters
    ----------
    curve : PressureCurve or PressureCurves
        The curve at its own speed and density; or several, then the arrays below broadcast to (curves, cases).
    flow : array_like, (...)
        Volume flow at `density`, negative when reversed. [m3/s]
    speed : array_like, (...)
        0 is the machine at rest. [rev/s]
    density : array_like, (...)
        Density at the machine's inlet. [kg/m3]
    flow_scale, pressure_scale : array_like, (...)
        Multiply the flows and the pressures of the curve. [-]

    Returns
    -------
    PressureRise
        Pressure rise [Pa] and its derivative by flow [Pa s/m3], (...).

    Notes
    -----
    Written in Q - (N/N_c) q_start, so that N = 0 needs no division: only the continuations are reached then, and
    those have no cubic term. The laws ignore the Reynolds number: slow small fans do somewhat worse.

    References
    ----------
    .. [1] Bleier, F. P., "Fan Handbook", McGraw-Hill 1998, chapter "Fan Laws" (recalled, not re-read).

    Examples
    --------
    Half speed: half the flow, a quarter of the pressure.

    >>> curve = pressure_curve([0, 20, 40, 60, 80, 100], [24, 21, 18.5, 15, 9, 0], speed=25.0, density=1.2)
    >>> float(pressure_rise(curve, 25.0, 12.5, 1.2).pressure * 4)
    16.938048
    """
    q = np.asarray(flow, dtype=np.float64)
    ratio = np.asarray(speed, dtype=np.float64) / curve.speed
    fs = np.asarray(flow_scale, dtype=np.float64)
    reach = ratio * fs  # by what the knots are stretched
    if q.shape != reach.shape:
        q, reach = np.broadcast_arrays(q, reach)
    piece = _piece(curve.knots, q, reach)
    if isinstance(curve, PressureCurves):
        piece = piece + curve.first
    c0, c1, c2, c3 = curve.coefficients.take(piece, axis=1)
    along = q - reach * curve.starts.take(piece)
    linear, square = c1 * (ratio / fs), c2 / (fs * fs)
    cubic = c3 / (np.where(ratio > 0.0, ratio, 1.0) * fs * fs * fs)
    gain = (np.asarray(density, dtype=np.float64) / curve.density) * np.asarray(pressure_scale, dtype=np.float64)
    pressure = gain * (ratio * ratio * c0 + along * (linear + along * (square + along * cubic)))
    slope = gain * (linear + along * (2.0 * square + 3.0 * along * cubic))
    return PressureRise(pressure, slope)


def _piece(knots: Floats, flow: Floats, reach: Floats) -> NDArray[np.intp]:
    """Index of the piece each flow falls into: how many stretched knots lie at or below it."""
    if flow.size <= FEW_FLOWS:
        all_knots = knots.reshape(knots.shape + (1,) * (1 + reach.ndim - knots.ndim))
        return np.asarray(np.count_nonzero(flow >= all_knots * reach, axis=0))
    if len(knots) <= SEARCH_BY_COMPARISON or knots.ndim > 1:
        piece = np.zeros(flow.shape, dtype=np.intp)
        for knot in knots:
            piece += flow >= reach * knot
        # At rest all stretched knots are 0: any forward flow then lies beyond the last, as it must.
        return piece
    turning = reach > 0.0
    piece = np.searchsorted(knots, flow / np.where(turning, reach, 1.0), side="right")
    return np.where(turning, piece, np.where(flow >= 0.0, knots.size, 0))


def affinity(
    flow: ArrayLike,
    pressure: ArrayLike,
    power: ArrayLike,
    *,
    speed_ratio: ArrayLike = 1.0,
    diameter_ratio: ArrayLike = 1.0,
    density_ratio: ArrayLike = 1.0,
) -> tuple[Floats, Floats, Floats]:
    r"""Carry one point of a curve to another speed, size and density of the same family.

    Q2 = Q1 n d^3, p2 = p1 n^2 d^2 r, P2 = P1 n^3 d^5 r with n, d, r the ratios of speed, diameter and density.

    Parameters
    ----------
    flow, pressure, power : array_like, (...)
        A point of the first machine. [m3/s, Pa, W or any others]
    speed_ratio, diameter_ratio, density_ratio : array_like, (...)
        Second over first. [-]

    Returns
    -------
    tuple of ndarray, (...)
        Flow, pressure and power of the second machine. [units of the first]

    Notes
    -----
    Moves points of a *curve*. The point where a fan meets a system moves so only if the system is purely quadratic.

    References
    ----------
    .. [1] Bleier, F. P., "Fan Handbook", McGraw-Hill 1998, chapter "Fan Laws" (recalled, not re-read).

    Examples
    --------
    >>> moved = affinity(60, 15, 1.8, speed_ratio=0.8, diameter_ratio=140 / 120, density_ratio=1.1 / 1.2)
    >>> [round(float(x), 6) for x in moved]
    [76.222222, 11.977778, 1.825946]
    """
    n, d, r = (np.asarray(x, dtype=np.float64) for x in (speed_ratio, diameter_ratio, density_ratio))
    return (
        np.asarray(flow) * n * d**3,
        np.asarray(pressure) * n**2 * d**2 * r,
        np.asarray(power) * n**3 * d**5 * r,
    )
