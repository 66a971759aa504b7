"""Case axes: every array of nested records is reached, and nothing else is touched."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from quietcool.solve.cases import any_case, case_shape, flatten_cases, take_cases


@dataclass(frozen=True)
class Inner:
    """A record in a record."""

    value: Any


@dataclass(frozen=True)
class Outer:
    """What a build is like: records in tuples and mappings, numbers, names and things that are none of these."""

    parts: tuple[Inner, ...]
    heat: dict[str, Any]
    points: tuple[float, ...] = (1.0, 2.0)
    name: str = "invented"
    thing: Any = np.int64(3)


RECORD = Outer((Inner(np.arange(3.0)), Inner(1.5)), {"cpu": np.array([[1.0], [2.0]]), "gpu": 4.0})


def test_the_shape_is_that_of_all_arrays_together() -> None:
    assert case_shape(RECORD) == (2, 3)  # (3,) and (2, 1), by the rules of broadcasting
    assert case_shape(RECORD, Inner(np.zeros((5, 1, 1)))) == (5, 2, 3)
    assert case_shape(Outer((), {"cpu": 1.0})) is None


def test_flat_cases_are_those_of_the_grid_and_the_rest_stays_itself() -> None:
    flat = flatten_cases(RECORD, (2, 3))
    assert flat.parts[0].value.tolist() == [0.0, 1.0, 2.0, 0.0, 1.0, 2.0]
    assert flat.heat["cpu"].tolist() == [1.0, 1.0, 1.0, 2.0, 2.0, 2.0]
    assert flat.parts[1] is RECORD.parts[1]
    assert (flat.points is RECORD.points, flat.thing is RECORD.thing, flat.heat["gpu"]) == (True, True, 4.0)
    taken = take_cases(flat, np.array([4, 0]))
    assert (taken.parts[0].value.tolist(), taken.heat["cpu"].tolist()) == ([1.0, 0.0], [2.0, 1.0])


def test_a_record_without_arrays_is_itself_and_one_of_a_number_is_a_number() -> None:
    plain = Outer((Inner(1.0), Inner(None)), {"cpu": 2.0})
    assert flatten_cases(plain, (7,)) is plain
    assert flatten_cases(Inner(np.array(2.5)), (7,)) == Inner(2.5)


def test_any_case_has_one_case_and_none_has_no_number() -> None:
    assert any_case(Inner(np.array([6.0, 7.0]))).value.tolist() == [6.0]
    assert np.isnan(any_case(Inner(np.zeros(0))).value).tolist() == [True]
