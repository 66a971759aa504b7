"""Which half to touch: the split by hand, errors by the guide to uncertainty, and no verdict that noise can make."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietcool.entry.build import Build, Opening, Source
from quietcool.entry.buildfile import read_build
from quietcool.entry.choices import chosen_speeds
from quietcool.entry.demos import demo_path
from quietcool.prove.diagnosis import (
    Diagnosis,
    Measured,
    conductance,
    diagnose,
    difference_error,
    judged,
    measured_state,
)
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point
from tests.plain_builds import plain_build

BOOTH = read_build(demo_path("booth_wall"))
STATE = BOOTH.state("render")
ROOM = 296.15
CPU, GPU = ("cpu", "core"), ("gpu 1", "core")


def point_of(build: Build = BOOTH) -> OperatingPoint:
    return solve_operating_point(build, build.state("render"), chosen_speeds(build, None))


POINT = point_of()


def common(coolant_rise: float, **chips: float) -> Diagnosis:
    """A diagnosis without a model: rises of `cpu` and `gpu` over the coolant, and of the coolant over the room."""
    coolant = ROOM + coolant_rise
    points = {{"cpu": CPU, "gpu": GPU}[name]: coolant + rise for name, rise in chips.items()}
    return diagnose(BOOTH, STATE, Measured(coolant, ROOM, points, {}))


def modelled(offset_chip: float = 0.0, offset_coolant: float = 0.0, **how: float) -> Diagnosis:
    """A diagnosis of what the model itself says, with a chip and a coolant that are off by so much."""
    warm = float(POINT.coolant_temp_max) + offset_coolant
    chip = warm + float(POINT.point_temp[0] - POINT.coolant_temp_max) + offset_chip
    return diagnose(BOOTH, STATE, Measured(warm, ROOM, {CPU: chip}, {}, **how), POINT)  # type: ignore[arg-type]


# --- the split, by hand ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("coolant", "cpu", "half"),
    [
        # Common practice, no source: a processor at full load lies 25 to 45 K over its coolant, the coolant 5 to 15 K
        # over the room.
        (10.0, 50.0, "block side"),
        (22.0, 35.0, "radiator side"),
        (22.0, 60.0, "both sides"),
        (10.0, 35.0, "neither side"),
        (10.0, 45.2, "not proven"),
        (15.3, 35.0, "not proven"),
    ],
)
def test_which_half(coolant: float, cpu: float, half: str) -> None:
    assert common(coolant, cpu=cpu).half == half


def test_a_board_is_held_to_its_own_range() -> None:
    # Common practice, no source: a graphics board at full load lies 10 to 20 K over its coolant.
    assert common(10.0, gpu=25.0).half == "block side"
    assert common(10.0, cpu=25.0).half == "neither side"


def test_both_sides_name_the_larger_excess() -> None:
    assert common(22.0, cpu=60.0).larger == "cpu core over coolant"  # 15 K over 45 K, against 7 K over 15 K
    assert common(40.0, cpu=60.0).larger == "coolant over room"
    assert common(10.0, cpu=30.0).larger is None


def test_without_kind_and_model_there_is_nothing_to_compare_with() -> None:
    build = replace(BOOTH, sources=tuple(replace(source, kind=None) for source in BOOTH.sources))
    found = diagnose(build, STATE, Measured(306.15, ROOM, {CPU: 366.15}, {}))
    assert found.chips[0].judgement == "no yardstick"
    assert found.half == "not proven"


def test_common_ranges_are_those_of_cores_alone() -> None:
    hot = ("gpu 1", "hottest spot")
    found = diagnose(BOOTH, STATE, Measured(306.15, ROOM, {hot: 346.15}, {}))
    assert found.chips[0].judgement == "no yardstick"


def test_heat_per_kelvin_by_hand() -> None:
    """JCGM 100:2008, 5.1.6: relative errors of a quotient add in squares; 300 W over 10 K, errors 5 % and 10 %."""
    found = conductance(300.0, 10.0, 1.0, 15.0)
    assert found is not None
    assert found == (pytest.approx(30.0), pytest.approx(30.0 * (0.05**2 + 0.10**2) ** 0.5))
    assert conductance(300.0, 0.5, 0.7) is None  # not proven to be warmer than the room
    assert conductance(300.0, -3.0, 0.7) is None
    assert conductance(0.0, 10.0, 1.0) is None


def test_heat_is_that_which_was_measured_and_else_the_state_s() -> None:
    found = diagnose(BOOTH, STATE, Measured(316.15, ROOM, {}, {"gpu 1": 300.0}))
    assert found.heat == pytest.approx(150.0 + 300.0 + 460.0)
    assert found.conductance is not None
    assert found.conductance[0] == pytest.approx(910.0 / 20.0)


def test_errors_of_two_sensors_add_in_squares() -> None:
    # JCGM 100:2008, "Guide to the expression of uncertainty in measurement", 5.1.2.
    assert difference_error(0.3, 0.4) == pytest.approx(0.5)
    assert common(10.0, cpu=30.0).coolant.error == pytest.approx(0.5 * 2**0.5)


def test_what_passes_its_limit_is_told() -> None:
    hot = diagnose(BOOTH, STATE, Measured(319.15, ROOM, {CPU: 359.15}, {}))  # 46 of 45 degC, 86 of 85 degC
    assert hot.beyond_limit == ("cpu core", "coolant")
    assert diagnose(BOOTH, STATE, Measured(318.15, ROOM, {CPU: 358.15}, {})).beyond_limit == ()


# --- against the model -----------------------------------------------------------------------------------------------


def test_the_model_predicts_the_rise_of_a_closed_form() -> None:
    """By hand: with nothing else on the ring the chip lies P (R + r_0 + c (q/q_ref)^-n) over the coolant at its inlet.

    The hottest station is what leaves the source, P/(m c) further up.
    """
    build = plain_build(Opening(0.01, 2.0))
    build = replace(build, sources=(replace(build.sources[0], kind=None),))
    state = build.states[0]
    point = solve_operating_point(build, state, [20.0, 60.0])
    source: Source = build.sources[0]
    flow = float(point.coolant_flow) / source.plate.reference_flow
    plate = source.plate.r0 + source.plate.c * flow ** -float(source.plate.n)
    inlet = 100.0 * (0.1 + plate)
    at = build.loop.order.index("cpu")
    warming = float(point.station_temp_out[at] - point.station_temp_in[at])
    found = diagnose(build, state, Measured(300.0, 293.15, {("cpu", "core"): 320.0}, {}), point)
    assert found.chips[0].predicted == pytest.approx(inlet - warming, rel=1e-6)
    assert found.coolant_spread == pytest.approx(warming, rel=1e-3)
    behind = diagnose(build, state, Measured(300.0, 293.15, {("cpu", "core"): 320.0}, {}, sensor="cold"), point)
    assert behind.chips[0].predicted == pytest.approx(inlet, rel=1e-3)


def test_what_the_model_says_is_sound() -> None:
    found = modelled()
    assert found.chips[0].rise == pytest.approx(found.chips[0].predicted)
    assert found.half == "neither side"
    assert found.conductance is not None
    assert found.conductance[0] == pytest.approx(found.predicted_conductance)


@pytest.mark.parametrize(
    ("chip", "coolant", "half"),
    [(15.0, 0.0, "block side"), (0.0, 10.0, "radiator side"), (15.0, 10.0, "both sides"), (5.3, 0.0, "not proven")],
)
def test_what_differs_from_the_model_is_found_on_its_side(chip: float, coolant: float, half: str) -> None:
    """The model gives 26 K and 23 K in render, so that 20 % of either are about 5 K."""
    assert modelled(chip, coolant).half == half


def test_a_rise_below_the_model_is_low_and_nothing_to_mend() -> None:
    found = modelled(-15.0)
    assert found.chips[0].judgement == "low"
    assert found.half == "neither side"


def test_a_case_that_did_not_converge_is_no_yardstick() -> None:
    failed = replace(POINT, converged=np.array(False))
    found = diagnose(BOOTH, STATE, Measured(306.15, ROOM, {CPU: 336.15}, {}), failed)
    assert found.chips[0].basis == "common"
    assert found.predicted_conductance is None


def test_the_model_is_asked_at_the_measured_room_and_watts() -> None:
    state = measured_state(STATE, Measured(310.0, 301.0, {}, {"cpu": 77.0}))
    assert (state.room_temp, state.heat["cpu"], state.heat["gpu 1"]) == (301.0, 77.0, STATE.heat["gpu 1"])


# --- what noise must not do ------------------------------------------------------------------------------------------


@given(st.floats(-20.0, 80.0), st.floats(0.01, 5.0), st.floats(0.0, 40.0), st.floats(0.1, 40.0))
def test_the_four_verdicts_part_the_line(rise: float, error: float, low: float, width: float) -> None:
    """Guarded acceptance and rejection: what an error could turn over is not said.

    JCGM 106:2012, "The role of measurement uncertainty in conformity assessment", 8.3 (recalled, not re-read).
    """
    verdict = judged(rise, error, (low, low + width))
    true = [rise - error, rise, rise + error]
    if verdict == "high":
        assert min(true) > low + width
    elif verdict == "low":
        assert max(true) < low
    elif verdict == "as expected":
        assert low <= min(true)
        assert max(true) <= low + width
    else:
        assert min(true) <= low + width
        assert max(true) >= low


def test_sensors_that_differ_blame_a_sound_half_seldom() -> None:
    """A chip at the very end of what is sound, sensors off by up to 0.5 K each, evenly: by hand the difference exceeds
    0.707 K in (1 - 0.707)^2 / 2 = 4.3 % of all pairs (a triangle from -1 to 1 K), and "high" is said as seldom."""
    generator = np.random.default_rng(5)
    offsets = generator.uniform(-0.5, 0.5, (4000, 2))
    blamed = np.mean([judged(45.0 + a - b, difference_error(0.5, 0.5), (0.0, 45.0)) == "high" for a, b in offsets])
    assert blamed == pytest.approx((1.0 - 0.5**0.5) ** 2 / 2.0, abs=0.012)  # four times the error of such a count


@given(st.floats(0.0, 30.0), st.floats(0.0, 30.0))
def test_a_warmer_chip_is_never_the_fault_of_the_radiators(chip: float, more: float) -> None:
    before, after = modelled(chip), modelled(chip + more)
    assert after.coolant == before.coolant
    order = ["low", "as expected", "not proven", "high"]
    assert order.index(after.chips[0].judgement) >= order.index(before.chips[0].judgement)
