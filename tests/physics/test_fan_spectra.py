"""The handbook method for fan sound, against its table by hand and against the fan laws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quietcool.physics import fan_spectra, sound


def test_duty_of_a_small_fan_by_hand():
    # Long, "Architectural Acoustics", 2nd ed., Table 13.5 (after ASHRAE 1987), tube-axial: 0.0236 m3/s is 50 times
    # 0.472 L/s, 16.990 dB; 20 Pa over 249 Pa -21.903 dB; together -4.914 dB on 48 47 49 53 52 51 43 40.
    levels = fan_spectra.specific_power_levels(0.0236, 20.0)
    np.testing.assert_allclose(levels, [43.086, 42.086, 44.086, 48.086, 47.086, 46.086, 38.086, 35.086], atol=1e-3)
    assert sound.sum_levels(levels) == pytest.approx(53.577, abs=1e-3)


@settings(deadline=None)  # the machine may be busy
@given(st.floats(0.2, 5.0), st.floats(0.2, 5.0), st.sampled_from(["tube-axial", "propeller", "vane-axial"]))
def test_fan_laws_make_fifty_of_speed_and_seventy_of_diameter(speed, diameter, kind):
    # Affinity: Q ~ N D^3, p ~ N^2 D^2; fan sound laws 50 lg N + 70 lg D (Bies, Hansen & Howard, 5th ed.).
    levels = fan_spectra.specific_power_levels(
        np.array([0.02, 0.02 * speed * diameter**3]), np.array([20.0, 20.0 * speed**2 * diameter**2]), kind
    )
    law = 50.0 * np.log10(speed) + 70.0 * np.log10(diameter)
    np.testing.assert_allclose(levels[1] - levels[0], law, atol=1e-9)


def test_diameter_law():  # fan sound laws: 70 lg(140 / 120), 70 lg(92 / 120), 70 lg(200 / 120)
    change = fan_spectra.power_level_at_diameter(0.0, np.array([0.140, 0.092, 0.200]), 0.120)
    np.testing.assert_allclose(change, [4.6863, -8.0775, 15.5294], atol=1e-4)


def test_off_peak_steps():
    # Long, "Architectural Acoustics", 2nd ed., chapter 13 (after ASHRAE 1987): 90-100, 85-89, ... 50-54, below 50 %.
    shares = np.array([100, 90, 89, 85, 84, 75, 74, 65, 64, 55, 54, 50, 49, 0]) / 100.0
    expected = [0, 0, 3, 3, 6, 6, 9, 9, 12, 12, 15, 15, 16, 16]
    np.testing.assert_allclose(fan_spectra.off_peak_adder(shares), expected)
    louder = fan_spectra.specific_power_levels(0.02, 20.0, off_peak=6.0) - fan_spectra.specific_power_levels(0.02, 20.0)
    np.testing.assert_allclose(louder, 6.0)


def test_the_default_spectrum_is_this_shape():
    shape = fan_spectra.specific_power_levels(0.02, 20.0)
    np.testing.assert_allclose(shape - sound.a_weighted_level(shape), sound.DEFAULT_SPECTRUM, atol=1e-9)


def test_batch_is_its_cases():
    flow, pressure = np.array([[0.01, 0.02], [0.03, 0.04]]), np.array([10.0, 20.0])
    batch = fan_spectra.specific_power_levels(flow, pressure)
    assert batch.shape == (2, 2, 8)
    np.testing.assert_array_equal(batch[1, 0], fan_spectra.specific_power_levels(0.03, 10.0))


def test_a_tone_and_its_band_make_the_increment():
    # By definition of the increment (Long, "Architectural Acoustics", 2nd ed., Table 13.5): band and tone together.
    for increment in (0.5, 3.0, 5.0, 7.0):
        tone = fan_spectra.tone_over_band(increment)
        assert sound.sum_levels([0.0, tone]) == pytest.approx(increment, abs=1e-12)
    assert fan_spectra.tone_over_band(7.0) == pytest.approx(6.03, abs=0.01)
