"""Corrections and surfaces of sound power measurement against the standards."""

from __future__ import annotations

import importlib
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quietcool.physics import sound, sound_power

CLOSED_FORM = 1e-4  # printed with four decimals, closed form [dB]


@pytest.mark.parametrize(
    ("total", "background", "source"), [(33.0, 30.0, 29.9794), (30.0, 24.0, 28.7437), (28.4, 22.1, 27.2399)]
)
def test_plain_subtraction(total, background, source):
    # Closed form; Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., CRC Press, 2018, chapter 1.
    assert sound_power.subtract_background(total, background) == pytest.approx(source, abs=CLOSED_FORM)


def test_plain_subtraction_agrees_with_acoustic_toolbox():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what the library warns of at import is not ours
        try:
            decibel = importlib.import_module("acoustic_toolbox.decibel")
        except ImportError:
            pytest.skip("acoustic_toolbox is not installed")
    total, background = np.array([31.0, 45.0, 60.2]), np.array([30.0, 20.0, 59.9])
    np.testing.assert_allclose(
        sound_power.subtract_background(total, background), decibel.dbsub(total, background), atol=1e-9
    )


@settings(deadline=None)  # the machine may be busy
@given(st.floats(-10.0, 60.0), st.floats(-10.0, 60.0))
def test_subtraction_undoes_the_sum(source, background):
    if source > background - 30.0:  # further below, the sum no longer holds the source to nine digits
        total = sound.sum_levels([source, background])
        assert sound_power.subtract_background(total, background) == pytest.approx(source, abs=1e-9)


def test_subtraction_without_a_difference_has_no_answer():
    assert np.isnan(sound_power.subtract_background([30.0, 29.0], 30.0)).all()
    assert sound_power.subtract_background(30.0, -np.inf) == 30.0


@pytest.mark.parametrize(
    ("difference", "k1", "bound"),
    [
        # ISO 3744:2010, 8.2.3: formula from 6 to 15 dB, held at 1.26 dB below, 0 above.
        (3.0, 1.2563, True),
        (5.999, 1.2563, True),
        (6.0, 1.2563, False),
        (7.0, 0.9665, False),
        (10.0, 0.4576, False),
        (15.0, 0.1396, False),
        (15.01, 0.0, False),
        (np.inf, 0.0, False),
        (-2.0, 1.2563, True),
    ],
)
def test_background_correction_of_the_engineering_grade(difference, k1, bound):
    answer = sound_power.k1_correction(40.0, 40.0 - difference)
    assert answer.correction == pytest.approx(k1, abs=CLOSED_FORM)
    assert bool(answer.upper_bound) is bound


def test_background_correction_of_the_survey_grade():  # ISO 3746:2010, 8.3.3: 3 to 10 dB
    k1, bound = sound_power.k1_correction(40.0, [38.0, 37.0, 30.0, 29.9], lower_limit=3.0, upper_limit=10.0)
    np.testing.assert_allclose(k1, [3.0206, 3.0206, 0.4576, 0.0], atol=CLOSED_FORM)
    assert bound.tolist() == [True, False, False, False]


def test_an_upper_bound_is_said_to_be_one():  # ISO 3744:2010, 8.2.3
    k1, bound = sound_power.k1_correction(33.0, 30.0)
    assert 33.0 - k1 == pytest.approx(31.7437, abs=CLOSED_FORM)
    assert bound


@settings(deadline=None)  # the machine may be busy
@given(st.floats(6.0, 15.0))
def test_within_its_limits_the_correction_is_the_subtraction(difference):
    k1, _ = sound_power.k1_correction(40.0, 40.0 - difference)
    assert 40.0 - k1 == pytest.approx(float(sound_power.subtract_background(40.0, 40.0 - difference)), abs=1e-9)


def test_environmental_correction():  # ISO 3744:2010, Annex A, equation A.2
    surface = sound_power.hemisphere_surface([1.0, 0.5])
    np.testing.assert_allclose(sound_power.k2_correction(surface, 21.3), [3.3844, 1.1226], atol=CLOSED_FORM)
    assert sound_power.k2_correction(6.28, np.inf) == 0.0


def test_measurement_surfaces():  # ISO 3744:2010, 7.2.3 and 7.2.4, equation 9
    assert sound_power.hemisphere_surface(1.0) == pytest.approx(2.0 * np.pi)
    # By hand: a = 1.125, b = 1.25, c = 1.5 m.
    assert sound_power.box_surface(0.25, 0.50, 0.50, 1.0) == pytest.approx(19.875, abs=1e-12)
    # A box far away is a large cube: four side faces of 2d x d and a lid of 2d x 2d.
    assert sound_power.box_surface(0.0, 0.0, 0.0, 3.0) == pytest.approx(4 * 6.0 * 3.0 + 36.0)


@settings(deadline=None)  # the machine may be busy
@given(st.floats(0.0, 60.0), st.floats(0.2, 4.0))
def test_one_reading_over_a_plane_is_the_hemisphere(level, radius):
    over_surface = sound_power.power_level_from_surface_level(level, sound_power.hemisphere_surface(radius))
    assert over_surface == pytest.approx(float(sound.power_level_from_pressure_level(level, radius, "plane")), abs=1e-9)


def test_corrections_are_subtracted():  # ISO 3744:2010, 8.2.4 and 8.2.5
    assert sound_power.power_level_from_surface_level(30.0, 1.0, k1=1.2, k2=3.3) == pytest.approx(25.5)
