"""Stacks and screws against the sums of the trade: 45 + 25 + 25 + 5 = 100 mm, 25 mm fans on 30 mm screws."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietcool.entry.build import AirPath, Build, Core, FanRow, Resistance, Screen, Space
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.solve.fit import Fit, screw_length, stack_depth, stack_fits

SAMPLE = read_build(demo_path("sample_room"))
FRONT = SAMPLE.air_paths[0]
MM = 1e-3


def fit_of(path: AirPath, build: Build = SAMPLE) -> Fit:
    return stack_fits(replace(build, air_paths=(path, *build.air_paths[1:])))[0]


def framed(path: AirPath, **frame: object) -> AirPath:
    stack = tuple(
        replace(e, radiator=replace(e.radiator, frame=replace(e.radiator.frame, **frame))) if isinstance(e, Core) else e
        for e in path.stack
    )
    return replace(path, stack=stack)


# Common practice, no source: radiator, fans and 5 mm to keep free.
@pytest.mark.parametrize(
    ("depths", "depth"), [((45, 25, 25), 100), ((60, 30), 95), ((30, 25), 60), ((60, 30, 30), 125)]
)
def test_depth_of_a_stack(depths: tuple[float, ...], depth: float) -> None:
    assert stack_depth(tuple(d * MM for d in depths)) == pytest.approx(depth * MM)


# Common practice, no source: a 25 mm fan takes a 30 mm screw, a 30 mm fan a 35 mm screw.
@pytest.mark.parametrize(("fan", "screw"), [(25, 30), (30, 35)])
def test_screws_by_the_depth_of_the_fan(fan: float, screw: float) -> None:
    assert screw_length(fan * MM) == pytest.approx(screw * MM)


def test_a_second_row_makes_the_sum_of_the_trade() -> None:
    """45 mm of core, 25 mm on either side and 5 mm free: 100 mm, exactly the place of the demo, so it fits."""
    rows = FanRow("front", 3), FRONT.stack[1], FanRow("front", 3)
    fit = fit_of(replace(FRONT, stack=rows))
    assert fit.layout == "push-pull"
    assert fit.depth == pytest.approx(100 * MM)
    assert fit.margin == pytest.approx(0.0, abs=1e-12)
    assert fit.kept
    assert [screws.count for screws in fit.screws] == [12, 12]  # 4 a fan


@pytest.mark.parametrize(("space", "kept"), [(100.0, True), (99.9, False), (75.0, False)])
def test_a_place_that_is_too_small_is_told(space: float, kept: bool) -> None:
    rows = FanRow("front", 3), FRONT.stack[1], FanRow("front", 3)
    assert fit_of(replace(FRONT, stack=rows, space=Space(depth=space * MM))).kept is kept


def test_end_tanks_count() -> None:
    long = framed(FRONT, length=480 * MM)
    fit = fit_of(replace(long, space=Space(length=470 * MM)))
    assert fit.length_margin == pytest.approx(-10 * MM)
    assert not fit.kept


@pytest.mark.parametrize(("thread_depth", "kept"), [(6.0, True), (5.0, True), (4.0, False), (None, True)])
def test_a_screw_that_meets_a_tube_is_no_fit(thread_depth: float | None, kept: bool) -> None:
    fit = fit_of(framed(FRONT, thread_depth=None if thread_depth is None else thread_depth * MM))
    assert fit.kept is kept
    longest = fit.screws[0].longest
    assert longest == (None if thread_depth is None else pytest.approx((25 + thread_depth) * MM))


def test_what_lies_between_fan_and_core_lengthens_the_screw() -> None:
    mesh = Screen(Resistance("mesh", "filter", 1.0, 1.0, depth=3 * MM), 0.04)
    fan, core = FanRow("front", 3, gap=10 * MM), FRONT.stack[1]
    fit = fit_of(replace(FRONT, stack=(fan, mesh, core)))
    assert fit.screws[0].length == pytest.approx((25 + 10 + 3 + 5) * MM)
    assert fit.depth == pytest.approx((25 + 10 + 3 + 45 + 5) * MM)


def test_a_filter_outside_needs_depth_but_no_longer_screw() -> None:
    mesh = Screen(Resistance("mesh", "filter", 1.0, 1.0, depth=3 * MM), 0.04)
    fit = fit_of(replace(FRONT, stack=(mesh, *FRONT.stack)))
    assert fit.screws[0].length == pytest.approx(30 * MM)
    assert fit.depth == pytest.approx(78 * MM)


def test_a_depth_that_no_sheet_gives_is_named() -> None:
    mesh = Screen(Resistance("mesh", "filter", 1.0, 1.0), 0.04)
    fit = fit_of(replace(FRONT, stack=(mesh, *FRONT.stack)))
    assert fit.unknown == ("mesh",)
    assert fit.depth == pytest.approx(75 * MM)


def test_the_outer_of_two_rows_hangs_on_the_inner() -> None:
    fit = fit_of(replace(FRONT, stack=(FanRow("front", 3), *FRONT.stack)))
    assert len(fit.screws) == 1
    assert fit.depth == pytest.approx((25 + 25 + 45 + 5) * MM)


def test_a_bare_opening_needs_no_place() -> None:
    assert [fit.path for fit in stack_fits(SAMPLE)] == ["front intake", "bottom intake"]


def test_without_a_radiator_there_are_no_radiator_screws() -> None:
    assert fit_of(replace(FRONT, stack=(FanRow("front", 3),))).screws == ()


@given(st.lists(st.floats(0.001, 0.2), max_size=6), st.floats(0.0, 0.2), st.floats(0.001, 0.1))
def test_more_of_anything_is_never_shallower(depths: list[float], clearance: float, more: float) -> None:
    before = stack_depth(tuple(depths), (), clearance)
    assert stack_depth((*depths, more), (), clearance) > before
    assert stack_depth(tuple(depths), (more,), clearance) > before
    assert stack_depth(tuple(depths[::-1]), (), clearance) == pytest.approx(before)
