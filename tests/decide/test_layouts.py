"""Layouts against each other: none is better than itself, and the sign that fans in series lead one to expect."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool.decide.layouts import Difference, LayoutOutcome, Layouts, added_by, find_layouts
from quietcool.decide.variants import layouts_of
from quietcool.entry.build import Build
from tests.decide.open_benches import bench

OPEN = {"a": 0.3, "b": 1.0, "lowest": 20.0, "highest": 30.0, "watts": 250.0}
TIGHT = {"a": 60.0, "b": 1.0, "lowest": 5.0, "highest": 12.0, "watts": 50.0}


@pytest.fixture(scope="module")
def open_core() -> Layouts:
    """Hardly any resistance, fast fans."""
    return find_layouts(bench(**OPEN), seconds=0.0)


@pytest.fixture(scope="module")
def tight_core() -> Layouts:
    """So much that slow fans hardly move air."""
    return find_layouts(bench(**TIGHT), seconds=0.0)


def outcome(answer: Layouts, layout: str) -> LayoutOutcome:
    return next(one for one in answer.paths[0].outcomes if one.layout == layout)


def values(one: LayoutOutcome, field: str) -> np.ndarray:
    found = np.array([getattr(gain, field).value for gain in one.gains])
    return found[np.isfinite(found)]


@pytest.mark.slow
def test_a_layout_is_no_better_than_itself(open_core: Layouts, tight_core: Layouts) -> None:
    for answer in (open_core, tight_core):
        present = answer.paths[0].outcomes[0]
        assert present.present
        assert len(present.gains) >= 9
        for gain in present.gains:
            for difference in (gain.colder, gain.quieter):
                assert (difference.value, difference.low, difference.high) == (0.0, 0.0, 0.0)
                assert not difference.shows
        assert present.break_even == ()


# Fans in series add their pressures at one flow: AMCA Publication 201-02 (R2011), "Fans and Systems", Annex B
# (recalled, not re-read). So a second row doubles the flow through a core that takes all of the shut-off pressure and
# is linear in flow, and adds nothing at free delivery, where there is no pressure to add. Twice the fans cost
# 10 lg 2 = 3 dB at equal speed, and a row behind the core more than one before it (common practice, no source for the
# figure).


@pytest.mark.slow
@pytest.mark.parametrize("layout", ["push-pull, one speed", "push-pull, two speeds"])
def test_a_second_row_loses_on_an_open_core_at_high_speed(open_core: Layouts, layout: str) -> None:
    one = outcome(open_core, layout)
    assert np.all(values(one, "colder") < 0.0)
    assert np.all(values(one, "quieter") < -3.0)
    assert one.break_even == ()


@pytest.mark.slow
@pytest.mark.parametrize("layout", ["push-pull, one speed", "push-pull, two speeds"])
def test_a_second_row_pays_on_a_restrictive_core_at_low_speed(tight_core: Layouts, layout: str) -> None:
    one = outcome(tight_core, layout)
    assert np.all(values(one, "colder") > 0.0)
    assert np.all(values(one, "quieter") > 0.0)
    assert one.break_even == ()


@pytest.mark.slow
def test_two_speeds_are_no_worse_than_one(open_core: Layouts, tight_core: Layouts) -> None:
    """One speed is among the choices of two; a tenth of a dB is left for the steps between settings."""
    for answer in (open_core, tight_core):
        one, two = (outcome(answer, f"push-pull, {speeds}") for speeds in ("one speed", "two speeds"))
        levels = [gain.level for gain in one.gains]
        at = np.interp([gain.level for gain in two.gains], levels, [gain.quieter.value for gain in one.gains])
        better = np.array([gain.quieter.value for gain in two.gains]) - at
        assert np.all(better[np.isfinite(better)] > -0.3)


@pytest.mark.slow
def test_the_reason_tells_the_cores_apart(open_core: Layouts, tight_core: Layouts) -> None:
    """Exponent of a V + b V^2 by its definition, d ln p / d ln V, at the velocity of the solved point."""
    loose, tight = (outcome(answer, "push-pull, one speed").reason for answer in (open_core, tight_core))
    assert loose is not None
    assert tight is not None
    assert 1.5 < loose.core_exponent < 2.0
    assert tight.core_exponent == pytest.approx(1.0, abs=0.01)
    assert loose.core_share < 0.2 < 0.8 < tight.core_share
    assert loose.load_share > 0.6 > 0.2 > tight.load_share
    assert loose.heat_share == tight.heat_share == 1.0


@pytest.mark.slow
def test_intervals_hold_the_nominal_difference_mostly(tight_core: Layouts) -> None:
    gains = [gain for one in tight_core.paths[0].outcomes[1:] for gain in one.gains if np.isfinite(gain.quieter.value)]
    inside = [gain.quieter.low <= gain.quieter.value <= gain.quieter.high for gain in gains]
    assert np.mean(inside) > 0.9
    assert all(gain.quieter.high - gain.quieter.low > 0.5 for gain in gains)


@pytest.mark.slow
def test_the_bound_of_a_layout_lies_below_its_curve() -> None:
    answer = find_layouts(bench(**OPEN | {"step": 0.5}), seconds=20.0)
    known = [one for one in answer.paths[0].outcomes if np.isfinite(one.lower_bound)]
    assert known
    for one in known:
        gain = one.gains[one.main]
        assert one.lower_bound <= gain.level - gain.quieter.value + 1e-6


def test_a_difference_shows_only_when_it_can_be_measured() -> None:
    assert Difference(2.0, 0.1, 3.0, 0.5).shows
    assert Difference(-2.0, -3.0, -0.1, 0.5).shows
    assert not Difference(2.0, -0.1, 3.0, 0.5).shows
    assert not Difference(0.4, 0.3, 0.5, 0.5).shows
    assert not Difference(0.0, 0.0, 0.0, 0.5).shows


def priced(build: Build) -> Build:
    group = build.fan_groups[0]
    fan = replace(group.fan, price=12.0, electric=replace(group.fan.electric, start_current=0.2))
    return replace(build, fan_groups=(replace(group, fan=fan),))


def test_what_a_layout_needs_more_of() -> None:
    push, *others = layouts_of(priced(bench(**OPEN)), "side")
    by_name = {one.layout: added_by(one, push) for one in others}
    double = by_name["push-pull, two speeds"]
    assert (double.fans, double.depth, double.price) == (3, 0.025, 36.0)
    assert double.start_current == pytest.approx(0.6)
    assert (by_name["pull"].fans, by_name["pull"].depth, by_name["pull"].price) == (0, 0.0, 0.0)
    unpriced, double_row = layouts_of(bench(**OPEN), "side")[0], layouts_of(bench(**OPEN), "side")[2]
    assert added_by(double_row, unpriced).price is None


def test_a_build_that_keeps_nothing_compares_nothing() -> None:
    build = bench(**OPEN)
    answer = find_layouts(replace(build, loop=replace(build.loop, min_flow=1.0)), seconds=0.0)
    assert all(one.gains == () and one.reason is None for one in answer.paths[0].outcomes)
