"""Scenarios: what they change, what they do to a rig, and the settings that would hold."""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import numpy as np
import pytest

from quietcool import demo_path, read_build, solve_operating_point
from quietcool.cli import run
from quietcool.decide.limits import margins
from quietcool.decide.scenarios import dusty, find_scenarios, scenarios_of, with_door_ajar, worst_day
from quietcool.entry.build import Build, Core, WhatIf
from quietcool.show.schemas import schema_of


@pytest.fixture(scope="module")
def small() -> Build:
    """The small demo, with one room temperature so that it answers soon."""
    return replace(read_build(str(demo_path("sample_room"))), what_if=WhatIf(room_temps=(299.15,)))


@pytest.fixture(scope="module")
def answer(small):
    return find_scenarios(small, "edit", [ranges.present for ranges in small.speed_ranges], draws=40)


def test_every_kind_of_scenario_stands_in_its_order():
    build = read_build(str(demo_path("booth_wall")))
    names = [one.name for one in scenarios_of(build, build.state("take"))]
    assert names[:3] == ["as it is", "room 22 degC", "room 22 degC, dusty"]
    assert names[-3:] == ["pump at its slowest", "filters removed", "door ajar"]
    assert "one fan of side intake dead, free-wheeling" in names
    assert len(names) == 1 + 2 * 4 + 2 * 3 + 3


def test_hotter_and_dirtier_is_warmer(answer):
    # Common practice, no source.
    point = {one.scenario.name: float(one.point.coolant_temp_max) for one in answer.outcomes}
    assert point["as it is"] < point["room 26 degC"] < point["room 26 degC, dusty"]
    rise = point["room 26 degC"] - point["as it is"]
    assert rise == pytest.approx(4.0, abs=0.4)  # coolant goes nearly as the room: the balance is all but linear


def test_the_settings_that_hold_do_hold(answer, small):
    held = [one for one in answer.outcomes if one.holding.holds and one.scenario.pump_speed is None]
    assert held
    for one in held:
        if len(one.scenario.build.group_names) == len(small.group_names):
            point = solve_operating_point(one.scenario.build, one.scenario.state, one.holding.speeds)
            assert margins(one.scenario.build, one.scenario.state, point).min() >= 0.0
            assert point.level[0] == pytest.approx(one.holding.level)


def test_the_pump_stands_where_the_scenario_puts_it(answer, small):
    one = next(one for one in answer.outcomes if one.scenario.name == "pump at its slowest")
    assert one.point.speeds[-1] == small.loop.pump_speeds.lowest
    assert one.holding.speeds[-1] == small.loop.pump_speeds.lowest


def test_dust_multiplies_and_doors_never_add(small):
    core = next(e for e in dusty(small, 1.5).air_paths[0].stack if isinstance(e, Core))
    assert core.dust == 1.5
    booth = read_build(str(demo_path("booth_wall")))
    ajar = with_door_ajar(booth, 16.0).positions[1].partition
    assert ajar == tuple(max(level - 16.0, 0.0) for level in booth.positions[1].partition)
    assert with_door_ajar(booth, 16.0).positions[0].partition == 0.0


def test_the_worst_day_is_hot_and_dusty_and_never_cooler(small):
    worst = worst_day(small)
    assert all(state.room_temp == 299.15 for state in worst.states)
    hot = replace(small, states=tuple(replace(state, room_temp=310.0) for state in small.states))
    assert all(state.room_temp == 310.0 for state in worst_day(hot).states)


def test_keys_of_the_build_file_are_read(tmp_path):
    import shutil

    shutil.copytree(demo_path("sample_room").parent, tmp_path / "rig")
    file = tmp_path / "rig" / "build.toml"
    file.write_text(file.read_text() + "\n[scenarios]\nroom_temp_c = [21, 31]\ndust = 2\ndoor_ajar_db = 9\n")
    found = read_build(str(file)).what_if
    assert found.room_temps == pytest.approx((294.15, 304.15))
    assert (found.dust, found.door_ajar) == (2.0, 9.0)
    assert read_build(str(demo_path("sample_room"))).what_if == WhatIf()


def test_the_command_line_answers_by_its_schema(tmp_path, capsys):
    import shutil

    shutil.copytree(demo_path("sample_room").parent, tmp_path / "rig")
    file = tmp_path / "rig" / "build.toml"
    file.write_text(file.read_text() + "\n[scenarios]\nroom_temp_c = [26]\n")
    words = ["scenarios", str(file), "--state", "idle", "--draws", "20", "--speed", "front=600", "--speed", "bottom=0"]
    assert run([*words, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    jsonschema.validate(found, schema_of("scenarios"))
    assert found["scenarios"][0]["scenario"] == "as it is"
    assert run(["scenarios", str(file), "--state", "nothing"]) == 2
    assert np.isfinite(found["scenarios"][0]["coolant_c"])
