"""Octaves against the standard that defines them, and sliding spectra against what similarity asks for."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quietcool.physics import bands, sound

SPECTRUM = np.array([38.0, 42.0, 45.0, 44.0, 41.0, 36.0, 29.0, 21.0])  # invented, 63 Hz to 8 kHz
spectra = st.lists(st.floats(0.0, 60.0), min_size=9, max_size=9)


def energy(levels):
    return 10.0 * np.log10(np.sum(10.0 ** (np.asarray(levels) / 10.0), axis=-1))


def test_mid_band_frequencies():  # IEC 61260-1:2014, Annex E: exact mid-band frequencies of octaves, base ten
    exact = [31.623, 63.096, 125.893, 251.189, 501.187, 1000.0, 1995.262, 3981.072, 7943.282]
    np.testing.assert_allclose(bands.band_frequencies(), exact, rtol=1e-5)
    np.testing.assert_allclose(bands.band_frequencies(8), exact[1:], rtol=1e-5)
    np.testing.assert_allclose(bands.band_frequencies(), sound.OCTAVE_FREQUENCIES, rtol=1e-12)


def test_thirds_make_octaves():
    # IEC 61260-1:2014: three thirds of one level are 10 lg 3 over it; 30 dB beside twice 20 dB make 30.79 dB.
    np.testing.assert_allclose(
        bands.octaves_from_thirds([20.0, 20.0, 20.0, 30.0, 20.0, 20.0]), [24.7712, 30.7918], atol=1e-4
    )
    assert bands.octaves_from_thirds(np.full(27, 10.0)).shape == (9,)
    assert bands.octaves_from_thirds([[-np.inf] * 24]).tolist() == [[-np.inf] * 8]


def test_at_its_own_speed_a_spectrum_stays():
    np.testing.assert_allclose(bands.slide_spectrum(SPECTRUM, 25.0, 25.0), SPECTRUM, atol=1e-12)


@settings(deadline=None)  # the machine may be busy
@given(spectra, st.floats(1.0, 100.0), st.floats(40.0, 60.0))
def test_the_total_follows_the_speed_law(spectrum, speed, exponent):
    # Fan sound laws: k lg(N2 / N1) of total power (Bies, Hansen & Howard, "Engineering Noise Control", 5th ed.).
    moved = energy(bands.slide_spectrum(spectrum, speed, 25.0, exponent)) - energy(spectrum)
    assert moved == pytest.approx(exponent * np.log10(speed / 25.0), abs=1e-9)


def test_an_octave_of_speed_moves_the_shape_by_a_band():
    # Similarity: the Strouhal number of every feature stays, so at 10^0.3 times the speed each band has the shape of
    # the band below it. The differences between bands show it, whatever the total.
    up = bands.slide_spectrum(SPECTRUM, 25.0 * 10.0**0.3, 25.0)
    np.testing.assert_allclose(np.diff(up)[1:], np.diff(SPECTRUM)[:-1], atol=1e-9)
    down = bands.slide_spectrum(SPECTRUM, 25.0 / 10.0**0.3, 25.0)
    np.testing.assert_allclose(np.diff(down)[:-1], np.diff(SPECTRUM)[1:], atol=1e-9)


def test_between_bands_it_is_straight_over_the_logarithm():
    half = bands.slide_spectrum(SPECTRUM, 25.0 * 10.0**0.15, 25.0)
    middles = (SPECTRUM[1:] + SPECTRUM[:-1]) / 2.0
    np.testing.assert_allclose(np.diff(half[1:]), np.diff(middles), atol=1e-9)


def test_a_weighted_the_slide_steepens_the_law():
    # Of a tube-axial fan the A-weighted level falls by more than 50 lg 2 when the speed is halved: about 57 lg (worked
    # from Long, "Architectural Acoustics", 2nd ed., Table 13.5, read in a transcription, and IEC 61672-1:2013).
    shape = np.array([48.0, 47.0, 49.0, 53.0, 52.0, 51.0, 43.0, 40.0])
    halved = sound.a_weighted_level(bands.slide_spectrum(shape, 12.5, 25.0)) - sound.a_weighted_level(shape)
    assert halved / np.log10(0.5) == pytest.approx(57.0, abs=1.0)


def test_a_stopped_machine_is_silent_and_an_unknown_speed_unknown():
    assert np.all(bands.slide_spectrum(SPECTRUM, 0.0, 25.0) == -np.inf)
    assert np.all(np.isnan(bands.slide_spectrum(SPECTRUM, [np.nan, 25.0], 25.0)[0]))


def test_scalar_array_and_batch_are_the_same():
    speeds = np.array([[0.0, 10.0, 24.9], [25.0, 40.0, 300.0]])
    batch = bands.slide_spectrum(SPECTRUM, speeds, 25.0)
    assert batch.shape == (2, 3, 8)
    for place in np.ndindex(2, 3):
        np.testing.assert_array_equal(batch[place], bands.slide_spectrum(SPECTRUM, speeds[place], 25.0))


def test_noise_between_frequencies():
    # By definition of a density: white noise of 10 dB in every hertz has 10 + 10 lg(width) anywhere (octave edges as in
    # IEC 61260-1:2014), across the edges of bands too.
    middle = bands.band_frequencies()
    white = 10.0 + 10.0 * np.log10(middle * (10**0.15 - 10**-0.15))
    for low, high in ((200.0, 300.0), (300.0, 460.0), (900.0, 6000.0)):
        assert bands.noise_between(white, low, high) == pytest.approx(10.0 + 10.0 * np.log10(high - low), abs=1e-9)
    edges = middle / 10**0.15, middle * 10**0.15
    np.testing.assert_allclose(bands.noise_between(white, *edges), white, atol=1e-9)
    assert bands.noise_between(white, 12000.0, 13000.0) == -np.inf
