"""Axes of a curve: which temperatures there are, and that only their own limit is touched."""

from __future__ import annotations

import math

import numpy as np
import pytest

from quietcool import demo_path, read_build
from quietcool.decide.axes import axes_of, axis_named, column_of, limited_to, temp_along
from quietcool.decide.limits import limits, margins
from quietcool.solve.operating_point import solve_operating_point

BUILD = read_build(str(demo_path("booth_wall")))
STATE = BUILD.state("render")


def test_every_temperature_is_an_axis() -> None:
    names = [axis.name for axis in axes_of(BUILD, STATE)]
    assert names[:2] == ["coolant", "coolant over room"]
    assert {"cpu core", "gpu 1 memory", "gpu 2 hottest spot", "tower air"} < set(names)
    assert len(names) == 2 + 7 + 1


def test_an_unknown_axis_is_refused() -> None:
    with pytest.raises(KeyError):
        axis_named(BUILD, STATE, "booth air")


@pytest.mark.parametrize("name", ["coolant", "coolant over room", "gpu 2 core", "tower air"])
def test_a_limit_is_replaced_and_nothing_else(name: str) -> None:
    axis = axis_named(BUILD, STATE, name)
    build, state = limited_to(BUILD, STATE, axis, 311.0, 0)
    before = {(one.kind, one.name): one.value for one in limits(BUILD, STATE)}
    after = {(one.kind, one.name): one.value for one in limits(build, state)}
    changed = {key for key in before if before[key] != after.get(key, math.inf)}
    assert changed == {("position", BUILD.positions[0].name)} | {key for key in after if after[key] == 311.0}
    assert sum(value == 311.0 for value in after.values()) == 1


@pytest.mark.parametrize("name", [axis.name for axis in axes_of(BUILD, STATE)])
def test_the_column_of_an_axis_holds_its_temperature(name: str) -> None:
    axis = axis_named(BUILD, STATE, name)
    build, state = limited_to(BUILD, STATE, axis, 0.0, 0)
    speeds = np.array([[20.0, 15.0, 10.0, 60.0], [12.0, 20.0, 0.0, 40.0]])
    point = solve_operating_point(build, state, speeds)
    np.testing.assert_array_equal(-margins(build, state, point)[:, column_of(build, state, axis)],
                                  temp_along(build, axis, point))  # fmt: skip
