"""Tables over a box: they shrink with the box, follow pressure the right way, and hold what lies in the box.

That into-flow falls with the pressure it meets and that an exchanger transfers more with more of either stream are the
facts that the bound rests on (Kays and London, Compact Heat Exchangers, 3rd ed. 1984, ch. 2: effectiveness rises with
NTU; the rest follows from falling fan curves). The values between the ends come from a plain bisection written here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq

from quietcool.decide.bound.boxes import Boxes, root_box
from quietcool.decide.bound.frame import Frame
from quietcool.decide.bound.ranges import _heats, path_ranges, ring_ranges
from quietcool.decide.bound.relaxation import price_count
from quietcool.entry.build import Build, Electric
from quietcool.physics.exchangers import radiator_conductance
from tests.decide.bound.planted import Truth, boxes_round, frame_of, solved_truths, without_limits
from tests.plain_builds import pressurised_saddle
from tests.random_builds import random_build
from tests.second_opinion.air_side import Fans, element_law, in_series
from tests.second_opinion.laws import SheetCurve, isa_pressure

Floats = NDArray[np.float64]

BUILDS = {seed: without_limits(random_build(seed, limits=False)) for seed in (0, 2, 4)}


def planted(seed: int) -> tuple[Frame, Truth, np.random.Generator]:
    frame = frame_of(BUILDS[seed])
    rng = np.random.default_rng(seed)
    return frame, solved_truths(BUILDS[seed], frame, rng, 6)[0], rng


def halves(spans: Floats, rng: np.random.Generator) -> Floats:
    part = np.sort(rng.uniform(size=spans.shape), axis=-1)
    return spans[..., :1] + part * (spans[..., 1:] - spans[..., :1])


def sub_boxes(boxes: Boxes, rng: np.random.Generator) -> Boxes:
    return replace(
        boxes,
        pressure=halves(boxes.pressure, rng),
        air_temp=halves(boxes.air_temp, rng),
        coolant_temp=halves(boxes.coolant_temp, rng),
        pump=np.repeat(boxes.pump[:, :1], 2, axis=1),
    )


@pytest.mark.parametrize("seed", BUILDS)
def test_ranges_shrink_with_the_box(seed: int) -> None:
    frame, truth, rng = planted(seed)
    outer = boxes_round(frame, truth, rng, [4.0, 1.0, 0.3])
    for _ in range(3):
        inner = sub_boxes(outer, rng)
        ring_outer, ring_inner = ring_ranges(frame, outer), ring_ranges(frame, inner)
        assert np.all(ring_outer.capacity[..., 0] <= ring_inner.capacity[..., 0] * (1.0 + 1e-9))
        assert np.all(ring_outer.capacity[..., 1] >= ring_inner.capacity[..., 1] * (1.0 - 1e-9))
        assert np.all(ring_outer.ceiling >= ring_inner.ceiling - 1e-6)
        for path, options in enumerate(frame.paths):
            everything = np.ones((outer.count, options.power.size), dtype=np.bool_)
            wide, narrow = (
                path_ranges(frame, boxes, path, everything, ring, from_afar=True)
                for boxes, ring in ((outer, ring_outer), (inner, ring_inner))
            )
            slack = 1e-5 * options.flow_scale
            real = narrow.possible & wide.possible
            assert np.all(wide.flow[..., 0][real] <= narrow.flow[..., 0][real] + slack)
            assert np.all(wide.flow[..., 1][real] >= narrow.flow[..., 1][real] - slack)
            assert np.all(wide.conductance[..., 0][real] <= narrow.conductance[..., 0][real] * 1.001 + 1e-3)
            assert np.all(wide.conductance[..., 1][real] >= narrow.conductance[..., 1][real] * 0.999 - 1e-3)
            assert np.all(wide.energy[real] <= narrow.energy[real] * (1.0 + 1e-4))


def without_power(build: Build) -> Build:
    """Fans that do not warm the air, so that every element of a stack without radiator has its upstream node's air."""
    groups = tuple(replace(group, fan=replace(group.fan, electric=Electric())) for group in build.fan_groups)
    return replace(build, fan_groups=groups)


def all_roots(law: Callable[[float], float], reach: float) -> list[float]:
    """Every sign change of a law over flows of -reach to reach [kg/s]."""
    grid = np.concatenate([np.linspace(-reach, 0.0, 200), np.linspace(0.0, reach, 800)[1:]])
    values = np.array([law(float(m)) for m in grid])
    places = np.flatnonzero(np.sign(values[:-1]) != np.sign(values[1:]))
    return [float(brentq(law, grid[i], grid[i + 1], xtol=1e-15)) for i in places]


def stack_law(frame: Frame, path: int, option: int, pressure: Floats, node_temp: Floats) -> Callable[[float], float]:
    """Pressure left over along a path that carries a mass flow, by the second opinion's element laws."""
    options, build = frame.paths[path], frame.build
    curves = {group.name: SheetCurve(group.fan.curve) for group in build.fan_groups}
    fans = Fans(curves, {row.row.group: float(row.speed[option]) for row in options.rows})
    ambient = isa_pressure(float(build.room.altitude))
    (p_from, t_from), (p_to, t_to) = (
        (0.0, frame.room_temp) if node < 0 else (float(pressure[node]), float(node_temp[node]))
        for node in (options.source, options.target)
    )

    def law(m: float) -> float:
        temp = t_from if m >= 0.0 else t_to
        stack = [element_law(element, temp, ambient, options.path, fans) for element in options.path.stack]
        return p_from - p_to + in_series(stack)(m)

    return law


@pytest.mark.parametrize(
    ("build", "most_roots"),
    [
        (without_power(without_limits(random_build(2, enclosures=2, limits=False))), 1),
        (without_power(without_limits(random_build(1, saddle=True, enclosures=1, limits=False))), 1),
        (without_limits(pressurised_saddle()), 3),
    ],
    ids=["two enclosures", "random saddle", "saddle"],
)
def test_flow_ranges_hold_every_root_that_lies_in_the_box(build: Build, most_roots: int) -> None:
    frame = frame_of(build)
    rng = np.random.default_rng(1)
    root = root_box(frame, price_count(frame))
    most = 0
    for path, options in enumerate(frame.paths):
        if options.path.core is not None or options.source == options.target:
            continue
        for _ in range(16):
            option = int(rng.integers(0, options.power.size))
            node_temp = rng.uniform(293.0, 315.0, frame.enclosures)
            pressure = rng.uniform(-0.9, 0.9, frame.enclosures) * pressure_scale(frame, path, option)
            roots = all_roots(stack_law(frame, path, option, pressure, node_temp), 5.0 * options.flow_scale)
            most = max(most, len(roots))
            width = rng.uniform(0.0, 1.0)
            box = replace(
                root,
                pressure=np.stack([pressure - 0.4 * width, pressure + 0.6 * width], axis=-1)[None],
                air_temp=np.stack([node_temp - 2.0 * width, node_temp + 3.0 * width], axis=-1)[None],
            )
            everything = np.ones((1, options.power.size), dtype=np.bool_)
            found = path_ranges(frame, box, path, everything, ring_ranges(frame, box), from_afar=True)

            assert len(roots) >= 1
            assert found.flow[0, option, 0] <= min(roots)
            assert max(roots) <= found.flow[0, option, 1]
    assert most >= most_roots  # where a saddle is asked for, three roots were among them


def pressure_scale(frame: Frame, path: int, option: int) -> float:
    """A pressure that the path's fans can work against, 2 Pa without any [Pa]."""
    found = 2.0
    for row in frame.paths[path].rows:
        curve = frame.build.fan_groups[row.fan_group].fan.curve
        found = max(found, curve.pressure[0] * (float(row.speed[option]) / curve.speed) ** 2)
    return found


def test_a_radiator_transfers_more_with_more_of_either_stream() -> None:
    rng = np.random.default_rng(2)
    air, coolant = np.geomspace(1e-5, 0.5, 160)[:, None], np.geomspace(1e-6, 3e-4, 120)[None, :]
    for _ in range(40):
        found = radiator_conductance(
            air,
            coolant,
            face_area=rng.uniform(0.01, 0.1),
            ua_air=rng.uniform(10.0, 150.0),
            ua_air_velocity=1.0,
            ua_air_exponent=rng.uniform(0.2, 0.8),
            ua_coolant=rng.uniform(40.0, 800.0),
            ua_coolant_flow=6e-5,
            ua_coolant_exponent=rng.uniform(0.0, 0.8),
            coolant_capacity_rate=4.1e6 * coolant,
            air_specific_heat=1006.0,
        )
        slack = 1e-12 * found.max()

        assert np.all(np.diff(found, axis=0) >= -slack)
        assert np.all(np.diff(found, axis=1) >= -slack)
        assert np.all(found <= np.minimum(1006.0 * air, 4.1e6 * coolant) * (1.0 + 1e-12))


@pytest.mark.parametrize("beyond", [1.02, 1.1, 1.5, 3.0])
def test_air_pushed_back_through_a_fan_lies_in_the_range_however_warm_it_is(beyond: float) -> None:
    # Just beyond shut-off the fan's own pressure decides, far beyond it the drag of the air: cold air has more of both.
    build = without_limits(pressurised_saddle())
    frame = frame_of(build)
    path = next(i for i, options in enumerate(frame.paths) if options.path.name == "weak")
    options = frame.paths[path]
    option = options.power.size - 1
    coldest, hottest = 293.15, 333.15
    cold = stack_law(frame, path, option, np.zeros(1), np.full(1, coldest))(-1e-9)
    pressure = np.full(frame.enclosures, beyond * cold)
    box = replace(
        root_box(frame, price_count(frame)),
        pressure=np.stack([pressure, pressure], axis=-1)[None],
        air_temp=np.tile([coldest, hottest], (1, frame.enclosures, 1)),
    )
    everything = np.ones((1, options.power.size), dtype=np.bool_)
    found = path_ranges(frame, box, path, everything, ring_ranges(frame, box), from_afar=True).flow[0, option]
    for temp in np.linspace(coldest, hottest, 9):
        law = stack_law(frame, path, option, pressure, np.full(frame.enclosures, temp))
        roots = [root for root in all_roots(law, 5.0 * options.flow_scale) if root < 0.0]
        if beyond >= 1.1:
            assert roots
        assert all(found[0] <= root <= found[1] for root in roots)


def test_heats_of_a_radiator_whose_air_may_go_either_way_are_in_their_range() -> None:
    # What a radiator gives: G (T_coolant - T_upstream - rise) with the stream, and to the source what its passive
    # conductance is more than G; sampled at random, with coolant that may be colder than the enclosure's air.
    rng = np.random.default_rng(7)
    count, passive = 40, 3.0

    def spans(low: float, high: float) -> Floats:
        return np.sort(rng.uniform(low, high, (count, 2)), axis=1)

    flow, conductance = spans(-0.02, 0.02), spans(0.0, 9.0)
    pairs = SimpleNamespace(
        source_temp=spans(290.0, 330.0), target_temp=spans(290.0, 330.0), coolant_temp=spans(300.0, 325.0)
    )
    stacks = tuple(SimpleNamespace(core_fan_rise=spans(0.0, 3.0)) for _ in range(2))
    options = SimpleNamespace(path=SimpleNamespace(core=object()))
    forced, spare = _heats(options, pairs, flow, conductance, passive, stacks)
    for _ in range(400):
        part = rng.choice([0.0, 1.0, 0.5], size=(6, count))
        m, g, source, target, coolant = (
            span[:, 0] + share * (span[:, 1] - span[:, 0])
            for span, share in zip(
                (flow, conductance, pairs.source_temp, pairs.target_temp, pairs.coolant_temp), part, strict=False
            )
        )
        rise = [stack.core_fan_rise[:, 0] + part[5] * np.ptp(stack.core_fan_rise, axis=1) for stack in stacks]
        heat = g * (coolant - np.where(m >= 0.0, source + rise[0], target + rise[1]))
        besides = np.maximum(passive - g, 0.0) * (coolant - source)
        assert np.all((forced[:, 0] <= heat + 1e-9) & (heat <= forced[:, 1] + 1e-9))
        assert np.all((spare[:, 0] <= besides + 1e-9) & (besides <= spare[:, 1] + 1e-9))
