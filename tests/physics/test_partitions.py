"""Rooms joined by a door against the definition of the sound reduction index."""

from __future__ import annotations

import numpy as np
import pytest

from quietcool.physics import partitions, rooms


def test_definition_of_the_sound_reduction_index():
    # ISO 16283-1:2014, 3.13: R = L1 - L2 + 10 lg(S / A), solved for L2 - L1. A 2 m2 door of 30 dB, 8 m2 of absorption.
    change = partitions.level_change_through_partition(30.0, 2.0, 8.0)
    assert -change + 10.0 * np.log10(2.0 / 8.0) == pytest.approx(30.0)
    assert change == pytest.approx(-36.0206, abs=1e-4)


def test_energy_balance_of_the_room_behind():
    # What comes in is absorbed: a diffuse field of p^2 sends p^2 / (4 rho c) to each square metre, and 10^(-R/10) of it
    # passes; the same W in a Sabine room makes p^2 = 4 rho c W / A (Kuttruff, "Room Acoustics", chapter 5).
    reduction, area, absorption = 25.0, 1.8, 12.0
    passed = 10.0 ** (-reduction / 10.0) * area / 4.0  # of p1^2 / rho c
    behind = 4.0 * passed / absorption  # p2^2 over p1^2
    ours = partitions.level_change_through_partition(reduction, area, absorption)
    assert ours == pytest.approx(10.0 * np.log10(behind), abs=1e-9)


def test_a_hole_and_a_batch():
    room = rooms.absorption_area([20.0], [0.5])
    assert partitions.level_change_through_partition(0.0, 10.0, room) == pytest.approx(0.0)
    losses = np.array([[10.0, 20.0], [30.0, 40.0]])
    batch = partitions.level_change_through_partition(losses, 2.0, 8.0)
    for place in np.ndindex(2, 2):
        assert batch[place] == partitions.level_change_through_partition(losses[place], 2.0, 8.0)
