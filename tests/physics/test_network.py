"""Networks against scipy's root finder on the same equations, against sums of resistances, and from bad starts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import brentq, root

from quietcool.physics.network import REFERENCE, NetworkSolution, solve_network, solve_small

Floats = NDArray[np.float64]


class Falling:
    """Branches h - a m - b m |m|, each linear within a hair of zero flow as a law must be."""

    def __init__(self, shutoff: Floats, linear: Floats, square: Floats, hair: float = 1e-9) -> None:
        self.shutoff, self.linear, self.square, self.hair = (
            np.atleast_2d(shutoff).T,
            np.atleast_2d(linear).T,
            np.atleast_2d(square).T,
            hair,
        )

    def __call__(self, flow: Floats) -> tuple[Floats, Floats]:
        size = np.maximum(np.abs(flow), self.hair)
        slope = -self.linear - self.square * np.where(size > np.abs(flow), size, 2.0 * size)
        return self.shutoff - flow * (self.linear + self.square * size), slope


def solved(law: Falling, source: list[int], target: list[int], nodes: int, start: Floats) -> NetworkSolution:
    one = np.ones(start.shape[1])
    return solve_network(law, source, target, nodes, start, pressure_scale=10.0 * one, flow_scale=one)


def by_root(law: Falling, source: list[int], target: list[int], nodes: int, near: Floats) -> Floats:
    """Solve the same equations with MINPACK's hybrid method; flows then pressures."""
    branches = len(source)

    def imbalance(unknown: Floats) -> Floats:
        flow, pressure = unknown[:branches], np.append(unknown[branches:], 0.0)
        gain = law(flow[:, None])[0][:, 0]
        balance = np.zeros(nodes + 1)
        np.add.at(balance, target, flow)
        np.add.at(balance, source, -flow)
        return np.append(gain + pressure[source] - pressure[target], balance[:nodes])

    found = root(imbalance, near, method="hybr", options={"xtol": 1e-13})
    assert np.abs(imbalance(found.x)).max() < 1e-8
    return np.asarray(found.x)


def test_one_orifice_meets_its_fan_where_the_closed_form_says() -> None:
    law = Falling(np.array([16.0]), np.array([0.0]), np.array([4.0]))
    got = solved(law, [REFERENCE], [REFERENCE], 0, np.zeros((1, 1)))
    assert got.flow[0, 0] == pytest.approx(2.0, rel=1e-9)  # sqrt(16 / 4)


def test_two_orifices_in_series_add_their_squares() -> None:
    """Loss coefficients in series add (Idelchik, Handbook of Hydraulic Resistance, recalled)."""
    law = Falling(np.array([9.0, 0.0]), np.array([0.0, 0.0]), np.array([3.0, 6.0]))
    got = solved(law, [REFERENCE, 0], [0, REFERENCE], 1, np.ones((2, 1)))
    assert got.flow[:, 0] == pytest.approx([1.0, 1.0], rel=1e-9)
    assert got.pressure[0, 0] == pytest.approx(6.0, rel=1e-9)


@given(st.integers(0, 10_000))
def test_random_networks_of_two_nodes_agree_with_a_root_finder(seed: int) -> None:
    rng = np.random.default_rng(seed)
    branches = int(rng.integers(3, 8))
    source = [REFERENCE, 0, 1, *rng.integers(-1, 2, branches - 3).tolist()]
    target = [0, 1, REFERENCE, *rng.integers(-1, 2, branches - 3).tolist()]
    law = Falling(
        rng.uniform(-20.0, 20.0, branches), rng.uniform(0.5, 5.0, branches), rng.uniform(0.0, 30.0, branches), 1e-12
    )
    got = solved(law, source, target, 2, np.ones((branches, 1)))
    assert got.converged.all()
    near = np.concatenate([got.flow[:, 0], got.pressure[:, 0]]) + 0.01 * rng.standard_normal(branches + 2)
    want = by_root(law, source, target, 2, near)
    assert np.concatenate([got.flow[:, 0], got.pressure[:, 0]]) == pytest.approx(want, abs=1e-7)


@pytest.mark.parametrize("start", [0.0, 1e-12, 1.0, -50.0])
def test_an_opening_without_linear_part_does_not_stop_the_solver_at_an_unbalanced_start(start: float) -> None:
    """Infinite slope at rest: Newton's step is zero there, and an unbalanced network must not pass for solved."""
    law = Falling(np.array([5.0, 0.0]), np.array([0.0, 0.0]), np.array([1.0, 100.0]), 1e-12)
    got = solved(law, [REFERENCE, 0], [0, REFERENCE], 1, np.full((2, 1), start))
    assert got.converged.all()
    assert got.flow[:, 0] == pytest.approx(np.sqrt(5.0 / 101.0) * np.ones(2), rel=1e-9)


def test_everything_at_rest_stays_at_rest() -> None:
    law = Falling(np.zeros(3), np.zeros(3), np.ones(3))
    got = solved(law, [REFERENCE, 0, 0], [0, REFERENCE, REFERENCE], 1, np.zeros((3, 1)))
    assert got.converged.all()
    assert np.abs(got.flow).max() == 0.0


def test_a_nearly_flat_branch_beside_steep_ones_is_solved_in_few_steps() -> None:
    """A fan at its shut-off point yields like a huge conductance: rounding leaks there must not look like uphill steps.

    The flat branch starts at rest with a slope of 1e-4, the others have slopes of hundreds: the balance of the node
    then carries rounding of 1e-13 that no exact step has.
    """
    shutoff = np.array([16.0, 12.0, -9.0, 3.2179, 0.0])
    law = Falling(shutoff, np.array([300.0, 400.0, 900.0, 1e-4, 50.0]), np.array([50.0, 60.0, 80.0, 402.5, 2000.0]))
    source = [REFERENCE, REFERENCE, 0, 0, 0]
    target = [0, 0, REFERENCE, REFERENCE, REFERENCE]
    node = brentq(lambda p: _net(law, source, p), -50.0, 50.0, xtol=1e-14)
    law.shutoff[3] = -node  # the flat branch now rests almost exactly at its shut-off point
    got = solved(law, source, target, 1, np.full((5, 1), 0.02))
    assert got.converged.all()
    assert got.iterations.max() < 20


def _net(law: Falling, source: list[int], pressure: float) -> float:
    """Flow into the node at a pressure, each branch by a bracket of its own; the flat branch left out."""
    total = 0.0
    for i, at in enumerate(source):
        if i == 3:
            continue
        drive = pressure if at == 0 else -pressure

        def gain(m: float, i: int = i, drive: float = drive) -> float:
            return float(law(np.full((5, 1), m))[0][i, 0]) + drive

        flow = brentq(gain, -10.0, 10.0, xtol=1e-15)
        total += flow if at == REFERENCE else -flow
    return total


def test_a_batch_gives_what_its_cases_give_alone() -> None:
    rng = np.random.default_rng(3)
    shutoff = rng.uniform(0.0, 20.0, (7, 3))
    law = Falling(shutoff, np.full((7, 3), 2.0), np.full((7, 3), 5.0))
    together = solved(law, [REFERENCE, 0, 0], [0, REFERENCE, REFERENCE], 1, np.ones((3, 7)))
    for case in range(7):
        alone = solved(
            Falling(shutoff[case], np.full(3, 2.0), np.full(3, 5.0)), [-1, 0, 0], [0, -1, -1], 1, np.ones((3, 1))
        )
        assert together.flow[:, case] == pytest.approx(alone.flow[:, 0], rel=1e-12)


def test_small_systems_agree_with_lapack() -> None:
    rng = np.random.default_rng(1)
    matrix = rng.uniform(-1.0, 1.0, (5, 5, 20)) + 6.0 * np.eye(5)[:, :, None]
    right = rng.uniform(-1.0, 1.0, (5, 20))
    want = np.linalg.solve(np.moveaxis(matrix, -1, 0), right.T[..., None])[..., 0].T
    assert solve_small(matrix, right) == pytest.approx(want, rel=1e-11)


def test_an_answer_cut_short_says_so() -> None:
    law = Falling(np.array([16.0]), np.array([0.0]), np.array([4.0]))
    start, one = np.full((1, 1), 50.0), np.ones(1)
    few = solve_network(law, [REFERENCE], [REFERENCE], 0, start, pressure_scale=one, flow_scale=one, max_iterations=3)
    assert (bool(few.converged[0]), int(few.iterations[0])) == (False, 3)
    assert few.residual[0] == pytest.approx(abs(float(law(few.flow)[0][0, 0])), rel=1e-12)  # what is left of 16 Pa
    enough = solve_network(law, [REFERENCE], [REFERENCE], 0, start, pressure_scale=one, flow_scale=one)
    assert enough.converged[0]
    assert 3 < enough.iterations[0] < 20


def test_a_law_that_jumps_past_zero_is_never_called_solved() -> None:
    """1 Pa before the jump at 0.3, -1 Pa behind it: there is no flow without imbalance, and the search must end."""

    def law(flow: Floats) -> tuple[Floats, Floats]:
        return np.where(flow < 0.3, 1.0, -1.0), np.full_like(flow, -0.01)

    got = solved(law, [REFERENCE], [REFERENCE], 0, np.zeros((1, 1)))  # type: ignore[arg-type]
    assert not got.converged[0]
    assert got.flow[0, 0] == pytest.approx(0.3, abs=1e-6)  # beside the jump all the same
    assert got.residual[0] == pytest.approx(0.1)  # 1 Pa of the scale of 10 Pa


def test_each_case_of_a_batch_takes_the_steps_that_it_takes_alone() -> None:
    # Laws over six orders of magnitude: some cases go straight to their end, others have their steps shortened often.
    rng = np.random.default_rng(8)
    shutoff, square = rng.uniform(0.0, 20.0, (30, 4)), 10.0 ** rng.uniform(-3.0, 3.0, (30, 4))
    linear = 10.0 ** rng.uniform(-5.0, 0.0, (30, 4))
    source, target = [REFERENCE, 0, 0, 1], [0, REFERENCE, 1, REFERENCE]
    start = 10.0 ** rng.uniform(-3.0, 1.0, (4, 30))
    together = solved(Falling(shutoff, linear, square), source, target, 2, start)
    assert together.converged.all()
    assert np.ptp(together.iterations) > 5
    for case in range(30):
        alone = solved(Falling(shutoff[case], linear[case], square[case]), source, target, 2, start[:, case : case + 1])
        assert together.iterations[case] == alone.iterations[0]
        assert together.flow[:, case] == pytest.approx(alone.flow[:, 0], rel=1e-12)
