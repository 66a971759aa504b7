"""The monotone cubic of a sheet's points, beside SciPy's, which follows the same paper.

Fritsch, F. N. and Butland, J., "A method for constructing local monotone piecewise cubic interpolants", SIAM J. Sci.
Stat. Comput. 5 (1984) 300-304, as implemented in `scipy.interpolate.PchipInterpolator`.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from quietcool.physics.curves import monotone_cubic


@pytest.mark.parametrize("points", [2, 3, 4, 11])
@pytest.mark.parametrize("falling", [True, False], ids=["falling", "up and down"])
def test_the_monotone_cubic_is_scipy_s(points: int, falling: bool) -> None:
    rng = np.random.default_rng(points)
    for _ in range(50):
        x = np.cumsum(rng.uniform(0.1, 2.0, points))
        y = rng.normal(size=points)
        y = np.sort(y)[::-1] if falling else y
        outside = PchipInterpolator(x, y)
        pieces, end_slope = monotone_cubic(x, y)
        np.testing.assert_allclose(pieces, outside.c[::-1].T, rtol=1e-12, atol=1e-12)
        assert end_slope == pytest.approx(float(outside.derivative()(x[-1])), rel=1e-9, abs=1e-12)


def test_the_monotone_cubic_is_flat_where_points_are_level_or_turn() -> None:
    pieces, _ = monotone_cubic(np.arange(5.0), np.array([0.0, 1.0, 1.0, 3.0, 2.0]))
    assert pieces[:, 1].tolist()[1:] == [0.0, 0.0, 0.0]  # slopes at the inner points
    assert pieces[1].tolist() == [1.0, 0.0, 0.0, 0.0]  # nothing between two equal points but their value
