"""Levers: identities, slopes held to the price of a kelvin, and the order that a hand model expects."""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import pytest

from quietcool import demo_path, read_build
from quietcool.cli import run
from quietcool.decide.alterations import Alteration, alterations_of
from quietcool.decide.levers import Lever, Worth, find_levers
from quietcool.entry.build import ROOM, Build
from quietcool.show.levers import verdict_of
from quietcool.show.schemas import schema_of


@pytest.fixture(scope="module")
def rig() -> Build:
    return read_build(str(demo_path("booth_wall")))


def by_name(levers: tuple[Lever, ...]) -> dict[str, Lever]:
    return {lever.name: lever for lever in levers}


def test_every_lever_changes_one_thing(rig):
    state = rig.state("render")
    found = {one.name: one for one in alterations_of(rig, state, "coolant", 0)}
    assert found["10 W less from cpu"].state.heat["cpu"] == state.heat["cpu"] - 10.0
    assert found["gpu 1 held to 368 W (80 %)"].state.heat["gpu 2"] == 460.0
    assert found["room air for top exhaust"].build.air_paths[2].source == ROOM
    assert found["limit of coolant 1 K higher"].state.limits.coolant == state.limits.coolant + 1.0
    assert found["second fan row on side intake"].build.air_paths[0].layout == "push-pull"
    assert found["100 cm2 more opening in tower"].build.air_paths[-1].stack[0].area == 0.01
    assert len({one.name for one in found.values()}) == len(alterations_of(rig, state, "coolant", 0))


@pytest.mark.slow
def test_room_air_and_a_cap_are_worth_more_than_a_second_row(rig, monkeypatch):
    # A hand model expects cap, room air, second row in this order (common practice, no source).
    kept = ("held to 80 %", "room air", "second fan row on side", "1 K cooler", "10 W less from cpu", "closed door")

    def few(build: Build, state: object, axis: str, position: int) -> tuple[Alteration, ...]:
        whole = alterations_of(build, state, axis, position)
        wanted = [one for one in whole if any(word in one.name for word in kept)]
        return (*wanted, Alteration("nothing", "change", build, state))

    monkeypatch.setattr("quietcool.decide.levers.alterations_of", few)
    answer = find_levers(rig, "render")
    found = by_name(answer.levers)
    cap = found["every source of 100 W or more held to 80 %"].quieter
    air, row = found["room air for top exhaust"].quieter, found["second fan row on side intake"].quieter
    assert cap.value > air.value > row.value
    assert cap.low > row.high
    assert row.low < 0.0 < row.high
    # A closed door takes its decibels off, whatever else: closed form.
    assert found["a closed door (25 dB) before desk microphone"].quieter.value == pytest.approx(25.0, abs=0.01)
    # A rig against itself: no difference, no error (paired draws).
    nothing = found["nothing"]
    assert nothing.quieter.value == pytest.approx(0.0, abs=1e-3)
    assert max(abs(nothing.quieter.low), abs(nothing.quieter.high)) < 0.02
    assert verdict_of(nothing) == "no difference you could measure"
    # In a room 1 K cooler every temperature is about 1 K lower at the same speeds: the balance is all but linear.
    assert found["room 1 K cooler"].colder.value == pytest.approx(1.0, abs=0.2)
    assert found["room 1 K cooler"].quieter.value == pytest.approx(answer.price, rel=0.25)
    assert found["10 W less from cpu"].colder.value > 0.0


@pytest.mark.parametrize(
    ("quieter", "colder", "feasible", "said"),
    [
        (Worth(1.0, 0.6, 1.4), Worth(1.0, 0.2, 1.5), True, "better"),
        (Worth(-1.0, -1.6, -0.4), Worth(-1.0, -1.5, -0.2), True, "worse"),
        (Worth(1.0, -0.1, 2.0), Worth(1.0, -0.2, 2.5), True, "no difference you could measure"),
        (Worth(0.3, 0.2, 0.4), Worth(0.2, 0.1, 0.3), True, "no difference you could measure"),
        (Worth(float("nan"), 0.0, 0.0), Worth(float("nan"), 0.0, 0.0), False, "limits lost"),
    ],
)  # fmt: skip
def test_verdicts(quieter, colder, feasible, said):
    assert verdict_of(Lever("x", "change", quieter, colder, feasible)) == said
    assert verdict_of(Lever("x", "unit", quieter, colder, feasible)) == ""


@pytest.mark.slow
def test_the_command_line_answers_by_its_schema(capsys, monkeypatch, rig):
    def few(build: Build, state: object, axis: str, position: int) -> tuple[Alteration, ...]:
        return alterations_of(build, state, axis, position)[:2]

    monkeypatch.setattr("quietcool.decide.levers.alterations_of", few)
    assert run(["levers", str(demo_path("sample_room")), "--state", "bounce", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    jsonschema.validate(found, schema_of("levers"))
    assert len(found["levers"]) == 2
    assert run(["levers", str(demo_path("sample_room")), "--state", "bounce"]) == 0
    assert "Levers in bounce" in capsys.readouterr().out
    assert run(["levers", str(demo_path("sample_room")), "--seed", "-1"]) == 2


def test_what_no_setting_keeps_is_said(rig, monkeypatch):
    def few(build: Build, state: object, axis: str, position: int) -> tuple[Alteration, ...]:
        return tuple(one for one in alterations_of(build, state, axis, position) if "80 %" in one.name)[-1:]

    monkeypatch.setattr("quietcool.decide.levers.alterations_of", few)
    cold = replace(rig.state("render"), limits=replace(rig.state("render").limits, coolant=310.0))
    hard = replace(rig, states=(cold,))
    answer = find_levers(hard, "render")
    assert answer.level != answer.level  # NaN
    assert answer.levers[0].quieter.value != answer.levers[0].quieter.value
