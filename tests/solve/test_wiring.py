"""Outputs of a controller: rated currents add, 80 % is for design, starts count, a hub takes the load off."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietcool.entry.build import Build, Channel, Controller, Electric
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.solve.wiring import Output, channels_short, judged_load, outputs, running_current

BOOTH = read_build(demo_path("booth_wall"))


def wired(build: Build, name: str = "1") -> Output:
    return next(output for output in outputs(build) if output.name == name)


def driven(electric: Electric, **controller: object) -> Build:
    """The booth with other electrical sides in its first group, and another controller."""
    side = BOOTH.fan_groups[0]
    groups = (replace(side, fan=replace(side.fan, electric=electric)), *BOOTH.fan_groups[1:])
    return replace(BOOTH, fan_groups=groups, controller=Controller(**controller))  # type: ignore[arg-type]


def test_four_fans_on_one_ampere_run_at_the_design_limit_and_start_above_it() -> None:
    """By hand: 4 x 0.20 A = 0.80 A is 80 % of 1.0 A; 4 x 0.45 A = 1.8 A at the start is more than 1.0 A."""
    output = wired(BOOTH)
    assert output.running == pytest.approx(0.80)
    assert output.start == pytest.approx(1.80)
    assert (output.load, output.start_above, output.customary) == ("within", True, False)


def test_three_slow_fans_are_no_matter() -> None:
    """By hand: 3 x 0.10 A and 3 x 0.25 A."""
    output = wired(BOOTH, "2")
    assert (output.running, output.start) == (pytest.approx(0.30), pytest.approx(0.75))
    assert (output.load, output.start_above) == ("within", False)


@pytest.mark.parametrize(
    ("current", "load"), [(0.20, "within"), (0.201, "above 80 %"), (0.25, "above 80 %"), (0.2501, "over")]
)
def test_the_load_is_judged_at_80_and_100_percent(current: float, load: str) -> None:
    # Common practice, no source: design to 80 % of the limit.
    assert wired(driven(Electric(2.4, 2000 / 60, current, 0.3), channel_limit=1.0)).load == load


def test_without_a_manual_an_output_is_taken_for_one_ampere() -> None:
    # Common practice, no source.
    output = wired(replace(BOOTH, controller=None))
    assert (output.limit, output.customary) == (1.0, True)


def test_the_manual_comes_first_and_the_output_s_own_limit_before_the_common_one() -> None:
    electric = BOOTH.fan_groups[0].fan.electric
    assert wired(driven(electric, channel_limit=2.0)).limit == 2.0
    own = driven(electric, channel_limit=2.0, channels=(Channel("1", 3.0),))
    assert (wired(own).limit, wired(own).customary) == (3.0, False)
    assert wired(own, "2").limit == 2.0


def test_a_hub_takes_its_power_from_the_supply() -> None:
    electric = BOOTH.fan_groups[0].fan.electric
    hub = wired(driven(electric, channel_limit=0.1, channels=(Channel("1", None, "hub", 4.0),)))
    assert (hub.wiring, hub.limit, hub.load, hub.start_above) == ("hub", 4.0, "within", False)
    unknown = wired(driven(electric, channels=(Channel("1", None, "hub"),)))
    assert (unknown.limit, unknown.load) == (None, "unknown")


def test_a_current_that_the_sheet_lacks_follows_from_the_power() -> None:
    """P = U I at 12 V, by definition; the start is taken for three times that (common practice: 1.5 to 3)."""
    output = wired(driven(Electric(2.4, 2000 / 60)))
    assert output.running == pytest.approx(4 * 2.4 / 12.0)
    assert output.start == pytest.approx(3 * 4 * 2.4 / 12.0)
    assert output.draws[0].estimated


def test_a_sheet_without_any_electrical_side_is_unknown_not_zero() -> None:
    output = wired(driven(Electric()))
    assert (output.running, output.start, output.load, output.start_above) == (None, None, "unknown", False)


def test_above_the_sheet_s_speed_the_current_goes_with_the_cube_and_below_it_does_not_fall() -> None:
    """Fan laws: power with the cube of the speed, so twice the speed takes eight times the current."""
    assert running_current(Electric(1.0, 10.0, 0.1), 20.0)[0] == pytest.approx(0.8)
    assert running_current(Electric(1.0, 10.0, 0.1), 5.0)[0] == pytest.approx(0.1)


def test_groups_on_one_output_add_and_the_pump_counts() -> None:
    shared = tuple(replace(group, channel="1") for group in BOOTH.fan_groups)
    loop = replace(BOOTH.loop, pump_channel="1")
    output = wired(replace(BOOTH, fan_groups=shared, loop=loop))
    assert [draw.group for draw in output.draws] == ["side", "bottom", "top", "pump"]
    assert output.running == pytest.approx(0.8 + 0.3 + 0.3 + 18.0 / 12.0)  # the pump's 18 W at 12 V
    assert output.load == "over"


def test_what_hangs_on_no_output_is_told_last() -> None:
    loose = (replace(BOOTH.fan_groups[0], channel=None), *BOOTH.fan_groups[1:])
    found = outputs(replace(BOOTH, fan_groups=loose))
    assert [output.name for output in found] == ["2", "3", None]
    assert (found[-1].load, found[-1].limit) == ("unknown", None)


@pytest.mark.parametrize(("count", "short"), [(6, 0), (3, 0), (2, 1), (1, 2), (None, 0)])
def test_outputs_are_counted(count: int | None, short: int) -> None:
    assert channels_short(replace(BOOTH, controller=Controller(count))) == short


@given(st.floats(0.0, 10.0), st.floats(0.01, 10.0), st.floats(1.0, 5.0))
def test_more_current_is_never_judged_better(current: float, limit: float, factor: float) -> None:
    order = ["within", "above 80 %", "over"]
    assert order.index(judged_load(current * factor, limit)) >= order.index(judged_load(current, limit))
    assert judged_load(2.0 * current, 2.0 * limit) == judged_load(current, limit)
