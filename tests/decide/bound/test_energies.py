"""Energies of blocks against plain loops, the load adder's factor, octaves against the weighted level."""

from __future__ import annotations

import numpy as np
import pytest

from quietcool.decide.bound.energies import energy_of, load_factor, over_blocks
from quietcool.decide.bound.frame import make_frame
from quietcool.decide.question import Question
from quietcool.physics.sound import LOAD_ADDER_MAX, load_adder
from tests.decide.bound.planted import UNIT, without_limits
from tests.decide.judged import A_WEIGHTS
from tests.random_builds import random_build


def test_ten_db_are_ten_times_the_energy() -> None:
    # Definition of the decibel (IEC 60027-3): ten lg of a ratio of powers.
    assert energy_of(np.array([-10.0, 0.0, 3.0, 10.0])) == pytest.approx([0.1, 1.0, 1.99526231, 10.0])


@pytest.mark.parametrize("choose", [np.minimum, np.maximum])
def test_over_blocks_is_the_loop_over_their_steps(choose: np.ufunc) -> None:
    rng = np.random.default_rng(0)
    values = rng.normal(size=(2, 12))
    blocks = np.array([[0, 0], [0, 11], [3, 5], [11, 11], [4, 10], [1, 2]])
    found = over_blocks(choose, values, blocks)
    for place, (first, last) in enumerate(blocks):
        expected = choose.reduce(values[:, first : last + 1], axis=1)
        assert np.array_equal(found[:, place], expected)


def test_the_load_factor_is_that_of_the_solver() -> None:
    # The solver states the adder as a level; the bound as a factor on energy: two statements of one thing.
    share = np.linspace(-0.3, 1.4, 60)
    for scale in (0.5, 1.0):
        expected = 10.0 ** (scale * load_adder(np.maximum(share, 0.0)) / 10.0)
        assert load_factor(LOAD_ADDER_MAX * scale, share) == pytest.approx(expected, rel=1e-12)


def test_energies_by_octave_add_up_to_those_of_the_weighted_level() -> None:
    # IEC 61672-1:2013, Table 3, as printed in tenths of a decibel: what is heard is the weighted sum of the octaves.
    build = without_limits(random_build(2, limits=False))
    state = build.states[0]
    whole = make_frame(Question(build, (state,), 0), state, UNIT)
    by_band = [make_frame(Question(build, (state,), 0, band=band), state, UNIT) for band in range(1, 9)]
    weights = 10.0 ** (np.array(A_WEIGHTS) / 10.0)

    def weighted(parts: list[np.ndarray]) -> np.ndarray:
        return np.tensordot(weights, np.stack(parts), axes=1)

    assert weighted([frame.pump_energy for frame in by_band]) == pytest.approx(whole.pump_energy, rel=0.02)
    rows = [(path, row) for path, options in enumerate(whole.paths) for row in range(len(options.rows))]
    assert rows
    for path, row in rows:
        parts = [frame.paths[path].rows[row].energy for frame in by_band]
        assert weighted(parts) == pytest.approx(whole.paths[path].rows[row].energy, rel=0.02)
