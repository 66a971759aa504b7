"""What must hold of every solved rig, whatever the numbers: balances, bounds, directions, limits.

The balances are recomputed here from the answer alone; of the package only the records, the coolant's properties and
the answer itself are used.
"""

from __future__ import annotations

import math
from dataclasses import fields, replace
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from quietcool.entry.build import ROOM, AirPath, Build, Core, FanRow, Opening, Plate, Radiator, Screen
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point
from tests.plain_builds import plain_build, pressurised_saddle
from tests.random_builds import random_build, random_speeds
from tests.second_opinion.air_side import Fans, element_law
from tests.second_opinion.coolant_side import properties_at
from tests.second_opinion.laws import AIR_SPECIFIC_HEAT, SheetCurve, isa_pressure
from tests.second_opinion.whole import second_opinion

CLOSES = 1e-9  # relative
SEEDS = st.integers(0, 400)
FEW = settings(max_examples=20)
HOTTEST = 368.15  # beyond, the coolant boils and its property fits end [K]


@lru_cache(maxsize=512)
def rig(seed: int, **wishes: int | bool) -> Build:
    """Return a random build, made once."""
    return random_build(seed, limits=False, **wishes)


def setting(build: Build, seed: int, stopped: float = 0.2) -> np.ndarray:
    """Return one random setting [rev/s]."""
    return random_speeds(build, np.random.default_rng(seed), 1, stopped=stopped)[0]


def solved(build: Build, speeds: np.ndarray) -> OperatingPoint:
    """Solve in the first state; an answer that boils is not looked at."""
    point = solve_operating_point(build, build.states[0], speeds)
    assume(bool(point.converged) and float(point.coolant_temp_max) < HOTTEST)
    return point


def machine_power(electric: object, speed: float) -> float:
    """Electrical power by the cube of the speed [W]."""
    return float(electric.power) * (speed / electric.speed) ** 3  # type: ignore[attr-defined]


def fan_power(build: Build, path: AirPath, speeds: np.ndarray) -> float:
    """Electrical power of all fans of a path [W]."""
    by_group = {group.name: (group.fan.electric, speeds[i]) for i, group in enumerate(build.fan_groups)}
    return sum(row.count * machine_power(*by_group[row.group]) for row in path.fan_rows)


def stations(build: Build) -> list[str]:
    """Names of the stations in the order of the answer: along the ring, branches in their order."""

    def walk(elements: tuple) -> list[str]:
        names: list[str] = []
        for element in elements:
            names += [element] if isinstance(element, str) else [n for b in element.branches for n in walk(b)]
        return names

    return walk(build.loop.order)


def node_temp(build: Build, point: OperatingPoint, node: str) -> float:
    """Air temperature of a node [K]."""
    if node == ROOM:
        return float(build.states[0].room_temp)
    return float(point.enclosure_temp[build.enclosures.index(node)])


def whole_power(build: Build, speeds: np.ndarray) -> float:
    """Everything that turns into heat [W]."""
    state = build.states[0]
    fans = sum(fan_power(build, path, speeds) for path in build.air_paths)
    return (
        sum(state.heat.values())
        + sum(state.air_heat.values())
        + fans
        + machine_power(build.loop.pump.electric, speeds[-1])
    )


def forced_and_passive(build: Build, point: OperatingPoint, speeds: np.ndarray, i: int) -> tuple[float, float]:
    """Heat of one radiator that went with its own air, and the rest [W]."""
    path, m = build.air_paths[i], float(point.mass_flow[i])
    gained = abs(m) * AIR_SPECIFIC_HEAT * float(point.path_temp_out[i] - point.path_temp_in[i])
    forced = gained - fan_power(build, path, speeds)
    return forced, float(point.heat_rate[i]) - forced


@given(SEEDS)
@FEW
def test_air_mass_balances_in_every_enclosure(seed):
    build = rig(seed)
    point = solved(build, setting(build, seed))
    for enclosure in build.enclosures:
        signed = [
            float(m) * ((path.target == enclosure) - (path.source == enclosure))
            for path, m in zip(build.air_paths, point.mass_flow, strict=True)
        ]
        assert abs(math.fsum(signed)) <= CLOSES * math.fsum(map(abs, signed))


@given(SEEDS)
@FEW
def test_pressure_along_every_stack_meets_its_ends(seed):
    build = rig(seed)
    speeds = setting(build, seed)
    point = solved(build, speeds)
    fans = Fans(
        {g.name: SheetCurve(g.fan.curve) for g in build.fan_groups}, dict(zip(build.group_names, speeds, strict=True))
    )
    pressure = dict(zip(build.enclosures, point.enclosure_pressure, strict=True)) | {ROOM: 0.0}
    for i, path in enumerate(build.air_paths):
        m = float(point.mass_flow[i])
        temps = stack_temps(build, point, speeds, i)
        gained = [
            element_law(element, temp, isa_pressure(float(build.room.altitude)), path, fans)(m)
            for element, temp in zip(path.stack, temps, strict=True)
        ]
        terms = [pressure[path.source], *gained, -pressure[path.target]]
        # Properties rest within 1e-7 K; where a path all but stalls, its air changes fast with its flow.
        assert abs(math.fsum(terms)) <= 1e-7 * math.fsum(map(abs, terms))


def stack_temps(build: Build, point: OperatingPoint, speeds: np.ndarray, i: int) -> list[float]:
    """Temperature that each element of a stack sees, walked with the flow from the answer [K]."""
    path, m = build.air_paths[i], float(point.mass_flow[i])
    rate = abs(m) * AIR_SPECIFIC_HEAT
    air = float(point.path_temp_in[i])
    forced = forced_and_passive(build, point, speeds, i)[0] if path.core is not None else 0.0
    seen: dict[int, float] = {}
    places = range(len(path.stack)) if m >= 0.0 else reversed(range(len(path.stack)))
    for place in places:
        element = path.stack[place]
        warmed = forced / rate if isinstance(element, Core) else 0.0
        if isinstance(element, FanRow):
            warmed = fan_power(build, replace(path, stack=(element,)), speeds) / rate
        seen[place] = air + (0.5 * warmed if isinstance(element, Core) else 0.0)
        air += warmed
    return [seen[place] for place in range(len(path.stack))]


@given(SEEDS)
@FEW
def test_air_enters_a_path_at_the_temperature_of_its_upstream_node(seed):
    build = rig(seed)
    point = solved(build, setting(build, seed))
    for i, path in enumerate(build.air_paths):
        upstream = path.source if point.mass_flow[i] >= 0.0 else path.target
        assert point.path_temp_in[i] == pytest.approx(node_temp(build, point, upstream), abs=1e-9)


@given(SEEDS)
@FEW
def test_energy_balances_at_every_station_of_the_ring(seed):
    build = rig(seed)
    speeds = setting(build, seed)
    point = solved(build, speeds)
    power, coolant, names = whole_power(build, speeds), build.loop.coolant, stations(build)
    mean = float(np.mean([point.station_temp_in, point.station_temp_out]))
    properties = properties_at(mean, coolant.kind, coolant.mass_fraction)
    paths = [path.name for path in build.air_paths]
    for i, name in enumerate(names):
        if name == "pump":
            heat = float(build.loop.pump.coolant_share) * machine_power(build.loop.pump.electric, speeds[-1])
        elif name in paths:
            heat = -float(point.heat_rate[paths.index(name)])
        else:
            heat = float(build.states[0].heat[name])
        rate = properties.density * properties.specific_heat * float(point.station_flow[i])
        gained = rate * float(point.station_temp_out[i] - point.station_temp_in[i])
        assert abs(gained - heat) <= CLOSES * power


@given(SEEDS)
@FEW
def test_energy_balances_in_every_enclosure_and_in_the_room(seed):
    build = rig(seed)
    speeds = setting(build, seed)
    point = solved(build, speeds)
    power, state = whole_power(build, speeds), build.states[0]
    pump_rest = (1.0 - float(build.loop.pump.coolant_share)) * machine_power(build.loop.pump.electric, speeds[-1])
    kept = {name: [float(state.air_heat.get(name, 0.0))] for name in build.enclosures} | {ROOM: []}
    kept[build.loop.pump_enclosure].append(pump_rest)
    for i, path in enumerate(build.air_paths):
        m = float(point.mass_flow[i])
        end = path.target if m >= 0.0 else path.source
        kept[end].append(abs(m) * AIR_SPECIFIC_HEAT * (float(point.path_temp_out[i]) - node_temp(build, point, end)))
        if path.core is not None:
            kept[path.source].append(forced_and_passive(build, point, speeds, i)[1])
    for enclosure in build.enclosures:
        assert abs(math.fsum(kept[enclosure])) <= CLOSES * power
    assert math.fsum(kept[ROOM]) == pytest.approx(power, rel=CLOSES)


@given(SEEDS)
@FEW
def test_a_radiator_never_takes_more_than_its_air_can_carry(seed):
    build = rig(seed)
    speeds = random_speeds(build, np.random.default_rng(seed), 40, stopped=0.3)
    point = solve_operating_point(build, build.states[0], speeds)
    known = np.isfinite(point.conductance)
    assert known.any()
    assert np.all((point.conductance <= np.abs(point.mass_flow) * AIR_SPECIFIC_HEAT)[known])


@given(SEEDS)
@FEW
def test_a_case_alone_is_the_case_in_a_batch(seed):
    build = rig(seed)
    speeds = random_speeds(build, np.random.default_rng(seed), 7, stopped=0.2)
    together = solve_operating_point(build, build.states[0], speeds)
    for case in (0, 3, 6):
        alone = solve_operating_point(build, build.states[0], speeds[case])
        for name in ("mass_flow", "enclosure_pressure", "station_flow", "station_temp_in", "point_temp", "level"):
            np.testing.assert_allclose(
                getattr(together, name)[case], getattr(alone, name), rtol=1e-9, atol=1e-14, err_msg=name
            )


def with_second_row(build: Build, second: bool) -> Build:
    """The first radiator of a build with a fan row of its own group before it, and one more of its own behind."""
    path = next(path for path in build.air_paths if path.core is not None)
    core = path.core
    assert core is not None
    fan = build.fan_groups[0]
    groups = (*build.fan_groups, replace(fan, name="near"), replace(fan, name="far"))
    behind = (FanRow("far", core.radiator.fan_sections),) if second else ()
    stack = (FanRow("near", core.radiator.fan_sections), core, *behind)
    paths = tuple(replace(p, stack=stack) if p is path else p for p in build.air_paths)
    return replace(build, fan_groups=groups, air_paths=paths)


@given(SEEDS)
@FEW
def test_a_stopped_second_row_is_worse_than_none(seed):
    build = rig(seed)
    path = next(i for i, path in enumerate(build.air_paths) if path.core is not None)
    near = build.fan_groups[0].speeds.highest
    others = setting(build, seed, stopped=0.0)
    speeds = np.array([*others[:-1], near, 0.0, others[-1]])
    without = solved(with_second_row(build, False), speeds)
    stopped = solved(with_second_row(build, True), speeds)
    assume(float(without.mass_flow[path]) > 1e-4)

    assert float(stopped.mass_flow[path]) < float(without.mass_flow[path])


@given(SEEDS, st.floats(1.05, 5.0))
@FEW
def test_more_resistance_never_means_more_flow_in_its_own_path(seed, factor):
    build = rig(seed)
    speeds = setting(build, seed)
    chosen = next(i for i, path in enumerate(build.air_paths) if path.core is not None)
    path = build.air_paths[chosen]
    assert path.core is not None
    radiator = path.core.radiator
    clogged = replace(path.core, radiator=replace(radiator, a=radiator.a * factor, b=radiator.b * factor))
    stack = tuple(clogged if element is path.core else element for element in path.stack)
    paths = tuple(replace(p, stack=stack) if p is path else p for p in build.air_paths)
    before, after = solved(build, speeds), solved(replace(build, air_paths=paths), speeds)

    assert abs(float(after.mass_flow[chosen])) <= abs(float(before.mass_flow[chosen])) * (1.0 + CLOSES)


@given(SEEDS, st.floats(0.3, 0.95), st.booleans())
@FEW
def test_one_radiator_in_room_air_is_never_warmer_at_more_speed(seed, share, bench):
    # Without fan heat: a fan before the core warms the air with the cube of its speed, which may well win.
    build = rig(seed, radiators=1, enclosures=0 if bench else 1)
    path = next(i for i, path in enumerate(build.air_paths) if path.core is not None)
    core_path = replace(build.air_paths[path], source=ROOM, target=build.enclosures[0] if build.enclosures else ROOM)
    own = {row.group for row in core_path.fan_rows}
    others = {row.group for p in build.air_paths if p is not build.air_paths[path] for row in p.fan_rows}
    assume(not own & others)  # a group that also blows elsewhere may starve the radiator
    quiet = tuple(replace(g, fan=replace(g.fan, electric=replace(g.fan.electric, power=0.0))) for g in build.fan_groups)
    paths = tuple(core_path if i == path else p for i, p in enumerate(build.air_paths))
    build = replace(build, fan_groups=quiet, air_paths=paths)
    fast = setting(build, seed, stopped=0.0)
    slow = np.where([name in own for name in build.group_names], share * fast, fast)
    slower, faster = solved(build, slow), solved(build, fast)
    assume(float(slower.mass_flow[path]) > 0.0)

    assert float(faster.coolant_temp_max) <= float(slower.coolant_temp_max) + 1e-6
    assert float(faster.mass_flow[path]) >= float(slower.mass_flow[path])


def bare(build: Build, **coefficients: float) -> Build:
    """A build whose cores, screens and plates have some coefficients replaced."""

    def element(part: object) -> object:
        if isinstance(part, Core):
            return replace(part, radiator=sheet(part.radiator))
        if isinstance(part, Screen):
            return replace(part, resistance=replace(part.resistance, **coefficients))
        return part

    def sheet(part: Radiator | Plate) -> Radiator | Plate:
        loop = {f"coolant_{name}": value for name, value in coefficients.items()}
        return replace(part, **loop) if isinstance(part, Plate) else replace(part, **loop, **coefficients)

    paths = tuple(replace(p, stack=tuple(element(part) for part in p.stack)) for p in build.air_paths)
    sources = tuple(replace(source, plate=sheet(source.plate)) for source in build.sources)
    return replace(build, air_paths=paths, sources=sources)


@given(SEEDS, st.sampled_from(["a", "b"]))
@FEW
def test_purely_inertial_and_purely_viscous_rigs_solve(seed, name):
    build = bare(rig(seed), **{name: 0.0})
    speeds = setting(build, seed, stopped=0.0)
    point = solve_operating_point(build, build.states[0], speeds)
    if not bool(point.converged):
        # A path on the brink of reversal may have no steady state: forward it breathes light air, backward dense.
        assert not second_opinion(build, build.states[0], speeds, most_rounds=60).converged
        return
    for enclosure in build.enclosures:
        signed = [
            float(m) * ((path.target == enclosure) - (path.source == enclosure))
            for path, m in zip(build.air_paths, point.mass_flow, strict=True)
        ]
        assert abs(math.fsum(signed)) <= CLOSES * math.fsum(map(abs, signed))


def test_an_opening_at_zero_pressure_does_not_pass_for_solved():
    """Two equal fans, one in and one out: the opening between them carries nothing, where its slope is infinite."""
    build = plain_build(Opening(0.006, 2.7))
    out = build.air_paths[0]
    build = replace(build, air_paths=(*build.air_paths, replace(out, name="into", source=ROOM, target="box")))
    point = solve_operating_point(build, build.states[0], [20.0, 50.0])

    assert bool(point.converged)
    assert float(point.mass_flow[1]) == pytest.approx(0.0, abs=1e-9)
    assert float(point.mass_flow[3] - point.mass_flow[0]) == pytest.approx(0.0, abs=1e-9)
    assert float(point.mass_flow[0]) > 0.03


def test_fans_at_rest_leave_no_flow_and_no_steady_enclosure():
    build = plain_build(Opening(0.006, 2.7))
    point = solve_operating_point(build, build.states[0], [0.0, 50.0])

    np.testing.assert_allclose(point.mass_flow[:2], 0.0, atol=1e-9)
    assert math.isnan(float(point.enclosure_temp[0]))


def bench(heat: float) -> Build:
    """One radiator on an open bench with little heat."""
    build = plain_build(Opening(0.006, 2.7))
    state = replace(build.states[0], heat={"cpu": heat}, air_heat={})
    return replace(build, air_paths=build.air_paths[2:], enclosures=(), states=(state,))


def test_fans_at_rest_leave_the_passive_conductance():
    build = bench(7.0)
    point = solve_operating_point(build, build.states[0], [0.0, 50.0])
    # P = G_passive (T_coolant,in - T_room), 0.7 W/K for the one section: 10 K
    assert float(point.conductance[0]) == pytest.approx(0.0, abs=1e-12)
    assert float(point.heat_rate[0]) == pytest.approx(7.0, rel=CLOSES)
    assert float(point.coolant_temp_max) == pytest.approx(293.15 + 10.0, abs=1e-6)


def test_the_slowest_fans_meet_the_passive_value_without_a_step():
    build = bench(7.0)
    speeds = np.array([[speed, 50.0] for speed in (0.0, 1e-9, 1e-6, 1e-4, 1e-3, 1e-2)])
    point = solve_operating_point(build, build.states[0], speeds)

    assert np.all(point.converged)
    assert np.all(np.isfinite(point.coolant_temp_max))
    assert np.ptp(point.coolant_temp_max) < 0.1
    assert np.all(point.conductance <= np.abs(point.mass_flow) * AIR_SPECIFIC_HEAT)


def test_one_radiator_in_room_air_in_closed_form():
    """P = G (T_coolant,in - T_room) when every watt leaves by one radiator that breathes the room."""
    build = bench(120.0)
    point = solve_operating_point(build, build.states[0], [20.0, 50.0])

    assert float(point.station_temp_in[2]) == pytest.approx(293.15 + 120.0 / float(point.conductance[0]), abs=1e-7)


def test_numbers_of_the_build_may_be_cases():
    build = bench(120.0)
    temps = np.array([288.15, 293.15, 303.15])
    batched = replace(build.states[0], room_temp=temps)
    together = solve_operating_point(build, batched, [20.0, 50.0])
    for case, temp in enumerate(temps):
        alone = solve_operating_point(build, replace(build.states[0], room_temp=float(temp)), [20.0, 50.0])
        assert float(together.coolant_temp_max[case]) == pytest.approx(float(alone.coolant_temp_max), rel=1e-9)


def test_an_empty_batch_has_every_field_and_no_case() -> None:
    build = random_build(1)
    one = solve_operating_point(build, build.states[0], np.ones((1, len(build.group_names))))
    none = solve_operating_point(build, build.states[0], np.ones((0, len(build.group_names))))
    no_room = replace(build.states[0], room_temp=np.zeros((2, 0)))
    nowhere = solve_operating_point(build, no_room, np.ones(len(build.group_names)))
    for field in fields(one):
        assert getattr(none, field.name).shape == (0, *getattr(one, field.name).shape[1:])
        assert getattr(nowhere, field.name).shape == (2, 0, *getattr(one, field.name).shape[1:])


@pytest.mark.parametrize("scale", [0.6, 1.5])
def test_a_stretched_curve_is_the_curve_with_stretched_points(scale: float) -> None:
    # What a scale of flow means: every point of the sheet's curve at that many times its flow; with a saddle too.
    build = pressurised_saddle()

    def bent(name: str) -> Build:
        groups = []
        for group in build.fan_groups:
            curve = group.fan.curve
            points = tuple(scale * flow for flow in curve.flow)
            curve = replace(curve, flow_scale=scale) if name == "scale" else replace(curve, flow=points)
            groups.append(replace(group, fan=replace(group.fan, curve=curve)))
        return replace(build, fan_groups=tuple(groups))

    rng = np.random.default_rng(6)
    lowest, highest = np.array([[speeds.lowest, speeds.highest] for speeds in build.speed_ranges]).T
    speeds = rng.uniform(lowest, highest, (12, lowest.size))
    one, other = (solve_operating_point(bent(name), build.states[0], speeds) for name in ("scale", "points"))
    assert np.array_equal(one.converged, other.converged)
    assert one.converged.sum() > 6
    for name in ("mass_flow", "enclosure_pressure", "coolant_temp_max"):
        first, second = (getattr(point, name)[one.converged] for point in (one, other))
        assert first == pytest.approx(second, rel=1e-6, abs=1e-9)
