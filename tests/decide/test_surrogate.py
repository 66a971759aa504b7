"""Pictures of level and margins round a place: exact for what they are made of, and least where SciPy says so."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import NonlinearConstraint, minimize

from quietcool.decide.surrogate import LACK_WEIGHT, Surrogate, merit, merit_of, picture

Floats = NDArray[np.float64]

POWERS, ENERGIES = np.array([5.0, 6.0, 3.0]), np.array([1.0, 0.3, 2.0])
FALL, BOW = np.array([[2.0, 0.5], [0.1, 1.0], [0.7, 0.2]]), np.array([[0.3, 0.1], [0.0, -0.4], [0.2, 0.0]])
STEP = 0.03


def level_at(moves: Floats) -> Floats:
    """Sources whose energy goes with a power of their speed, moves in logarithms of speed [dB]."""
    found: Floats = 10.0 * np.log10((ENERGIES * np.exp(POWERS * moves)).sum(axis=-1))
    return found


def margins_at(moves: Floats) -> Floats:
    found: Floats = np.array([0.4, -0.2]) + moves @ FALL - (moves**2) @ BOW
    return found


def pictured(step: float = STEP) -> Surrogate:
    moves = np.concatenate([np.zeros((1, 3)), step * np.eye(3), -step * np.eye(3)])
    return picture(level_at(moves), margins_at(moves), np.full(3, step), np.full(3, step))


def some_moves(count: int, reach: float) -> Floats:
    return np.random.default_rng(5).uniform(-reach, reach, (count, 3))


def test_powers_of_speed_and_parabolas_are_pictured_as_they_are() -> None:
    """What is left is the difference quotients' own error, of second order in the step: a sixteenth with a quarter."""
    moves = some_moves(50, 0.3)
    errors = []
    for step in (0.04, 0.01):
        level, margins = pictured(step).forecast(moves)
        assert margins == pytest.approx(margins_at(moves), abs=1e-9)
        errors.append(float(np.abs(level - level_at(moves)).max()))

    assert errors[0] < 0.1
    assert errors[1] == pytest.approx(errors[0] / 16.0, rel=0.2)


def test_all_combinations_at_once_are_what_each_is_alone() -> None:
    along = [np.array([-0.1, 0.0, 0.2]), np.array([0.05]), np.linspace(-0.2, 0.2, 4)]
    bent = pictured().through(np.array([0.1, 0.2, -0.1]), 5.0, np.array([0.3, 0.3]))
    each = np.stack([axis.ravel() for axis in np.meshgrid(*along, indexing="ij")], axis=-1)
    level, margins = bent.forecast_all(along)
    alone = bent.forecast(each)

    assert level == pytest.approx(alone[0], abs=1e-12)
    assert margins == pytest.approx(alone[1], abs=1e-12)


def test_at_an_end_of_the_range_one_side_tells_the_slope() -> None:
    """The second axis is pinned, the first has room ahead only, the third behind only."""
    ahead, behind = np.array([STEP, 0.0, 0.0]), np.array([0.0, 0.0, STEP])
    moves = np.concatenate([np.zeros((1, 3)), np.diag(ahead), -np.diag(behind)])
    seen = picture(level_at(moves), margins_at(moves), ahead, behind)
    level, margins = seen.forecast(np.array([[STEP, 0.0, 0.0], [0.0, 0.0, -STEP], [0.0, 0.2, 0.0]]))

    assert level[:2] == pytest.approx(level_at(moves)[[1, 6]], abs=1e-9)
    assert margins[:2] == pytest.approx(margins_at(moves)[[1, 6]], abs=1e-12)
    assert level[2] == pytest.approx(level_at(np.zeros(3)))


def test_a_picture_bent_through_a_trial_agrees_with_it() -> None:
    seen, move = pictured(), np.array([0.2, -0.1, 0.05])
    level_there = float(level_at(move)) + 0.5
    bent = seen.through(move, level_there, np.array([0.5, 0.6]))
    level, margins = bent.forecast(np.stack([move, np.zeros(3), STEP * np.array([1.0, 2.0, 0.0])]))
    straight = seen.forecast(STEP * np.array([[1.0, 2.0, 0.0]]))

    assert level[0] == pytest.approx(level_there)
    assert margins[0] == pytest.approx([0.5, 0.6])
    assert level[1] == pytest.approx(seen.level)
    assert level[2] == pytest.approx(straight[0][0])  # at right angles to the trial nothing is bent
    assert seen.through(np.zeros(3), 9.0, np.zeros(2)) is seen


def test_a_trial_that_has_no_answer_bends_by_no_more_than_a_little() -> None:
    move = np.array([0.3, 0.0, 0.0])
    bent = pictured().through(move, 200.0, np.array([-50.0, -50.0])).forecast(move[None])
    straight = pictured().forecast(move[None])

    assert bent[0] == pytest.approx(straight[0] + 3.0)
    assert bent[1] == pytest.approx(straight[1] - 3.0)


@pytest.mark.parametrize("reach", [0.05, 0.3, 0.7])
def test_least_within_a_reach_is_where_the_interior_point_method_finds_it(reach: float) -> None:
    """COBYQA, which asks for no slopes, on the true formulas of the example and from another start."""
    aim = pictured(0.003).least_within(np.full(3, -reach), np.full(3, reach))
    asked: dict[str, Any] = {  # SciPy's type stubs do not know all options of this method
        "method": "COBYQA",
        "bounds": [(-reach, reach)] * 3 + [(0.0, 10.0)],
        "constraints": NonlinearConstraint(lambda x: margins_at(x[:3]) + x[3], 0.0, np.inf),
        "options": {"final_tr_radius": 1e-9, "maxfev": 5000},
    }

    def merit_at(x: Floats) -> float:
        return float(level_at(x[:3]) + LACK_WEIGHT * x[3])

    rival = minimize(merit_at, [0.01, 0.02, -0.01, 1.0], **asked)

    assert aim.merit == pytest.approx(rival.fun, abs=2e-3)
    assert float(merit(level_at(aim.move), margins_at(aim.move))) == pytest.approx(aim.merit, abs=2e-3)
    assert np.all(np.abs(aim.move) <= reach + 1e-12)


def test_a_parabola_goes_down_where_the_level_is_no_sum_of_powers() -> None:
    """Falling energy along an axis, and more than its whole promised away: the aim is far, and the number finite."""
    moves = np.concatenate([np.zeros((1, 2)), STEP * np.eye(2), -STEP * np.eye(2)])
    energy = 1.0 - 2.0 * moves[:, 0] + moves[:, 1] - 3.0 * moves[:, 1] ** 2
    nothing = np.zeros((5, 0))
    seen = picture(10.0 * np.log10(energy), nothing, np.full(2, STEP), np.full(2, STEP))
    aim = seen.least_within(np.full(2, -0.7), np.full(2, 0.7))

    assert aim.move == pytest.approx([0.7, -0.7], abs=1e-6)
    assert np.isfinite(aim.merit)
    assert aim.merit < seen.level - 10.0


def test_merit_counts_the_largest_lack_heavily() -> None:
    assert merit(np.array(30.0), np.array([0.1, 0.0])) == pytest.approx(30.0)
    assert merit(np.array(30.0), np.array([-0.1, -0.2])) == pytest.approx(30.0 + 0.2 * LACK_WEIGHT)
    assert merit(np.array(30.0), np.zeros(0)) == pytest.approx(30.0)
    assert merit_of(pictured()) == pytest.approx(float(level_at(np.zeros(3))) + 0.2 * LACK_WEIGHT)
