"""Floors, limits and criteria of positions, by their definitions."""

from __future__ import annotations

import numpy as np
import pytest

from quietcool.entry.build import Delivery, Limits, Position
from quietcool.physics import sound
from quietcool.solve import listening
from tests.sounding_builds import SPECTRUM, path, row, sounding

SPEC = Delivery(noise_floor=-60.0, speech_on_track=-20.0, speech_at_microphone=72.0, margin=8.0)


def build(*positions, **more):
    return sounding(path(row()), positions=positions, **more)


def test_a_background_in_one_number_falls_by_five_decibels_an_octave():
    # ANSI/ASA S12.2-2019, Annex D: RC curves fall by 5 dB from octave to octave; the number is its A-weighted sum.
    bands = listening.background_bands(Position("ear", 1.0, background=20.0))
    np.testing.assert_allclose(np.diff(bands), -5.0)
    assert sound.a_weighted_level(bands) == pytest.approx(20.0, abs=1e-9)


def test_a_microphone_is_white():
    # White noise has even energy over the hertz: each octave 10 lg 10^0.3 = 3 dB over the one below (IEC 61260-1:2014).
    bands = listening.microphone_bands(Position("ear", 1.0, self_noise=12.0))
    np.testing.assert_allclose(np.diff(bands), 3.0)
    assert sound.a_weighted_level(bands) == pytest.approx(12.0, abs=1e-9)


def test_floors_are_energy_sums_in_octaves_and_in_one_number():
    rig = build(
        Position("a", 1.0, background=18.0, self_noise=12.0),
        Position("b", 1.0, background_bands=SPECTRUM),
        Position("c", 1.0),
    )
    level = 10 * np.log10(10**1.8 + 10**1.2)  # by definition of the sum
    weights = np.array([-26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1])  # IEC 61672-1:2013, Table 3
    by_hand = 10 * np.log10(np.sum(10 ** ((np.array(SPECTRUM) + weights) / 10)))
    floors = listening.position_floors(rig)
    np.testing.assert_allclose(floors[:2], [level, by_hand], atol=0.05)
    assert floors[2] == -np.inf
    np.testing.assert_allclose(sound.a_weighted_level(listening.floor_bands(rig))[:2], floors[:2], atol=1e-9)
    assert listening.floor_bands(rig)[1, 1:].tolist() == list(SPECTRUM)


def test_a_delivery_leaves_the_rig_what_room_and_microphone_do_not_take():
    # 72 - (60 - 20) - 8 = 24 dB for everything; room and microphone of 18 and 12 dB(A) together 18.97; the rest by
    # definition of the sum: 10 lg(10^2.4 - 10^1.8 - 10^1.2).
    position = Position("ear", 1.0, background=18.0, self_noise=12.0, delivery=SPEC)
    everything, share = listening.delivery_limits(position)
    assert everything == pytest.approx(24.0)
    assert share == pytest.approx(10 * np.log10(10**2.4 - 10**1.8 - 10**1.2), abs=1e-9)
    assert listening.level_limits(position) == pytest.approx({"delivery": share})
    assert listening.position_limits(build(position))[0] == pytest.approx(share)


def test_a_room_that_is_too_loud_leaves_nothing():
    position = Position("ear", 1.0, background=30.0, delivery=SPEC)
    assert listening.position_limits(build(position))[0] == -np.inf


def test_inaudible_is_under_the_louder_of_room_and_microphone():  # common practice, no source: 10 dB under it
    room, capsule = Position("a", 1.0, background=18.0, self_noise=12.0), Position("b", 1.0, self_noise=14.0)
    rig = build(room, capsule, limits=Limits(inaudible=("a", "b")))
    assert listening.position_limits(rig).tolist() == [np.inf, np.inf]
    assert listening.position_limits(rig, rig.state("render")).tolist() == [8.0, 4.0]
    assert listening.position_limits(rig, rig.state("take")).tolist() == [np.inf, np.inf]
    always = build(Position("a", 1.0, background=18.0, self_noise=12.0, inaudible=True))
    assert listening.position_limits(always).tolist() == [8.0]


def test_the_lowest_limit_holds_and_a_state_replaces_only_its_kind():
    position = Position("a", 1.0, background=18.0, self_noise=12.0, limit=21.0, inaudible=True, delivery=SPEC)
    rig = build(position, limits=Limits(position={"a": 5.0}))
    assert set(listening.level_limits(position)) == {"limit", "inaudible", "delivery"}
    assert listening.position_limits(rig).tolist() == [8.0]
    assert listening.position_limits(rig, rig.state("render")).tolist() == [5.0]


def test_a_delivery_may_be_held_in_some_states_only():
    spec = Delivery(-60.0, -20.0, 72.0, 8.0, states=("take",))
    rig = build(Position("a", 1.0, delivery=spec))
    assert listening.position_limits(rig, rig.state("render"))[0] == np.inf
    assert listening.position_limits(rig, rig.state("take"))[0] == pytest.approx(24.0)


def test_criteria_of_positions_and_of_states():
    rig = build(
        Position("a", 1.0, limit_nc=20.0),
        Position("b", 1.0, limit_nr=15.0),
        limits=Limits(position_nr={"a": 18.0, "b": 30.0}),
    )
    own = listening.criterion_limits(rig)
    assert [(c.position, c.criterion, c.value) for c in own] == [(0, "nc", 20.0), (1, "nr", 15.0)]
    render = listening.criterion_limits(rig, rig.state("render"))
    assert [(c.position, c.criterion, c.value) for c in render] == [(0, "nc", 20.0), (0, "nr", 18.0), (1, "nr", 30.0)]


def test_margins_of_criteria_by_their_tables():
    # ANSI/ASA S12.2-2019, Table 1, NC-20 at 500 Hz: 26 dB; ISO/R 1996:1971, NR-20 at 500 Hz: 4.8 + 0.974 * 20 dB.
    octaves = np.full(9, -20.0)
    octaves[4] = 23.0
    assert listening.criterion_margin(listening.CriterionLimit(0, "nc", 20.0), octaves) == pytest.approx(3.0)
    assert listening.criterion_margin(listening.CriterionLimit(0, "nr", 20.0), octaves) == pytest.approx(1.28)
