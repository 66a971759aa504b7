"""What level and margins look like round one solved place: a formula that is quick to ask and to minimise.

Exact at the place in value, and along every axis in slope and curvature. The level is pictured by its energy, to
which every source adds its own share, and a share by a power of its speed: the sum of such shares is what a rig's
noise is made of, so that the picture of it holds far from the place.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

Floats = NDArray[np.float64]

LACK_WEIGHT = 100.0  # what a lacking margin of 1 counts in a merit [dB]
HIGHEST_POWER = 12.0  # of a speed that a share of the energy may grow with
LOW_ENERGY = 0.1  # of that at the place: below, the level is continued by its tangent
MOST_BEND = 3.0  # by which a trial may bend the picture [dB, parts of a margin's scale]
INNER_ITERATIONS = 30
INNER_PRECISION = 1e-5
DB_PER_E_FOLD = 10.0 / np.log(10.0)


class Aim(NamedTuple):
    """Where a picture is least within some bounds, and what it forecasts there."""

    move: Floats  # (n,)
    merit: float  # [dB]


class Surrogate(NamedTuple):
    """Level and margins round a place; a move is a difference of coordinates from there.

    Along every axis the energy grows by scale (e^(power move) - 1) + linear move + square move^2, in parts of that at
    the place; the first where a power of the speed fits, the others where none does.
    """

    level: float  # at the place [dB]
    margins: Floats  # at the place, (limits,)
    scale: Floats  # (n,)
    power: Floats  # (n,)
    linear: Floats  # (n,)
    square: Floats  # (n,)
    slope: Floats  # of the margins, (n, limits)
    bow: Floats  # half of their curvature, (n, limits)
    along: Floats  # direction in which it is bent besides, over the length of the move that was tried, (n,)
    bend: Floats  # of the level, then of the margins, at the end of that move, (1 + limits,)

    def forecast(self, moves: Floats) -> tuple[Floats, Floats]:
        """Forecast level (moves,) and margins (moves, limits) of moves (moves, n)."""
        growth = self.scale * np.expm1(self.power * moves) + moves * (self.linear + self.square * moves)
        return self._summed_up(growth.sum(axis=-1), moves @ self.slope + (moves * moves) @ self.bow, moves @ self.along)

    def forecast_all(self, moves: Sequence[Floats]) -> tuple[Floats, Floats]:
        """Forecast every combination of moves along the axes, those along the last axis changing fastest."""
        total = np.zeros((1, 2 + self.margins.size))
        for i, one in enumerate(moves):
            growth = self.scale[i] * np.expm1(self.power[i] * one) + one * (self.linear[i] + self.square[i] * one)
            margins = one[:, None] * self.slope[i] + (one * one)[:, None] * self.bow[i]
            part = np.column_stack([growth, margins, one * self.along[i]])
            total = (total[:, None] + part).reshape(-1, total.shape[1])
        return self._summed_up(total[:, 0], total[:, 1:-1], total[:, -1])

    def _summed_up(self, growth: Floats, change: Floats, along: Floats) -> tuple[Floats, Floats]:
        bent = along * along
        level = self.level + DB_PER_E_FOLD * _logarithm(1.0 + growth) + self.bend[0] * bent
        return level, self.margins + change + bent[:, None] * self.bend[1:]

    def through(self, move: Floats, level: float, margins: Floats) -> Surrogate:
        """Return the picture bent so that it agrees with what was found at the end of one move."""
        length = float(move @ move)
        if length == 0.0:
            return self
        straight = self._replace(bend=np.zeros_like(self.bend))
        expected = straight.forecast(move[None])
        bend = np.concatenate([[level - expected[0][0]], margins - expected[1][0]])
        return self._replace(along=move / length, bend=np.clip(bend, -MOST_BEND, MOST_BEND))

    def least_within(self, low: Floats, high: Floats) -> Aim:
        """Find the move between `low` and `high` (n,) with the least merit: level, and what margins lack.

        SciPy's SLSQP with one more unknown, the lack that all margins are given.
        """
        n = low.size
        lacking = max(-float(self.margins.min(initial=0.0)), 0.0)
        limits: Any = {  # SciPy takes many limits at once; its type stubs know one
            "type": "ineq",
            "fun": lambda x: self.forecast(x[None, :n])[1][0] + x[n],
            "jac": self._margin_slopes,
        }
        found = minimize(
            self._merit,
            np.append(np.zeros(n), lacking),
            jac=True,
            bounds=[*zip(low.tolist(), high.tolist(), strict=True), (0.0, None)],
            constraints=[limits] if self.margins.size else [],
            method="SLSQP",
            options={"maxiter": INNER_ITERATIONS, "ftol": INNER_PRECISION},
        )
        move = np.clip(np.asarray(found.x[:n]), low, high)
        level, margins = self.forecast(move[None])
        return Aim(move, float(merit(level, margins)[0]))

    def _merit(self, x: Floats) -> tuple[float, Floats]:
        """Merit and its slope at a move with a lack appended."""
        move, lack = x[:-1], x[-1]
        grown = np.exp(self.power * move)
        energy = 1.0 + float(self.scale @ (grown - 1.0) + move @ (self.linear + self.square * move))
        rise = self.scale * self.power * grown + self.linear + 2.0 * self.square * move
        bent = float(move @ self.along)
        low = energy < LOW_ENERGY
        logarithm = math.log(LOW_ENERGY) + energy / LOW_ENERGY - 1.0 if low else math.log(energy)
        value = self.level + DB_PER_E_FOLD * logarithm + self.bend[0] * bent * bent + LACK_WEIGHT * lack
        gradient = DB_PER_E_FOLD * rise / max(energy, LOW_ENERGY) + 2.0 * self.bend[0] * bent * self.along
        return float(value), np.append(gradient, LACK_WEIGHT)

    def _margin_slopes(self, x: Floats) -> Floats:
        """Slopes of the margins by move and lack, (limits, n + 1)."""
        move = x[:-1]
        bent = 2.0 * float(move @ self.along) * self.along[:, None] * self.bend[1:]
        by_move = self.slope + 2.0 * move[:, None] * self.bow + bent
        return np.concatenate([by_move.T, np.ones((self.margins.size, 1))], axis=1)


def _logarithm(energy: Floats) -> Floats:
    """Natural logarithm, continued by its tangent where pictures promise too much."""
    low = energy < LOW_ENERGY
    known = np.log(np.where(low, LOW_ENERGY, energy))
    found: Floats = known + np.where(low, energy / LOW_ENERGY - 1.0, 0.0)
    return found


def merit(level: Floats, margins: Floats) -> Floats:
    """Level and, heavily, the largest lack of a margin, (...) [dB]; margins are (..., limits)."""
    found: Floats = level + LACK_WEIGHT * np.maximum(-margins, 0.0).max(axis=-1, initial=0.0)
    return found


def merit_of(surrogate: Surrogate) -> float:
    """Merit at the place itself [dB]."""
    return float(merit(np.array(surrogate.level), surrogate.margins))


def picture(level: Floats, margins: Floats, ahead: Floats, behind: Floats) -> Surrogate:
    """Picture a place by what was solved there and a little way along every axis.

    Parameters
    ----------
    level : ndarray, (1 + 2 n,)
        At the place, then after a step ahead along each axis, then behind. [dB]
    margins : ndarray, (1 + 2 n, limits)
        Likewise. [parts of their scales]
    ahead, behind : ndarray, (n,)
        Lengths of the steps; 0 where none was made: what stands for it above does not count. [coordinate]

    Returns
    -------
    Surrogate
        With the parabola through each axis' three values; without curvature where there are two.
    """
    n = ahead.size
    a, b = ahead[:, None], behind[:, None]
    energy = np.exp((level - level[0]) / DB_PER_E_FOLD)
    values = np.concatenate([energy[:, None], margins], axis=1)
    rise, fall = (values[1 : n + 1] - values[0]) * (a > 0.0), (values[0] - values[n + 1 :]) * (b > 0.0)
    slope_ahead, slope_behind = rise / np.where(a > 0.0, a, 1.0), fall / np.where(b > 0.0, b, 1.0)
    both, width = (a > 0.0) & (b > 0.0), np.where(a + b > 0.0, a + b, 1.0)
    one_sided = np.where(a > 0.0, slope_ahead, slope_behind)
    slope = np.where(both, (slope_ahead * b + slope_behind * a) / width, one_sided)
    bow = np.where(both, (slope_ahead - slope_behind) / width, 0.0)
    steep, bent = slope[:, 0], bow[:, 0]
    power = np.where(steep > 0.0, 2.0 * bent / np.where(steep > 0.0, steep, 1.0), 0.0)
    grows = (power > 0.0) & (power <= HIGHEST_POWER)
    return Surrogate(
        level=float(level[0]),
        margins=margins[0],
        scale=np.where(grows, steep / np.where(grows, power, 1.0), 0.0),
        power=np.where(grows, power, 0.0),
        linear=np.where(grows, 0.0, steep),
        square=np.where(grows, 0.0, bent),
        slope=slope[:, 1:],
        bow=bow[:, 1:],
        along=np.zeros(n),
        bend=np.zeros(1 + margins.shape[1]),
    )
