"""Octave spectra of whole builds: worked chains in plain energies, agreement with the single numbers, properties."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quietcool.entry.build import Installation, NoiseSource, Position, Resistance, Room, Screen
from quietcool.physics import sound
from quietcool.solve.noise import predict_noise
from quietcool.solve.spectra import (
    CHUNK,
    fixed_band_levels,
    predict_spectra,
    pump_band_levels,
    rig_spectrum,
    row_band_levels,
)
from tests.sounding_builds import CORE, RPM, SPECTRUM, SURFACE, fan, octaves, one_number, path, row, sounding

A_OCTAVES = (0.08, 0.10, 0.15, 0.25, 0.30, 0.35, 0.40, 0.40, 0.40)
PARTITION = (12.0, 15.0, 18.0, 22.0, 26.0, 29.0, 32.0, 34.0, 35.0)
speeds = st.floats(1.0, 40.0)


def two_groups(*more_paths, **more):
    fans = {"a": fan(octaves(floor_power_level=11.0)), "b": fan(one_number(34.0, load_adder_scale=1.5))}
    paths = (path(row(2, 0.02, "a"), CORE, row(3, 0.03, "b")), path(row(4, group="a"), name="rear"), *more_paths)
    positions = (
        Position("near", 0.5, 1.0, "distance", partition=4.0),
        Position("far", 3.0, 2.0, "room", partition=PARTITION, background=15.0, self_noise=9.0),
    )
    room = Room(295.0, volume=30.0, surface=SURFACE, mean_absorption=A_OCTAVES)
    fixed = (NoiseSource("supply", 18.0), NoiseSource("whine", 8.0, tone=3000.0), NoiseSource("drive", 0.0, SPECTRUM))
    drive = replace(fixed[2], power_level=float(sound.a_weighted_level(SPECTRUM)) - 20.0)
    given = {"positions": positions, "room": room, "noise_sources": (*fixed[:2], drive), **more}
    return sounding(*paths, fans=fans, mounting=6.0, **given)


def test_worked_chain_from_a_sheet_to_the_microphone():
    # Every step by hand in energies. Octaves at 0.5 m, suspended: + 20 lg 0.5 + 10 lg 4 pi (Bies, Hansen & Howard,
    # "Engineering Noise Control", 5th ed., chapter 4); to 10^-0.3 of the speed: one octave down, - 15 dB in all;
    # three fans behind a core, flush: + 3 dB (common practice, no source); room and partition by octave (eq. 6.43).
    reading = np.array(SPECTRUM)
    power = reading + 20.0 * np.log10(0.5) + 10.0 * np.log10(4.0 * np.pi)
    shape = np.array([*power[1:], power[-1]])
    slid = shape - 10 * np.log10(np.sum(10 ** (shape / 10))) + 10 * np.log10(np.sum(10 ** (power / 10))) - 15.0
    row_power = slid + 3.0 + 10.0 * np.log10(3.0)
    a = np.array(A_OCTAVES[1:])
    gain = 2 / (4 * np.pi * 2.25) + 4 * (1 - a) / (SURFACE * a)
    by_hand = row_power + 10 * np.log10(gain) - np.array(PARTITION[1:])

    sheet = octaves(tuple(power.tolist()))
    build = sounding(
        path(CORE, row(3)),
        fans={"side": fan(sheet)},
        room=Room(295.0, surface=SURFACE, mean_absorption=A_OCTAVES),
        positions=(Position("microphone", 1.5, 2.0, "room", partition=PARTITION, background=14.0, self_noise=7.0),),
    )
    state = predict_spectra(build, [1500 * RPM / 10**0.3, 0.0], [0.8])
    np.testing.assert_allclose(state.rig[0, 1:], by_hand, atol=1e-9)
    weights = np.array([-26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1])  # IEC 61672-1:2013, Table 3
    level = 10 * np.log10(np.sum(10 ** ((by_hand + weights) / 10)))
    assert state.level[0] == pytest.approx(level, abs=0.05)
    assert predict_noise(build, [1500 * RPM / 10**0.3, 0.0], [0.8]).level[0] == pytest.approx(level, abs=0.05)
    total = predict_noise(build, [1500 * RPM / 10**0.3, 0.0], [0.8]).total[0]
    assert total == pytest.approx(10 * np.log10(10 ** (level / 10) + 10**1.4 + 10**0.7), abs=0.05)


def test_worked_single_numbers_in_octaves():
    # Six fans of 22.0 dB(A) at 1 m suspended at 1500 rpm, at 900 rpm (k = 55), three flush behind a core; pump 28;
    # room R = 33.3342 m2, Q = 2, 0.8 m: 27.9936 dB(A) by hand (Bies, Hansen & Howard, 5th ed., chapters 4 and 6).
    sheet = one_number(float(sound.power_level_from_pressure_level(22.0, 1.0, "suspended")))
    build = sounding(path(CORE, row(3)), path(row(3), name="rear"), fans={"side": fan(sheet)})
    state = predict_spectra(build, [900 * RPM, 3000 * RPM], [0.8, 0.8])
    assert state.level[0] == pytest.approx(27.9936, abs=1e-3)
    assert sound.a_weighted_level(state.rig[0]) == pytest.approx(27.9936, abs=1e-3)


@settings(deadline=None, max_examples=30)  # the machine may be busy
@given(speeds, speeds, speeds, st.floats(-0.3, 1.2))
def test_octaves_and_single_numbers_agree(first, second, pump, share):
    build = two_groups()
    chosen, shares = [first, second, pump], [share, 0.5, 0.9]
    one, many = predict_noise(build, chosen, shares), predict_spectra(build, chosen, shares)
    np.testing.assert_allclose(many.level, one.level, atol=1e-9)
    np.testing.assert_allclose(many.contribution_levels[:3], one.contributions, atol=1e-9)
    np.testing.assert_allclose(many.contribution_levels[3:], one.fixed, atol=1e-9)
    np.testing.assert_allclose(rig_spectrum(build, chosen, shares), many.rig, atol=1e-9)
    np.testing.assert_allclose(sound.sum_levels(many.contributions, axis=0), many.rig, atol=1e-9)


def test_without_a_tone_the_octaves_of_every_source_sum_to_its_number():
    state = predict_spectra(two_groups(), [20.0, 15.0, 40.0], [0.8, 0.5, 0.9])
    plain = [i for i, name in enumerate(state.sources) if name != "whine"]
    weighted = sound.a_weighted_level(state.contributions[plain])
    np.testing.assert_allclose(weighted, state.contribution_levels[plain], atol=1e-9)
    # The tone has the weight of 3 kHz, not that of the octave of 2 or 4 kHz (IEC 61672-1:2013, Annex E).
    whine = state.sources.index("whine")
    octave = float(np.max(state.contributions[whine, 0]))
    assert state.contribution_levels[whine, 0] - octave == pytest.approx(float(sound.a_weighting(3000.0)), abs=1e-9)


def test_parts_of_the_bound_are_parts_of_the_whole():
    build = two_groups()
    shares = [0.8, 0.5, 0.9]
    state = predict_spectra(build, [20.0, 15.0, 40.0], shares)
    rows = [(build.air_paths[0], 0, 20.0), (build.air_paths[0], 1, 15.0), (build.air_paths[1], 0, 20.0)]
    parts = [row_band_levels(build, p, i, n, s) for (p, i, n), s in zip(rows, shares, strict=True)]
    parts += [pump_band_levels(build, 40.0), *fixed_band_levels(build)]
    np.testing.assert_allclose(sound.sum_levels(np.array(parts), axis=0), state.rig, atol=1e-9)


def test_a_batch_is_its_cases_and_chunks_do_not_show():
    build = two_groups()
    rng = np.random.default_rng(3)
    count = CHUNK + 40
    chosen, shares = rng.uniform(0.0, 40.0, (count, 3)), rng.uniform(-0.2, 1.2, (count, 3))
    batch = predict_spectra(build, chosen, shares)
    assert batch.contributions.shape == (count, 6, 2, 9)
    for case in (0, 1, CHUNK - 1, CHUNK, count - 1):
        alone = predict_spectra(build, chosen[case], shares[case])
        for name in ("contributions", "contribution_levels", "rig", "total"):
            np.testing.assert_allclose(getattr(batch, name)[case], getattr(alone, name), atol=1e-9)


def test_memory_is_bounded_by_the_answer():
    build = two_groups()
    rng = np.random.default_rng(3)
    chosen, shares = rng.uniform(5.0, 40.0, (12 * CHUNK, 3)), rng.uniform(0.0, 1.0, (12 * CHUNK, 3))
    tracemalloc.start()
    try:
        state = predict_spectra(build, chosen, shares)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    answer = sum(getattr(state, n).nbytes for n in ("contributions", "contribution_levels", "rig", "total"))
    assert peak < 2.5 * answer


def test_a_stopped_group_is_silent_in_every_octave():
    state = predict_spectra(two_groups(), [0.0, 15.0, 40.0], [np.nan, 0.5, np.nan])
    assert np.all(state.contributions[0] == -np.inf)
    assert np.all(np.isfinite(state.level))


@settings(deadline=None, max_examples=30)  # the machine may be busy
@given(speeds, speeds, speeds, st.floats(0.0, 10.0))
def test_level_never_falls_when_a_speed_rises(first, second, pump, rise):
    build, shares = two_groups(), [0.8, 0.5, 0.9]
    before = predict_spectra(build, [first, second, pump], shares).level
    for group in range(3):
        faster = np.array([first, second, pump])
        faster[group] += rise
        assert np.all(predict_spectra(build, faster, shares).level >= before - 1e-9)


@settings(deadline=None, max_examples=30)  # the machine may be busy
@given(st.floats(0.1, 10.0), st.floats(0.1, 10.0), st.floats(0.02, 0.98), st.floats(0.02, 0.98))
def test_no_octave_falls_when_distance_or_absorption_falls(one, other, low, high):
    near, far = sorted((one, other))
    dead, live = max(low, high), min(low, high)

    def rig(distance, absorption):
        position = Position("ear", distance, 2.0, "room")
        room = Room(295.0, surface=SURFACE, mean_absorption=(absorption,) * 8)
        build = sounding(path(CORE, row(2)), fans={"side": fan(octaves())}, positions=(position,), room=room)
        return predict_spectra(build, [20.0, 30.0], [0.8]).rig[..., 1:]

    assert np.all(rig(near, dead) >= rig(far, dead) - 1e-9)
    assert np.all(rig(near, live) >= rig(near, dead) - 1e-9)


def test_no_octave_falls_when_a_fan_or_a_source_is_added():
    before = predict_spectra(two_groups(), [20.0, 15.0, 40.0], [0.8, 0.5, 0.9]).rig
    more = two_groups(path(row(1, group="b"), name="more"))
    after = predict_spectra(more, [20.0, 15.0, 40.0], [0.8, 0.5, 0.9, 0.9]).rig
    assert np.all(after[..., 1:] > before[..., 1:])
    fewer = predict_spectra(two_groups(noise_sources=()), [20.0, 15.0, 40.0], [0.8, 0.5, 0.9]).rig
    assert np.all(before[..., 1:] >= fewer[..., 1:])


def test_order_of_paths_does_not_matter():
    build = two_groups()
    turned = replace(build, air_paths=build.air_paths[::-1])
    one = predict_spectra(build, [20.0, 15.0, 40.0], [0.8, 0.5, 0.9])
    other = predict_spectra(turned, [20.0, 15.0, 40.0], [0.9, 0.8, 0.5])
    np.testing.assert_allclose(one.rig, other.rig, atol=1e-9)


def test_adders_can_be_calibrated_and_switched_off():
    screen = Screen(Resistance("mesh", "filter", 10.0, 5.0, 2.5), area=0.05)
    build = sounding(path(screen, row(1), CORE), path(CORE, row(1), name="pull"))

    def levels(installation):
        heard = predict_noise(replace(build, installation=installation), [25.0, 0.0], [0.8, 0.8])
        return heard.power_levels[:2] - 33.0

    np.testing.assert_allclose(levels(Installation()), [4.5, 3.0])
    np.testing.assert_allclose(levels(Installation(used=False)), [0.0, 0.0], atol=1e-12)
    calibrated = Installation(broadband={"pull flush": 1.2, "screen before": 1.0})
    np.testing.assert_allclose(levels(calibrated), [3.0, 1.2])


def test_a_rig_without_fixed_sources_has_no_levels_of_them():
    build = sounding(path(row()))
    assert fixed_band_levels(build).shape == (0, 1, 9)
    without = predict_spectra(build, [20.0, 40.0], [0.8])
    parts = [row_band_levels(build, build.air_paths[0], 0, 20.0, 0.8), pump_band_levels(build, 40.0)]
    np.testing.assert_allclose(sound.sum_levels(np.array(parts), axis=0), without.rig, atol=1e-9)
