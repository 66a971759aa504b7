"""Loudness against the standard's test spectrum and against another library's program of it."""

from __future__ import annotations

import importlib
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quietcool.physics import zwicker

# ISO 532-1:2017, Annex B.2: third-octave levels of a test signal, 25 Hz to 12.5 kHz, 83.296 sone in a free field.
ANNEX_B2 = [
    -60,
    -60,
    78,
    79,
    89,
    72,
    80,
    89,
    75,
    87,
    85,
    79,
    86,
    80,
    71,
    70,
    72,
    71,
    72,
    74,
    69,
    65,
    67,
    77,
    68,
    58,
    45,
    30,
]


# The library leaves out the last range of the corrections of the low thirds, which begins at these levels [dB].
LIBRARY_MOST = np.array([118.0, 112, 109, 106, 102, 100, 103, 101, 100, 101, 100] + [119.0] * 17)


def library():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what the library warns of at import is not ours
        try:
            folder = "mosqito.sq_metrics.loudness.loudness_zwst"
            core = importlib.import_module(f"{folder}._main_loudness")
            slopes = importlib.import_module(f"{folder}._calc_slopes")
        except ImportError:
            pytest.skip("mosqito is not installed")
    return core._main_loudness, slopes._calc_slopes


def theirs(levels, field):
    core, slopes = library()
    return float(np.ravel(slopes(core(np.array(levels, float), field))[0])[0])


def test_the_test_spectrum_of_the_standard():
    assert zwicker.loudness_of_thirds(ANNEX_B2) == pytest.approx(83.296, abs=0.005)


@pytest.mark.parametrize("field", ["free", "diffuse"])
@pytest.mark.parametrize("level", [10.0, 20.0, 30.0, 50.0, 70.0])
def test_flat_spectra_agree_with_mosqito(level, field):
    ours = zwicker.loudness_of_thirds(np.full(28, level), field)
    assert ours == pytest.approx(theirs([level] * 28, field), rel=0.002, abs=0.001)


@pytest.mark.parametrize("field", ["free", "diffuse"])
def test_core_loudness_of_every_band_at_every_level_is_mosqito_s(field):
    # Every entry of the tables of levels counts somewhere here, but for what the library leaves out.
    core, _ = library()
    levels = np.random.default_rng(0).uniform(0.0, LIBRARY_MOST[:, None], (28, 600))
    ours = zwicker.core_loudness(zwicker._critical_levels(levels.T, field), zwicker.THRESHOLD)
    expected = core(levels.copy(), field).T[:, :20]
    assert np.allclose(ours[:, 1:], expected[:, 1:], rtol=1e-12, atol=1e-12)
    # The library has the correction of the lowest band in it already (ISO 532-1:2017, A.3).
    assert np.allclose(ours[:, 0] * np.minimum(0.4 + 0.32 * ours[:, 0] ** 0.2, 1.0), expected[:, 0], rtol=1e-12)


def test_a_single_third_at_every_level_agrees_with_mosqito_to_its_rounding():
    # One loud band and silence above it: all of the loudness but the core is slopes, in every range that they pass.
    # The library rounds to 0.001 sone up to 16 sone and to 0.01 sone above, as the standard prints it.
    core, slopes = library()
    band, level = (part.ravel()[:, None] for part in np.meshgrid(np.arange(28), np.arange(20.0, 120.0)))
    spectra = np.where(np.arange(28) == band, np.minimum(level, LIBRARY_MOST[band]), -60.0)
    ours = zwicker.loudness_of_thirds(spectra)
    expected = np.ravel(slopes(core(spectra.T.copy(), "free"))[0])
    assert np.all(np.abs(ours - expected) <= np.where(expected < 16.0, 0.00051, 0.0051))


@pytest.mark.parametrize("seed", range(12))
def test_fan_like_spectra_agree_with_mosqito(seed):
    # Invented spectra with a hump and a slope, as quiet as fans are and louder; the library rounds to 0.001 sone.
    rng = np.random.default_rng(seed)
    shape = -((np.arange(28) - rng.uniform(6, 18)) ** 2) * rng.uniform(0.05, 0.3)
    levels = shape + rng.uniform(5.0, 60.0) + rng.normal(0.0, 3.0, 28)
    assert zwicker.loudness_of_thirds(levels) == pytest.approx(theirs(levels, "free"), rel=0.003, abs=0.0015)


def test_a_tone_of_40_db_at_1_khz_is_about_one_sone():
    # ISO 532-1:2017: 1 sone by definition, with the skirts of real filters, which are left out here.
    levels = np.full(28, -np.inf)
    levels[16] = 40.0
    assert zwicker.loudness_of_thirds(levels) == pytest.approx(1.0, rel=0.1)


def test_silence_has_none_and_wrong_shapes_are_refused():
    assert zwicker.loudness_of_thirds(np.full(28, -np.inf)) == 0.0
    assert zwicker.core_loudness(-20.0, 3.0) == 0.0
    with pytest.raises(ValueError, match="28 bands"):
        zwicker.loudness_of_thirds([20.0] * 27)


@settings(deadline=None, max_examples=40)  # the machine may be busy
@given(st.lists(st.floats(-20.0, 80.0), min_size=28, max_size=28), st.floats(0.0, 20.0))
def test_louder_levels_are_never_less_loud(levels, rise):
    quiet, loud = zwicker.loudness_of_thirds([levels, np.array(levels) + rise])
    assert loud >= quiet - 1e-9


def test_batch_is_its_cases():
    spectra = np.random.default_rng(1).uniform(0.0, 70.0, (3, 4, 28))
    batch = zwicker.loudness_of_thirds(spectra)
    for place in np.ndindex(3, 4):
        assert batch[place] == pytest.approx(float(zwicker.loudness_of_thirds(spectra[place])), abs=1e-12)
