"""The linear program and the Lagrangian are one another's duals: two statements of one bound, written apart.

Strong duality of linear programs (von Neumann; any textbook, e.g. Boyd and Vandenberghe, Convex Optimization, 2004,
section 5.2): at the program's multipliers the Lagrangian comes to the program's value; at any others it lies below.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from quietcool.decide.bound.frame import Frame
from quietcool.decide.bound.propagation import Examined
from quietcool.decide.bound.relaxation import Reference, Relaxation
from quietcool.decide.bound.statement import Solution, first_prices, state_relaxation
from tests.decide.bound.planted import option_of, planted_boxes, random_prices

Floats = NDArray[np.float64]

AGREE = 1e-6  # relative, of the energy of a setting in the box


class WithCopies(Relaxation):
    """The Lagrangian with prices of the copies given, and not made from references."""

    def __init__(self, frame: Frame, seen: Examined, copies: Floats) -> None:
        super().__init__(frame, seen)
        self.copies = copies

    def _copy_prices(self, price: Floats, reference: Reference) -> list[tuple[Floats, Floats]]:
        return [(one[:1], one[1:]) for one in self.copies]


def lagrangian(frame: Frame, seen: Examined, solution: Solution) -> float:
    assert solution.price is not None
    assert solution.copies is not None
    relaxation = WithCopies(frame, seen, solution.copies)
    nothing = np.zeros((1, len(frame.paths)))
    return float(relaxation.evaluate(solution.price[None], Reference(nothing, nothing)).bound[0])


@pytest.mark.parametrize("seed", [0, 3, 4, 10, 12])
def test_the_program_and_the_lagrangian_at_its_multipliers_agree(seed: int) -> None:
    for frame, truth, seen in planted_boxes(seed, (0.4, 0.02)):
        solution = state_relaxation(frame, seen).solve()
        below = solution.value - lagrangian(frame, seen, solution)

        assert solution.status == "optimal"
        assert -AGREE * truth.energy <= below <= AGREE * truth.energy
        assert solution.value <= truth.energy * (1.0 + AGREE)


@pytest.mark.parametrize("seed", [0, 4])
def test_no_other_multipliers_bound_higher(seed: int) -> None:
    rng = np.random.default_rng(seed)
    for frame, truth, seen in planted_boxes(seed, (0.1,)):
        value = state_relaxation(frame, seen).solve().value
        relaxation = Relaxation(frame, seen)
        for _ in range(10):
            price, reference = random_prices(relaxation, truth, rng)

            assert float(relaxation.evaluate(price, reference).bound[0]) <= value + AGREE * truth.energy


@pytest.mark.parametrize("seed", [0, 4, 12])
def test_whole_options_bound_no_lower(seed: int) -> None:
    for frame, truth, seen in planted_boxes(seed, (0.2,), count=1):
        value = state_relaxation(frame, seen).solve().value
        whole = state_relaxation(frame, seen, whole=True).solve()

        assert whole.value >= value - AGREE * truth.energy
        assert whole.value <= truth.energy * (1.0 + AGREE)  # the planted setting is one way to pick whole options
        assert whole.price is None


def test_a_box_without_a_setting_is_empty() -> None:
    frame, truth, seen = next(planted_boxes(0, (0.02,)))
    hotter = seen.ring._replace(heat=seen.ring.heat + 400.0)  # more heat than the radiators can give off there

    assert state_relaxation(frame, seen._replace(ring=hotter)).solve().value == np.inf
    assert all(seen.boxes.allowed[c][0, option_of(frame, c, truth)] for c in range(len(frame.clusters)))


def test_the_banner_of_the_solver_stays_off_the_screen(capfd: pytest.CaptureFixture[str]) -> None:
    frame, _, seen = next(planted_boxes(0, (0.02,)))
    prices = first_prices(frame, seen)

    assert prices is not None
    assert prices.shape == (2 * frame.enclosures + len(frame.ring.segments),)
    assert capfd.readouterr() == ("", "")


def test_without_time_there_is_no_bound() -> None:
    frame, _, seen = next(planted_boxes(0, (0.4,)))

    assert state_relaxation(frame, seen).solve(seconds=0.0).value == -np.inf
