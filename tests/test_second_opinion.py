"""The second opinion is itself held to outside truth and to closed forms before it may judge anything."""

from __future__ import annotations

import math

import numpy as np
import pytest

from quietcool.entry.build import ROOM, Curve, Opening
from tests.plain_builds import FREE_FLOW, SHUTOFF, plain_build, pressurised_saddle
from tests.random_builds import random_build
from tests.second_opinion.laws import (
    AIR_SPECIFIC_HEAT,
    SheetCurve,
    air_density,
    air_viscosity,
    churchill_friction_factor,
    cross_unmixed_effectiveness,
    isa_pressure,
)
from tests.second_opinion.whole import second_opinion


def test_atmosphere_is_that_of_1976():
    fluids = pytest.importorskip("fluids")
    for altitude in (0.0, 500.0, 1500.0, 3000.0):
        # fluids.ATMOSPHERE_1976 after U.S. Standard Atmosphere, 1976, NOAA-S/T 76-1562
        assert isa_pressure(altitude) == pytest.approx(fluids.ATMOSPHERE_1976(altitude).P, rel=1e-6)
    assert air_viscosity(288.15) == pytest.approx(1.7894e-5, rel=1e-4)  # same standard, table III, sea level


def test_effectiveness_agrees_with_ht():
    ht = pytest.importorskip("ht")
    for ntu in (0.05, 0.3, 1.0, 3.0, 8.0):
        for ratio in (0.02, 0.25, 0.7, 1.0):
            expected = ht.effectiveness_from_NTU(ntu, ratio, subtype="crossflow")
            assert cross_unmixed_effectiveness(ntu, ratio) == pytest.approx(expected, rel=1e-9)
    # Cr = 0: a condenser or evaporator, closed form
    assert cross_unmixed_effectiveness(1.5, 0.0) == pytest.approx(1.0 - math.exp(-1.5), rel=1e-14)
    # NTU -> infinity at Cr < 1: everything the smaller stream can take
    assert cross_unmixed_effectiveness(400.0, 0.3) == pytest.approx(1.0, abs=1e-12)


def test_friction_agrees_with_fluids():
    fluids = pytest.importorskip("fluids")
    for reynolds in (0.5, 200.0, 1500.0, 2600.0, 5e3, 4e4):
        expected = fluids.friction.Churchill_1977(reynolds, 0.0)
        assert churchill_friction_factor(reynolds) == pytest.approx(expected, rel=1e-9)


def test_straight_fan_against_an_opening_in_closed_form():
    opening = Opening(area=0.006, loss_coefficient=2.7)
    build = plain_build(opening)
    speed_ratio = 0.6
    found = second_opinion(build, build.states[0], [speed_ratio * 20.0, 50.0])
    density = air_density(293.15, isa_pressure(0.0))
    # rho/1.2 r^2 p0 (1 - Q/(r Qf)) = K rho Q^2 / (2 A^2), a quadratic in Q
    square = opening.loss_coefficient * density / (2.0 * opening.area**2)
    linear = density / 1.2 * speed_ratio * SHUTOFF / FREE_FLOW
    constant = density / 1.2 * speed_ratio**2 * SHUTOFF
    flow = (-linear + math.sqrt(linear**2 + 4.0 * square * constant)) / (2.0 * square)

    assert found.converged
    assert found.inlet_volume_flow["in"] == pytest.approx(flow, rel=1e-12)
    assert found.air.pressure["box"] == pytest.approx(-square * flow**2, rel=1e-10)


def test_one_radiator_in_room_air_in_closed_form():
    build = plain_build(Opening(0.006, 2.7))
    found = second_opinion(build, build.states[0], [20.0, 50.0])
    assert found.temps is not None
    # Everything the source gives leaves by the radiator, forced: P = G (T_coolant,in - T_room).
    conductance = found.conductance["side"].forced
    assert found.temps.station_in["side"] == pytest.approx(293.15 + 100.0 / conductance, abs=1e-9)
    assert found.temps.forced_heat["side"] == pytest.approx(100.0, rel=1e-11)


def test_continuations_of_a_curve():
    ends_above = SheetCurve(Curve((0.0, 0.01, 0.02), (30.0, 20.0, 10.0), 20.0, 1.2))
    assert ends_above.free_flow == pytest.approx(0.03, rel=1e-12)  # a straight line goes on straight
    step = 1e-7
    for place in (0.02, 0.03):
        left = (ends_above.at_sheet(place) - ends_above.at_sheet(place - step)) / step
        right = (ends_above.at_sheet(place + step) - ends_above.at_sheet(place)) / step
        assert left == pytest.approx(right, rel=1e-4)
    assert ends_above.at_sheet(-0.01) > ends_above.at_sheet(0.0)
    stopped = ends_above.rise(0.01, 0.0, 1.2)
    assert stopped == pytest.approx(ends_above.rise(0.01, 1e-6, 1.2), rel=1e-5)


@pytest.mark.parametrize("seed", range(8))
def test_whatever_goes_in_comes_out_in_the_room(seed):
    build = random_build(seed, limits=False)
    state = build.states[0]
    speeds = [0.6 * r.highest + 0.4 * r.lowest for r in build.speed_ranges]
    found = second_opinion(build, state, speeds)
    assert found.temps is not None
    room = float(state.room_temp)
    by_group = dict(zip(build.group_names, speeds, strict=True))
    pump = build.loop.pump.electric
    entered = sum(state.heat.values()) + sum(state.air_heat.values())
    entered += pump.power * (by_group["pump"] / pump.speed) ** 3
    electric = {group.name: group.fan.electric for group in build.fan_groups}
    left = 0.0
    for path in build.air_paths:
        m = found.air.mass_flow[path.name]
        start, end = (path.source, path.target) if m > 0.0 else (path.target, path.source)
        if end == ROOM:
            left += abs(m) * AIR_SPECIFIC_HEAT * (found.temps.delivered[path.name] - room)
        if start != ROOM and end != ROOM:
            continue
        left += 0.0 if path.source != ROOM else found.temps.passive_heat.get(path.name, 0.0)
    for path in build.air_paths:
        for row in path.fan_rows:
            entered += row.count * electric[row.group].power * (by_group[row.group] / electric[row.group].speed) ** 3
    if build.loop.pump_enclosure == ROOM:
        left += (1.0 - build.loop.pump.coolant_share) * pump.power * (by_group["pump"] / pump.speed) ** 3

    assert left == pytest.approx(entered, rel=1e-9)


def test_saddle_gives_three_points_of_which_the_middle_one_is_unstable():
    build = pressurised_saddle()
    answers = {s: second_opinion(build, build.states[0], [20.0, s, 50.0]) for s in np.arange(3.0, 9.0, 0.5)}
    assert all(answer.converged and len(answer.air.roots) % 2 == 1 for answer in answers.values())
    threefold = [answer.air for answer in answers.values() if len(answer.air.roots) == 3]
    assert threefold
    for air in threefold:
        assert [stable for _, stable in air.roots] == [True, False, True]
        assert air.mass_flow["weak"] == pytest.approx(air.roots[-1][0], rel=1e-12)
