"""Sound power of sources by octave, against the formulas written out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool.entry.build import NoiseSource
from quietcool.physics import sound
from quietcool.solve import sources
from tests.sounding_builds import RPM, SPECTRUM, octaves, one_number, path, row, sounding

# IEC 61672-1:2013, Table 3, 63 Hz to 8 kHz.
WEIGHTS = np.array([-26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1])


def a_weighted_by_hand(levels):
    return 10.0 * np.log10(np.sum(10.0 ** ((np.asarray(levels) + WEIGHTS) / 10.0)))


def test_one_number_has_the_default_spectrum_and_keeps_its_exponent():
    # Long, "Architectural Acoustics", 2nd ed., Table 13.5 (read in a transcription): 48 47 49 53 52 51 43 40 dB.
    bands = sources.machine_bands(one_number(33.0), 900 * RPM)
    shape = np.array([48.0, 47.0, 49.0, 53.0, 52.0, 51.0, 43.0, 40.0])
    np.testing.assert_allclose(np.diff(bands[1:]), np.diff(shape), atol=1e-9)
    assert bands[0] == -np.inf
    # 33 dB(A) + 55 lg(900 / 1500), the speed law of single numbers; the weights of the table are rounded to 0.1 dB.
    assert a_weighted_by_hand(bands[1:]) == pytest.approx(33.0 + 55.0 * np.log10(0.6), abs=0.05)


def test_octaves_take_fifty_and_slide():
    # By hand at 10^-0.3 of the speed: every octave gets the shape of the next, the last one is held, and the sum falls
    # by 15 dB (fan sound laws, 50 lg of speed: Bies, Hansen & Howard, "Engineering Noise Control", 5th ed.).
    bands = sources.machine_bands(octaves(), 1500 * RPM / 10.0**0.3)
    shape = np.array([*SPECTRUM[1:], SPECTRUM[-1]])
    total = 10.0 * np.log10(np.sum(10.0 ** (np.array(SPECTRUM) / 10.0))) - 15.0
    by_hand = shape + total - 10.0 * np.log10(np.sum(10.0 ** (shape / 10.0)))
    np.testing.assert_allclose(bands[1:], by_hand, atol=1e-9)
    assert sources.machine_level(octaves(), 1500 * RPM / 10.0**0.3) == pytest.approx(
        a_weighted_by_hand(by_hand), abs=0.05
    )


def test_both_forms_agree_at_the_speed_of_the_sheet_only():
    level = float(sound.a_weighted_level(SPECTRUM))
    assert sources.machine_level(octaves(), 1500 * RPM) == pytest.approx(level)
    single, spectral = (sources.machine_level(s, 750 * RPM) for s in (one_number(level), octaves()))
    # Never both: the octaves fall by their own law, which no exponent of the single number has to match.
    assert single == pytest.approx(level + 55.0 * np.log10(0.5))
    assert spectral != pytest.approx(single, abs=0.01)
    assert abs(spectral - single) < 3.0


def test_the_floor_joins_the_octaves():
    sheet = octaves(floor_power_level=12.0)
    slow = sources.machine_bands(sheet, 1e-3)
    assert sound.a_weighted_level(slow) == pytest.approx(12.0, abs=1e-6)  # only the floor is left
    assert np.all(sources.machine_bands(sheet, 0.0) == -np.inf)
    assert sources.machine_level(sheet, 0.0) == -np.inf
    energy = 10.0 ** (sources.machine_bands(sheet, 10.0) / 10.0) - 10.0 ** (
        sources.machine_bands(octaves(), 10.0) / 10.0
    )
    assert a_weighted_by_hand(10.0 * np.log10(energy[1:])) == pytest.approx(12.0, abs=0.05)


def test_whoever_moves_the_level_of_a_sheet_moves_its_spectrum():
    sheet = octaves()
    moved = replace(sheet, power_level=sheet.power_level + np.array([0.0, 2.5]))
    np.testing.assert_allclose(np.diff(sources.machine_bands(moved, 20.0)[:, 1:], axis=0), 2.5)


def test_nine_octaves_say_what_is_at_31_hz():
    sheet = octaves((50.0, *SPECTRUM))
    assert sources.machine_bands(sheet, 1500 * RPM)[0] == pytest.approx(50.0)


def test_fixed_sources_sound_in_their_states():
    hum, whine = NoiseSource("supply", 20.0), NoiseSource("whine", 15.0, tone=8000.0, states=("render",))
    build = sounding(path(row()), noise_sources=(hum, whine))
    assert sources.fixed_sources(build, build.state("render")) == (hum, whine)
    assert sources.fixed_sources(build, build.state("take")) == (hum,)
    assert sources.fixed_sources(build, None) == (hum,)


def test_a_tone_stands_in_its_octave_with_its_own_weight():
    # IEC 61672-1:2013, Annex E: A(180 Hz) = -11.9484 dB; 180 Hz lies in the octave of 250 Hz, from 178 to 355 Hz.
    bands = sources.fixed_bands(NoiseSource("drive", 20.0, tone=180.0))
    assert bands[3] == pytest.approx(20.0 + 11.9484, abs=1e-4)
    assert np.all(bands[[0, 1, 2, 4, 5, 6, 7, 8]] == -np.inf)


@pytest.mark.parametrize(
    ("frequency", "band"),
    [(5.0, 0), (31.5, 0), (44.0, 0), (45.0, 1), (177.0, 2), (179.0, 3), (11000.0, 8), (15000.0, 8)],
)
def test_the_octave_of_a_frequency(frequency, band):  # IEC 61260-1:2014: edges at 10^(-+0.15) of the mid-bands
    assert sources.band_of(frequency) == band
