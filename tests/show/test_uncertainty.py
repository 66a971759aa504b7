"""How sure an answer is, in words, tables and JSON."""

from __future__ import annotations

import json

import jsonschema
import numpy as np
import pytest

from quietcool import demo_path, read_build, solve_operating_point
from quietcool.cli import run
from quietcool.decide.uncertainty import Cause, Ranking, find_uncertainties
from quietcool.entry.build import Build
from quietcool.show import uncertainty
from quietcool.show.console import rendered
from quietcool.show.schemas import schema_of


@pytest.fixture(scope="module")
def rig() -> Build:
    return read_build(str(demo_path("sample_room")))


def solved(rig: Build, name: str):
    speeds = [ranges.present for ranges in rig.speed_ranges]
    return {name: solve_operating_point(rig, rig.state(name), speeds)}


def test_the_sentence_says_interval_chance_and_the_least_sure_limit(rig):
    known = find_uncertainties(rig, solved(rig, "bounce"), draws=64)
    said = uncertainty.uncertainty_sentence(rig, "bounce", known["bounce"])
    assert said.startswith("bounce, 90 % intervals of 64 draws of the tolerances: coolant 3")
    assert "dB(A) at the seat; every limit is kept in" in said
    assert "least surely seat" in said  # the present setting is 1.1 dB above the limit there


def test_no_draws_no_words(rig):
    assert find_uncertainties(rig, solved(rig, "bounce"), draws=0) == {}
    assert uncertainty.sure_sentences(rig, {}) == []
    assert uncertainty.sure_tables(rig, {}) == []


def test_what_to_measure_first_names_the_largest_share():
    causes = (Cause("radiator top", ("air-side conductance",), 0.58, 0.61), Cause("pump", ("pump flow",), 0.3, 0.3))
    said = uncertainty.first_sentence(Ranking("coolant", "K", 0.8, causes))
    assert said == "Measure first, for the coolant: radiator top; it is 61 % of the variance."
    assert uncertainty.first_sentence(Ranking("coolant", "K", 0.0, ())) == "Nothing uncertain moves the coolant."


def test_tables_hold_every_printed_quantity(rig):
    text = rendered(uncertainty.sure_tables(rig, find_uncertainties(rig, solved(rig, "edit"), draws=32)))
    for name in ("front intake", "rear vent", "case", "hottest coolant", "coolant flow", "cpu core", "seat"):
        assert name in text
    assert "Chance that a limit" in text


@pytest.mark.parametrize("states", [["--state", "edit"], []])
def test_answers_of_solve_carry_their_intervals_and_fit_the_schema(states, capsys):
    run(["solve", str(demo_path("sample_room")), *states, "--draws", "40", "--seed", "3", "--json"])
    answer = json.loads(capsys.readouterr().out)
    jsonschema.validate(answer, schema_of("solve"))
    points = answer["operating_points"].values() if "operating_points" in answer else [answer]
    for point in points:
        low, high = point["uncertainty"]["loop"]["temp_max_c"]
        assert low < point["loop"]["temp_max_c"] < high
        assert point["uncertainty"]["seed"] == 3
        assert 0.0 <= point["uncertainty"]["all_limits_chance"] <= 1.0


def test_the_same_seed_prints_the_same_and_none_prints_nothing(capsys):
    words = ["solve", str(demo_path("sample_room")), "--state", "edit", "--json", "--draws"]
    texts = []
    for draws in ("30", "30", "0"):
        run([*words, draws])
        texts.append(capsys.readouterr().out)
    assert texts[0] == texts[1]
    assert "uncertainty" not in json.loads(texts[2])


@pytest.mark.parametrize("option", [["--draws", "-1"], ["--seed", "-2"], ["--draws", "99999999"]])
def test_wrong_numbers_of_draws_are_refused(option, capsys):
    assert run(["solve", str(demo_path("sample_room")), *option]) == 2
    assert option[0] in capsys.readouterr().err


def test_a_ranking_is_asked_for_and_fits_the_schema(rig, capsys):
    run(["solve", str(demo_path("sample_room")), "--state", "edit", "--rank", "--draws", "20", "--json"])
    answer = json.loads(capsys.readouterr().out)
    jsonschema.validate(answer, schema_of("solve"))
    ranking = answer["uncertainty"]["ranking"]
    assert [one["result"] for one in ranking][0] == "coolant"
    for one in ranking:
        totals = [cause["total"] for cause in one["causes"]]
        assert totals == sorted(totals, reverse=True)
        assert np.sum(totals) == pytest.approx(1.0, abs=0.25)  # nearly additive: shares sum to about one
