"""No bound lies above a feasible level: forty builds here, thousands by tests/profiles/false_bounds.py.

The rival settings come from SciPy's differential evolution (Storn and Price, J. Global Optimization 11 (1997) 341-359),
from descents and a polish on the step grid, judged by the tests' own reading of limits; each keeps every limit, so a
bound above it is false.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.profiles.false_bounds import drawn, tried

SEEDS = range(1000, 1040)


@pytest.mark.slow
@pytest.mark.parametrize("seed", SEEDS)
def test_no_bound_above_a_feasible_level(seed: int) -> None:
    build = drawn(seed, most_groups=3, most_enclosures=1 + (seed % 5 == 0))
    if build is None:
        pytest.skip("no sensible build of this seed")
    trial = tried(build, seed, seconds=1.0, starts=12, generations=12)

    assert not trial.false, trial
    assert not np.isnan(trial.bound)
