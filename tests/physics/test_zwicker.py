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


def theirs(levels, field):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what the library warns of at import is not ours
        try:
            folder = "mosqito.sq_metrics.loudness.loudness_zwst"
            core = importlib.import_module(f"{folder}._main_loudness")
            slopes = importlib.import_module(f"{folder}._calc_slopes")
        except ImportError:
            pytest.skip("mosqito is not installed")
    return float(np.ravel(slopes._calc_slopes(core._main_loudness(np.array(levels, float), field))[0])[0])


def test_the_test_spectrum_of_the_standard():
    assert zwicker.loudness_of_thirds(ANNEX_B2) == pytest.approx(83.296, abs=0.005)


@pytest.mark.parametrize("field", ["free", "diffuse"])
@pytest.mark.parametrize("level", [10.0, 20.0, 30.0, 50.0, 70.0])
def test_flat_spectra_agree_with_mosqito(level, field):
    ours = zwicker.loudness_of_thirds(np.full(28, level), field)
    assert ours == pytest.approx(theirs([level] * 28, field), rel=0.002, abs=0.001)


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
