"""Sone and phon against the standard's convention and its program in another library."""

from __future__ import annotations

import importlib
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quietcool.physics import loudness


def mosqito(name):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what the library warns of at import is not ours
        try:
            return importlib.import_module(name)
        except ImportError:
            pytest.skip("mosqito is not installed")


def test_values_of_the_convention():  # ISO 532-1:2017: 40 phon is 1 sone, 10 phon a factor of two above
    np.testing.assert_allclose(
        loudness.phon_from_sone([0.25, 0.5, 1.0, 2.0, 4.0]), [24.6229, 31.3834, 40.0, 50.0, 60.0], atol=1e-3
    )
    np.testing.assert_allclose(loudness.sone_from_phon([40.0, 45.0, 50.0, 60.0]), [1.0, 1.4142, 2.0, 4.0], atol=1e-4)
    # Below 40 phon the factor of two per 10 phon no longer holds.
    assert loudness.sone_from_phon(30.0) < 0.49
    assert loudness.phon_from_sone(0.0) == loudness.LOUDNESS_LEVEL_FLOOR
    assert loudness.sone_from_phon(-5.0) == 0.0


@pytest.mark.parametrize("sone", [0.0, 1e-4, 0.05, 0.3, 0.99, 1.0, 1.7, 12.0])
def test_agrees_with_mosqito(sone):
    theirs = mosqito("mosqito.sq_metrics.loudness.utils.sone_to_phon").sone_to_phon(sone)
    assert loudness.phon_from_sone(sone) == pytest.approx(theirs, abs=1e-9)


@settings(deadline=None)  # the machine may be busy
@given(st.floats(3.0, 100.0))
def test_round_trip(phon):
    assert loudness.phon_from_sone(loudness.sone_from_phon(phon)) == pytest.approx(phon, abs=1e-9)


def test_a_tone_of_1_khz_has_its_level_as_loudness_level():
    # ISO 532-1:2017: a 1 kHz tone of 40 dB in a free field has 1 sone, 40 phon; mosqito takes the signal, we the sone.
    zwicker = mosqito("mosqito.sq_metrics").loudness_zwst
    time = np.arange(48000) / 48000.0
    for level, tolerance in ((40.0, 0.75), (60.0, 0.75)):  # 0.75 phon is 5 % in sone
        signal = np.sqrt(2.0) * 2e-5 * 10.0 ** (level / 20.0) * np.sin(2.0 * np.pi * 1000.0 * time)
        sone = zwicker(signal, 48000, field_type="free")[0]
        assert loudness.phon_from_sone(sone) == pytest.approx(level, abs=tolerance)
        assert sone == pytest.approx(float(loudness.sone_from_phon(level)), rel=0.05)
