"""Room formulas against closed forms and other libraries."""

from __future__ import annotations

import importlib
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quietcool.physics import rooms

# An invented room, 4.0 x 3.0 x 2.5 m: floor, ceiling, two long walls, two short walls.
AREA = np.array([12.0, 12.0, 10.0, 10.0, 7.5, 7.5])
ABSORPTION = np.array([0.30, 0.60, 0.15, 0.45, 0.15, 0.45])
VOLUME, SURFACE = 30.0, 59.0

distances = st.floats(0.05, 20.0)
directivities = st.floats(1.0, 8.0)
absorptions = st.floats(0.01, 0.98)


def library(name):
    """Import a reference library; what it warns of at import is not ours."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            return importlib.import_module(name)
        except ImportError:
            pytest.skip(f"{name} is not installed")


def test_invented_room_by_hand():
    # A = 3.6 + 7.2 + 1.5 + 4.5 + 1.125 + 3.375 m2; R = A / (1 - A / S) and r_c = sqrt(Q R / 16 pi): Bies, Hansen &
    # Howard, "Engineering Noise Control", 5th ed., equations 6.43 and 6.44; T by Sabine and by Eyring (J. Acoust.
    # Soc. Am. 1 (1930) 217) with c = 343 m/s; f_s by Schroeder (J. Acoust. Soc. Am. 99 (1996) 3240).
    area, mean = rooms.absorption_area(AREA, ABSORPTION), rooms.mean_absorption(AREA, ABSORPTION)
    constant = rooms.room_constant(SURFACE, mean)
    assert area == pytest.approx(21.3, rel=1e-12)
    assert mean == pytest.approx(21.3 / 59.0, rel=1e-12)
    assert constant == pytest.approx(21.3 / (1.0 - 21.3 / 59.0), rel=1e-12)
    assert constant == pytest.approx(33.3342, rel=1e-4)
    assert rooms.reverberation_time_sabine(VOLUME, area) == pytest.approx(0.226921, rel=1e-5)
    assert rooms.reverberation_time_eyring(VOLUME, SURFACE, mean) == pytest.approx(0.182912, rel=1e-5)
    assert rooms.critical_distance(1.0, constant) == pytest.approx(0.814348, rel=1e-5)
    assert rooms.critical_distance(2.0, constant) == pytest.approx(1.151662, rel=1e-5)
    assert rooms.schroeder_frequency(0.226921, VOLUME) == pytest.approx(173.943, rel=1e-5)


def test_sabine_and_eyring_agree_with_acoustic_toolbox():
    room = library("acoustic_toolbox.room")
    sabine = room.t60_sabine(AREA, ABSORPTION, VOLUME, 343.0)
    eyring = room.t60_eyring(AREA, ABSORPTION, VOLUME, 343.0)
    assert rooms.reverberation_time_sabine(VOLUME, rooms.absorption_area(AREA, ABSORPTION)) == pytest.approx(sabine)
    mean = rooms.mean_absorption(AREA, ABSORPTION)
    assert rooms.reverberation_time_eyring(VOLUME, SURFACE, mean) == pytest.approx(eyring)


@pytest.mark.parametrize("absorption", [0.05, 0.2, 0.3, 0.4, 0.8])
def test_sabine_and_eyring_agree_with_pyroomacoustics(absorption):
    acoustics = library("pyroomacoustics.acoustics")
    # Without its air term (m = 0), whose sign is wrong in the Eyring formula of version 0.10.1.
    ours = rooms.reverberation_time_sabine(VOLUME, SURFACE * absorption)
    assert ours == pytest.approx(acoustics.rt60_sabine(SURFACE, VOLUME, absorption, 0.0, 343.0))
    ours = rooms.reverberation_time_eyring(VOLUME, SURFACE, absorption)
    assert ours == pytest.approx(acoustics.rt60_eyring(SURFACE, VOLUME, absorption, 0.0, 343.0))


@pytest.mark.parametrize(
    ("directivity", "distance", "level"),
    [(1.0, 1.0, 33.0010), (2.0, 1.0, 34.4584), (2.0, 0.7, 36.4817), (2.0, 2.0, 32.0354), (4.0, 1.0, 36.4178)],
)
def test_level_in_the_room(directivity, distance, level):
    # Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., equation 6.43, worked for 40 dB of sound power.
    constant = rooms.room_constant(SURFACE, rooms.mean_absorption(AREA, ABSORPTION))
    ours = 40.0 + rooms.direct_and_reverberant(distance, directivity, constant)
    assert ours == pytest.approx(level, abs=1e-4)


def test_direct_field_falls_six_decibels_per_doubling():  # inverse square law
    assert rooms.direct(1.0) == pytest.approx(-10.9921, abs=1e-4)
    assert rooms.direct(1.0, 2.0) == pytest.approx(-7.9818, abs=1e-4)
    assert rooms.direct(0.5) - rooms.direct(1.0) == pytest.approx(6.0206, abs=1e-4)


def test_limits_of_the_field():
    assert rooms.direct_and_reverberant(1.0, 2.0, np.inf) == pytest.approx(float(rooms.direct(1.0, 2.0)), abs=1e-12)
    assert rooms.direct_and_reverberant(np.inf, 2.0, 4.0) == 0.0
    assert rooms.direct_and_reverberant(1.0, 2.0, rooms.room_constant(59.0, 0.0)) == np.inf
    # Above 0.99 the mean absorption is held: R stays finite.
    assert rooms.room_constant(59.0, [0.99, 1.0]).tolist() == [pytest.approx(59.0 * 99.0)] * 2


@settings(deadline=None)  # the machine may be busy
@given(directivities, absorptions, st.floats(5.0, 500.0))
def test_fields_are_equal_at_the_critical_distance(directivity, absorption, surface):
    constant = rooms.room_constant(surface, absorption)
    distance = rooms.critical_distance(directivity, constant)
    reverberant = rooms.direct_and_reverberant(np.inf, directivity, constant)
    assert rooms.direct(distance, directivity) == pytest.approx(float(reverberant), abs=1e-9)


@settings(deadline=None)  # the machine may be busy
@given(distances, distances, directivities, absorptions, absorptions)
def test_level_never_falls_when_distance_or_absorption_falls(one, other, directivity, low, high):
    near, far = sorted((one, other))
    low, high = sorted((low, high))
    constant = rooms.room_constant(SURFACE, [low, high])
    field = rooms.direct_and_reverberant(np.array([[near], [far]]), directivity, constant)
    assert (field[0] >= field[1]).all()
    assert (field[:, 0] >= field[:, 1]).all()
    assert (field >= rooms.direct([[near], [far]], directivity) - 1e-12).all()


@settings(deadline=None)  # the machine may be busy
@given(absorptions, st.floats(10.0, 500.0), st.floats(30.0, 900.0))
def test_sabine_round_trip_and_eyring_below_sabine(absorption, volume, surface):
    time = rooms.reverberation_time_sabine(volume, surface * absorption)
    assert rooms.mean_absorption_from_reverberation(time, volume, surface) == pytest.approx(absorption, rel=1e-12)
    assert rooms.reverberation_time_eyring(volume, surface, absorption) < time


@settings(deadline=None)  # the machine may be busy
@given(st.floats(0.5, 6.0), st.floats(0.5, 6.0), st.floats(0.5, 6.0))
def test_no_box_has_less_surface_than_the_cube(length, width, height):  # isoperimetric property of the cube
    surface = 2.0 * (length * width + width * height + height * length)
    assert surface >= rooms.surface_from_volume(length * width * height) * (1.0 - 1e-12)
    assert rooms.surface_from_volume(length**3) == pytest.approx(6.0 * length**2)


def test_bands_go_on_a_leading_axis():
    by_band = np.stack([ABSORPTION, ABSORPTION / 2.0])
    np.testing.assert_allclose(rooms.absorption_area(AREA, by_band), [21.3, 10.65])
    np.testing.assert_allclose(rooms.mean_absorption(AREA, by_band), [21.3 / 59.0, 10.65 / 59.0])
    two_rooms = np.stack([AREA, 3.0 * AREA])  # each room has its own surface
    np.testing.assert_allclose(rooms.mean_absorption(two_rooms, by_band), [21.3 / 59.0, 10.65 / 59.0])
    assert np.ndim(rooms.room_constant(59.0, 0.3)) == 0
