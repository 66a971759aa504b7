"""NC and NR as limits and as what is to be least: against exhaustive search of a coarse grid, and bounds that hold."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from quietcool.decide.limits import limits, margins
from quietcool.decide.quietest import find_quietest
from quietcool.entry.build import NoiseSource, Position, Room
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.physics import criteria
from quietcool.physics.sound import a_weighted_level
from quietcool.solve.operating_point import solve_operating_point
from quietcool.solve.spectra import rig_spectrum


def without_levels(build):
    """Take a build's limits in dB(A) away, so that coarse grids hold settings that keep every limit."""
    states = tuple(replace(s, limits=replace(s.limits, position={})) for s in build.states)
    return replace(build, states=states, positions=tuple(replace(p, limit=None) for p in build.positions))


DEMO = without_levels(read_build(demo_path("sample_room")))
STATE = DEMO.states[0].name
DARK = (44.0, 43.0, 41.0, 36.0, 31.0, 26.0, 20.0, 12.0)  # an invented spectrum, 63 Hz to 8 kHz


def coarse(build, steps=14):
    """A build with few admissible speeds in each group, none of them at rest."""
    groups = []
    for group in build.fan_groups:
        span = group.speeds.highest - group.speeds.lowest
        groups.append(replace(group, speeds=replace(group.speeds, step=span / steps, avoid=(), may_stop=False)))
    span = build.loop.pump_speeds.highest - build.loop.pump_speeds.lowest
    pump = replace(build.loop.pump_speeds, step=span / steps, avoid=())
    return replace(build, fan_groups=tuple(groups), loop=replace(build.loop, pump_speeds=pump))


def rated(build, state, point, position, criterion):
    """Rating by its table, from the octaves: the plain rules of the standards."""
    octaves = rig_spectrum(build, point.speeds, point.load_share, state)[..., position, :]
    if criterion == "nr":  # ISO/R 1996:1971
        a = np.array([55.4, 35.5, 22.0, 12.0, 4.8, 0.0, -3.5, -6.1, -8.0])
        b = np.array([0.681, 0.790, 0.870, 0.930, 0.974, 1.000, 1.015, 1.025, 1.030])
        return np.max((octaves - a) / b, axis=-1)
    return criteria.tangency_index(octaves, "nc").rating


def spectral(build):
    """Give the first group a spectrum of its own, so that octaves differ in what decides them."""
    first = build.fan_groups[0]
    sheet = replace(first.fan.sound, power_level=float(a_weighted_level(DARK)), bands=DARK, exponent=50.0)
    fan = replace(first.fan, sound=sheet)
    room = replace(build.room, mean_absorption=(0.1, 0.15, 0.25, 0.3, 0.35, 0.4, 0.4, 0.4))
    return replace(build, room=room, fan_groups=(replace(first, fan=fan), *build.fan_groups[1:]))


def exhaustive(build, criterion):
    """Least rating of every admissible setting that keeps all limits."""
    state = build.state(STATE)
    grid = list(itertools.product(*(speeds.admissible() for speeds in build.speed_ranges)))
    point = solve_operating_point(build, state, np.array(grid))
    kept = np.all(margins(build, state, point) >= 0.0, axis=1)
    rating = np.where(kept, rated(build, state, point, 0, criterion), np.inf)
    return float(rating.min()), np.array(grid)[int(np.argmin(rating))]


@pytest.mark.parametrize("criterion", ["nr", "nc"])
@pytest.mark.parametrize("spectra", [False, True])
def test_least_rating_against_exhaustive_search(criterion, spectra):
    build = coarse(spectral(DEMO) if spectra else DEMO)
    build = replace(build, noise_sources=(NoiseSource("supply", 14.0),))
    best, speeds = exhaustive(build, criterion)
    assert np.isfinite(best)
    answer = find_quietest(build, [STATE], seconds=30.0, minimise=criterion)
    assert answer.quantity == criterion
    assert answer.level == pytest.approx(best, abs=0.01)
    # A bound holds for every setting: none that exhaustive search knows lies under it.
    assert answer.lower_bound <= best + 1e-6
    if not spectra:
        assert answer.status == "proven"
        np.testing.assert_allclose(answer.settings[0].speeds, speeds)


def test_criteria_are_limits_of_the_search():
    build = coarse(DEMO)
    free = find_quietest(build, [STATE], seconds=0.1)
    state = build.state(STATE)
    loose = solve_operating_point(build, state, free.settings[0].speeds)
    nr = float(rated(build, state, loose, 0, "nr"))
    for allowed, kept in ((nr + 0.5, True), (nr - 0.5, False)):
        held = replace(build, positions=(replace(build.positions[0], limit_nr=allowed), *build.positions[1:]))
        asked = [limit for limit in limits(held, held.state(STATE)) if limit.criterion == "nr"]
        assert [limit.kind for limit in asked] == ["position"]
        answer = find_quietest(held, [STATE], seconds=0.1)
        # The quietest setting has the least NR of all here, for all sources share one spectrum.
        assert (answer.status != "infeasible") == kept


def test_margins_of_criteria_are_what_every_octave_may_rise():
    held = replace(DEMO, positions=(replace(DEMO.positions[0], limit_nr=20.0, limit_nc=22.0), *DEMO.positions[1:]))
    state = held.state(STATE)
    speeds = np.array([s.present for s in held.speed_ranges])
    point = solve_operating_point(held, state, np.stack([speeds, 0.8 * speeds]))
    names = [limit.name for limit in limits(held, state)]
    octaves = rig_spectrum(held, point.speeds, point.load_share, state)[:, 0]
    place = names.index(f"{held.positions[0].name} NR 20")
    # ISO/R 1996:1971, NR-20: a + 20 b.
    curve = np.array([69.02, 51.3, 39.4, 30.6, 24.28, 20.0, 16.8, 14.4, 12.6])
    np.testing.assert_allclose(margins(held, state, point)[:, place], np.min(curve - octaves, axis=1), atol=1e-9)
    assert f"{held.positions[0].name} NC 22" in names


def test_what_no_speed_changes_tightens_the_bound():
    # A loud fixed source sets the level: without it in the bound the gap could not close.
    build = replace(coarse(DEMO), noise_sources=(NoiseSource("supply", 45.0),))
    answer = find_quietest(build, [STATE], seconds=30.0)
    assert answer.status == "proven"
    alone = replace(build, noise_sources=())
    assert find_quietest(alone, [STATE], seconds=0.1).level < answer.level


def test_a_position_in_another_room_can_be_the_objective():
    from quietcool.entry.build import Door, OtherRoom

    studio = Position("studio", 2.0, 2.0, "room", room="studio")
    build = replace(
        coarse(DEMO),
        room=Room(DEMO.room.temp, volume=30.0, mean_absorption=0.3),
        positions=(*(replace(p, field="distance") for p in DEMO.positions), studio),
        other_rooms=(OtherRoom("studio", 40.0, (0.1, 0.1, 0.2, 0.3, 0.3, 0.3, 0.3, 0.3)),),
        doors=(Door("door", ("room", "studio"), 1.8, (18.0, 22.0, 26.0, 30.0, 33.0, 35.0, 36.0, 36.0)),),
    )
    answer = find_quietest(build, [STATE], seconds=30.0, position="studio")
    assert answer.status == "proven"
    assert answer.lower_bound <= answer.level
