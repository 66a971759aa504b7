"""Flow networks: branches with a monotone law between nodes, solved for all flows and node pressures at once.

Things first, cases last in memory: a flow array is (branches, cases). The same solver serves air (mass flow,
enclosures) and coolant (volume flow, junctions).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Law = Callable[[Floats], tuple[Floats, Floats]]

REFERENCE = -1  # the node whose pressure is 0
TOLERANCE = 1e-11  # of the scaled residual
MAX_ITERATIONS = 80
LINE_TRIALS = 30
ROUNDING = 1e-14
ACCEPT = 0.9  # a full step is kept when the slope along it has fallen at least to this part


class NetworkSolution(NamedTuple):
    """Flows and pressures of a network."""

    flow: Floats  # (branches, cases) [unit of the law's flow]
    pressure: Floats  # of the nodes over the reference, (nodes, cases) [Pa]
    residual: Floats  # largest pressure imbalance of a branch or flow imbalance of a node, scaled, (cases,) [-]
    worst_branch: NDArray[np.intp]  # branch with the largest imbalance, (cases,)
    iterations: NDArray[np.intp]  # (cases,)
    converged: NDArray[np.bool_]  # (cases,)


def solve_network(
    law: Law,
    source: Sequence[int],
    target: Sequence[int],
    node_count: int,
    start: Floats,
    *,
    pressure_scale: Floats,
    flow_scale: Floats,
    injection: Floats | None = None,
    max_iterations: int = MAX_ITERATIONS,
    guarded: bool = True,
) -> NetworkSolution:
    r"""Find the flows at which every branch's law meets its end pressures and every node is balanced.

    p_source + H_i(m_i) - p_target = 0 for every branch, sum(in) - sum(out) + injection = 0 for every node.

    Newton on all flows and pressures; the flows are eliminated, the node pressures come from a small symmetric
    system. A step is shortened until the slope of the network's content along it has fallen: for falling laws the
    content is convex, so that cannot fail. It stops on the scaled residual, never on the step: at zero pressure a
    law without linear part makes Newton stand still in front of an unbalanced network.

    Parameters
    ----------
    law : callable
        Flows (branches, cases) -> pressure gain from source to target and its slope by flow, same shape; the slope
        must be negative, and finite at zero flow.
    source, target : sequence of int, (branches,)
        Node indices, `REFERENCE` for the node at zero pressure.
    node_count : int
        Nodes besides the reference.
    start : ndarray, (branches, cases)
        First guess; it need not be balanced. [unit of flow]
    pressure_scale, flow_scale : ndarray, (cases,)
        What imbalances are measured by. [Pa; unit of flow]
    injection : ndarray, (nodes, cases), optional
        Flow put into each node from outside. [unit of flow]
    max_iterations : int
        Newton steps at most.
    guarded : bool
        False takes every full step: for a start that is already near a root of a law that is not monotone.

    Returns
    -------
    NetworkSolution

    References
    ----------
    .. [1] Todini, E. and Pilati, S., "A gradient algorithm for the analysis of pipe networks", in Computer
       Applications in Water Supply, vol. 1, Research Studies Press 1988, pp. 1-20 (the elimination).
    .. [2] Cherry, E. C., "Some general theorems for non-linear systems possessing reactance", Phil. Mag. 42 (1951)
       1161-1177 (content as the function that a network makes least; recalled, not re-read).

    Examples
    --------
    Two equal linear resistances, one driven by 10 Pa, meet in a node:

    >>> law = lambda m: (np.array([[10.0], [0.0]]) - 2.0 * m, np.full_like(m, -2.0))
    >>> one = np.ones(1)
    >>> s = solve_network(law, [-1, 0], [0, -1], 1, np.zeros((2, 1)), pressure_scale=one, flow_scale=one)
    >>> s.flow[:, 0].tolist(), s.pressure[:, 0].tolist()
    ([2.5, 2.5], [5.0])
    """
    flow = np.array(start, dtype=np.float64)
    cases = flow.shape[1]
    into = np.zeros((node_count, cases)) if injection is None else np.asarray(injection, dtype=np.float64)
    pressure = np.zeros((node_count, cases))
    gain, slope = law(flow)
    residual = np.full(cases, np.inf)
    worst = np.zeros(cases, dtype=np.intp)
    iterations = np.zeros(cases, dtype=np.intp)
    balanced = False
    for _ in range(max_iterations):
        conductance = -1.0 / slope
        # Solved for what the pressures change by: near the end all numbers are small then, and so is their rounding.
        short_of = gain + _pressure_difference(pressure, source, target, flow)
        shortfall = _node_balance(flow + conductance * short_of, source, target, node_count) + into
        new_pressure = pressure + _solve_nodes(conductance, shortfall, source, target, node_count)
        drive = _pressure_difference(new_pressure, source, target, flow)
        open_cases = residual > TOLERANCE
        step = np.where(open_cases, conductance * (gain + drive), 0.0)
        new_flow, gain, slope = _take_step(law, flow, step, gain, drive, guarded and balanced)
        pressure = np.where(open_cases, new_pressure, pressure)
        flow, balanced = new_flow, True
        imbalance = np.abs(gain + _pressure_difference(pressure, source, target, flow))
        leak = np.abs(_node_balance(flow, source, target, node_count) + into)
        now = imbalance.max(axis=0) / pressure_scale
        if node_count:
            now = np.maximum(now, leak.max(axis=0) / flow_scale)
        worst = np.where(open_cases, imbalance.argmax(axis=0), worst)
        residual = np.where(open_cases, now, residual)
        iterations += open_cases
        if not np.any(residual > TOLERANCE):
            break
    return NetworkSolution(flow, pressure, residual, worst, iterations, residual <= TOLERANCE)


def _take_step(
    law: Law, flow: Floats, step: Floats, gain: Floats, drive: Floats, guarded: bool
) -> tuple[Floats, Floats, Floats]:
    """Take the step, shortened where the content's slope along it has not fallen: regula falsi on that slope.

    The new pressures' work is counted in: along a balanced step it is nothing, along one that mends a leak left by
    rounding it is not, and without it such a step may look uphill and never be taken.
    """
    new_flow = flow + step
    new_gain, new_slope = law(new_flow)
    if not guarded:
        return new_flow, new_gain, new_slope
    first = ((gain + drive) * step).sum(axis=0)  # less the content's slope at the start; positive downhill
    low, low_slope = np.zeros_like(first), first
    high, high_slope = np.ones_like(first), ((new_gain + drive) * step).sum(axis=0)
    # Near the end a step is rounding noise: nothing is left to guard there.
    rounding = ROUNDING * (np.abs(new_gain) * (np.abs(step) + np.abs(new_flow))).sum(axis=0)
    rejected = high_slope < -ACCEPT * np.abs(first) - rounding
    for _ in range(LINE_TRIALS):
        if not np.any(rejected):
            break
        fall = low_slope - high_slope
        part = low + (high - low) * np.clip(low_slope / np.where(fall > 0.0, fall, 1.0), 0.1, 0.9)
        trial = flow + np.where(rejected, part, high) * step
        new_gain, new_slope = law(trial)
        new_flow = trial
        here = ((new_gain + drive) * step).sum(axis=0)
        short = rejected & (here > 0.0)
        low, low_slope = np.where(short, part, low), np.where(short, here, low_slope)
        high, high_slope = np.where(rejected & ~short, part, high), np.where(rejected & ~short, here, high_slope)
        done = np.abs(here) <= ACCEPT * np.abs(first)
        high = np.where(rejected & done, part, high)
        rejected = rejected & ~done
    return new_flow, new_gain, new_slope


def _pressure_difference(pressure: Floats, source: Sequence[int], target: Sequence[int], like: Floats) -> Floats:
    """Source less target pressure of every branch."""
    difference = np.zeros_like(like)
    for branch, (a, b) in enumerate(zip(source, target, strict=True)):
        if a != REFERENCE:
            difference[branch] += pressure[a]
        if b != REFERENCE:
            difference[branch] -= pressure[b]
    return difference


def _node_balance(flow: Floats, source: Sequence[int], target: Sequence[int], node_count: int) -> Floats:
    """Flow into each node less flow out of it."""
    balance = np.zeros((node_count, flow.shape[1]))
    for branch, (a, b) in enumerate(zip(source, target, strict=True)):
        if b != REFERENCE:
            balance[b] += flow[branch]
        if a != REFERENCE:
            balance[a] -= flow[branch]
    return balance


def _solve_nodes(
    conductance: Floats, shortfall: Floats, source: Sequence[int], target: Sequence[int], node_count: int
) -> Floats:
    """Node pressures that balance the linearised network, by elimination on the symmetric node matrix."""
    matrix = np.zeros((node_count, node_count, shortfall.shape[1]))
    for branch, (a, b) in enumerate(zip(source, target, strict=True)):
        if a == b:
            continue  # what leaves a node and comes back to it does not load it
        if a != REFERENCE:
            matrix[a, a] += conductance[branch]
        if b != REFERENCE:
            matrix[b, b] += conductance[branch]
        if a != REFERENCE and b != REFERENCE:
            matrix[a, b] -= conductance[branch]
            matrix[b, a] -= conductance[branch]
    return solve_small(matrix, shortfall)


def solve_small(matrix: Floats, right: Floats) -> Floats:
    """Solve small diagonally dominant systems, things first and cases last.

    Gaussian elimination without exchange of rows, which such systems do not need.

    Parameters
    ----------
    matrix : ndarray, (n, n, cases)
        Diagonally dominant by rows or by columns. [any]
    right : ndarray, (n, cases)
        Right-hand sides. [any]

    Returns
    -------
    ndarray, (n, cases)
        The solutions. [any]

    References
    ----------
    .. [1] Golub, G. H. and Van Loan, C. F., "Matrix Computations", 4th ed., section 4.1.1: elimination without
       pivoting is stable for diagonally dominant matrices (recalled, not re-read).

    Examples
    --------
    >>> solve_small(np.array([[[2.0], [1.0]], [[1.0], [3.0]]]), np.array([[3.0], [4.0]]))[:, 0].tolist()
    [1.0, 1.0]
    """
    a, x = np.array(matrix), np.array(right)
    n = x.shape[0]
    for i in range(n):
        for j in range(i + 1, n):
            factor = a[j, i] / a[i, i]
            a[j, i + 1 :] -= factor * a[i, i + 1 :]
            x[j] -= factor * x[i]
    for i in range(n - 1, -1, -1):
        for j in range(i + 1, n):
            x[i] -= a[i, j] * x[j]
        x[i] /= a[i, i]
    return x
