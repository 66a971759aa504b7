"""From power to level: one room and several, octave by octave, against the equations by hand."""

from __future__ import annotations

import numpy as np
import pytest

from quietcool.entry.build import Door, OtherRoom, Position, Room
from quietcool.physics import sound
from quietcool.solve import transfers
from tests.sounding_builds import ABSORPTION, SURFACE, path, row, sounding

OCTAVES = (0.10, 0.15, 0.25, 0.30, 0.35, 0.40, 0.40, 0.40)
DOOR = (18.0, 22.0, 26.0, 30.0, 33.0, 35.0, 36.0, 36.0)


def build(position, room=None, rooms=(), doors=()):
    return sounding(path(row()), positions=(position,), room=room, other_rooms=rooms, doors=doors)


def test_level_at_two_distances():
    # Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., equation 6.43, R = 33.3342 m2, Q = 2, L_W = 40 dB.
    for distance, level in ((0.7, 36.4817), (2.0, 32.0354)):
        rig = build(Position("ear", distance, 2.0, "room"))
        assert 40.0 + transfers.transfer(rig)[0] == pytest.approx(level, abs=1e-3)
        np.testing.assert_allclose(40.0 + transfers.transfer_bands(rig)[0], level, atol=1e-3)


def test_octaves_of_the_room():  # equation 6.43 again, octave by octave
    rig = build(Position("ear", 1.5, 2.0, "room", 7.0), Room(295.0, surface=SURFACE, mean_absorption=OCTAVES))
    a = np.array([OCTAVES[0], *OCTAVES])  # 31.5 Hz like 63 Hz where it is not given
    by_hand = 10 * np.log10(2 / (4 * np.pi * 2.25) + 4 * (1 - a) / (SURFACE * a)) - 7.0
    np.testing.assert_allclose(transfers.transfer_bands(rig)[0], by_hand, atol=1e-9)
    assert transfers.bands_differ(rig)
    assert not transfers.bands_differ(build(Position("ear", 1.5, 2.0, "room", 7.0)))


def test_nine_octaves_go_in_as_they_are():
    nine = (5.0, *DOOR)
    np.testing.assert_array_equal(transfers.nine_octaves(nine), nine)
    np.testing.assert_array_equal(transfers.nine_octaves(DOOR), (DOOR[0], *DOOR))
    assert transfers.nine_octaves(4.0).tolist() == [4.0]
    eight = build(Position("ear", 1.0, partition=DOOR))
    other = build(Position("ear", 1.0, partition=nine))
    # The default spectrum has nothing at 31.5 Hz, so that the ninth octave cannot matter to it.
    assert transfers.transfer(eight)[0] == transfers.transfer(other)[0]


def test_behind_a_door():
    # Rig's room: equation 6.43 at the door; door: R = L1 - L2 + 10 lg(S / A) (ISO 16283-1:2014, 3.13).
    booth = OtherRoom("booth", 20.0, 0.4)
    door = Door("door", ("booth", "room"), 1.8, DOOR)
    rig = build(Position("microphone", 3.0, 2.0, "room", room="booth"), rooms=(booth,), doors=(door,))
    constant = SURFACE * ABSORPTION / (1 - ABSORPTION)
    at_door = 10 * np.log10(2 / (4 * np.pi * 9.0) + 4 / constant)
    by_hand = at_door - np.array([DOOR[0], *DOOR]) + 10 * np.log10(1.8 / (20.0 * 0.4))
    np.testing.assert_allclose(transfers.transfer_bands(rig)[0], by_hand, atol=1e-9)
    # As one number: the default spectrum through these octaves (IEC 61672-1:2013, Table 3, rounded weights).
    weights = np.array([-26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1]) + sound.DEFAULT_SPECTRUM
    energy = 10 ** (weights / 10)
    single = 10 * np.log10((energy * 10 ** (by_hand[1:] / 10)).sum() / energy.sum())
    assert transfers.transfer(rig)[0] == pytest.approx(single, abs=0.02)


def test_two_doors_in_a_row_and_two_side_by_side():
    hall, booth = OtherRoom("hall", 60.0, 0.2), OtherRoom("booth", 20.0, 0.4)
    first = Door("first", ("room", "hall"), 2.0, 25.0)
    second, window = Door("second", ("hall", "booth"), 1.8, 30.0), Door("window", ("booth", "hall"), 0.9, 30.0)
    position = Position("microphone", 2.0, 1.0, "room", room="booth")

    def level(*doors):
        return transfers.transfer_bands(build(position, rooms=(hall, booth), doors=doors))[0, 4]

    through = level(first, second)
    constant = SURFACE * ABSORPTION / (1 - ABSORPTION)
    at_door = 10 * np.log10(1 / (4 * np.pi * 4.0) + 4 / constant)
    by_hand = at_door - 25.0 + 10 * np.log10(2.0 / 12.0) - 30.0 + 10 * np.log10(1.8 / 8.0)
    assert through == pytest.approx(by_hand, abs=1e-9)
    # A window of half the door's area beside it passes half as much again: 10 lg 1.5.
    assert level(first, second, window) == pytest.approx(through + 10 * np.log10(1.5), abs=1e-9)
    # The order in which doors are listed says nothing.
    assert level(window, second, first) == pytest.approx(level(first, second, window), abs=1e-12)


def test_a_room_that_no_door_leads_to():
    position = Position("microphone", 2.0, 1.0, "room", room="booth")
    with pytest.raises(ValueError, match='position "microphone": no door leads to booth'):
        transfers.transfer(build(position, rooms=(OtherRoom("booth", 20.0, 0.4),)))


def test_numbers_may_carry_cases():
    position = Position("ear", np.array([0.5, 1.0, 2.0]), 2.0, "room", partition=DOOR)
    together = transfers.transfer_bands(build(position))
    assert together.shape == (3, 1, 9)
    for case, distance in enumerate((0.5, 1.0, 2.0)):
        alone = transfers.transfer_bands(build(Position("ear", distance, 2.0, "room", partition=DOOR)))
        np.testing.assert_allclose(together[case], alone, atol=1e-12)


def test_a_position_behind_a_door_needs_the_build_with_its_doors():
    booth = OtherRoom("booth", 20.0, 0.4)
    door = Door("door", ("booth", "room"), 1.8, DOOR)
    position = Position("microphone", 3.0, 2.0, "room", room="booth")
    rig = build(position, rooms=(booth,), doors=(door,))
    assert transfers.position_transfer(rig.room, position, rig) == transfers.transfer(rig)[0]
    with pytest.raises(ValueError, match='position "microphone": the other rooms and doors are needed'):
        transfers.position_transfer(rig.room, position)
