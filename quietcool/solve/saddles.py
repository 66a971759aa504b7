"""Which operating point an air network rests on: one where all curves fall, a choice where a fan's curve has a saddle.

A fan whose pressure rises with flow somewhere can meet its network at several flows. The rule: the highest-flow
statically stable point. To the right of its last peak every curve falls, so a network in which the curves are
continued steeply upward left of their peaks has one solution; where no path rests on that continuation, it is
the answer. A path that does rest on it has no point right of its peak: its flow is scanned with the rest of the
network re-solved, the others on their chosen branch, until nothing changes.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.physics.network import REFERENCE, NetworkSolution, solve_network
from quietcool.solve.airflow import AirLaw

Floats = NDArray[np.float64]

SCAN_POINTS = 96  # flows between rest and the last peak
REVERSED = -np.geomspace(8.0, 0.02, 12)  # further flows to scan, in parts of free delivery
SWEEPS = 6
REFINEMENTS = 60
CLOSE = 1e-13  # width of a refined bracket, in parts of the flow scale


class AirSolution(NamedTuple):
    """Where an air network rests."""

    network: NetworkSolution
    left_of_peak: NDArray[np.bool_]  # path rests left of the last peak of one of its fans, (paths, cases)


def solve_air_network(
    law: AirLaw, source: Sequence[int], target: Sequence[int], node_count: int, start: Floats
) -> AirSolution:
    """Solve the air network for the highest-flow stable operating point.

    Parameters
    ----------
    law : AirLaw
        Law of every path at the densities of the moment.
    source, target : sequence of int, (paths,)
        Nodes of the paths.
    node_count : int
        Enclosures.
    start : ndarray, (paths, cases)
        Flows to start from. [kg/s]

    Returns
    -------
    AirSolution
    """
    network = solve_network(
        law, source, target, node_count, start, pressure_scale=law.pressure_scale, flow_scale=law.flow_scale
    )
    left = np.zeros(network.flow.shape, dtype=np.bool_)
    for _ in range(SWEEPS if law.falling else 0):
        resting = {path: network.flow[path] < peak_flow(law, path) for path in sorted(law.falling)}
        stuck = {path: cases & ~left[path] & network.converged for path, cases in resting.items()}
        path = max(stuck, key=lambda p: int(stuck[p].sum()))
        picked = np.flatnonzero(stuck[path])
        if picked.size == 0:
            break
        left[path, picked] = True
        network = _rest_left_of_peaks(law, source, target, node_count, network, left, picked)
    return AirSolution(network, left)


def peak_flow(law: AirLaw, path: int) -> Floats:
    """Mass flow of a path at which the last peak among its rows lies [kg/s]."""
    peaks = [
        row.curve.last_peak * row.reach * row.count * density
        for row, density in zip(law.rows, law.row_density, strict=True)
        if row.path == path and row.curve.last_peak > 0.0
    ]
    return np.max(np.broadcast_arrays(*peaks, law.flow_scale * 0.0), axis=0)


class Crossings(NamedTuple):
    """Every flow at which one path's law meets the rest of the network, of one case."""

    flow: Floats  # rising, (n,) [kg/s]
    stable: NDArray[np.bool_]  # (n,)


def find_path_crossings(
    law: AirLaw,
    source: Sequence[int],
    target: Sequence[int],
    node_count: int,
    path: int,
    settled: Floats,
    *,
    points: int = 1200,
) -> Crossings:
    """All operating points of one path in the first case of the law, the rest of the network re-solved at each flow.

    Parameters
    ----------
    law : AirLaw
        Law of every path.
    source, target : sequence of int, (paths,)
        Nodes of the paths.
    node_count : int
        Enclosures.
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
    one = np.zeros(1, dtype=np.intp)
    span = float(law.columns(one).flow_scale[0])
    grid = np.concatenate([REVERSED, np.linspace(0.0, 1.5, points)])[:, None] * span
    others = law.falling - {path}
    excess = _excess(law, source, target, node_count, path, settled, one, grid, others)[:, 0]
    roots, stable = [], []
    for i in np.flatnonzero(excess[:-1] * excess[1:] < 0.0):
        bracket = grid[i : i + 2]
        root = _refine(law, source, target, node_count, path, settled, one, bracket[0], bracket[1], others)
        roots.append(float(root[0]))
        stable.append(bool(excess[i] > 0.0))
    return Crossings(np.array(roots), np.array(stable, dtype=np.bool_))


def _rest_left_of_peaks(
    law: AirLaw,
    source: Sequence[int],
    target: Sequence[int],
    node_count: int,
    network: NetworkSolution,
    left: NDArray[np.bool_],
    picked: NDArray[np.intp],
) -> NetworkSolution:
    """Solve the picked cases again, each path that rests left of its peak on its highest stable crossing there."""
    flow = network.flow.copy()
    for _ in range(SWEEPS):
        before = flow[:, picked].copy()
        for path in sorted(law.falling):
            mine = picked[left[path, picked]]
            if mine.size == 0:
                continue
            others = law.falling - {path}
            grid = _grid(law, path, mine)
            excess = _excess(law, source, target, node_count, path, flow, mine, grid, others)
            crossing = (excess[:-1] > 0.0) & (excess[1:] <= 0.0)
            last = crossing.shape[0] - 1 - np.argmax(crossing[::-1], axis=0)
            columns = np.arange(mine.size)
            low, high = grid[last, columns], grid[last + 1, columns]
            root = _refine(law, source, target, node_count, path, flow, mine, low, high, others)
            flow[:, mine] = _with_fixed(law, source, target, node_count, path, flow, mine, root[None, :], others)[0]
        if np.all(np.abs(flow[:, picked] - before) <= 1e-10 * law.flow_scale[picked]):
            break
    true_law = law.columns(picked)._replace(falling=frozenset())
    again = solve_network(
        true_law,
        source,
        target,
        node_count,
        flow[:, picked],
        pressure_scale=true_law.pressure_scale,
        flow_scale=true_law.flow_scale,
        guarded=False,
    )
    merged = {name: np.array(getattr(network, name)) for name in NetworkSolution._fields}
    for name in NetworkSolution._fields:
        merged[name][..., picked] = getattr(again, name)
    return NetworkSolution(**merged)


def _grid(law: AirLaw, path: int, picked: NDArray[np.intp]) -> Floats:
    """Flows to scan: far reversed flow up to the last peak, (points, picked) [kg/s]."""
    peak = peak_flow(law, path)[picked]
    return np.concatenate(
        [REVERSED[:, None] * law.flow_scale[picked], np.linspace(0.0, 1.0, SCAN_POINTS)[:, None] * peak]
    )


def _with_fixed(
    law: AirLaw,
    source: Sequence[int],
    target: Sequence[int],
    node_count: int,
    path: int,
    flow: Floats,
    picked: NDArray[np.intp],
    fixed: Floats,
    falling: frozenset[int],
) -> tuple[Floats, Floats]:
    """Flows and node pressures with one path's flow held at `fixed` (points, picked), the rest of the network solved.

    Returns flows (paths, points * picked) and pressures (nodes, points * picked).
    """
    points = fixed.shape[0]
    held = fixed.reshape(-1)
    tiled = law.columns(np.tile(picked, points))._replace(falling=falling)
    rest = [i for i in range(len(source)) if i != path]
    whole = np.tile(flow[:, picked], (1, points))
    whole[path] = held
    injection = np.zeros((node_count, held.size))
    for node, sign in ((source[path], -1.0), (target[path], 1.0)):
        if node != REFERENCE:
            injection[node] += sign * held

    def rest_law(rest_flow: Floats) -> tuple[Floats, Floats]:
        full = whole.copy()
        full[rest] = rest_flow
        gain, slope = tiled(full)
        return gain[rest], slope[rest]

    if not rest:
        return whole, np.zeros((node_count, held.size))
    solution = solve_network(
        rest_law,
        [source[i] for i in rest],
        [target[i] for i in rest],
        node_count,
        whole[rest],
        pressure_scale=tiled.pressure_scale,
        flow_scale=tiled.flow_scale,
        injection=injection,
    )
    whole[rest] = solution.flow
    return whole, solution.pressure


def _excess(
    law: AirLaw,
    source: Sequence[int],
    target: Sequence[int],
    node_count: int,
    path: int,
    flow: Floats,
    picked: NDArray[np.intp],
    fixed: Floats,
    falling: frozenset[int],
) -> Floats:
    """Pressure by which the path's fans exceed what the network asks at the flows `fixed`, (points, picked) [Pa]."""
    whole, pressure = _with_fixed(law, source, target, node_count, path, flow, picked, fixed, falling)
    true_law = law.columns(np.tile(picked, fixed.shape[0]))._replace(falling=frozenset())
    gain = true_law(whole)[0][path]
    if source[path] != REFERENCE:
        gain = gain + pressure[source[path]]
    if target[path] != REFERENCE:
        gain = gain - pressure[target[path]]
    return gain.reshape(fixed.shape)


def _refine(
    law: AirLaw,
    source: Sequence[int],
    target: Sequence[int],
    node_count: int,
    path: int,
    flow: Floats,
    picked: NDArray[np.intp],
    low: Floats,
    high: Floats,
    falling: frozenset[int],
) -> Floats:
    """Close the brackets of every case on a crossing: regula falsi with halved weights, (picked,) [kg/s]."""

    def excess(at: Floats) -> Floats:
        return _excess(law, source, target, node_count, path, flow, picked, at[None, :], falling)[0]

    low, high = np.array(low), np.array(high)
    low_value, high_value = excess(low), excess(high)
    for _ in range(REFINEMENTS):
        span = low_value - high_value
        at = np.where(span != 0.0, low + (high - low) * low_value / np.where(span != 0.0, span, 1.0), low)
        value = excess(at)
        same = np.sign(value) == np.sign(low_value)
        high_value = np.where(same, 0.5 * high_value, value)
        low_value = np.where(same, value, 0.5 * low_value)
        low, high = np.where(same, at, low), np.where(same, high, at)
        settled = (np.abs(high - low) <= CLOSE * law.flow_scale[picked]) | (value == 0.0)
        if np.all(settled):
            break
    return at
