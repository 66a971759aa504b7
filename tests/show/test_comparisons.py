"""Trade-off curves and layouts in words, tables, JSON and CSV, from answers made by hand."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from typing import Any

import jsonschema
import pytest

from quietcool.decide.layouts import Added, BreakEven, Difference
from quietcool.decide.tradeoff import Present
from quietcool.show import layouts_answer, tradeoff_answer
from quietcool.show.console import rendered
from quietcool.show.json_answers import dumps
from quietcool.show.schemas import schema_of
from tests.show.invented_comparisons import BUILD, NAN, REASON, SPEEDS, ZERO, curve, layouts, point


def valid(answer: Any, verb: str) -> Any:
    """Hold an answer to strict JSON and to its schema."""
    parsed = json.loads(dumps(answer))
    jsonschema.Draft202012Validator(schema_of(verb)).validate(parsed)
    return parsed


def test_a_curve_in_sentences() -> None:
    said = tradeoff_answer.tradeoff_sentences(BUILD, curve())
    assert said == [
        "render: from 40.0 degC to 50.0 degC of coolant the quietest level falls from 36.0 dB(A) to 31.0 dB(A) at the "
        "desk microphone; the knee is at 45.0 degC and 33.0 dB(A), where a kelvin is worth 0.80 dB: side 960 rpm, "
        "bottom 900 rpm, top stopped, pump 3600 rpm.",
        "The limit of 45.0 degC costs about 33.0 dB(A), where a kelvin is worth 0.80 dB; that is within the limit of "
        "35.0 dB(A).",
        "Present speeds: 46.0 degC and 33.4 dB(A); the curve is 0.6 dB quieter at the same temperature or 1.2 K colder "
        "at the same level.",
        "2 of 3 points are proven; the widest gap is 1.0 dB.",
    ]


def test_a_curve_over_the_room_counts_from_the_room() -> None:
    said = tradeoff_answer.tradeoff_sentences(BUILD, curve("coolant over room"))
    assert said[0].startswith("render: from 17.0 K over room to 27.0 K over room of coolant ")
    assert "22.00" in rendered(tradeoff_answer.tradeoff_tables(BUILD, curve("coolant over room")))


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"axis_limit": 310.0}, "No setting keeps the limit of 36.9 degC."),
        ({"level_limit": 30.0}, "that is above the limit of 30.0 dB(A)."),
        ({"interrupted": True}, "Interrupted: what follows is the best so far."),
        ({"points": ()}, "render: no setting was found that keeps the limits besides that of the coolant."),
        ({"points": (point(313.15, 36.0, 35.95),) * 2}, "All 2 points are proven to within 0.05 dB."),
        ({"points": (point(313.15, 36.0),) * 2}, "0 of 2 points are proven; of others no bound is known."),
        ({"axis_limit": None, "present": Present(SPEEDS, 319.15, 33.4, NAN, NAN)}, "and 33.4 dB(A)."),
    ],
)
def test_what_is_said_in_special_cases(changes: dict[str, Any], sentence: str) -> None:
    answer = curve(**{"knee": None} | changes)
    assert any(sentence in line for line in tradeoff_answer.tradeoff_sentences(BUILD, answer))


def test_exit_codes() -> None:
    assert tradeoff_answer.tradeoff_verdict(curve()) == 0
    assert tradeoff_answer.tradeoff_verdict(curve(points=())) == 3
    assert tradeoff_answer.tradeoff_verdict(curve(interrupted=True)) == 130
    assert layouts_answer.layouts_verdict(layouts(ZERO, ZERO)) == 0
    assert layouts_answer.layouts_verdict(layouts(ZERO, ZERO, gains=())) == 0
    answer = layouts(ZERO, ZERO)
    nothing = tuple(replace(one, gains=()) for one in answer.paths[0].outcomes)
    assert layouts_answer.layouts_verdict(replace(answer, paths=(replace(answer.paths[0], outcomes=nothing),))) == 3


@pytest.mark.parametrize("changes", [{}, {"points": (), "knee": None, "present": None}, {"axis_limit": None}])
def test_a_curve_in_json_keeps_to_its_schema(changes: dict[str, Any]) -> None:
    parsed = valid(tradeoff_answer.tradeoff_answer(BUILD, curve(**changes)), "tradeoff")
    assert parsed["axis"]["limit_c"] == (None if "axis_limit" in changes else 45.0)
    if parsed["points"]:
        assert parsed["points"][1]["limit_c"] == pytest.approx(45.0)
        assert parsed["points"][0]["groups"]["top"] == {"speed_rpm": 0.0}


def test_a_bound_that_is_not_known_is_null() -> None:
    parsed = valid(tradeoff_answer.tradeoff_answer(BUILD, curve(points=(point(313.15, 36.0),))), "tradeoff")
    assert (parsed["points"][0]["lower_bound_dba"], parsed["points"][0]["gap_db"]) == (None, None)


def test_a_curve_as_comma_separated_values() -> None:
    lines = list(csv.DictReader(io.StringIO(tradeoff_answer.tradeoff_csv(BUILD, curve(points=(point(313.15, 36.0),))))))
    assert len(lines) == 1
    assert float(lines[0]["limit_c"]) == pytest.approx(40.0)
    assert float(lines[0]["speed_rpm side"]) == 960.0
    assert lines[0]["lower_bound_dba"] == ""
    assert lines[0]["knee"] == "0"


def test_a_small_gain_is_no_difference() -> None:
    said = layouts_answer.layouts_sentences(layouts(Difference(0.3, -0.4, 1.0, 0.5), Difference(0.2, -0.5, 0.9, 0.5)))
    assert said[0] == (
        "side intake (radiator-p-480x60), push now. Is a second fan row worth it? No: no difference you could measure."
    )
    assert said[1] == (
        "side intake, push-pull, one speed: at equal noise (33.9 dB(A)) 0.3 K colder (-0.4 to 1.0), no difference you "
        "could measure; at equal temperature (45.0 degC) 0.2 dB quieter (-0.5 to 0.9), no difference you could measure."
    )


@pytest.mark.parametrize(
    ("colder", "quieter", "verdict"),
    [
        (Difference(2.0, 1.0, 3.0, 0.5), Difference(1.5, 0.9, 2.0, 0.5), "Yes."),
        (Difference(-2.0, -3.0, -1.0, 0.5), Difference(-1.5, -2.0, -1.0, 0.5), "No: it is louder for the same "),
        (Difference(NAN, NAN, NAN, 0.5), Difference(-2.9, -5.0, -0.7, 0.5), "No: it is louder for the same "),
    ],
)
def test_the_verdict_on_a_second_row(colder: Difference, quieter: Difference, verdict: str) -> None:
    said = layouts_answer.layouts_sentences(layouts(colder, quieter))
    assert f"Is a second fan row worth it? {verdict}" in said[0]


def test_a_layout_that_cannot_be_so_quiet_says_so() -> None:
    lost = Difference(NAN, NAN, NAN, 0.5)
    said = layouts_answer.layouts_sentences(layouts(lost, Difference(-2.9, -5.0, -0.7, 0.5), lower_bound=36.76))
    assert "it cannot be as quiet as 33.9 dB(A) (its least is 29.5 dB(A))" in said[1]
    assert said[1].endswith("2.9 dB louder (0.7 to 5.0), where none of its settings is quieter than 36.7.")
    assert "cannot be as cold as 45.0 degC" in layouts_answer.layouts_sentences(layouts(ZERO, lost))[1]


def test_side_notes() -> None:
    added = Added(4, 0.03, 1.8, 52.0)
    turn = BreakEven(26.4, 303.9, 14.0, True)
    gain = Difference(0.7, 0.2, 1.0, 0.5)
    said = layouts_answer.layouts_sentences(layouts(gain, gain, break_even=(turn,), added=added))
    assert "At equal noise it gains above 26.4 dB(A) (30.8 degC, present fans at 840 rpm)." in said
    needs = "4 more fans, 30 mm more depth, 1.8 A more at start, a price 52 higher"
    assert f"It takes {needs}." in said
    # By hand: 52 over 0.7 of each.
    assert said[-1] == "At its price that is 74 for each dB or 74 for each K."
    assert "At equal noise it gains at every level that both reach." in layouts_answer.layouts_sentences(
        layouts(gain, gain)
    )
    loss = Difference(-0.7, -1.0, -0.2, 0.5)
    assert "At equal noise it gains at no level that both reach." in layouts_answer.layouts_sentences(
        layouts(loss, loss)
    )


@pytest.mark.parametrize(
    ("changes", "start"),
    [
        ({"floor_share": 0.8}, "Reason: 80% of these fans' noise is a floor that no speed lowers, so that"),
        ({"heat_share": 0.3}, "Reason: only 30% of the heat leaves through this radiator"),
        ({}, "Reason: the core is restrictive: the core takes 60% of the fans' shut-off pressure"),
        ({"core_share": 0.2}, "Reason: the core is open: the core takes 20%"),
        ({"row_speed": 0.0, "other_speed": 0.0}, "Reason: the quietest setting lets these fans rest in both layouts;"),
        ({"row_speed": 0.0}, "Reason: the quietest setting lets these fans rest as they stand now;"),
    ],
)
def test_the_strongest_reason_comes_first(changes: dict[str, Any], start: str) -> None:
    assert layouts_answer.reason_sentence(replace(REASON, **changes)).startswith(start)


def test_layouts_in_json_and_csv() -> None:
    lost, seen = Difference(NAN, NAN, NAN, 0.5), Difference(-2.9, -5.0, -0.7, 0.5)
    answer = layouts(lost, seen, break_even=(BreakEven(26.4, 303.9, 14.0, False),))
    parsed = valid(layouts_answer.layouts_answer(BUILD, answer), "layouts")
    push, double = parsed["air_paths"]["side intake"]["layouts"]
    assert (push["present"], double["present"]) == (True, False)
    assert double["gains"][0]["colder_k"]["value"] is None
    assert double["gains"][0]["quieter_db"] == {"value": -2.9, "low": -5.0, "high": -0.7, "measurable": True}
    assert double["break_even"][0]["gains"] == "below"
    lines = list(csv.DictReader(io.StringIO(layouts_answer.layouts_csv(answer))))
    assert [line["layout"] for line in lines] == ["push", "push-pull, one speed"]
    assert (lines[1]["colder_k"], lines[1]["quieter_db"]) == ("", "-2.9")
    valid(layouts_answer.layouts_answer(BUILD, layouts(ZERO, ZERO, gains=(), reason=None)), "layouts")


def test_tables_fit_the_page(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    gain = Difference(0.7, 0.2, 1.0, 0.5)
    parts = layouts_answer.layouts_tables(layouts(gain, gain)) + tradeoff_answer.tradeoff_tables(BUILD, curve())
    text = rendered(parts)
    assert max(map(len, text.splitlines())) <= 80
    assert "0.70 (0.2 to 1.0)" in text
    assert "K and dB" in text
    assert "knee" in text
