"""Errors of inputs put into builds: what moves, what does not, and what the model makes of one case of them."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from quietcool import demo_path, read_build, solve_operating_point
from quietcool.decide.tolerances import COVERAGE, uncertain_inputs
from quietcool.decide.uncertainty import Draws, draw
from quietcool.decide.variation import changes, solve_varied, vary
from quietcool.entry.build import Build, NoiseSource, Position, Sound
from quietcool.physics.sound import a_weighted_level
from quietcool.solve.cases import map_arrays
from tests.random_builds import random_build, random_speeds

DEMOS = ("booth_wall", "sample_room")


def demo(name: str) -> Build:
    return read_build(str(demo_path(name)))


def present(build: Build) -> np.ndarray:
    return np.array([ranges.present or ranges.lowest for ranges in build.speed_ranges])


@pytest.mark.parametrize("name", DEMOS)
def test_without_errors_it_is_the_build_itself(name: str) -> None:
    build = demo(name)
    inputs = uncertain_inputs(build)
    nominal = solve_operating_point(build, build.states[0], present(build))
    varied = solve_varied(vary(build, inputs, np.full((3, len(inputs)), 0.5)), build.states[0].name, present(build))
    for field in fields(nominal):
        if field.name not in ("iterations", "residual", "worst_path"):
            found, expected = getattr(varied, field.name), getattr(nominal, field.name)
            assert np.broadcast_to(found, (3, *expected.shape)) == pytest.approx(
                np.broadcast_to(expected, (3, *expected.shape)), rel=1e-9, abs=1e-12, nan_ok=True
            ), field.name


@pytest.mark.parametrize("seed", [3, 8])
def test_a_case_alone_is_the_case_in_its_batch(seed: int) -> None:
    build = random_build(seed)
    speeds = random_speeds(build, np.random.default_rng(seed), 1)[0]
    varied = draw(build, count=20, seed=seed).of(build)
    batch = solve_varied(varied, build.states[0].name, speeds)
    alone = map_arrays(varied.build, lambda array: float(array[7]))
    point = solve_operating_point(alone, alone.states[0], speeds)
    assert float(point.coolant_temp_max) == pytest.approx(float(batch.coolant_temp_max[7]), abs=1e-9)
    shifts = [varied.position_shift.get(place.name, np.zeros(20))[7] for place in build.positions]
    assert point.level + np.array(shifts) == pytest.approx(batch.level[7], abs=1e-9)


@pytest.mark.parametrize("name", DEMOS)
def test_every_input_moves_something_and_only_what_it_may(name: str) -> None:
    build = demo(name)
    inputs = uncertain_inputs(build)
    state, speeds = build.states[-1], 0.9 * present(build)  # at the speed of its sheet a speed law says nothing
    nominal = solve_operating_point(build, state, speeds)
    for one in inputs:
        point = solve_varied(vary(build, [one], np.array([[0.95]])), state.name, speeds)
        heat = abs(float(point.coolant_temp_max.ravel()[0]) - float(nominal.coolant_temp_max))
        warm = max(heat, np.abs(point.point_temp - nominal.point_temp).max())
        loud = np.abs(point.level - nominal.level).max()
        about_sound = one.kind.endswith(("level", "adder", "transfer")) or one.kind == "partition"
        if about_sound:
            assert loud > 0.0, one.name
            assert warm == 0.0, one.name
        elif one.kind != "passive conductance":  # forced exchange is far above it while fans turn
            assert warm > 0.0, one.name


def test_the_expected_sign_of_strong_inputs() -> None:
    build = demo("sample_room")
    state = build.state("bounce")

    def coolant(kind: str, score: float) -> float:
        inputs = [one for one in uncertain_inputs(build) if one.kind == kind]
        varied = vary(build, inputs, np.full((1, len(inputs)), score))
        return float(solve_varied(varied, state.name, present(build)).coolant_temp_max.ravel()[0])

    # Common practice, no source: more heat, a warmer room, a denser core warm the coolant; better exchange cools it.
    for kind in ("heat", "room temperature", "air resistance"):
        assert coolant(kind, 0.9) > coolant(kind, 0.1), kind
    for kind in ("air-side conductance", "fan pressure", "fan flow"):
        assert coolant(kind, 0.9) < coolant(kind, 0.1), kind


def test_fans_of_one_model_share_their_errors() -> None:
    build = demo("booth_wall")  # groups "bottom" and "top" have one model
    fans = [group.fan for group in draw(build, count=9, seed=1).of(build).build.fan_groups]
    assert np.array_equal(fans[1].curve.pressure_scale, fans[2].curve.pressure_scale)
    assert not np.array_equal(fans[0].curve.pressure_scale, fans[2].curve.pressure_scale)


def test_the_sheet_states_the_tolerance() -> None:
    build = demo("booth_wall")
    found = {(one.kind, one.target): one for one in uncertain_inputs(build)}
    # data_demo/booth_wall/parts/fan-b-120x30.toml: 8 % of its curve, 2 dB of its level; the others: 10 % by default.
    assert found["fan flow", "fan-b-120x30"].spread == pytest.approx(np.log(1.08))
    assert found["fan level", "fan-b-120x30"].spread == 2.0
    assert found["air-side conductance", "radiator-p-480x60"].spread == pytest.approx(np.log(1.10))
    assert ("series efficiency", "") not in found  # no stack of this demo has two rows


def test_a_tolerance_is_the_half_width_of_95_percent() -> None:
    build = demo("booth_wall")
    level = next(one for one in uncertain_inputs(build) if one.kind == "fan level")
    ends = changes([level], np.array([[0.025], [0.975]]))[0]
    assert ends == pytest.approx([-2.0, 2.0], abs=1e-4)  # the normal quantile of 97.5 % is 1.960
    assert COVERAGE == 1.96


def test_levels_of_spectra_and_of_fixed_sources_move_too() -> None:
    build = demo("sample_room")
    bands = (30.0, 28.0, 27.0, 24.0, 20.0, 15.0, 10.0, 5.0)
    level = float(a_weighted_level(bands))  # the one number beside a spectrum is its A-weighted sum
    groups = tuple(
        replace(g, fan=replace(g.fan, sound=Sound(level, g.fan.sound.speed, 50.0, bands=bands)))
        for g in build.fan_groups
    )
    whine = NoiseSource("supply", 22.0)
    far = Position("far", 4.0)
    build = replace(build, fan_groups=groups, noise_sources=(whine,), positions=(*build.positions, far))
    draws = draw(build, count=400, seed=2)
    point = solve_varied(draws.of(build), "edit", present(build))
    one = next(i for i, o in enumerate(draws.inputs) if o.kind == "fan level")
    assert np.corrcoef(draws.scores[:, one], point.contributions[:, 0, 0])[0, 1] > 0.3
    supply = [i for i, o in enumerate(draws.inputs) if o.kind == "noise source level"]
    only = Draws(tuple(draws.inputs[i] for i in supply), np.array([[0.9]]), 0)
    louder = solve_varied(only.of(build), "edit", present(build)).level
    assert np.all(louder > solve_operating_point(build, build.state("edit"), present(build)).level)
