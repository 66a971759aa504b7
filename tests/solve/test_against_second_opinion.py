"""The batched solver against a scalar nest of brentq that shares nothing with it but the records."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from quietcool.entry.build import Build
from quietcool.solve.loop import station_names
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point
from tests.plain_builds import pressurised_saddle
from tests.random_builds import random_build, random_speeds
from tests.second_opinion.whole import Opinion, second_opinion

TEMPERATURE = 1e-6  # of coolant, sources and enclosures [K]
STALLED = 1e-3  # air that moves slower than this is not a path that cools [kg/s]
AIR_TEMPERATURE = 1e-5  # of the air that leaves a stalled path: the refresh ends on the rest of the rig [K]
FLOW = 1e-6  # relative
LEVEL = 1e-6  # [dB]
HOTTEST_COMPARED = 368.15  # a ring that boils is no rig, and its property fits are out of their range [K]

BATCHES = [pytest.param(range(0, 10), id="0-9")]
BATCHES += [
    pytest.param(range(first, first + 29), id=f"{first}-{first + 28}", marks=pytest.mark.slow)
    for first in range(10, 300, 29)
]


def temperature_gaps(build: Build, point: OperatingPoint, opinion: Opinion) -> Iterator[tuple[str, float, float]]:
    """Place, difference and tolerance of every temperature [K]."""
    temps = opinion.temps
    assert temps is not None
    for i, name in enumerate(station_names(build.loop.order)):
        yield f"into {name}", point.station_temp_in[i] - temps.station_in[name], TEMPERATURE
        yield f"out of {name}", point.station_temp_out[i] - temps.station_out[name], TEMPERATURE
    for i, name in enumerate(build.enclosures):
        yield name, point.enclosure_temp[i] - temps.enclosure[name], TEMPERATURE
    places = [(source.name, spot.name) for source in build.sources for spot in source.points]
    for i, place in enumerate(places):
        yield str(place), point.point_temp[i] - opinion.source_points[place], TEMPERATURE
    for i, path in enumerate(build.air_paths):
        moving = abs(opinion.air.mass_flow[path.name]) > STALLED
        gap = point.path_temp_out[i] - temps.delivered[path.name]
        yield f"air of {path.name}", gap, TEMPERATURE if moving else AIR_TEMPERATURE
    yield "hottest", point.coolant_temp_max - opinion.hottest_coolant, TEMPERATURE


def flow_gaps(build: Build, point: OperatingPoint, opinion: Opinion) -> Iterator[tuple[str, float, float]]:
    """Place, difference and tolerance of every flow; air below the stall mark is compared by its absolute value."""
    for i, path in enumerate(build.air_paths):
        expected = opinion.air.mass_flow[path.name]
        yield path.name, point.mass_flow[i] - expected, FLOW * max(abs(expected), STALLED)
        volume = opinion.inlet_volume_flow[path.name]
        yield path.name, point.air_flow[i] - volume, FLOW * max(abs(volume), STALLED)
    for i, name in enumerate(station_names(build.loop.order)):
        yield name, point.station_flow[i] - opinion.station_flow[name], FLOW * opinion.station_flow[name]
    for i, name in enumerate(build.enclosures):
        expected = opinion.air.pressure[name]
        yield name, point.enclosure_pressure[i] - expected, FLOW * max(abs(expected), 0.1)


def level_gaps(build: Build, point: OperatingPoint, opinion: Opinion) -> Iterator[tuple[str, float, float]]:
    """Place, difference and tolerance of every level [dB]."""
    for i, position in enumerate(build.positions):
        yield position.name, point.level[i] - opinion.level[position.name], LEVEL
        yield position.name, point.total[i] - opinion.total[position.name], LEVEL


def heat_gaps(build: Build, point: OperatingPoint, opinion: Opinion) -> Iterator[tuple[str, float, float]]:
    """Place, difference and tolerance of every radiator's heat [W] and conductance [W/K]."""
    temps = opinion.temps
    assert temps is not None
    for i, path in enumerate(build.air_paths):
        if path.core is not None:
            heat = temps.forced_heat[path.name] + temps.passive_heat[path.name]
            yield path.name, point.heat_rate[i] - heat, 1e-4
            yield path.name, point.conductance[i] - opinion.conductance[path.name].forced, 1e-5


def disagreements(build: Build, point: OperatingPoint, opinion: Opinion) -> list[str]:
    """Everything on which the two do not agree."""
    gaps = [gap for of in (temperature_gaps, flow_gaps, level_gaps, heat_gaps) for gap in of(build, point, opinion)]
    return [f"{place}: {gap:.2e}, allowed {allowed:.0e}" for place, gap, allowed in gaps if not abs(gap) <= allowed]


def compared(build: Build, seed: int, stopped: float) -> list[str] | None:
    """Disagreements on one random setting of a build; None where the rig would boil or has no steady state."""
    speeds = random_speeds(build, np.random.default_rng(seed), 1, stopped=stopped)[0]
    opinion = second_opinion(build, build.states[0], speeds, most_rounds=120)
    if not opinion.converged or opinion.hottest_coolant > HOTTEST_COMPARED:
        return None
    point = solve_operating_point(build, build.states[0], speeds)
    if not bool(point.converged):
        return ["the solver did not converge"]
    return disagreements(build, point, opinion)


@pytest.mark.parametrize("seeds", BATCHES)
def test_solver_and_second_opinion_agree(seeds):
    # Every third setting has groups at rest.
    answers = {
        seed: compared(random_build(seed, limits=False), seed, stopped=0.3 if seed % 3 == 2 else 0.0) for seed in seeds
    }
    judged = [answer for answer in answers.values() if answer is not None]

    assert {seed: answer for seed, answer in answers.items() if answer} == {}
    assert len(judged) >= 0.9 * len(seeds)


@pytest.mark.slow
def test_solver_and_second_opinion_agree_on_saddles():
    seeds = range(2012, 2024)
    answers = {
        seed: compared(random_build(seed, enclosures=1, saddle=True, limits=False), seed, stopped=0.0) for seed in seeds
    }
    judged = [answer for answer in answers.values() if answer is not None]

    assert {seed: answer for seed, answer in answers.items() if answer} == {}
    assert len(judged) >= 0.9 * len(seeds)


def test_solver_and_second_opinion_choose_the_same_of_several_operating_points():
    build = pressurised_saddle()
    points = {}
    for strong in np.arange(4.0, 9.0, 0.25):
        speeds = [20.0, strong, 50.0]
        opinion = second_opinion(build, build.states[0], speeds)
        point = solve_operating_point(build, build.states[0], speeds)
        assert bool(point.converged)
        assert disagreements(build, point, opinion) == []
        points[strong] = len(opinion.air.roots)

    assert 3 in points.values()  # otherwise nothing was chosen
    assert 1 in points.values()


def test_a_difference_would_be_seen():
    build = random_build(5, limits=False)
    speeds = random_speeds(build, np.random.default_rng(5), 1)[0]
    opinion = second_opinion(build, build.states[0], speeds)
    slower = solve_operating_point(build, build.states[0], speeds * (1.0 - 1e-5))

    assert len(disagreements(build, slower, opinion)) > 5
