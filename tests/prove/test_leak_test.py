"""An air test: temperature and weather are no leak, ratings are never passed, and doubt is called doubt."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietcool.entry.build import Build, Core, Vessel
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.entry.readings import AirReading
from quietcool.errors import InputError
from quietcool.prove.leak_test import LeakTest, judge_leak_test, leak_setup

BOOTH = read_build(demo_path("booth_wall"))
SEA = replace(BOOTH, room=replace(BOOTH.room, altitude=0.0))
HALF_BAR = 50_000.0
WATCH = 1800.0


def reading(mbar: float, celsius: float = 22.0, barometer: float | None = 1013.25) -> AirReading:
    return AirReading(100.0 * mbar, 273.15 + celsius, None if barometer is None else 100.0 * barometer)


def judged(start: AirReading, end: AirReading, build: Build = SEA, **how: Any) -> LeakTest:
    return judge_leak_test(build, start, end, **{"duration": WATCH, "settled": 600.0, **how})


def rated(build: Build, pressure: float | None, loop: float | None = None) -> Build:
    """The build with one rating for every sheet and one for tube, fittings and reservoir."""
    vessel = Vessel(max_pressure=pressure)
    paths = tuple(
        replace(path, stack=tuple(
            replace(e, radiator=replace(e.radiator, vessel=vessel)) if isinstance(e, Core) else e for e in path.stack
        ))
        for path in build.air_paths
    )  # fmt: skip
    sources = tuple(replace(source, plate=replace(source.plate, vessel=vessel)) for source in build.sources)
    pump = replace(build.loop.pump, vessel=vessel)
    ring = replace(build.loop, pump=pump, vessel=Vessel(max_pressure=loop))
    return replace(build, air_paths=paths, sources=sources, loop=ring)


def test_a_kelvin_of_cooling_is_no_leak() -> None:
    """Ideal gas by hand: (101325 + 50000) Pa / 295.15 K = 512.7 Pa for one kelvin, at half a bar and 22 degC."""
    test = judged(reading(500.0), reading(500.0 - 5.127, 21.0))
    assert test.verdict == "no leak seen"
    assert test.corrected_drop == pytest.approx(0.0, abs=0.5)


def test_the_same_fall_at_rest_is_a_drop_to_test_again() -> None:
    test = judged(reading(500.0), reading(500.0 - 5.127))
    assert test.verdict == "not proven"
    assert "test again" in test.reason
    assert test.corrected_drop == pytest.approx(512.7, rel=1e-9)


def test_six_millibars_are_not_told_by_the_gauge_alone() -> None:
    """The same loss of the gauge: no leak in a room that cooled, a doubt at rest, a leak in a room that warmed."""
    end = 494.0
    assert judged(reading(500.0), reading(end, 20.9)).verdict == "no leak seen"
    assert judged(reading(500.0), reading(end)).verdict == "not proven"
    assert judged(reading(500.0), reading(end, 23.0)).verdict == "leak"


def test_falling_weather_is_no_gain() -> None:
    """The gauge shows pressure over the barometer: 5 hPa less weather are 5 mbar more gauge, and nothing has leaked."""
    test = judged(reading(500.0, barometer=1015.0), reading(505.0, barometer=1010.0))
    assert test.corrected_drop == pytest.approx(0.0, abs=1e-6)
    assert test.verdict == "no leak seen"
    hidden = judged(reading(500.0, barometer=1020.0), reading(500.0, barometer=1008.0))
    assert hidden.corrected_drop == pytest.approx(1200.0)
    assert hidden.verdict == "leak"


def test_the_rate_of_a_worked_case() -> None:
    """By hand: 1.2 L, 150000 Pa at 22 degC, 149000 Pa at 21 degC after 1800 s: 493.4557 Pa x 1.2e-3 m3 / 1800 s."""
    small = replace(SEA, loop=replace(SEA.loop, volume=1.2e-3))
    before, after = AirReading(48_675.0, 295.15, 101_325.0), AirReading(47_675.0, 294.15, 101_325.0)
    test = judged(before, after, small)
    assert test.rate == pytest.approx(3.289705e-4, rel=1e-6)
    assert 6e7 * test.air_flow == pytest.approx(0.194801, rel=1e-5)


@pytest.mark.parametrize(
    ("gauge", "verdict"), [(100.0, "no leak seen"), (1000.0, "not proven"), (2500.0, "not proven")]
)
def test_a_coarse_gauge_proves_nothing(gauge: float, verdict: str) -> None:
    # Common practice, no source: hobby gauges read to 10 to 25 mbar.
    assert judged(reading(500.0), reading(500.0), gauge_error=gauge).verdict == verdict


@pytest.mark.parametrize(("minutes", "verdict"), [(5, "not proven"), (14.9, "not proven"), (15, "no leak seen")])
def test_a_short_watch_proves_nothing(minutes: float, verdict: str) -> None:
    # Common practice, no source: 15 to 30 minutes.
    assert judged(reading(500.0), reading(500.0), duration=60.0 * minutes).verdict == verdict


def test_an_unsettled_loop_may_creep() -> None:
    assert judged(reading(500.0), reading(480.0), settled=60.0).verdict == "not proven"
    assert judged(reading(500.0), reading(480.0), settled=600.0).verdict == "leak"
    assert judged(reading(500.0), reading(480.0), settled=None).verdict == "leak"


def test_a_rise_that_nothing_explains_proves_nothing() -> None:
    test = judged(reading(500.0), reading(515.0))
    assert test.verdict == "not proven"
    assert "rose" in test.reason


def test_an_unread_barometer_costs_certainty() -> None:
    bare = judged(reading(500.0, barometer=None), reading(500.0, barometer=None))
    known = judged(reading(500.0), reading(500.0))
    assert bare.error > known.error
    assert (bare.barometer_read, known.barometer_read) == (False, True)
    assert bare.corrected_drop == pytest.approx(known.corrected_drop, abs=1e-9)


# --- ratings ---------------------------------------------------------------------------------------------------------


def test_the_weakest_part_of_the_booth() -> None:
    setup = leak_setup(BOOTH)
    assert setup.weakest == ("radiator-r-360x30", 80_000.0)
    assert (setup.pressure, setup.ceiling) == (HALF_BAR, 80_000.0)
    assert setup.unrated == ()


def test_a_part_below_half_a_bar_lowers_the_test() -> None:
    setup = leak_setup(rated(BOOTH, 30_000.0, 90_000.0))
    assert (setup.pressure, setup.ceiling) == (30_000.0, 30_000.0)


def test_without_every_rating_half_a_bar_is_the_most() -> None:
    # Common practice, no source: about half a bar unless every maker allows more.
    setup = leak_setup(rated(BOOTH, 200_000.0, None))
    assert setup.unrated == ("tube, fittings and reservoir",)
    assert setup.pressure == HALF_BAR
    assert setup.ceiling < 60_000.0
    assert leak_setup(rated(BOOTH, None, None)).weakest is None


@pytest.mark.parametrize(
    ("build", "mbar", "why"),
    [
        (BOOTH, 801.0, "radiator-r-360x30, the weakest part"),
        (rated(BOOTH, 40_000.0, 90_000.0), 401.0, "the weakest part"),
        (rated(BOOTH, 200_000.0, None), 700.0, "tube, fittings and reservoir has no rating"),
        (rated(BOOTH, None, None), 700.0, "has no rating"),
    ],
)
def test_a_pressure_above_what_is_allowed_is_refused(build: Build, mbar: float, why: str) -> None:
    with pytest.raises(InputError, match=why):
        judged(reading(mbar), reading(100.0), build)
    with pytest.raises(InputError, match=why):  # a warming loop may pass it later
        judged(reading(100.0), reading(mbar), build)


def test_exactly_the_rating_is_allowed() -> None:
    assert judged(reading(800.0), reading(800.0), BOOTH).verdict == "no leak seen"


def test_one_barometer_is_refused_and_so_is_no_time() -> None:
    with pytest.raises(InputError) as caught:
        judged(reading(500.0), reading(500.0, barometer=None), duration=0.0)
    assert [mistake.file for mistake in caught.value.mistakes] == ["--leak-end", "--leak-minutes"]


# --- properties ------------------------------------------------------------------------------------------------------

CELSIUS = st.floats(5.0, 35.0)
WEATHER = st.floats(980.0, 1040.0)


@given(st.floats(100.0, 700.0), CELSIUS, CELSIUS, WEATHER, WEATHER)
def test_a_tight_loop_is_never_called_leaking(mbar: float, t1: float, t2: float, b1: float, b2: float) -> None:
    """Truth by the ideal gas law: absolute pressure goes with absolute temperature, the gauge less the barometer."""
    absolute = (mbar + b1) * (t2 + 273.15) / (t1 + 273.15)
    if not 0.0 < absolute - b2 < 800.0:
        return
    test = judged(reading(mbar, t1, b1), reading(absolute - b2, t2, b2))
    assert test.verdict == "no leak seen"
    assert test.corrected_drop == pytest.approx(0.0, abs=1e-5)


@given(st.floats(300.0, 700.0), CELSIUS, CELSIUS, WEATHER, WEATHER, st.floats(10.0, 200.0))
def test_a_real_loss_is_never_called_tight(
    mbar: float, t1: float, t2: float, b1: float, b2: float, loss: float
) -> None:
    absolute = (mbar - loss + b1) * (t2 + 273.15) / (t1 + 273.15)
    if not 0.0 < absolute - b2 < 800.0:
        return
    test = judged(reading(mbar, t1, b1), reading(absolute - b2, t2, b2))
    assert test.verdict == "leak"
    assert test.corrected_drop == pytest.approx(100.0 * loss, rel=1e-6)


@given(st.floats(0.0, 30.0), st.floats(1.0, 3000.0))
def test_less_certainty_never_turns_doubt_into_a_verdict(drop: float, gauge: float) -> None:
    fine = judged(reading(500.0), reading(500.0 - drop), gauge_error=gauge)
    coarse = judged(reading(500.0), reading(500.0 - drop), gauge_error=2.0 * gauge)
    assert coarse.verdict in (fine.verdict, "not proven")
