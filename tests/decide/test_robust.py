"""Robust settings: held to exhaustive search, to fresh draws and to what tightening must do."""

from __future__ import annotations

import itertools
import json
from dataclasses import replace

import jsonschema
import numpy as np
import pytest

from quietcool import demo_path, read_build, solve_operating_point
from quietcool.cli import run
from quietcool.decide.limits import limits, margins
from quietcool.decide.robust import chance_of, find_robust, safety_at, tightened
from quietcool.decide.uncertainty import draw
from quietcool.entry.build import Build
from quietcool.show.schemas import schema_of


def coarse(build: Build, steps: int, seat_limit: float) -> Build:
    """The demo with few steps, so that every setting can be tried, and a level that leaves room to be safe."""

    def few(ranges):
        return replace(ranges, step=(ranges.highest - ranges.lowest) / steps, may_stop=False, avoid=())

    groups = tuple(replace(group, speeds=few(group.speeds)) for group in build.fan_groups)
    places = (replace(build.positions[0], limit=seat_limit), *build.positions[1:])
    loop = replace(build.loop, pump_speeds=few(build.loop.pump_speeds))
    return replace(build, fan_groups=groups, loop=loop, positions=places)


@pytest.fixture(scope="module")
def rig() -> Build:
    return coarse(read_build(str(demo_path("sample_room"))), 7, 40.0)


@pytest.mark.slow
def test_a_robust_setting_is_near_the_best_of_all_settings(rig):
    found = find_robust(rig, ["bounce"], confidence=0.9, seconds=5.0).settings[0]
    assert found.reached
    grids = [ranges.admissible() for ranges in rig.speed_ranges]
    settings = np.array(list(itertools.product(*grids)))
    draws = draw(rig, count=200, seed=11)
    state = rig.state("bounce")
    nominal = solve_operating_point(rig, state, settings)
    order = np.argsort(nominal.level[:, 0])
    hopeful = [i for i in order if margins(rig, state, nominal)[i].min() > 0.0]
    best = next(i for i in hopeful if chance_of(rig, ["bounce"], settings[i], draws) >= 0.9)
    # Exhaustive search with 200 draws is off by two deviations of a share, 4 %: the quietest that holds in 94 % of them
    # cannot be quieter than the robust setting by chance, one that holds in 86 % may be.
    quieter = next(i for i in hopeful if chance_of(rig, ["bounce"], settings[i], draws) >= 0.86)
    assert found.robust.level >= nominal.level[quieter, 0] - 1e-9
    # One probability for all limits is one division among many: it may cost a step of one group, not more.
    assert found.robust.level <= nominal.level[best, 0] + 1.0
    assert found.nominal.level <= found.robust.level


def test_fresh_draws_confirm_the_chance(rig):
    found = find_robust(rig, ["edit"], confidence=0.8, seconds=3.0, seed=2).settings[0]
    assert found.reached
    other = chance_of(rig, ["edit"], found.robust.speeds, draw(rig, count=3000, seed=99))
    assert other == pytest.approx(found.chance, abs=0.03)  # three deviations of a share of 0.8 in 3,000, twice
    assert other >= 0.78
    assert found.nominal_chance <= found.chance


def test_tightened_limits_leave_the_margin_they_ask_for(rig):
    state = rig.state("bounce")
    safety = {("bounce", limit.name): 0.5 * (i + 1) * (1e-6 if limit.unit == "m3/s" else 1.0)
              for i, limit in enumerate(limits(rig, state))}  # fmt: skip
    tight = tightened(rig, safety)
    speeds = [ranges.highest for ranges in rig.speed_ranges]
    before = margins(rig, state, solve_operating_point(rig, state, speeds))
    after = margins(tight, tight.state("bounce"), solve_operating_point(tight, tight.state("bounce"), speeds))
    assert before - after == pytest.approx(np.array(list(safety.values())), rel=1e-6)
    assert limits(tight, tight.state("idle")) != limits(rig, rig.state("idle"))  # points have one limit for all states


def test_safety_is_the_quantile_of_the_error():
    # Of a normal error of 1 K, the 10 % quantile is -1.2816: any handbook of statistics.
    from scipy.special import ndtri

    drawn = {("s", "coolant"): ndtri((np.arange(2000) + 0.5) / 2000), ("s", "better"): np.full(9, 3.0)}
    found = safety_at(drawn, 0.1)
    assert found["s", "coolant"] == pytest.approx(1.2816, abs=0.002)
    assert found["s", "better"] == 0.0


def test_what_cannot_be_reached_is_said(rig):
    hard = replace(rig, positions=(replace(rig.positions[0], limit=19.5), *rig.positions[1:]))
    found = find_robust(hard, ["bounce"], confidence=0.95, seconds=1.0)
    assert not found.reached
    assert found.settings[0].chance >= found.settings[0].nominal_chance - 0.02


def test_the_command_line_answers_side_by_side(capsys):
    words = ["quietest", str(demo_path("sample_room")), "--state", "idle", "--confidence", "0.6", "--seconds", "2"]
    assert run([*words, "--json", "--draws", "50"]) == 0
    answer = json.loads(capsys.readouterr().out)
    jsonschema.validate(answer, schema_of("quietest"))
    robust = answer["robust"]["settings"][0]
    assert robust["chance"] >= 0.6 > robust["nominal_chance"]
    assert run([*words, "--minimise", "nc"]) == 2
    assert run([*words[:-4], "--confidence", "1.5"]) == 2
