"""Beats, bands to keep out of and speeds that bare a tone, against hand-worked numbers and plain searches."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from quietcool.entry.build import Position
from quietcool.solve.beats import bared_tones, beat_bands, find_beats
from quietcool.solve.tones import VERDICTS, ToneName, predict_tones
from tests.sounding_builds import RPM, fan, octaves, one_number, path, row, sounding

QUIET = (Position("ear", 0.5, background=0.0),)


def two_groups(blades=(7, 7), counts=(1, 1), spread=0.01, sheets=None, positions=QUIET):
    fans = {
        name: fan(sheet or one_number(40.0), blades=b)
        for name, b, sheet in zip("ab", blades, sheets or (None, None), strict=True)
    }
    build = sounding(path(row(counts[0], group="a")), path(row(counts[1], group="b")), fans=fans, positions=positions)
    groups = tuple(replace(group, speed_spread=spread) for group in build.fan_groups)
    return replace(build, fan_groups=groups)


def beats_of(build, *rpm):
    speeds = np.array([*rpm, 0.0]) * RPM
    return find_beats(build, predict_tones(build, speeds, [0.8, 0.8]), 0)


def between(beats, order=1):
    return next(
        b
        for b in beats
        if b.first.source == "a" and b.second.source == "b" and b.first.order == b.second.order == order
    )


def test_the_beat_of_two_groups():
    # By definition: 7 blades at 1000 and 1012 rpm, 7 x 12 / 60 = 1.4 Hz; harmonics beat as many times faster. At nearly
    # equal levels the swing is deep: 20 lg((1 + r) / (1 - r)).
    beats = beats_of(two_groups(), 1000.0, 1012.0)
    one = between(beats)
    assert one.frequency == pytest.approx(1.4, abs=1e-9)
    assert between(beats, 2).frequency == pytest.approx(2.8, abs=1e-9)
    r = 10 ** (-abs(one.level_difference) / 20)
    assert one.depth == pytest.approx(20 * np.log10((1 + r) / (1 - r)))
    assert one.noticed
    # 55 lg(1012 / 1000), the speed law of single numbers.
    assert one.level_difference == pytest.approx(55 * np.log10(1.012), abs=1e-9)


@pytest.mark.parametrize(
    ("rpm", "noticed"),
    [((1000.0, 1000.0), False), ((1000.0, 1060.0), True), ((1000.0, 1130.0), False), ((1000.0, 500.0), False)],
)
def test_slow_and_fast_beats_go_unnoticed(rpm, noticed):  # common practice: between 0.3 and 15 Hz
    pairs = [b for b in beats_of(two_groups(), *rpm) if {b.first.source, b.second.source} == {"a", "b"}]
    assert any(b.noticed for b in pairs if b.first.order == b.second.order == 1) == noticed


def test_unequal_tones_do_not_beat_deeply():
    loud, soft = one_number(45.0), one_number(34.0)  # 11 dB apart: 5.1 dB of swing at most, the closed form
    beat = between(beats_of(two_groups(sheets=(loud, soft)), 1000.0, 1010.0))
    assert beat.depth < 5.7
    assert not beat.noticed


def test_what_is_masked_does_not_beat():
    drowned = (Position("ear", 0.5, background=80.0),)
    assert not any(b.noticed for b in beats_of(two_groups(positions=drowned), 1000.0, 1012.0))


def test_different_blade_counts_meet_at_other_speeds():
    # 7 x 900 rpm = 9 x 700 rpm, 105 Hz both; 9 more rpm of the second make 9 x 9 / 60 = 1.35 Hz.
    beat = between(beats_of(two_groups(blades=(7, 9)), 900.0, 709.0))
    assert beat.frequency == pytest.approx(1.35, abs=1e-9)


def test_fans_of_one_group_beat_by_their_spread():
    # By definition: a spread of 2 % of 7 x 1200 / 60 = 140 Hz is 2.8 Hz; equal tones can cancel altogether.
    beats = beats_of(two_groups(counts=(3, 1), spread=0.02), 1200.0, 0.0)
    own = [b for b in beats if b.first == b.second]
    assert {b.first.source for b in own} == {"a"}  # a lone fan has nobody to beat with
    first = next(b for b in own if b.first == ToneName("a", "blade pass", 1))
    assert first.frequency == pytest.approx(2.8)
    assert first.depth == np.inf
    assert first.noticed


def test_bands_to_keep_out_of():
    # The other blade pass stays 15 Hz away: 15 x 60 / 7 = 128.6 rpm either side of the same speed, by definition.
    build = two_groups()
    speeds = np.array([1000.0, 1012.0, 0.0]) * RPM
    (band,) = beat_bands(build, predict_tones(build, speeds, [0.8, 0.8]), speeds, 0)
    assert (band.group, band.other, band.other_speed) == ("b", "a", pytest.approx(1000.0 * RPM))
    assert np.array(band.band) / RPM == pytest.approx([1000.0 - 900.0 / 7.0, 1000.0 + 900.0 / 7.0])
    # Inside the band the pair beats, outside it does not: what the band promises.
    for rpm, inside in ((880.0, True), (1120.0, True), (870.0, False), (1130.0, False)):
        pair = [b for b in beats_of(build, 1000.0, rpm) if b.first.order == b.second.order == 1]
        assert any(b.first.source != b.second.source for b in pair) == inside


def test_no_bands_without_beats():
    build = two_groups()
    speeds = np.array([1000.0, 1500.0, 0.0]) * RPM
    assert beat_bands(build, predict_tones(build, speeds, [0.8, 0.8]), speeds, 0) == ()


def test_speeds_that_bare_a_tone_against_a_plain_search():
    strong = octaves(tone_increment=20.0)
    build = sounding(path(row()), fans={"side": fan(strong)}, positions=(Position("ear", 1.0, background=30.0),))
    present = np.array([1240.0, 3000.0]) * RPM
    point = SimpleNamespace(speeds=present, load_share=np.array([0.8]))
    found = {bared.group: bared for bared in bared_tones(build, point, 0, build.state("render"))}

    def bare(speed):
        tones = predict_tones(build, [speed, present[1]], [0.8])
        mine = [i for i, name in enumerate(tones.names) if name.source == "side"]
        return any(tones.verdict[i, 0] == VERDICTS.index("prominent") for i in mine)

    allowed = [s for s in build.speed_ranges[0].admissible() if s > 0.0]
    by_hand = {s for s in allowed if bare(s)}
    side = found["side"]
    inside = {s for s in allowed for low, high in side.bands if low - 1e-9 <= s <= high + 1e-9}
    assert inside == by_hand
    assert 0 < len(by_hand) < len(allowed)  # the case tells both apart
    assert side.prominent_now == bare(present[0])
    slower = [s for s in allowed if s < present[0] - 1e-9 and s not in by_hand]
    faster = [s for s in allowed if s > present[0] + 1e-9 and s not in by_hand]
    assert side.slower == (slower[-1] if slower else None)
    assert side.faster == (faster[0] if faster else None)
    assert found["pump"].bands == ()


def test_a_group_without_tones_bares_none():
    build = sounding(path(row()), fans={"side": fan(octaves(), blades=None)})
    point = SimpleNamespace(speeds=np.array([1240.0, 3000.0]) * RPM, load_share=np.array([0.8]))
    assert [bared.group for bared in bared_tones(build, point, 0, build.state("render"))] == ["pump"]
