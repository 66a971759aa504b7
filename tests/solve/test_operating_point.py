"""What a solve asks of its speeds, and that its answer does not know how many cases are solved together."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from quietcool.entry.build import Opening
from quietcool.solve.cases import CHUNK
from quietcool.solve.operating_point import solve_operating_point
from tests.plain_builds import plain_build

BUILD = plain_build(Opening(0.01, 2.0))
STATE = BUILD.states[0]


@pytest.mark.parametrize("speeds", [20.0, [20.0], [20.0, 50.0, 50.0], np.ones((2, 3)), np.ones((2, 0))])
def test_speeds_that_do_not_fit_the_groups_are_refused_with_their_names(speeds: object) -> None:
    with pytest.raises(ValueError, match=r"speeds: the last axis must have 2 entries \(fans, pump\); got shape"):
        solve_operating_point(BUILD, STATE, speeds)  # type: ignore[arg-type]


@pytest.mark.parametrize("speed", [-1.0, np.nan, np.inf])
def test_speeds_that_nothing_can_have_are_refused(speed: float) -> None:
    with pytest.raises(ValueError, match="every speed must be finite and at least 0 rev/s"):
        solve_operating_point(BUILD, STATE, [[20.0, 50.0], [speed, 50.0]])


def test_a_batch_longer_than_a_chunk_has_every_case_in_its_place() -> None:
    count = CHUNK + 3
    speeds = np.column_stack([np.linspace(5.0, 20.0, count), np.linspace(60.0, 20.0, count)])
    together = solve_operating_point(BUILD, STATE, speeds)
    for case in (0, CHUNK - 1, CHUNK, count - 1):
        alone = solve_operating_point(BUILD, STATE, speeds[case])
        for field in fields(alone):
            one, of_many = getattr(alone, field.name), getattr(together, field.name)[case]
            np.testing.assert_allclose(of_many, one, rtol=1e-9, atol=1e-12, err_msg=f"{field.name} of case {case}")
