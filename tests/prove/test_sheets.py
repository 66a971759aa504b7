"""From readings to a sheet: corrections of the standards by hand, laws recovered from synthetic readings."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quietcool.physics import sound
from quietcool.prove.sheets import PowerLevel, Reading, fit_speed_law, power_level, sound_block

RPM = 1.0 / 60.0
HEMISPHERE = 2.0 * np.pi  # of 1 m [m2]


def reading(levels=(40.0, 42.0, 45.0, 41.0), before=(20.0,), after=(20.0,), surface=HEMISPHERE, room=None, speed=20.0):
    return Reading(speed, levels, before, after, surface, room)


def test_a_reading_by_hand():
    # ISO 3744:2010: energy mean of 40, 42, 45, 41 dB is 42.4342 dB (8.2.2); 22 dB over the background K1 = 0 (8.2.3);
    # K2 = 10 lg(1 + 4 S / A) = 3.3845 dB with 2 pi and 21.3 m2 (Annex A); + 10 lg 2 pi (8.2.5).
    answer = power_level(reading(room=21.3))
    k2 = 10.0 * np.log10(1.0 + 4.0 * HEMISPHERE / 21.3)
    assert answer.k1 == 0.0
    assert answer.k2 == pytest.approx(k2)
    assert answer.level == pytest.approx(42.4342 - k2 + 7.9818, abs=1e-3)
    assert not answer.upper_bound
    assert answer.cautions == ()


@pytest.mark.parametrize(
    ("background", "grade", "k1", "bound"),
    [
        (30.0, "engineering", 0.4576, False),  # ISO 3744:2010, 8.2.3: 10 dB
        (37.0, "engineering", 1.2563, True),  # 3 dB: held at 6 dB, an upper bound
        (37.0, "survey", 3.0206, False),  # ISO 3746:2010, 8.3.3: from 3 dB on
        (38.0, "survey", 3.0206, True),
        (29.9, "survey", 0.0, False),
    ],
)
def test_background_by_grade(background, grade, k1, bound):
    answer = power_level(reading((40.0,) * 4, (background,), (background,)), grade)
    assert answer.k1 == pytest.approx(k1, abs=1e-4)
    assert answer.upper_bound is bound
    assert ("an upper bound only" in " ".join(answer.cautions)) is bound


def test_uncertainty():
    # ISO 3744:2010, clause 9: U = 2 sqrt(1.5^2 + 0.5^2) = 3.1623 dB far over the background; ISO 3746: sigma_R0 = 3.
    far = reading(before=(-20.0,), after=(-20.0,))
    assert power_level(far).uncertainty == pytest.approx(3.1623, abs=1e-3)
    assert power_level(far, "survey").uncertainty == pytest.approx(2.0 * np.hypot(3.0, 0.5), abs=1e-3)
    # Errors of 0.5 dB in both readings leave 0.6885 dB after the background is taken off at 6 dB (error propagation of
    # 10 lg(10^(T/10) - 10^(B/10)), worked by hand); 0.5 dB of it is the reading's own and stands in sigma_R0.
    near = power_level(reading((36.0,), (30.0,), (30.0,)))
    extra = np.sqrt(0.6885**2 - 0.5**2)
    assert near.uncertainty == pytest.approx(2.0 * np.sqrt(1.5**2 + 0.5**2 + extra**2), abs=1e-3)


def test_what_weakens_a_reading_is_said():
    assert any("drift is not known" in c for c in power_level(reading(after=())).cautions)
    assert any("moved by +5.0 dB" in c for c in power_level(reading(before=(15.0,), after=(20.0,))).cautions)
    assert not any("moved" in c for c in power_level(reading(before=(19.0,), after=(20.0,))).cautions)
    assert any("measure closer" in c for c in power_level(reading(room=12.0)).cautions)  # K2 of 4.9 dB, ISO 3744: 4 dB
    assert not any("measure closer" in c for c in power_level(reading(room=12.0), "survey").cautions)
    assert any("one microphone place" in c for c in power_level(reading((40.0,))).cautions)


def test_nothing_is_taken_off_without_a_background():
    answer = power_level(reading((30.0, 30.0), (), ()))
    assert (answer.k1, answer.upper_bound) == (0.0, False)


def heights(law, rpm, scatter=0.0, seed=0):
    """Sound power at speeds by a law of which the level, exponent and floor are known."""
    level, exponent, floor = law
    noise = np.random.default_rng(seed).normal(0.0, scatter, len(rpm))
    at = sound.power_level_at_speed(level, np.array(rpm) * RPM, 2000 * RPM, exponent, floor=floor)
    return [PowerLevel(r * RPM, float(x), 0.0, 0.0, False, 3.2, ()) for r, x in zip(rpm, at + noise, strict=True)]


SIX = (500, 700, 900, 1200, 1500, 2000)


@settings(deadline=None, max_examples=20)  # the machine may be busy
@given(st.floats(25.0, 50.0), st.floats(45.0, 65.0), st.floats(8.0, 12.0))
def test_a_law_with_a_floor_is_recovered(level, exponent, over):
    # The definition of the law is what the readings are made of; the floor lies where the slowest ones can show it.
    floor = level + exponent * np.log10(500 / 2000) + over - 8.0
    found = fit_speed_law(heights((level, exponent, floor), SIX))
    assert found.reference_level == pytest.approx(level, abs=0.02)
    assert found.exponent == pytest.approx(exponent, abs=0.2)
    assert found.floor == pytest.approx(floor, abs=0.2)
    assert found.reference_speed == pytest.approx(2000 * RPM)


def test_without_a_floor_none_is_made_up():
    found = fit_speed_law(heights((40.0, 52.0, -np.inf), SIX, scatter=0.3, seed=4))
    assert found.floor == -np.inf
    assert found.exponent == pytest.approx(52.0, abs=1.5)
    assert found.scatter == pytest.approx(0.3, abs=0.25)


def test_two_speeds_make_a_straight_law():
    # 50 lg 2 = 15.0515 dB between 1000 and 2000 rpm.
    found = fit_speed_law(heights((40.0, 50.0, -np.inf), (1000, 2000)))
    assert (found.reference_level, found.exponent) == pytest.approx((40.0, 50.0))
    assert np.isnan(found.scatter)
    other = fit_speed_law(heights((40.0, 50.0, -np.inf), (1000, 2000)), reference_speed=1000 * RPM)
    assert other.reference_level == pytest.approx(40.0 - 15.0515, abs=1e-4)


def test_upper_bounds_do_not_go_in():
    true = heights((40.0, 50.0, -np.inf), (900, 1200, 1500, 2000))
    spoiled = replace(heights((40.0, 50.0, -np.inf), (500,))[0], level=25.0, upper_bound=True)
    found = fit_speed_law([spoiled, *true])
    assert found.used == 4
    assert found.exponent == pytest.approx(50.0)
    with pytest.raises(ValueError, match="two different speeds"):
        fit_speed_law([spoiled, true[0]])


def test_weights_follow_the_uncertainties():
    true = heights((40.0, 50.0, -np.inf), (1000, 1500, 2000))
    poor = replace(heights((40.0, 50.0, -np.inf), (700,))[0], uncertainty=300.0)
    found = fit_speed_law([replace(poor, level=poor.level + 10.0), *true])
    assert found.exponent == pytest.approx(50.0, abs=0.05)


def test_the_block_is_one_that_a_sheet_can_take():
    from quietcool.entry.sheets import FanSound

    law = fit_speed_law(heights((40.0, 53.0, 17.0), SIX))
    block = tomllib.loads(sound_block(law, 'desk, "soft" mount'))["sound"]
    sheet = FanSound.model_validate(block)
    assert sheet.speed_rpm.value == pytest.approx(2000 * RPM)
    assert sheet.power_level_dba.value == pytest.approx(40.0, abs=0.02)
    assert sheet.exponent.value == pytest.approx(53.0, abs=0.2)
    assert sheet.floor_power_dba.value == pytest.approx(17.0, abs=0.2)
    assert sheet.origin == "measured"
    assert "floor_power_dba" not in sound_block(replace(law, floor=-np.inf))
