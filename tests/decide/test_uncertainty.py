"""Intervals, chances and rankings, held to closed forms, to plain Monte Carlo and to drawn truths."""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest

from quietcool import demo_path, read_build, solve_operating_point
from quietcool.decide.tolerances import uncertain_inputs
from quietcool.decide.uncertainty import Draws, draw, find_uncertainty, rank_causes
from quietcool.entry.build import NOWHERE, Build, Opening
from tests.decide.true_rigs import hits
from tests.plain_builds import plain_build


def present(build: Build) -> np.ndarray:
    return np.array([ranges.present or ranges.lowest for ranges in build.speed_ranges])


def lone_fan_model() -> Build:
    """One fan model far below its sheet's speed, everything else silent, no load adder: the level is linear."""
    build = plain_build(Opening(0.01, 2.0))
    groups = tuple(
        replace(g, fan=replace(g.fan, sound=replace(g.fan.sound, load_adder_scale=0.0))) for g in build.fan_groups
    )
    pump = replace(build.loop.pump, sound=replace(build.loop.pump.sound, power_level=NOWHERE))
    build = replace(build, fan_groups=groups, loop=replace(build.loop, pump=pump))
    # Two rows in places of the table that add different terms would not sum linearly: the plain path alone sounds.
    return replace(build, installation=replace(build.installation, used=False))


def test_interval_of_a_linear_case_is_that_of_the_sum_of_its_variances() -> None:
    build, speeds = lone_fan_model(), np.array([10.0, 30.0])
    # L = L_ref + e1 + (k + e2) lg(10/20) + e3 with e1, e2, e3 normal: 2, 5 and 1 dB are 1.96 deviations each.
    deviation = np.sqrt(2.0**2 + (5.0 * np.log10(0.5)) ** 2 + 1.0**2) / 1.959964
    known = find_uncertainty(build, "idle", speeds, draw(build, count=4000, seed=1))
    nominal = float(solve_operating_point(build, build.states[0], speeds).level[0])
    half = NormalDist().inv_cdf(0.95) * deviation
    assert float(known.low.level[0]) == pytest.approx(nominal - half, abs=0.03)
    assert float(known.high.level[0]) == pytest.approx(nominal + half, abs=0.03)


def test_chance_of_a_limit_in_a_linear_case() -> None:
    build, speeds = lone_fan_model(), np.array([10.0, 30.0])
    nominal = float(solve_operating_point(build, build.states[0], speeds).level[0])
    deviation = np.sqrt(2.0**2 + (5.0 * np.log10(0.5)) ** 2 + 1.0**2) / 1.959964
    limited = replace(build, positions=(replace(build.positions[0], limit=nominal + deviation),))
    known = find_uncertainty(limited, "idle", speeds, draw(limited, count=4000, seed=1))
    assert known.kept[-1] == pytest.approx(NormalDist().cdf(1.0), abs=0.01)
    assert known.all_kept == known.kept[-1]  # the only limit


def test_shares_in_a_linear_case() -> None:
    build, speeds = lone_fan_model(), np.array([10.0, 30.0])
    sheet, way = 2.0**2 + (5.0 * np.log10(0.5)) ** 2, 1.0**2
    ranking = rank_causes(build, "idle", speeds, base=2048)[-1]
    found = {cause.name: cause for cause in ranking.causes}
    assert found["straight sound"].first == pytest.approx(sheet / (sheet + way), abs=0.05)
    assert found["straight sound"].total == pytest.approx(sheet / (sheet + way), abs=0.05)
    assert found["distance transfer"].total == pytest.approx(way / (sheet + way), abs=0.03)
    assert found["core"].total == 0.0
    assert ranking.deviation == pytest.approx(np.sqrt(sheet + way) / 1.959964, rel=0.03)


def test_hypercube_and_plain_monte_carlo_agree() -> None:
    # JCGM 101:2008: plain Monte Carlo is the reference. 50,000 draws stand in tests/profiles; here 6,000.
    build = read_build(str(demo_path("sample_room")))
    inputs = uncertain_inputs(build)
    plain = Draws(inputs, np.random.default_rng(5).random((6000, len(inputs))), 5)
    reference = find_uncertainty(build, "bounce", present(build), plain)
    known = find_uncertainty(build, "bounce", present(build), draw(build, count=2000, seed=1))
    for name in ("coolant_temp_max", "point_temp", "enclosure_temp", "level", "air_flow", "coolant_flow"):
        low, high = getattr(reference.low, name), getattr(reference.high, name)
        width = high - low
        assert np.abs(getattr(known.low, name) - low) / width == pytest.approx(0.0, abs=0.05), name
        assert np.abs(getattr(known.high, name) - high) / width == pytest.approx(0.0, abs=0.05), name
    assert known.all_kept == pytest.approx(reference.all_kept, abs=0.02)


@pytest.mark.slow
def test_intervals_hold_the_truth_about_as_often_as_they_say() -> None:
    # 30 rigs here (binomial deviation of the share: see below); 1,000 in tests/profiles/coverage_profile.py.
    found: list[bool] = []
    for seed in range(30):
        for answers in hits(seed, count=128).values():
            found += answers
    # Quantities of one rig hang together: one rig counts as one draw. Four deviations of a share of 0.9 in 30.
    assert np.mean(found) == pytest.approx(0.9, abs=4.0 * np.sqrt(0.9 * 0.1 / 30.0))
    assert len(found) > 200


def test_one_seed_one_answer() -> None:
    build = read_build(str(demo_path("sample_room")))
    one = find_uncertainty(build, "edit", present(build), draw(build, count=100, seed=4))
    two = find_uncertainty(build, "edit", present(build), draw(build, count=100, seed=4))
    other = find_uncertainty(build, "edit", present(build), draw(build, count=100, seed=5))
    assert np.array_equal(one.low.point_temp, two.low.point_temp)
    assert one.all_kept == two.all_kept
    assert not np.array_equal(one.low.point_temp, other.low.point_temp)


def test_variants_of_a_build_share_their_draws() -> None:
    build = read_build(str(demo_path("sample_room")))
    front = build.air_paths[0]
    double = replace(front, stack=(*front.stack, front.stack[0]))
    variant = replace(build, air_paths=(double, *build.air_paths[1:]))
    shared = draw(build, variant, count=50, seed=1)
    one, two = shared.of(build).build, shared.of(variant).build
    assert np.array_equal(one.loop.pump.curve.flow_scale, two.loop.pump.curve.flow_scale)
    assert np.ndim(two.air_paths[0].series_efficiency) == 1
    assert np.ndim(one.air_paths[0].series_efficiency) == 0


def test_a_draw_without_a_steady_state_keeps_no_limit() -> None:
    build = read_build(str(demo_path("sample_room")))
    known = find_uncertainty(build, "edit", np.array([0.0, 0.0, 0.0]), draw(build, count=20, seed=4))
    assert known.all_kept == 0.0
    assert np.isnan(known.low.coolant_temp_max) or known.answered == 20
