"""What is heard, in JSON and in words: schemas are kept, numbers are those of the state, sentences say what counts."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from quietcool import cli
from quietcool.entry.build import Delivery, NoiseSource
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.show import json_answers, sound_answer, sound_tables
from quietcool.show.console import rendered
from quietcool.show.schemas import schema_of
from quietcool.solve.operating_point import solve_operating_point
from tests.entry.small_rig import BUILD, write
from tests.entry.test_sound_keys import MORE

DEMO = read_build(demo_path("booth_wall"))
RPM = np.array([1100.0, 1100.0, 1112.0, 3600.0]) / 60.0
DESK = "desk microphone"


def strict(found: dict[str, Any]) -> Any:
    def refuse(token: str) -> float:
        raise AssertionError(f"{token} is no JSON")

    parsed = json.loads(json_answers.dumps(found), parse_constant=refuse)
    jsonschema.Draft202012Validator(schema_of("sound")).validate(parsed)
    return parsed


def heard(build: Any = DEMO, state: str = "render", at: str | None = None) -> tuple[Any, Any]:
    points = {state: solve_operating_point(build, build.state(state), RPM)}
    return points, sound_answer.hear_states(build, points, at)


def test_the_answer_keeps_its_schema_and_agrees_with_the_state() -> None:
    points, found = heard()
    parsed = strict(sound_answer.sound_answer(DEMO, points, found))
    there = parsed["states"]["render"]["positions"]
    assert list(there) == [position.name for position in DEMO.positions]
    for i, at in enumerate(there.values()):
        assert at["level_dba"] == pytest.approx(float(points["render"].level[i]), abs=1e-9)
        assert at["total_dba"] == pytest.approx(float(points["render"].total[i]), abs=1e-9)
        # By definition of the sum: shares and octaves of the sources make the rig's.
        assert sum(source["energy_share"] for source in at["sources"]) == pytest.approx(1.0)
        energies = np.array([[0.0 if x is None else 10 ** (x / 10) for x in s["bands_db"]] for s in at["sources"]])
        whole = [0.0 if x is None else 10 ** (x / 10) for x in at["rig_db"]]
        np.testing.assert_allclose(energies.sum(axis=0), whole, rtol=1e-9)
        levels = [source["level_dba"] for source in at["sources"]]
        assert levels == sorted(levels, reverse=True)


def test_one_position_is_enough_where_it_is_asked_for() -> None:
    points, found = heard(at=DESK)
    parsed = strict(sound_answer.sound_answer(DEMO, points, found))
    assert list(parsed["states"]["render"]["positions"]) == [DESK]


def test_schemas_refuse_what_they_should() -> None:
    points, found = heard(at=DESK)
    check = jsonschema.Draft202012Validator(schema_of("sound"))
    for spoil in ({"level_dba": "loud"}, {"rig_db": [1.0] * 8}, {"surplus": 1}, {"limits": [{"what": "dB"}]}):
        spoiled = json.loads(json_answers.dumps(sound_answer.sound_answer(DEMO, points, found)))
        spoiled["states"]["render"]["positions"][DESK] |= spoil
        assert not check.is_valid(spoiled)


def test_essentials_stand_in_the_answer_of_solve() -> None:
    state = DEMO.state("render")
    point = solve_operating_point(DEMO, state, RPM)
    at = json_answers.operating_point_answer(DEMO, state, point)["positions"][DESK]
    found = strict(sound_answer.sound_answer(DEMO, *heard(at=DESK)))["states"]["render"]["positions"][DESK]
    assert at["rig_db"][0] is None
    assert at["rig_db"][1:] == pytest.approx(found["rig_db"][1:], abs=1e-9)
    assert at["nr"] == pytest.approx(found["ratings"]["nr"]["rating"], abs=1e-9)
    assert at["nc"] == pytest.approx(found["ratings"]["nc"]["rating"], abs=1e-9)


def test_what_no_speed_changes_has_its_place() -> None:
    build = replace(DEMO, noise_sources=(NoiseSource("supply", 30.0), NoiseSource("whine", 20.0, tone=4000.0)))
    state = build.state("render")
    point = solve_operating_point(build, state, RPM)
    contributions = json_answers.operating_point_answer(build, state, point)["positions"][DESK]["contributions_dba"]
    assert list(contributions) == [*build.group_names, "supply", "whine"]
    energy = sum(10 ** (level / 10) for level in contributions.values())
    assert 10 * np.log10(energy) == pytest.approx(float(point.level[0]), abs=1e-9)
    tones = strict(sound_answer.sound_answer(build, *heard(build)))["states"]["render"]["positions"][DESK]["tones"]
    assert [t["frequency_hz"] for t in tones if t["tone"] == "whine"] == [4000.0]


def test_a_delivery_is_told_in_both_its_forms() -> None:
    spec = Delivery(-60.0, -20.0, 72.0, 8.0)
    desk = replace(DEMO.positions[0], delivery=spec, background=18.0, self_noise=12.0)
    build = replace(DEMO, positions=(desk, *DEMO.positions[1:]))
    points, found = heard(build, at=DESK)
    at = strict(sound_answer.sound_answer(build, points, found))["states"]["render"]["positions"][DESK]
    assert at["delivery"]["everything_dba"] == pytest.approx(24.0)
    # 10 lg(10^2.4 - 10^1.8 - 10^1.2), by definition of the sum.
    assert at["delivery"]["rig_dba"] == pytest.approx(10 * np.log10(10**2.4 - 10**1.8 - 10**1.2))
    assert [limit["what"] for limit in at["limits"]] == ["limit", "delivery"]
    assert sound_answer.sound_verdict(points, found) == 3  # 33 dB(A) is far more
    said = rendered(sound_tables.sound_parts(build, points, found))
    assert "broken: delivery specification" in said.splitlines()[0]
    assert "24.0 dB(A) for everything heard" in " ".join(said.split())


def test_words_name_what_matters() -> None:
    points, found = heard(at=DESK)
    said = rendered(sound_tables.sound_parts(DEMO, points, found))
    first, flat = said.splitlines()[0], " ".join(said.split())
    at = found["render"].positions[0]
    assert f"{at.level:.1f} dB(A) at the {DESK}" in first
    assert f"loudest is {at.sources[0].source}" in first
    assert "no tone is prominent" in first
    # 1100 and 1112 rpm, 9 blades each (its sheet): 1.8 Hz, by definition.
    assert "bottom blade pass and top blade pass beat at 1.8 Hz" in flat
    assert "can take avoid_rpm = [[1000, 1200]]" in flat  # 15 Hz x 60 / 9 blades = 100 rpm either side of 1100
    assert "Sources at the" in said
    assert "Octaves in Hz at the" in said


def test_a_state_without_an_answer_is_said_to_have_none(monkeypatch: pytest.MonkeyPatch) -> None:
    points, _ = heard()
    lost = {"render": replace(points["render"], converged=np.array(False))}
    found = sound_answer.hear_states(DEMO, lost)
    assert found == {}
    assert sound_answer.sound_verdict(lost, found) == 4
    assert strict(sound_answer.sound_answer(DEMO, lost, found))["states"]["render"]["positions"] == {}
    assert "nothing is known of its sound" in rendered(sound_tables.sound_parts(DEMO, lost, found))


# --- on the command line ---------------------------------------------------------------------------------------------


def test_the_verb_answers_in_words_and_in_json(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = str(write(tmp_path, BUILD + MORE))
    words = ("sound", file, "--state", "render", "--speed", "front=1000", "--speed", "top=900", "--speed", "pump=2000")
    code = cli.run(words)
    said = capsys.readouterr()
    assert said.err == ""
    assert said.out.startswith("render at front 1000 rpm, top 900 rpm, pump 2000 rpm: ")
    assert cli.run((*words, "--json")) == code
    parsed = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator(schema_of("sound")).validate(parsed)
    there = parsed["states"]["render"]["positions"]
    assert set(there) == {"desk", "booth", "voice"}
    assert {limit["what"] for limit in there["voice"]["limits"]} == {"inaudible", "nc", "nr"}  # no delivery in render
    broken = any(limit["margin_db"] < 0.0 for at in there.values() for limit in at["limits"])
    assert code == (3 if broken else 0)


def test_wrong_words_are_told(capsys: pytest.CaptureFixture[str]) -> None:
    booth = str(demo_path("booth_wall"))
    assert cli.run(("sound", booth, "--at", "desk microfone")) == 2
    assert 'did you mean "desk microphone"' in capsys.readouterr().err
    assert cli.run(("quietest", booth, "--minimise", "nrr", "--seconds", "0")) == 2
    assert "dba, nc or nr" in capsys.readouterr().err


def test_the_least_rating_on_the_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    booth = str(demo_path("booth_wall"))
    words = ("quietest", booth, "--state", "take", "--minimise", "nr", "--seconds", "0.1")
    code = cli.run((*words, "--json"))
    parsed = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator(schema_of("quietest")).validate(parsed)
    assert code == 0
    assert parsed["objective"] == {"position": DESK, "quantity": "nr"}
    rating = parsed["settings"][0]["rating"]
    point = parsed["settings"][0]["operating_points"]["take"]["positions"][DESK]
    assert rating["rating"] == pytest.approx(point["nr"])
    assert rating["lower_bound"] is None or rating["lower_bound"] <= rating["rating"]
    assert parsed["level_dba"] == pytest.approx(point["level_dba"])
    assert parsed["lower_bound_dba"] is None
    assert cli.run(words) == 0
    assert f"NR {rating['rating']:.1f} at the {DESK}" in capsys.readouterr().out
