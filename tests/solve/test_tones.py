"""Tones of whole builds against hand-worked frequencies, levels and the criteria of ECMA-418-1."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quietcool.entry.build import NoiseSource, Position, Sound
from quietcool.physics import sound
from quietcool.solve.tones import HARMONIC_FALL, VERDICTS, ToneName, predict_tones
from tests.sounding_builds import CORE, RPM, SPECTRUM, fan, octaves, one_number, path, row, sounding

FREE = Position("ear", 1.0)
DEAF = (Position("ear", 1.0, background=-40.0),)


def heard(build, speeds, shares, position=0, state=None):
    """Every tone by its name: frequency, level, verdict."""
    found = predict_tones(build, speeds, shares, state)
    return {
        name: (float(found.frequency[i]), float(found.level[i, position]), VERDICTS[int(found.verdict[i, position])])
        for i, name in enumerate(found.names)
    }


def test_frequencies_by_definition():
    # Blades and vanes that pass a point in a second: 1200 rpm x 9, 4800 rpm x 6.
    build = sounding(path(row()), fans={"side": fan(one_number(), blades=9)}, vanes=6)
    found = heard(build, [1200 * RPM, 4800 * RPM], [0.8])
    assert found[ToneName("side", "blade pass", 1)][0] == pytest.approx(180.0)
    assert found[ToneName("side", "blade pass", 3)][0] == pytest.approx(540.0)
    assert found[ToneName("pump", "rotation", 1)][0] == pytest.approx(80.0)
    assert found[ToneName("pump", "vanes", 1)][0] == pytest.approx(480.0)
    assert found[ToneName("pump", "vanes", 2)][0] == pytest.approx(960.0)


def test_no_tones_without_blades_or_vanes():
    build = sounding(path(row()), fans={"side": fan(one_number(), blades=None)})
    assert list(heard(build, [20.0, 40.0], [0.8])) == [ToneName("pump", "rotation", 1)]


def test_level_of_a_blade_pass_by_hand():
    # At its sheet's speed 7 blades at 1500 rpm make 175 Hz, in the octave of 125 Hz (89 to 178 Hz) with 42 dB; the
    # handbook's increment of 7 dB makes a tone of 42 + 6.03 dB (Long, "Architectural Acoustics", 2nd ed., Table 13.5);
    # three fans + 4.77 dB, flush behind a core + 6 dB on tones (common practice, no source); 1 m in the open - 10.99.
    build = sounding(path(CORE, row(3)), fans={"side": fan(octaves())}, positions=(FREE,))
    found = heard(build, [1500 * RPM, 0.0], [0.8])
    tone = 42.0 + 10 * np.log10(10**0.7 - 1) + 10 * np.log10(3.0) + 6.0 - 10 * np.log10(4 * np.pi)
    assert found[ToneName("side", "blade pass", 1)][1] == pytest.approx(tone, abs=1e-9)
    # 350 Hz lies in the octave of 250 Hz, 45 dB; harmonics fall by 6 dB (common practice, no source).
    second = tone - 42.0 + 45.0 - HARMONIC_FALL
    assert found[ToneName("side", "blade pass", 2)][1] == pytest.approx(second, abs=1e-9)


def test_the_load_adder_is_on_tones_too():
    build = sounding(path(row()), fans={"side": fan(octaves())}, positions=(FREE,))
    free, loaded = (heard(build, [25.0, 0.0], [share])[ToneName("side", "blade pass", 1)][1] for share in (0.8, 0.3))
    assert loaded - free == pytest.approx(2.25)  # half of 4.5 dB, common practice, no source


def test_a_sheet_may_say_how_strong_its_tone_is():
    weak = sounding(path(row()), fans={"side": fan(octaves(tone_increment=1.0))}, positions=(FREE,))
    strong = sounding(path(row()), fans={"side": fan(octaves(tone_increment=10.0))}, positions=(FREE,))
    one, other = (heard(b, [25.0, 0.0], [0.8])[ToneName("side", "blade pass", 1)][1] for b in (weak, strong))
    # By definition of the increment I: tone over noise 10 lg(10^(I/10) - 1).
    assert other - one == pytest.approx(10 * np.log10(9.0) - 10 * np.log10(10**0.1 - 1))


def test_a_fixed_tone_has_its_own_weight():  # IEC 61672-1:2013, Annex E: A(480 Hz) = -3.5102 dB
    whine = NoiseSource("whine", 15.0, tone=480.0)
    build = sounding(path(row()), positions=(FREE,), noise_sources=(whine,))
    level = heard(build, [20.0, 40.0], [0.8])[ToneName("whine", "fixed", 1)][1]
    assert level == pytest.approx(15.0 + 3.5102 - 10.9921, abs=1e-3)


def test_masking_and_ratio_by_hand():
    # A tone of 350 Hz over noise of 10 dB in every hertz: masking 10 + 10 lg 108.655 dB (ECMA-418-1), noise
    # from the background of the position only, for fan and pump stand still.
    middle = 1000.0 * 10.0 ** (0.3 * np.arange(-5.0, 4.0))
    white = tuple((10.0 + 10.0 * np.log10(middle * (10**0.15 - 10**-0.15))).tolist())
    position = Position("ear", 1.0, background_bands=white)
    for level, verdict in ((20.0, "masked"), (33.0, "audible"), (42.0, "audible"), (42.3, "prominent")):
        whine = NoiseSource("whine", level + 10.9921 + float(sound.a_weighting(350.0)), tone=350.0)
        build = sounding(path(row()), positions=(position,), noise_sources=(whine,))
        found = predict_tones(build, [0.0, 0.0], [0.8])
        place = found.names.index(ToneName("whine", "fixed", 1))
        assert found.level[place, 0] == pytest.approx(level, abs=1e-3)
        assert found.masking[place, 0] == pytest.approx(30.3605, abs=1e-3)
        assert found.tone_to_noise[place, 0] == pytest.approx(level - 30.3605, abs=2e-3)
        assert found.tone_to_noise_limit[place] == pytest.approx(11.7979, abs=1e-4)
        assert found.prominence_limit[place] == pytest.approx(13.5593, abs=1e-4)
        assert VERDICTS[int(found.verdict[place, 0])] == verdict


@pytest.mark.parametrize(
    ("level", "frequency", "verdict"),
    [
        # ISO 226:2003: 4.4 dB is heard at 500 Hz. ECMA-418-1: prominent from 10.51 dB over the noise there.
        (4.0, 500.0, "below hearing"),
        (5.0, 500.0, "prominent"),
        (60.0, 80.0, "not rated"),
        (36.0, 63.0, "below hearing"),
        (30.0, 12000.0, "not rated"),
    ],
)
def test_verdicts_in_a_silent_room(level, frequency, verdict):
    whine = NoiseSource("whine", level + 10.9921 + float(sound.a_weighting(frequency)), tone=frequency)
    build = sounding(path(row()), positions=DEAF, noise_sources=(whine,))
    assert heard(build, [0.0, 0.0], [0.8])[ToneName("whine", "fixed", 1)][2] == verdict


def test_a_tone_under_the_noise_is_masked():
    # Zwicker & Fastl, "Psychoacoustics", chapter 4: some 2 dB under the noise of its critical band a tone is not heard.
    noise = Position("ear", 1.0, background=50.0)
    levels = predict_tones(
        sounding(path(row()), positions=(noise,), noise_sources=(NoiseSource("w", 20.0, tone=500.0),)),
        [0.0, 0.0],
        [0.8],
    ).masking[-1, 0]
    for over, verdict in ((-4.0, "masked"), (0.0, "audible")):
        power = levels + over + 10.9921 + float(sound.a_weighting(500.0))
        build = sounding(path(row()), positions=(noise,), noise_sources=(NoiseSource("w", float(power), tone=500.0),))
        assert heard(build, [0.0, 0.0], [0.8])[ToneName("w", "fixed", 1)][2] == verdict


def test_two_close_tones_are_judged_as_one():
    # ECMA-418-1: near 212 Hz tones closer than 21 Hz are one; two equal ones are 3.01 dB over one.
    def ratio(*frequencies):
        whines = tuple(
            NoiseSource(f"w{i}", 30.0 + float(sound.a_weighting(f)), tone=f) for i, f in enumerate(frequencies)
        )
        build = sounding(path(row()), positions=(Position("ear", 1.0, background=20.0),), noise_sources=whines)
        found = predict_tones(build, [0.0, 0.0], [0.8])
        return found.tone_to_noise[found.names.index(ToneName("w0", "fixed", 1)), 0]

    alone = ratio(212.0)
    assert ratio(212.0, 222.0) - alone == pytest.approx(10 * np.log10(2.0), abs=1e-6)
    assert ratio(212.0, 240.0) == pytest.approx(alone, abs=1e-9)


def test_a_stopped_fan_has_no_tone():
    build = sounding(path(row()), positions=(FREE,))
    found = heard(build, [0.0, 40.0], [np.nan])
    assert found[ToneName("side", "blade pass", 1)] == (0.0, -np.inf, "silent")


def test_a_batch_is_its_cases():
    whine = NoiseSource("whine", 15.0, tone=900.0)
    fans = {"a": fan(octaves()), "b": fan(one_number(34.0), blades=9)}
    positions = (FREE, Position("far", 2.0, 2.0, "room", background=20.0, self_noise=9.0))
    build = sounding(
        path(row(2, group="a"), CORE, row(2, group="b")),
        fans=fans,
        positions=positions,
        noise_sources=(whine,),
        vanes=6,
    )
    rng = np.random.default_rng(2)
    speeds, shares = rng.uniform(0.0, 40.0, (3, 4, 3)), rng.uniform(-0.2, 1.2, (3, 4, 2))
    batch = predict_tones(build, speeds, shares)
    assert batch.level.shape == (3, 4, 10, 2)
    for case in np.ndindex(3, 4):
        alone = predict_tones(build, speeds[case], shares[case])
        for name in ("frequency", "level", "masking", "tone_to_noise", "prominence"):
            np.testing.assert_allclose(getattr(batch, name)[case], getattr(alone, name), atol=1e-9)
        np.testing.assert_array_equal(batch.verdict[case], alone.verdict)


@settings(deadline=None, max_examples=25)  # the machine may be busy
@given(st.floats(0.1, 30.0))
def test_more_background_never_bares_a_tone(more):
    def ratios(background):
        position = Position("ear", 1.0, background=background)
        return predict_tones(sounding(path(row()), positions=(position,)), [20.0, 40.0], [0.8])

    quiet, loud = ratios(10.0), ratios(10.0 + more)
    assert np.all(loud.tone_to_noise <= quiet.tone_to_noise + 1e-9)
    assert not np.any(loud.audible & ~quiet.audible)


def test_noise_and_spectrum_of_sound_records_meet():
    # A sheet with nothing at 31.5 Hz: a slow rotor's tone there is as strong as one at 63 Hz, not absent.
    sheet = Sound(float(sound.a_weighted_level(SPECTRUM)), 1500 * RPM, 50.0, bands=SPECTRUM)
    build = sounding(path(row()), fans={"side": fan(sheet, blades=2)}, positions=(FREE,))
    assert np.isfinite(heard(build, [15.0, 0.0], [0.8])[ToneName("side", "blade pass", 1)][1])


def test_nine_octaves_have_a_tone_below_forty_hertz():
    # 7 blades at 300 rpm make 35 Hz, in the octave of 31.5 Hz (22.4 to 44.7 Hz, IEC 61260-1:2014). A sheet of nine
    # octaves says what is there, one of eight only from 63 Hz on: its lowest octave stands for it.
    levels = []
    for bands in ((30.0, *SPECTRUM), SPECTRUM):
        sheet = Sound(float(sound.a_weighted_level(bands)), 300 * RPM, 50.0, bands=bands)
        build = sounding(path(row()), fans={"side": fan(sheet)}, positions=(FREE,))
        levels.append(heard(build, [300 * RPM, 0.0], [0.8])[ToneName("side", "blade pass", 1)][1])
    assert levels[1] - levels[0] == pytest.approx(SPECTRUM[0] - 30.0)


def test_only_a_source_with_a_frequency_is_a_tone():
    sources = (NoiseSource("supply", 20.0), NoiseSource("whine", 12.0, tone=3000.0))
    build = sounding(path(row()), fans={"side": fan(one_number(), blades=None)}, noise_sources=sources)
    assert list(heard(build, [20.0, 40.0], [0.8])) == [ToneName("pump", "rotation", 1), ToneName("whine", "fixed", 1)]
