"""Answers in JSON keep their published schemas, and their numbers are those of the state in the units of the keys."""

from __future__ import annotations

import dataclasses
import json
import math
from typing import Any

import jsonschema
import numpy as np
import pytest

from quietcool.entry.buildfile import check_build, read_build
from quietcool.entry.demos import demo_path
from quietcool.errors import Mistake
from quietcool.show import demo as story
from quietcool.show import json_answers, schemas
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point
from tests.second_opinion.whole import second_opinion
from tests.show.invented_answers import answer, infeasible, setting

DEMO = read_build(demo_path("booth_wall"))
RPM = (1100.0, 1100.0, 1100.0, 3600.0)
SPEEDS = np.array(RPM) / 60.0


def refuse(token: str) -> float:
    raise AssertionError(f"{token} is no JSON")


def strict(found: dict[str, Any], subject: str) -> Any:
    """Parse an answer as strict JSON and hold it to its schema."""
    parsed = json.loads(json_answers.dumps(found), parse_constant=refuse)
    schema = schemas.schema_of(subject)
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(parsed)
    return parsed


def solved(state: str, speeds: Any = SPEEDS) -> OperatingPoint:
    return solve_operating_point(DEMO, DEMO.state(state), speeds)


@pytest.mark.parametrize("subject", schemas.SUBJECTS)
def test_every_schema_is_one(subject: str) -> None:
    jsonschema.Draft202012Validator.check_schema(schemas.schema_of(subject))


def test_an_unknown_schema_is_refused() -> None:
    with pytest.raises(KeyError):
        schemas.schema_of("attic")


def test_schemas_refuse_what_they_should() -> None:
    """A schema that takes anything would prove nothing."""
    good = strict(json_answers.solve_answer(DEMO, {"render": solved("render")}), "solve")
    check = jsonschema.Draft202012Validator(schemas.schema_of("solve"))
    for spoiled in (
        good | {"format": 2},
        good | {"surplus": 1},
        {key: value for key, value in good.items() if key != "loop"},
        good | {"groups": {"side": {"speed_rpm": -1.0}}},
        good | {"positions": {"desk": {"level_dba": "loud"}}},
        good | {"inputs_sha256": {"build.toml": "none"}},
    ):
        assert not check.is_valid(spoiled)


def test_an_operating_point_agrees_with_the_second_opinion() -> None:
    """The second opinion of the tests is written from the equations and shares nothing with the solver."""
    # The second opinion knows partitions of one number only.
    build = dataclasses.replace(DEMO, positions=tuple(dataclasses.replace(p, partition=20.0) for p in DEMO.positions))
    state = build.state("render")
    opinion = second_opinion(build, state, SPEEDS.tolist())
    point = solve_operating_point(build, state, SPEEDS)
    found = strict(json_answers.solve_answer(build, {"render": point}), "solve")
    assert found["loop"]["temp_max_c"] == pytest.approx(opinion.hottest_coolant - 273.15, abs=1e-5)
    assert found["loop"]["flow_l_per_min"] == pytest.approx(opinion.coolant_flow * 60_000.0, rel=1e-6)
    for name, flow in opinion.inlet_volume_flow.items():
        assert found["air_paths"][name]["flow_m3_per_h"] == pytest.approx(3600.0 * flow, rel=1e-6)
    for (source, place), temp in opinion.source_points.items():
        assert found["sources"][source][place]["temp_c"] == pytest.approx(temp - 273.15, abs=1e-5)
    for name, level in opinion.level.items():
        assert found["positions"][name]["level_dba"] == pytest.approx(level, abs=1e-6)
        assert found["positions"][name]["total_dba"] == pytest.approx(opinion.total[name], abs=1e-6)


def test_the_energy_of_the_printed_numbers_closes() -> None:
    """First law over the ring: the radiators give off what the sources and the pump's share of its power put in."""
    found = strict(json_answers.solve_answer(DEMO, {"render": solved("render")}), "solve")
    pump = DEMO.loop.pump
    power = pump.electric.power * (RPM[3] / 60.0 / pump.electric.speed) ** 3
    given_off = sum(path["heat_rate_w"] for path in found["air_paths"].values())
    assert given_off == pytest.approx(150 + 460 + 460 + pump.coolant_share * power, rel=1e-8)


def test_keys_margins_and_parts_of_an_operating_point() -> None:
    found = strict(json_answers.solve_answer(DEMO, {"render": solved("render")}), "solve")
    assert found["groups"] == {
        "side": {"speed_rpm": 1100.0},
        "bottom": {"speed_rpm": 1100.0},
        "top": {"speed_rpm": 1100.0},
        "pump": {"speed_rpm": 3600.0},
    }
    core = found["sources"]["gpu 1"]["core"]
    assert core["limit_c"] == 75.0
    assert core["margin_k"] == pytest.approx(75.0 - core["temp_c"], abs=1e-9)
    desk = found["positions"]["desk microphone"]
    energy = sum(10.0 ** (level / 10.0) for level in desk["contributions_dba"].values())
    assert desk["level_dba"] == pytest.approx(10.0 * math.log10(energy), abs=1e-9)
    assert desk["margin_db"] == pytest.approx(35.0 - desk["level_dba"], abs=1e-9)
    assert [s["name"] for s in found["loop"]["stations"]] == [
        "pump", "cpu", "gpu 1", "gpu 2", "side intake", "bottom intake", "top exhaust",
    ]  # fmt: skip
    assert found["air_paths"]["rear slots"]["face_velocity_m_per_s"] is None
    flow = next(limit for limit in found["limits"] if limit["limit"] == "coolant flow")
    assert flow["unit"] == "L/min"
    assert flow["margin"] == pytest.approx(found["loop"]["flow_l_per_min"] - 2.0, abs=1e-9)
    assert set(found["made_by"]) == {"quietcool", "python", "numpy", "scipy"}
    assert found["inputs_sha256"] == dict(DEMO.inputs)


def test_limits_of_a_state_go_before_those_of_a_position() -> None:
    found = json_answers.solve_answer(DEMO, {"take": solved("take")})
    assert found["positions"]["desk microphone"]["limit_dba"] == 25.0
    assert found["positions"]["booth microphone"]["limit_dba"] == 8.0


@pytest.mark.parametrize(
    "speeds",
    [
        (0.0, 0.0, 0.0, 60.0),
        (18.0, 18.0, 18.0, 0.0),
        (0.0, 0.0, 0.0, 0.0),
        (33.0, 0.0, 0.0, 60.0),
        (0.0, 0.0, 25.0, 30.0),
    ],
)
def test_states_without_steady_values_are_strict_json_too(speeds: tuple[float, ...]) -> None:
    strict(json_answers.solve_answer(DEMO, {"render": solved("render", speeds)}), "solve")


def test_an_unsolved_state_is_null_and_says_so() -> None:
    point = solved("render")
    lost = dataclasses.replace(
        point,
        converged=np.array(False),
        **{
            field.name: np.full_like(getattr(point, field.name), np.nan)
            for field in dataclasses.fields(point)
            if getattr(point, field.name).dtype == np.float64 and field.name not in {"speeds", "residual"}
        },
    )
    found = strict(json_answers.solve_answer(DEMO, {"render": lost}), "solve")
    assert found["converged"] is False
    assert found["loop"]["temp_max_c"] is None
    assert "did not converge" in found["findings"][0]


def test_several_states_stand_by_name() -> None:
    found = strict(json_answers.solve_answer(DEMO, {name: solved(name) for name in ("idle", "render")}), "solve")
    assert list(found["operating_points"]) == ["idle", "render"]
    assert found["operating_points"]["render"]["state"] == "render"


def test_a_check_counts_and_a_refusal_lists() -> None:
    found = strict(json_answers.check_answer(DEMO, check_build(DEMO)), "check")
    assert found["counts"] == {
        "enclosures": 1, "fan_groups": 3, "air_paths": 4, "radiators": 3, "sources": 3, "positions": 2, "states": 5,
    }  # fmt: skip
    assert found["origins"]["invented"] > 50
    mistakes = [Mistake("b.toml", 3, None, "room", "a number", "none", "write one")]
    refused = strict(json_answers.refused_answer(mistakes), "check")
    assert refused["mistakes"][0]["line"] == 3
    assert refused["valid"] is False


def test_the_quietest_of_every_kind() -> None:
    proven = setting(DEMO, ("idle",), RPM)
    unbounded = setting(DEMO, ("take",), RPM, status="best_found", lower_bound=-math.inf, gap=math.inf)
    none = infeasible(DEMO, "render", RPM, proven=True)
    for settings in ([proven], [proven, unbounded], [proven, none], [unbounded]):
        made = answer(*settings, position="desk microphone")
        found = strict(json_answers.quietest_answer(DEMO, made), "quietest")
        assert found["objective"] == {"position": "desk microphone", "quantity": "level_dba"}
        assert len(found["settings"]) == len(settings)
        told = strict(story.demo_answer("booth_wall", DEMO, made), "demo")
        assert told["invented"] is True
        assert len(told["explanation"]) >= 2
    assert found["settings"][0]["lower_bound_dba"] is None  # nothing known: no token for infinity


def test_bindings_are_in_units_people_read() -> None:
    found = json_answers.quietest_answer(DEMO, answer(setting(DEMO, ("idle",), RPM), position="desk microphone"))
    coolant, flow, heat = found["settings"][0]["binding"]
    assert coolant == {"state": "idle", "limit": "coolant", "margin": 0.004, "unit": "K", "worth_db_per_k": 0.8}
    assert flow == {"state": "idle", "limit": "coolant flow", "margin": pytest.approx(0.02), "unit": "L/min"}
    assert heat["worth_db_per_10_w"] == 0.17
