"""First sentences and verdicts."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.show import demo as story
from quietcool.show.wording import (
    bound_words,
    level_words,
    quietest_sentences,
    quietest_verdict,
    setting_sentence,
    solve_sentence,
    speeds_words,
    verdict,
)
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point
from tests.show.invented_answers import answer, infeasible, setting

DEMO = read_build(demo_path("booth_wall"))
DESK = "desk microphone"
FAST = (2000.0, 1500.0, 1500.0, 4500.0)
SLOW = (500.0, 460.0, 0.0, 1800.0)


def solved(state: str, rpm: tuple[float, ...]) -> OperatingPoint:
    return solve_operating_point(DEMO, DEMO.state(state), np.array(rpm) / 60.0)


def test_a_speed_of_zero_is_stopped() -> None:
    assert speeds_words(DEMO, [1100 / 60, 0.0, 1102.5 / 60, 60.0]) == (
        "side 1100 rpm, bottom stopped, top 1102.5 rpm, pump 3600 rpm"
    )


def test_levels() -> None:
    assert [level_words(x) for x in (23.44, -math.inf, math.nan)] == ["23.4 dB(A)", "silent", "an unknown level"]


@pytest.mark.parametrize("bound", [23.39, 23.3, 23.31, -0.01, 0.0])
def test_a_printed_bound_still_holds(bound: float) -> None:
    """Rounding to nearest would claim more than was shown."""
    assert bound - 0.1 - 1e-9 <= float(bound_words(bound)) <= bound


def test_the_verdict_is_the_sign_of_the_margins() -> None:
    """By hand: the render state at its slowest is far too hot, at full speed cold enough but too loud."""
    hot, loud = solved("render", SLOW), solved("render", FAST)
    assert hot.coolant_temp_max > 318.15  # its coolant_c is 45
    assert loud.level[0] > 35.0  # its limit_dba
    assert verdict(DEMO, {"render": hot}) == 3
    assert verdict(DEMO, {"render": loud}) == 3
    unlimited = dataclasses.replace(DEMO, positions=tuple(dataclasses.replace(p, limit=None) for p in DEMO.positions))
    assert loud.coolant_temp_max < 318.15
    assert verdict(unlimited, {"render": loud}) == 0
    assert verdict(unlimited, {"render": loud, "idle": solved("idle", FAST)}) == 0
    assert verdict(unlimited, {"idle": solved("idle", FAST), "render": hot}) == 3


def test_what_has_no_steady_value_keeps_no_limit() -> None:
    still = solved("idle", (0.0, 0.0, 0.0, 3600.0))
    assert still.converged
    assert np.isnan(still.coolant_temp_max)
    assert verdict(DEMO, {"idle": still}) == 3
    assert "no steady value" in solve_sentence(DEMO, "idle", still)


def test_an_unsolved_state_is_worse_than_a_broken_limit() -> None:
    lost = dataclasses.replace(solved("render", SLOW), converged=np.array(False), worst_path=np.array(1))
    assert verdict(DEMO, {"render": lost, "idle": solved("render", SLOW)}) == 4
    assert '"bottom intake"' in solve_sentence(DEMO, "render", lost)


def test_the_sentence_of_a_solved_state() -> None:
    point = solved("render", (1100.0, 1100.0, 1100.0, 3600.0))
    sentence = solve_sentence(DEMO, "render", point)
    assert sentence.startswith("render at side 1100 rpm, bottom 1100 rpm, top 1100 rpm, pump 3600 rpm: coolant ")
    assert f"coolant {point.coolant_temp_max - 273.15:.1f} degC" in sentence
    assert f"{point.level[0]:.1f} dB(A) at the desk microphone" in sentence
    assert sentence.endswith(f"1 limit broken: coolant by {point.coolant_temp_max - 318.15:.1f} K.")
    kept = solved("transcode", (1100.0, 1100.0, 1100.0, 3600.0))
    assert solve_sentence(DEMO, "transcode", kept).endswith("every limit is kept.")


def test_the_sentence_names_few_of_many_broken_limits() -> None:
    sentence = solve_sentence(DEMO, "render", solved("render", (0.0, 0.0, 0.0, 3600.0)))
    assert " more." in sentence
    assert len(sentence) < 500


@pytest.mark.parametrize(
    ("changes", "end"),
    [
        ({"level": 23.44, "lower_bound": 23.39}, "23.4 dB(A) at the desk microphone; no setting is quieter than 23.3."),
        (
            {"status": "best_found", "level": 23.44, "lower_bound": 22.41, "gap": 1.03},
            "the quietest found, and no setting is quieter than 22.4 (gap 1.0 dB).",
        ),
        (
            {"status": "best_found", "lower_bound": -math.inf, "gap": math.inf},
            "the quietest found, nothing is known about quieter ones.",
        ),
    ],
)
def test_words_of_a_setting(changes: dict[str, object], end: str) -> None:
    sentence = setting_sentence(DEMO, setting(DEMO, ("idle",), SLOW, **changes), DESK, named=False)
    assert sentence.startswith("Side 500 rpm, bottom 460 rpm, top stopped, pump 1800 rpm: ")
    assert sentence.endswith(end)


def test_only_a_proof_says_that_no_setting_exists() -> None:
    by_how_much = f"coolant by {solved('render', SLOW).coolant_temp_max - 318.15:.1f} K"
    proven = setting_sentence(DEMO, infeasible(DEMO, "render", SLOW, proven=True), DESK, named=True)
    searched = setting_sentence(DEMO, infeasible(DEMO, "render", SLOW, proven=False), DESK, named=True)
    assert proven.startswith("No setting keeps every limit in render: ")
    assert searched.startswith("No setting was found that keeps every limit in render: ")
    assert by_how_much in proven


def test_one_setting_names_all_its_states() -> None:
    one = setting(DEMO, ("idle", "render", "take"), FAST)
    assert quietest_sentences(DEMO, answer(one, position=DESK))[0].startswith("idle, render and take: side 2000 rpm")
    two = setting(DEMO, ("idle", "take"), FAST)
    assert quietest_sentences(DEMO, answer(two, position=DESK))[0].startswith("idle and take: side")


def test_verdicts_of_the_quietest() -> None:
    kept, none = (
        setting(DEMO, ("idle",), (1100.0, 1100.0, 1100.0, 3600.0)),
        infeasible(DEMO, "render", SLOW, proven=True),
    )
    assert quietest_verdict(DEMO, answer(kept, position=DESK)) == 0
    assert quietest_verdict(DEMO, answer(kept, none, position=DESK)) == 3
    assert quietest_verdict(DEMO, answer(kept, position=DESK, interrupted=True)) == 130
    assert quietest_sentences(DEMO, answer(kept, position=DESK, interrupted=True))[0].startswith("Interrupted")


def test_the_demo_explains_itself() -> None:
    quiet, loud = setting(DEMO, ("idle",), SLOW), setting(DEMO, ("render",), (1140.0, 1180.0, 1020.0, 4380.0))
    told = " ".join(story.explanation(DEMO, answer(quiet, loud, position=DESK)))
    assert "invented" in told
    assert "1070 W with 10 fans in 3 groups" in told  # 150 + 460 + 460 W of render, 4 + 3 + 3 fans of its paths
    assert "The loudest state is render" in told
    assert "one kelvin more would save 0.80 dB" in told
    present = solved("idle", (1100.0, 1100.0, 1100.0, 3600.0))
    gain = float(present.level[0] - solved("idle", SLOW).level[0])
    assert f"{gain:.1f} dB more than it has to" in told


def test_the_demo_explains_an_infeasible_rig_too() -> None:
    told = story.explanation(DEMO, answer(infeasible(DEMO, "render", SLOW, proven=True), position=DESK))
    assert "invented" in told[-1]
