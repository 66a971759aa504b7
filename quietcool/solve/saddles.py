"""Which operating point an air network rests on: one where all curves fall, a choice where a fan's curve has a saddle.

A fan whose pressure rises with flow somewhere can meet its network at several flows. The rule: the highest-flow
statically stable point. To the right of its last peak every curve falls, so a network in which the curves are
continued steeply upward left of their peaks has one solution; where no path rests on that continuation, it is
the answer. A path that does rest on it has no point right of its peak: its flow is scanned with the rest of the
network re-solved, the others on their falling curves; the true curves of all settle the flows from there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.physics.network import REFERENCE, NetworkSolution, solve_network
from quietcool.solve.airflow import AirLaw

Floats = NDArray[np.float64]
Columns = NDArray[np.intp]

SCAN_POINTS = 96  # flows between rest and the last peak
REVERSED = -np.geomspace(8.0, 0.02, 12)  # further flows to scan, in parts of free delivery
SWEEPS = 6
REFINEMENTS = 60
CLOSE = 1e-13  # width of a refined bracket, in parts of the flow scale


class AirSolution(NamedTuple):
    """Where an air network rests."""

    network: NetworkSolution
    left_of_peak: NDArray[np.bool_]  # path rests left of the last peak of one of its fans, (paths, cases)


def solve_air_network(law: AirLaw, start: Floats) -> AirSolution:
    """Solve the air network for the highest-flow stable operating point.

    Parameters
    ----------
    law : AirLaw
        Law of every path at the densities of the moment.
    start : ndarray, (paths, cases)
        Flows to start from. [kg/s]

    Returns
    -------
    AirSolution
    """
    network = _solve(law, start)
    left = np.zeros(network.flow.shape, dtype=np.bool_)
    for _ in range(SWEEPS if law.falling else 0):
        resting = {path: network.flow[path] < peak_flow(law, path) for path in sorted(law.falling)}
        stuck = {path: cases & ~left[path] & network.converged for path, cases in resting.items()}
        path = max(stuck, key=lambda p: int(stuck[p].sum()))
        picked = np.flatnonzero(stuck[path])
        if picked.size == 0:
            break
        left[path, picked] = True
        network = _rest_left_of_peaks(law, network, left, picked)
    return AirSolution(network, left)


def _solve(law: AirLaw, start: Floats, *, guarded: bool = True) -> NetworkSolution:
    return solve_network(
        law.gain,
        law.source,
        law.target,
        law.node_count,
        start,
        pressure_scale=law.pressure_scale,
        flow_scale=law.flow_scale,
        guarded=guarded,
    )


def peak_flow(law: AirLaw, path: int) -> Floats:
    """Mass flow of a path at which the last peak among its rows lies [kg/s]."""
    peaks = [
        row.curve.last_peak * row.reach * row.count * density
        for row, density in zip(law.rows, law.row_density, strict=True)
        if row.path == path and row.curve.last_peak > 0.0
    ]
    highest: Floats = np.max(np.broadcast_arrays(*peaks, law.flow_scale * 0.0), axis=0)
    return highest


class Crossings(NamedTuple):
    """Every flow at which one path's law meets the rest of the network, of one case."""

    flow: Floats  # rising, (n,) [kg/s]
    stable: NDArray[np.bool_]  # (n,)


def find_path_crossings(law: AirLaw, path: int, settled: Floats, *, points: int = 1200) -> Crossings:
    """All operating points of one path in the first case of the law, the rest of the network re-solved at each flow.

    Parameters
    ----------
    law : AirLaw
        Law of every path.
    path : int
        The path to scan.
    settled : ndarray, (paths, cases)
        Flows of the chosen operating point: where the others are looked for. [kg/s]
    points : int
        Of the scan.

    Returns
    -------
    Crossings
    """
    scan = _Scan(law, path, np.zeros(1, dtype=np.intp))
    span = float(law.flow_scale[0])
    grid = np.concatenate([REVERSED, np.linspace(0.0, 1.5, points)])[:, None] * span
    excess = scan.excess(settled, grid)[:, 0]
    roots, stable = [], []
    for i in np.flatnonzero(excess[:-1] * excess[1:] < 0.0):
        root = scan.refine(settled, grid[i], grid[i + 1])
        roots.append(float(root[0]))
        stable.append(bool(excess[i] > 0.0))
    return Crossings(np.array(roots), np.array(stable, dtype=np.bool_))


def _rest_left_of_peaks(
    law: AirLaw, network: NetworkSolution, left: NDArray[np.bool_], picked: Columns
) -> NetworkSolution:
    """Solve the picked cases again, each path that rests left of its peak on its highest stable crossing there."""
    flow = network.flow.copy()
    # Once each: a scan replaces the others' curves by falling ones, so that it finds the same however often it is made.
    for path in sorted(law.falling):
        mine = picked[left[path, picked]]
        if mine.size:
            flow[:, mine] = _highest_stable(_Scan(law, path, mine), flow)
    again = _solve(law.columns(picked).with_falling(frozenset()), flow[:, picked], guarded=False)
    merged = {name: np.array(getattr(network, name)) for name in NetworkSolution._fields}
    for name in NetworkSolution._fields:
        merged[name][..., picked] = getattr(again, name)
    return NetworkSolution(**merged)


def _highest_stable(scan: _Scan, flow: Floats) -> Floats:
    """Flows of all paths with the scanned one on its last crossing from above to below, (paths, picked) [kg/s]."""
    peak = peak_flow(scan.law, scan.path)[scan.picked]
    grid = np.concatenate(
        [REVERSED[:, None] * scan.law.flow_scale[scan.picked], np.linspace(0.0, 1.0, SCAN_POINTS)[:, None] * peak]
    )
    excess = scan.excess(flow, grid)
    crossing = (excess[:-1] > 0.0) & (excess[1:] <= 0.0)
    last = crossing.shape[0] - 1 - np.argmax(crossing[::-1], axis=0)
    columns = np.arange(scan.picked.size)
    root = scan.refine(flow, grid[last, columns], grid[last + 1, columns])
    return scan.settle_rest(flow, root[None, :])[0]


@dataclass(frozen=True)
class _Scan:
    """One path of some cases, its flow held at this value or that while the rest of the network is re-solved."""

    law: AirLaw
    path: int
    picked: Columns

    def settle_rest(self, flow: Floats, fixed: Floats) -> tuple[Floats, Floats]:
        """Flows and node pressures with the path's flow held at `fixed` (points, picked).

        The rest is looked for from `flow` (paths, cases), its curves replaced by falling ones. Returns flows
        (paths, points * picked) and pressures (nodes, points * picked).
        """
        points, path, law = fixed.shape[0], self.path, self.law
        held = fixed.reshape(-1)
        tiled = law.columns(np.tile(self.picked, points)).with_falling(law.falling - {path})
        rest = [i for i in range(len(law.source)) if i != path]
        whole = np.tile(flow[:, self.picked], (1, points))
        whole[path] = held
        injection = np.zeros((law.node_count, held.size))
        for node, sign in ((law.source[path], -1.0), (law.target[path], 1.0)):
            if node != REFERENCE:
                injection[node] += sign * held

        def rest_law(rest_flow: Floats) -> tuple[Floats, Floats]:
            full = whole.copy()
            full[rest] = rest_flow
            gain, slope = tiled.gain(full)
            return gain[rest], slope[rest]

        if not rest:
            return whole, np.zeros((law.node_count, held.size))
        solution = solve_network(
            rest_law,
            [law.source[i] for i in rest],
            [law.target[i] for i in rest],
            law.node_count,
            whole[rest],
            pressure_scale=tiled.pressure_scale,
            flow_scale=tiled.flow_scale,
            injection=injection,
        )
        whole[rest] = solution.flow
        return whole, solution.pressure

    def excess(self, flow: Floats, fixed: Floats) -> Floats:
        """Pressure by which the path's fans exceed what the network asks at flows `fixed`, (points, picked) [Pa]."""
        whole, pressure = self.settle_rest(flow, fixed)
        true_law = self.law.columns(np.tile(self.picked, fixed.shape[0])).with_falling(frozenset())
        gain: Floats = true_law.gain(whole)[0][self.path]
        source, target = self.law.source[self.path], self.law.target[self.path]
        if source != REFERENCE:
            gain = gain + pressure[source]
        if target != REFERENCE:
            gain = gain - pressure[target]
        return gain.reshape(fixed.shape)

    def refine(self, flow: Floats, low: Floats, high: Floats) -> Floats:
        """Close the brackets of every case on a crossing: regula falsi with halved weights, (picked,) [kg/s]."""
        low_value, high_value = (self.excess(flow, at[None, :])[0] for at in (low, high))
        at = low
        for _ in range(REFINEMENTS):
            span = low_value - high_value
            at = np.where(span != 0.0, low + (high - low) * low_value / np.where(span != 0.0, span, 1.0), low)
            value = self.excess(flow, at[None, :])[0]
            same = np.sign(value) == np.sign(low_value)
            high_value = np.where(same, 0.5 * high_value, value)
            low_value = np.where(same, value, 0.5 * low_value)
            low, high = np.where(same, at, low), np.where(same, high, at)
            settled = (np.abs(high - low) <= CLOSE * self.law.flow_scale[self.picked]) | (value == 0.0)
            if np.all(settled):
                break
        return at
