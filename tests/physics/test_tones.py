"""Tones against synthesised signals and the standard on prominent tones."""

from __future__ import annotations

import importlib
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quietcool.physics import tones

CLOSED_FORM = 1e-4  # printed with four decimals, closed form [dB]


def critical_band_of_mosqito():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what the library warns of at import is not ours
        try:
            module = importlib.import_module("mosqito.sq_metrics.tonality.tone_to_noise_ecma._critical_band")
        except ImportError:
            pytest.skip("mosqito is not installed")
    return module._critical_band


def test_blade_pass_frequency():  # by definition: blades that pass a point in a second
    assert tones.blade_pass_frequency(1200 / 60, 9) == pytest.approx(180.0, abs=1e-6)
    assert tones.blade_pass_frequency(800 / 60, 7) == pytest.approx(93.333333, abs=1e-6)
    assert tones.blade_pass_frequency(4800 / 60, 6, [1, 2]).tolist() == pytest.approx([480.0, 960.0])


def test_beat_of_two_speeds():  # by definition: 7 blades at 1000 and at 1012 rpm
    pair = tones.blade_pass_frequency(np.array([1000.0, 1012.0]) / 60.0, 7)
    assert tones.beat_frequency(*pair) == pytest.approx(1.4, abs=1e-6)
    assert tones.beat_frequency(pair[1], pair[0]) == tones.beat_frequency(pair[0], pair[1])


@pytest.mark.parametrize("difference", [0.5, 1.0, 3.0, 6.0, 10.0])
def test_beats_of_a_synthesised_pair(difference):
    # Two phasors, the weaker turning once around the stronger: extremes and mean square of their sum.
    turns = np.exp(2j * np.pi * np.arange(20000) / 20000)
    envelope = np.abs(1.0 + 10.0 ** (-difference / 20.0) * turns)
    depth = 20.0 * np.log10(envelope.max() / envelope.min())
    assert tones.beat_depth(difference) == pytest.approx(depth, abs=1e-5)
    assert tones.beat_peak(difference) == pytest.approx(20.0 * np.log10(envelope.max()), abs=1e-5)
    assert tones.beat_mean(difference) == pytest.approx(10.0 * np.log10(np.mean(envelope**2)), abs=1e-9)


def test_beat_to_four_decimals():  # closed forms of the sum of two sines
    np.testing.assert_allclose(tones.beat_depth([1.0, 3.0, 6.0, 10.0]), [24.8065, 15.3402, 9.5699, 5.6884], atol=1e-4)
    np.testing.assert_allclose(tones.beat_peak([0.0, 3.0, 10.0]), [6.0206, 4.6495, 2.3866], atol=CLOSED_FORM)
    np.testing.assert_allclose(tones.beat_mean([0.0, 3.0, 10.0]), [3.0103, 1.7643, 0.4139], atol=CLOSED_FORM)
    assert tones.beat_depth(0.0) == np.inf
    assert tones.beat_depth(-3.0) == tones.beat_depth(3.0)


def test_limits_of_prominence():  # ECMA-418-1, criteria for tone-to-noise and prominence ratio
    frequencies = [105.0, 140.0, 210.0, 350.0, 500.0, 700.0, 1000.0, 5000.0]
    ratio = [16.1535, 15.1128, 13.6459, 11.7979, 10.5076, 9.2903, 8.0, 8.0]
    prominence = [18.7881, 17.5387, 15.7778, 13.5593, 12.0103, 10.5490, 9.0, 9.0]
    np.testing.assert_allclose(tones.tone_to_noise_limit(frequencies), ratio, atol=CLOSED_FORM)
    np.testing.assert_allclose(tones.prominence_limit(frequencies), prominence, atol=CLOSED_FORM)


def test_no_verdict_outside_the_range_of_the_standard():  # ECMA-418-1: 89.1 Hz to 11.2 kHz
    for limit in (tones.tone_to_noise_limit, tones.prominence_limit):
        assert np.isnan(limit([0.0, 81.7, 89.0, 89.1, 11200.0, 11201.0])).tolist() == [True] * 3 + [False] * 2 + [True]


def test_critical_bandwidth():  # ECMA-418-1, width of the critical band
    np.testing.assert_allclose(
        tones.critical_bandwidth([105.0, 250.0, 350.0, 500.0, 1000.0]),
        [100.797, 104.469, 108.655, 117.255, 162.217],
        atol=1e-3,
    )


@pytest.mark.parametrize("frequency", [100.0, 350.0, 499.0, 501.0, 1000.0, 8000.0])
def test_critical_band_agrees_with_mosqito(frequency):
    assert tuple(tones.critical_band(frequency)) == pytest.approx(critical_band_of_mosqito()(frequency))


@settings(deadline=None)  # the machine may be busy
@given(st.floats(89.1, 11200.0))
def test_a_tone_is_the_mean_of_the_edges_of_its_band(frequency):
    lower, upper = tones.critical_band(frequency)
    mean = (lower + upper) / 2.0 if frequency <= 500.0 else np.sqrt(lower * upper)
    assert mean == pytest.approx(frequency)
    assert upper - lower == pytest.approx(float(tones.critical_bandwidth(frequency)))


def test_the_edges_of_the_band_at_500_hz_are_those_of_the_lower_rule():
    # ECMA-418-1: up to and including 500 Hz the tone is the arithmetic mean of the edges, above it the geometric one.
    lower, upper = tones.critical_band([500.0, 500.0 * (1.0 + 1e-12)])
    assert lower[0] + upper[0] == pytest.approx(1000.0, rel=1e-12)
    assert lower[1] * upper[1] == pytest.approx(250_000.0, rel=1e-9)
    assert lower[0] < lower[1] - 1.0
