"""Air leak test of a dry, closed loop: how much pressure it may have, and what a fall of the gauge means.

A cooling loop loses pressure without a leak, and weather moves the gauge. Both are taken out before anything is
said, and what the readings cannot tell apart is called not proven.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from quietcool.entry.build import Build, Plate, Pump, Radiator
from quietcool.entry.readings import AirReading
from quietcool.errors import InputError, Mistake
from quietcool.physics.air import isa_pressure
from quietcool.physics.leaks import leak_rate, pressure_at_start_temp, pressure_per_kelvin
from quietcool.units import in_unit

CUSTOMARY_PRESSURE = 50_000.0  # about half a bar, where a maker says nothing (common practice, no source) [Pa]
ABOUT = 1.1  # over the customary pressure that still is about half a bar; a maker's rating has no such slack [-]
ALLOWED_DROP = 500.0  # corrected; practice allows 5 to 10 mbar (common practice, no source) [Pa]
SHORTEST_SETTLE, SHORTEST_WATCH = 300.0, 900.0  # 5 and 15 minutes (common practice, no source) [s]
GAUGE_ERROR = 100.0  # of one reading of a fine gauge; hobby gauges read to 10 to 25 mbar (common practice) [Pa]
TEMP_ERROR = 0.3  # of the change of temperature between two readings (common practice, no source) [K]
WEATHER = 100.0 / 3600.0  # change of an unread barometer: 1 hPa an hour (common practice, no source) [Pa/s]
ATMOSPHERE = 101_325.0  # [Pa]

Verdict = Literal["no leak seen", "leak", "not proven"]


@dataclass(frozen=True)
class LeakSetup:
    """How a loop may be tested."""

    volume: float  # of the air inside [m3]
    weakest: tuple[str, float] | None  # part with the lowest rating [Pa]
    unrated: tuple[str, ...]  # parts without a rating
    pressure: float  # gauge, to test at [Pa]
    ceiling: float  # gauge, never to be passed [Pa]
    per_kelvin: float  # change of the gauge for one kelvin [Pa/K]


@dataclass(frozen=True)
class LeakTest:
    """What two readings say."""

    verdict: Verdict
    reason: str
    drop: float  # as the gauge shows it [Pa]
    warming: float  # change of temperature [K]
    corrected_drop: float  # at the temperature and barometer of the start [Pa]
    error: float  # of the corrected drop [Pa]
    allowed: float  # [Pa]
    duration: float  # [s]
    rate: float  # [Pa m3/s]
    air_flow: float  # of air at 1 atm and the temperature of the start [m3/s]
    barometer_read: bool


def leak_setup(build: Build) -> LeakSetup:
    """Return how the loop of a build may be tested."""
    ratings = _ratings(build)
    known = [(name, rating) for name, rating in ratings.items() if rating is not None]
    weakest = min(known, key=lambda pair: pair[1]) if known else None
    unrated = tuple(name for name, rating in ratings.items() if rating is None)
    bears = math.inf if weakest is None else weakest[1]
    pressure = min(CUSTOMARY_PRESSURE, bears)
    barometer = float(isa_pressure(build.room.altitude))
    return LeakSetup(
        volume=build.loop.volume,
        weakest=weakest,
        unrated=unrated,
        pressure=pressure,
        ceiling=min(bears, ABOUT * CUSTOMARY_PRESSURE) if unrated else bears,
        per_kelvin=float(pressure_per_kelvin(barometer + pressure, build.room.temp)),
    )


def _ratings(build: Build) -> dict[str, float | None]:
    cores = [path.core.radiator for path in build.air_paths if path.core is not None]
    parts: list[Radiator | Plate | Pump] = [*cores, *(source.plate for source in build.sources), build.loop.pump]
    ratings = {part.name: part.vessel.max_pressure for part in parts}
    return {**ratings, "tube, fittings and reservoir": build.loop.vessel.max_pressure}


def refuse_pressure(setup: LeakSetup, place: str, reading: AirReading) -> list[Mistake]:
    """Return the mistake of a pressure that the weakest part, or custom, does not allow; none if it is allowed."""
    if reading.gauge_pressure <= setup.ceiling:
        return []
    bound_by_part = setup.weakest is not None and setup.weakest[1] <= setup.ceiling
    if bound_by_part and setup.weakest is not None:
        why = f"what {setup.weakest[0]}, the weakest part, is rated for"
    else:
        why = f"about half a bar while {setup.unrated[0]} has no rating"
    required = f"a gauge pressure of at most {in_unit(setup.ceiling, 'bar'):.3g} bar, {why}"
    found = f"{in_unit(reading.gauge_pressure, 'bar'):.3g} bar"
    return [Mistake(place, None, None, "", required, found, "let air out slowly, check every part, and start again")]


def judge_leak_test(
    build: Build,
    start: AirReading,
    end: AirReading,
    *,
    duration: float,
    settled: float | None = None,
    gauge_error: float = GAUGE_ERROR,
) -> LeakTest:
    """Judge an air leak test by two readings.

    Parameters
    ----------
    build : Build
        Its loop gives volume and ratings, its room the barometer where none was read.
    start, end : AirReading
        After settling, and at the end of the watch.
    duration : float
        Between the two. [s]
    settled : float, optional
        Since the loop was pumped up until the first reading. [s]
    gauge_error : float
        Of one reading. [Pa]

    Returns
    -------
    LeakTest
        "no leak seen" where the corrected drop with its error stays within what is allowed, "leak" where it exceeds
        it by more than the error, else "not proven".

    Raises
    ------
    InputError
        If a pressure is above what the weakest part allows, only one barometer was read, or no time has passed.

    References
    ----------
    .. [1] ASTM E2930-13(2021), "Standard Practice for Pressure Decay Leak Test Method": ideal gas from pressure,
       temperature and time; not for vessels that deform (recalled, not re-read). Soft tube creeps: the rate is an
       indication.
    """
    setup = leak_setup(build)
    _refuse(setup, start, end, duration)
    weather = float(isa_pressure(build.room.altitude))
    before, after = (reading.barometer or weather for reading in (start, end))
    absolute = start.gauge_pressure + before
    same_temp = float(pressure_at_start_temp(end.gauge_pressure + after, end.temp, start.temp))
    corrected = absolute - same_temp
    read = start.barometer is not None
    error = math.hypot(
        gauge_error,
        gauge_error,
        TEMP_ERROR * float(pressure_per_kelvin(absolute, start.temp)),
        0.0 if read else WEATHER * duration,
    )
    verdict, reason = _verdict(corrected, error, duration, settled)
    rate = float(leak_rate(corrected, setup.volume, duration))
    return LeakTest(
        verdict=verdict,
        reason=reason,
        drop=start.gauge_pressure - end.gauge_pressure,
        warming=end.temp - start.temp,
        corrected_drop=corrected,
        error=error,
        allowed=ALLOWED_DROP,
        duration=duration,
        rate=rate,
        air_flow=rate / ATMOSPHERE,
        barometer_read=read,
    )


def _refuse(setup: LeakSetup, start: AirReading, end: AirReading, duration: float) -> None:
    mistakes = [*refuse_pressure(setup, "--leak-start", start), *refuse_pressure(setup, "--leak-end", end)]
    if (start.barometer is None) != (end.barometer is None):
        required, found = "the barometer at the start and at the end, or at neither", "one of the two"
        mistakes.append(Mistake("--leak-end", None, None, "", required, found, "add the other, or leave both out"))
    if not duration > 0.0:
        required, found = "some minutes between the two readings", f"{duration / 60.0:g}"
        mistakes.append(Mistake("--leak-minutes", None, None, "", required, found, "watch 15 to 30 minutes"))
    if mistakes:
        raise InputError(mistakes)


def _verdict(corrected: float, error: float, duration: float, settled: float | None) -> tuple[Verdict, str]:
    """Tell what is proven. Creep of soft tube can only add to a drop, so it cannot make a leaking loop look tight."""
    if corrected + error <= ALLOWED_DROP and corrected >= -error:
        if duration < SHORTEST_WATCH:
            return "not proven", "the watch was too short: a small leak needs 15 minutes or more to show"
        return "no leak seen", "what the gauge lost is what temperature and weather explain"
    if corrected < -error:
        return "not proven", "the corrected pressure rose: the air inside warmed more than the thermometer says"
    if corrected - error > ALLOWED_DROP:
        if settled is not None and settled < SHORTEST_SETTLE:
            return (
                "not proven",
                "it fell, but soft tube still creeps within the first 5 minutes: settle, and test again",
            )
        return "leak", "it fell by more than temperature, weather and reading error explain"
    return "not proven", "the drop is neither clearly within nor clearly beyond what is allowed: test again, and longer"
