"""Sources ranked by hand, ratings with what decides them, and how the room answers."""

from __future__ import annotations

import numpy as np
import pytest

from quietcool.entry.build import NoiseSource, Position, Room
from quietcool.solve.ranking import loudness, rank_sources, rate, room_facts
from quietcool.solve.spectra import predict_spectra
from tests.sounding_builds import ABSORPTION, SURFACE, fan, octaves, one_number, path, row, sounding


def test_gains_by_hand():
    # 33, 30 and 20 dB(A) in the open at 1 m: energies 1995, 1000 and 100; sums and shares by definition of the decibel.
    fans = {"loud": fan(one_number(33.0)), "soft": fan(one_number(30.0))}
    build = sounding(
        path(row(group="loud")),
        path(row(group="soft")),
        fans=fans,
        positions=(Position("ear", 1.0),),
        noise_sources=(NoiseSource("supply", 20.0),),
    )
    spectra = predict_spectra(build, [25.0, 25.0, 0.0], [0.8, 0.8])
    ranked = rank_sources(spectra, 0)
    assert [one.source for one in ranked] == ["loud", "soft", "supply", "pump"]
    energy = np.array([10**3.3, 10**3.0, 10**2.0])
    whole = energy.sum()
    for one, part in zip(ranked, energy, strict=False):
        assert one.level == pytest.approx(10 * np.log10(part) - 10.9921, abs=1e-3)
        assert one.share == pytest.approx(part / whole)
        assert one.gain_removed == pytest.approx(10 * np.log10(whole / (whole - part)))
        assert one.gain_halved == pytest.approx(10 * np.log10(whole / (whole - part / 2)))
    silent = ranked[-1]
    assert (silent.level, silent.share, silent.gain_removed, silent.gain_halved) == (-np.inf, 0.0, 0.0, 0.0)


def test_the_only_source_is_everything():
    build = sounding(path(row()), positions=(Position("ear", 1.0),))
    first = rank_sources(predict_spectra(build, [25.0, 0.0], [0.8]), 0)[0]
    assert first.gain_removed == np.inf
    assert first.gain_halved == pytest.approx(10 * np.log10(2.0))


def test_what_decides_a_rating():
    # ISO/R 1996:1971: (L - a) / b by octave; a drive that is all 63 Hz decides NR there, the fan elsewhere.
    drive = NoiseSource("drive", 0.0, (75.0, *[-60.0] * 7))
    from dataclasses import replace

    from quietcool.physics.sound import a_weighted_level

    drive = replace(drive, power_level=float(a_weighted_level(drive.bands)))
    position = Position("ear", 1.0)
    fans = {"side": fan(octaves())}
    with_drive = sounding(path(row()), fans=fans, positions=(position,), noise_sources=(drive,))
    without = sounding(path(row()), fans=fans, positions=(position,))
    nc, nr = rate(predict_spectra(with_drive, [25.0, 0.0], [0.8]), 0)
    assert (nr.frequency, nr.source) == (63.0, "drive")
    assert nr.rating == pytest.approx((75.0 - 10.9921 - 35.5) / 0.79, abs=1e-2)
    assert nc.criterion == "nc"
    _, nr = rate(predict_spectra(without, [25.0, 0.0], [0.8]), 0)
    assert nr.source == "side"
    assert nr.frequency != 63.0


def test_nothing_heard_is_rated_by_nothing():
    build = sounding(path(row()), positions=(Position("ear", 1.0),))
    for rating in rate(predict_spectra(build, [0.0, 0.0], [0.8]), 0):
        assert rating.rating == -np.inf
        assert rating.source is None


def test_the_room_by_hand():
    # 30 m3, 59 m2, 21.3 m2 of absorption, Q = 2: r_c = sqrt(Q R / 16 pi) = 1.151662 m (Bies, Hansen & Howard, 5th ed.,
    # equation 6.43), Sabine 0.226921 s, Schroeder 173.943 Hz (J. Acoust. Soc. Am. 99 (1996) 3240).
    position = Position("ear", 0.8, 2.0, "room")
    facts = room_facts(sounding(path(row()), positions=(position,)), position)
    np.testing.assert_allclose(facts.absorption_area, 21.3, rtol=1e-9)
    np.testing.assert_allclose(facts.critical_distance, 1.151662, rtol=1e-5)
    np.testing.assert_allclose(facts.reverberation, 0.226921, rtol=1e-5)
    assert facts.schroeder == pytest.approx(173.943, rel=1e-5)


def test_a_room_that_is_not_known_says_nothing():
    free = Position("ear", 0.8)
    assert room_facts(sounding(path(row()), positions=(free,)), free) is None
    position = Position("ear", 0.8, 2.0, "room")
    bare = sounding(path(row()), positions=(position,), room=Room(295.0, surface=SURFACE, mean_absorption=ABSORPTION))
    assert np.isnan(room_facts(bare, position).schroeder)


def test_loudness_of_even_octaves():
    # ISO 532-1:2017 by another library's program: 28 even thirds of 30 dB have 3.96 sone in a free, 4.30 in a diffuse
    # field. Octaves hold three thirds; their hertz are shared out, 10^0.1 more to each third, and end at 11 kHz.
    even = np.full(9, 30.0 + 10 * np.log10(3.0))
    assert loudness(even, "distance") == pytest.approx(3.96, rel=0.08)
    assert loudness(even, "room") == pytest.approx(4.30, rel=0.08)
    assert loudness(even, "room") > loudness(even, "distance")
    assert loudness(np.full(9, -np.inf), "room") == 0.0
