"""Noise of whole builds: worked chain, places in the stack, batches, orders and limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quietcool.entry import build as records
from quietcool.physics import sound
from quietcool.solve import noise

CLOSED_FORM = 1e-4  # printed with four decimals, closed form [dB]
RPM = 1.0 / 60.0

CORE = records.Core(
    records.Radiator(
        name="invented core",
        face_length=0.36,
        face_height=0.12,
        fan_sections=3,
        a=10.0,
        b=5.0,
        ua_air=20.0,
        ua_air_velocity=1.0,
        ua_air_exponent=0.6,
        ua_coolant=60.0,
        ua_coolant_flow=1e-5,
        ua_coolant_exponent=0.5,
        coolant_a=1e8,
        coolant_b=1e13,
    )
)
OPENING = records.Opening(area=0.01, loss_coefficient=2.7)


def fan(power_level=33.0, floor=records.NOWHERE, scale=1.0):
    curve = records.Curve(flow=(0.0, 0.03), pressure=(30.0, 0.0), speed=1500 * RPM, density=1.2)
    level = records.Sound(power_level, 1500 * RPM, 55.0, floor, scale)
    return records.Fan("invented fan", 0.12, curve, level)


def screen(style="filter", adder=3.0):
    return records.Screen(records.Resistance("invented screen", style, 10.0, 5.0, adder), area=0.05)


def path(*stack, name="path"):
    return records.AirPath(name, records.ROOM, "tower", stack)


def rig(*paths, groups=("side",), sheet=None, positions=None, room=None, pump_level=28.0, mounting=0.0, limits=None):
    speeds = records.SpeedRange(300 * RPM, 2000 * RPM, 20 * RPM)
    curve = records.Curve((0.0, 2e-4), (3e4, 0.0), 3000 * RPM, 1000.0)
    pump = records.Pump(
        "invented pump", curve, records.Electric(), records.Sound(pump_level, 3000 * RPM, 50.0), mounting_adder=mounting
    )
    return records.Build(
        title="invented",
        room=room or records.Room(temp=295.0, volume=30.0, surface=59.0, mean_absorption=21.3 / 59.0),
        enclosures=("tower",),
        fan_groups=tuple(records.FanGroup(group, sheet or fan(), speeds) for group in groups),
        air_paths=paths,
        sources=(),
        loop=records.Loop(
            records.Coolant("water"), 2e-3, pump, speeds, (records.PUMP,), records.Tube(bore=0.01, length=3.0)
        ),
        positions=positions or (records.Position("ear", 0.8, 2.0, "room", background=18.0, self_noise=12.0),),
        states=(records.State("render", {}, {}, 295.0, limits or records.Limits()),),
    )


def row(count=1, gap=0.0, group="side"):
    return records.FanRow(group, count, gap)


# ---- the worked chain -----------------------------------------------------------------------------------


def test_worked_chain_from_a_reading_to_the_ear():
    # Six fans of 22.0 dB(A) at 1 m, suspended, at 1500 rpm, now 900 rpm (k = 55); three stand flush behind a
    # core (+3); a pump of 28.0 dB(A). By hand, after Bies, Hansen & Howard, "Engineering Noise Control", 5th ed.,
    # chapters 4 and 6: 22 + 10 lg 4 pi + 55 lg 0.6 = 20.7904 a fan; three and three with +3 dB 30.3260; with the pump
    # 32.3272; room of 59.0 m2 with 21.3 m2 of absorption, Q = 2, 0.8 m (equation 6.43): 27.9936; beside 18 and
    # 12 dB(A): 28.5063.
    reading = sound.power_level_from_pressure_level(22.0, 1.0, "suspended")
    build = rig(path(CORE, row(3), name="side"), path(row(3), name="rear"), sheet=fan(reading), pump_level=28.0)
    state = noise.predict_noise(build, [900 * RPM, 3000 * RPM], [0.8, 0.8])
    assert state.power_levels[1] - 10.0 * np.log10(3.0) == pytest.approx(20.7904, abs=CLOSED_FORM)
    assert sound.sum_levels(state.power_levels[:2]) == pytest.approx(30.3260, abs=CLOSED_FORM)
    assert sound.sum_levels(state.power_levels) == pytest.approx(32.3272, abs=CLOSED_FORM)
    assert state.level == pytest.approx([27.9936], abs=CLOSED_FORM)
    assert state.total == pytest.approx([28.5063], abs=CLOSED_FORM)


def test_worked_chain_in_plain_energies():
    # The same definitions in watts over the threshold, no level functions: sum of squares at two positions.
    positions = (
        records.Position("near", 0.5, 1.0, "distance", partition=4.0),
        records.Position("far", 3.0, 2.0, "room", background=15.0),
    )
    paths = (path(screen(adder=2.5), row(2, 0.02, "a"), CORE, row(3, 0.03, "b")), path(row(4, group="a")))
    build = rig(*paths, groups=("a", "b"), sheet=fan(34.0, floor=11.0, scale=1.5), positions=positions, mounting=6.0)
    state = noise.predict_noise(build, [20.0, 10.0, 40.0], [0.3, 0.9, 0.5])

    def power(speed, adders, count):
        return count * (10 ** (3.4) * (speed / 25.0) ** 5.5 + 10**1.1) * 10 ** (adders / 10.0)

    first, second = power(20.0, 1 + 2.5 + 1.5 * 2.25, 2), power(10.0, 2 + 2, 3)
    third, pump = power(20.0, 1.5 * 0.75, 4), 10**3.4 * (40.0 / 50.0) ** 5.0
    a = 21.3 / 59.0
    gains = [1 / (4 * np.pi * 0.25) / 10**0.4, 2 / (4 * np.pi * 9.0) + 4 * (1 - a) / 21.3]
    for place, gain in enumerate(gains):
        expected = 10.0 * np.log10(np.array([first + third, second, pump]) * gain)
        np.testing.assert_allclose(state.contributions[:, place], expected, atol=1e-9)
        assert state.level[place] == pytest.approx(10.0 * np.log10((first + second + third + pump) * gain), abs=1e-9)
    energy = (first + second + third + pump) * gains[1] + 10**1.5
    np.testing.assert_allclose(state.total, [state.level[0], 10.0 * np.log10(energy)], atol=1e-9)


# ---- places in the stack (common practice, no source; the order free <= push <= pull is published) ---------


@pytest.mark.parametrize(
    ("stack", "adders"),
    [
        ((row(),), [0.0]),
        ((row(), OPENING), [0.0]),
        ((row(), row()), [0.0, 2.0]),
        ((row(gap=0.0), CORE), [2.0]),
        ((row(gap=0.0099), CORE), [2.0]),
        ((row(gap=0.010), CORE), [1.0]),
        ((CORE, row(gap=0.0)), [3.0]),
        ((CORE, row(gap=0.0249)), [3.0]),
        ((CORE, row(gap=25 * 0.001)), [2.0]),
        ((row(), CORE, row()), [2.0, 5.0]),
        ((row(gap=0.02), CORE, row(gap=0.03)), [1.0, 4.0]),
        ((CORE, row(), row()), [3.0, 5.0]),
        ((row(), row(), CORE), [2.0, 4.0]),
        ((screen(adder=2.5), row(), CORE), [4.5]),
        ((screen("grille"), row()), [3.0]),
        ((screen("guard"), row()), [3.0]),
        ((screen(), CORE, row()), [3.0]),  # the core stands between
        ((screen(), OPENING, row()), [0.0]),
        ((row(), screen(), row()), [0.0, 2.0]),  # only before the first row
        ((row(), screen("guard")), [1.0]),
        ((row(), screen("filter")), [0.0]),
        ((row(), screen("grille")), [0.0]),
        ((row(), screen("guard"), row(), screen("guard")), [1.0, 3.0]),
        ((row(), CORE, screen("guard")), [2.0]),
    ],
)
def test_installation_adders(stack, adders):
    element = path(*stack)
    for index, expected in enumerate(adders):
        assert sum(noise.installation_terms(element, index).values()) == pytest.approx(expected)
        level = noise.row_power_level(rig(element), element, index, 25.0, 1.0)
        assert level == pytest.approx(33.0 + expected, abs=1e-9)


def test_free_is_never_louder_than_push_nor_push_than_pull():
    # Sign of the effect: inflow distortion by an exchanger upstream (Czwielong et al., Acta Acustica 5 (2021) 35).
    for gap in (0.0, 0.005, 0.010, 0.020, 0.025, 0.050):
        stacks = [path(row(gap=gap)), path(row(gap=gap), CORE), path(CORE, row(gap=gap))]
        free, push, pull = (noise.row_power_level(rig(p), p, 0, 15.0, 0.8) for p in stacks)
        assert free <= push <= pull


@settings(deadline=None)  # the machine may be busy
@given(st.floats(0.0, 0.1), st.floats(0.0, 0.1), st.booleans())
def test_a_larger_gap_is_never_louder(one, other, pull):
    small, large = sorted((one, other))
    paths = [path(CORE, row(gap=g)) if pull else path(row(gap=g), CORE) for g in (small, large)]
    tight, wide = (noise.row_power_level(rig(p), p, 0, 15.0, 0.8) for p in paths)
    assert wide <= tight


def test_another_table_of_adders_moves_the_level():
    table = dict(noise.INSTALLATION_ADDERS)
    table["pull flush"] = replace(table["pull flush"], broadband=np.array([0.0, 3.0, 6.0]))
    build = rig(path(CORE, row()))
    levels = noise.predict_noise(build, [15.0, 0.0], [0.8], adders=table).level[:, 0]
    np.testing.assert_allclose(np.diff(levels), [3.0, 3.0])


# ---- silence, batches, case axes ------------------------------------------------------------------------


def test_a_stopped_row_is_silent_whatever_its_load_share():
    build = rig(path(row(2, group="a"), CORE), path(row(3, group="b")), groups=("a", "b"), sheet=fan(33.0, floor=12.0))
    state = noise.predict_noise(build, [0.0, 15.0, 50.0], [np.nan, 0.7])
    assert state.power_levels[0] == -np.inf
    assert state.contributions[0, 0] == -np.inf
    assert np.isfinite(state.level).all()
    silent = noise.predict_noise(build, [0.0, 0.0, 0.0], [np.nan, np.inf])
    assert silent.level.tolist() == [-np.inf]
    # Only the position's own floor is left: 18 and 12 dB(A) together, by the definition of the sum.
    assert silent.total == pytest.approx([10.0 * np.log10(10**1.8 + 10**1.2)])


def test_an_unsolved_load_share_leaves_the_level_unknown():
    build = rig(path(row()))
    state = noise.predict_noise(build, [[15.0, 50.0], [15.0, 50.0]], [[np.nan], [0.5]])
    assert np.isnan(state.level).tolist() == [[True], [False]]


def test_a_batch_is_its_cases():
    rng = np.random.default_rng(5)
    paths = (path(row(3, group="a"), CORE, row(3, group="b")), path(CORE, row(2, group="b"), name="top"))
    positions = (records.Position("near", 0.5), records.Position("far", 2.0, 2.0, "room", partition=(5.0,) * 8))
    build = rig(*paths, groups=("a", "b"), sheet=fan(33.0, floor=12.0), positions=positions)
    speeds, share = rng.uniform(0.0, 40.0, (2, 5, 3)), rng.uniform(-0.3, 1.3, (2, 5, 3))
    batch = noise.predict_noise(build, speeds, share)
    assert batch.power_levels.shape == (2, 5, 4)
    assert batch.contributions.shape == (2, 5, 3, 2)
    for place in np.ndindex(2, 5):
        alone = noise.predict_noise(build, speeds[place], share[place])
        for name in ("power_levels", "contributions", "level", "total"):
            np.testing.assert_allclose(getattr(batch, name)[place], getattr(alone, name), rtol=0.0, atol=1e-9)


def test_numbers_of_the_build_may_carry_cases():
    anchors, distances = np.array([30.0, 33.0, 36.0]), np.array([0.5, 1.0, 2.0])
    absorptions = np.array([0.2, 0.3, 0.4])

    def case(level, distance, absorption):
        positions = (records.Position("a", distance, 2.0, "room", 1.0), records.Position("b", 1.0))
        room = records.Room(temp=295.0, surface=59.0, mean_absorption=absorption)
        return rig(path(row(2), CORE), sheet=fan(level), positions=positions, room=room)

    together = noise.predict_noise(case(anchors, distances, absorptions), [15.0, 50.0], [0.4])
    assert together.level.shape == (3, 2)
    for i in range(3):
        alone = noise.predict_noise(case(anchors[i], distances[i], absorptions[i]), [15.0, 50.0], [0.4])
        np.testing.assert_allclose(together.level[i], alone.level, rtol=0.0, atol=1e-9)


def test_wrong_shapes_are_refused_in_a_sentence():
    build = rig(path(row()))
    with pytest.raises(ValueError, match="speeds: the last axis must have 2 entries"):
        noise.predict_noise(build, [15.0], [1.0])
    with pytest.raises(ValueError, match="load_share: the last axis must have 1 entries"):
        noise.predict_noise(build, [15.0, 50.0], [1.0, 1.0])


# ---- from the rig to the position -----------------------------------------------------------------------


def one_transfer(position, **room):
    return float(noise.position_transfer(records.Room(temp=295.0, **room), position))


def test_room_and_distance_fields():
    # Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., equation 6.43 (R = 33.3342 m2) and the free field.
    room = {"surface": 59.0, "mean_absorption": 21.3 / 59.0}
    in_room = records.Position("a", 2.0, 2.0, "room")
    assert 40.0 + one_transfer(in_room, **room) == pytest.approx(32.0354, abs=CLOSED_FORM)
    free = records.Position("a", 1.0, 2.0, "distance", partition=5.0)
    assert one_transfer(free, **room) == pytest.approx(-7.9818 - 5.0, abs=CLOSED_FORM)


def test_surface_from_the_volume_where_it_is_not_given():
    position = records.Position("a", 2.0, 2.0, "room")
    cube = one_transfer(position, surface=54.0, mean_absorption=0.3)  # a cube of 27 m3 has 6 * 9 m2
    assert one_transfer(position, volume=27.0, mean_absorption=0.3) == pytest.approx(cube)


def test_octaves_in_room_and_partition():
    absorption = (0.1, 0.15, 0.25, 0.3, 0.35, 0.4, 0.4, 0.4)
    partition = (3.0, 5.0, 8.0, 12.0, 15.0, 18.0, 20.0, 20.0)
    position = records.Position("a", 1.5, 2.0, "room", partition=partition)
    ours = one_transfer(position, surface=59.0, mean_absorption=absorption)
    # By hand, band by band (IEC 61672-1:2013, Table 3, rounded weights; the spectrum's own level drops out).
    weights = np.array([-26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1]) + sound.DEFAULT_SPECTRUM
    a = np.array(absorption)
    gain = (2 / (4 * np.pi * 2.25) + 4 * (1 - a) / (59.0 * a)) / 10 ** (np.array(partition) / 10)
    energy = 10 ** (weights / 10)
    assert ours == pytest.approx(10 * np.log10((energy * gain).sum() / energy.sum()), abs=0.05)


def test_equal_octaves_are_the_single_number():
    single = records.Position("a", 1.5, 2.0, "room", partition=7.0)
    octaves = replace(single, partition=(7.0,) * 8)
    expected = one_transfer(single, surface=59.0, mean_absorption=0.3)
    assert one_transfer(octaves, surface=59.0, mean_absorption=0.3) == pytest.approx(expected, abs=1e-9)
    assert one_transfer(octaves, surface=59.0, mean_absorption=(0.3,) * 8) == pytest.approx(expected, abs=1e-9)
    assert one_transfer(single, surface=59.0, mean_absorption=(0.3,) * 8) == pytest.approx(expected, abs=1e-9)


def test_a_room_field_without_its_room_is_refused():
    position = records.Position("desk", 1.0, field="room")
    with pytest.raises(ValueError, match='position "desk".*mean_absorption'):
        one_transfer(position, surface=59.0)
    with pytest.raises(ValueError, match="surface_m2 or volume_m3"):
        one_transfer(position, mean_absorption=0.3)


def test_limits_of_the_state_go_before_those_of_the_position():
    positions = (
        records.Position("a", 1.0, background=30.0, limit=31.0),
        records.Position("b", 1.0, limit=25.0),
        records.Position("c", 1.0),
    )
    build = rig(path(row()), positions=positions, limits=records.Limits(position={"b": 20.0}))
    assert noise.position_limits(build).tolist() == [31.0, 25.0, np.inf]
    state = noise.predict_noise(build, [25.0, 0.0], [1.0], build.state("render"))
    assert state.limit.tolist() == [31.0, 20.0, np.inf]
    # 33 dB(A) of sound power, free field at 1 m: 22.0079; margins are positive when kept.
    np.testing.assert_allclose(state.margin[:2], [31.0 - 22.0079, 20.0 - 22.0079], atol=CLOSED_FORM)


def test_no_positions_and_no_rows():
    build = replace(rig(path(OPENING)), positions=())
    state = noise.predict_noise(build, [15.0, 50.0], np.empty(0))
    assert state.level.shape == (0,)
    assert state.power_levels == pytest.approx([28.0])


# ---- properties -----------------------------------------------------------------------------------------

speeds = st.floats(0.0, 40.0)


@settings(deadline=None)  # the machine may be busy
@given(speeds, speeds, speeds, speeds, st.floats(-0.2, 1.2))
def test_level_never_falls_when_a_speed_rises(first, second, pump, rise, share):
    build = rig(path(row(2, group="a"), CORE, row(2, group="b")), groups=("a", "b"), sheet=fan(33.0, floor=12.0))
    base = np.array([first, second, pump])
    cases = base + rise * np.vstack([np.zeros(3), np.eye(3)])
    level = noise.predict_noise(build, cases, [share, share]).level[:, 0]
    assert (level[1:] >= level[0]).all()


@settings(deadline=None)  # the machine may be busy
@given(st.integers(1, 9), st.floats(0.1, 40.0))
def test_level_never_falls_when_a_fan_or_a_row_is_added(count, speed):
    def level(*paths):
        share = np.full(len(paths), 0.8)
        return noise.predict_noise(rig(*paths), [speed, 10.0], share).level[0]

    fewer, more = path(row(count), CORE), path(row(count + 1), CORE)
    assert level(fewer) < level(more)
    assert level(fewer) < level(fewer, path(row(1), name="extra"))


@settings(deadline=None)  # the machine may be busy
@given(st.floats(0.1, 10.0), st.floats(0.1, 10.0), st.floats(0.02, 0.98), st.floats(0.02, 0.98))
def test_level_never_falls_when_distance_or_absorption_falls(one, other, low, high):
    (near, far), (low, high) = sorted((one, other)), sorted((low, high))
    position = records.Position("a", np.array([[near], [far]]), 2.0, "room")
    room = records.Room(temp=295.0, surface=59.0, mean_absorption=np.array([low, high]))
    field = noise.position_transfer(room, position)
    assert (field[0] >= field[1]).all()
    assert (field[:, 0] >= field[:, 1]).all()


@settings(deadline=None)  # the machine may be busy
@given(st.permutations(range(4)))
def test_order_of_paths_and_groups_does_not_matter(order):
    paths = [path(row(i + 1, group=f"g{i}"), CORE, name=f"p{i}") for i in range(4)]
    values, share = np.array([10.0, 15.0, 20.0, 25.0]), np.array([0.1, 0.3, 0.5, 0.7])
    groups = [f"g{i}" for i in range(4)]
    straight = noise.predict_noise(rig(*paths, groups=groups), [*values, 40.0], share)
    order = list(order)
    shuffled = noise.predict_noise(
        rig(*(paths[i] for i in order), groups=[groups[i] for i in order]), [*values[order], 40.0], share[order]
    )
    np.testing.assert_allclose(shuffled.level, straight.level, rtol=0.0, atol=1e-9)
    np.testing.assert_allclose(shuffled.contributions[:-1], straight.contributions[order], rtol=0.0, atol=1e-9)


# ---- single rows and the pump where they are heard -----------------------------------------------------------


@pytest.mark.parametrize("bands", [None, (38.0, 42.0, 45.0, 44.0, 41.0, 36.0, 29.0, 21.0)], ids=["number", "octaves"])
@pytest.mark.parametrize("partition", [5.0, (3.0, 5.0, 8.0, 12.0, 15.0, 18.0, 20.0, 20.0)], ids=["even", "by octave"])
def test_rows_and_pump_add_up_to_what_is_heard(bands, partition):
    # Energies of what is heard of each alone are those of the whole: levels of incoherent sources add (definition).
    sheet = fan(34.0) if bands is None else replace(fan(), sound=records.Sound(34.0, 25.0, 50.0, bands=bands))
    paths = (path(CORE, row(3)), path(row(2, 0.02, "rear")))
    ear = (records.Position("ear", 0.8, 2.0, "room", partition=partition),)
    build = rig(*paths, groups=("side", "rear"), sheet=sheet, positions=ear)
    speeds, shares = np.array([[20.0, 15.0, 40.0], [30.0, 0.0, 10.0]]), np.array([[0.8, 0.3], [0.5, 0.9]])
    rows = [noise.row_heard_levels(build, one, 0, speeds[:, i], shares[:, i]) for i, one in enumerate(paths)]
    parts = np.stack([*rows, noise.pump_heard_levels(build, speeds[:, 2])])
    energy = (10.0 ** (parts / 10.0)).sum(axis=0)
    np.testing.assert_allclose(10.0 * np.log10(energy), noise.predict_noise(build, speeds, shares).level, atol=1e-9)
    # In the open at 1 m behind 5 dB: 10 lg(Q / 4 pi) - 5 under the sound power (Bies, Hansen & Howard, 5th ed., 6.43).
    bare = replace(build, positions=(records.Position("ear", 1.0, 2.0, "distance", partition=5.0),))
    there = noise.row_heard_levels(bare, paths[1], 0, 25.0, 1.0)
    by_hand = 34.0 + 10.0 * np.log10(2.0) + noise.installation_terms(paths[1], 0)["free"] + 10.0 * np.log10(0.5 / np.pi)
    assert there == pytest.approx([by_hand - 5.0], abs=1e-6)
