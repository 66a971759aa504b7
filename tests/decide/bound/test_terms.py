"""The least value of one path's terms, against every corner listed one by one and against thousands of points inside.

The terms are written down here a second time, from the balances (first law for a stream without work): air that flows
from its upstream to its downstream node brings m c_p (T_up - T_down), the fans' power and what the radiator gives off
downstream; a radiator moved by forced flow gives off G (T_coolant - T_up - rise) and, by what its passive conductance
is more than that, (T_coolant - T_source) to the source. A bilinear form over a box is least at one of its corners.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from numpy.typing import NDArray

from quietcool.decide.bound.terms import PathArrays, PricedPath, Terms, block_part, least_point, least_value

Floats = NDArray[np.float64]

HEAT = 1006.0  # specific heat of air, rounded as common practice has it [J/kg/K]
PASSIVE = 2.0
BOXES, OPTIONS = 7, 5


def span(rng: np.random.Generator, low: float, high: float, *shape: int) -> Floats:
    return np.sort(rng.uniform(low, high, size=(*shape, 2)), axis=-1)


def drawn(seed: int, core: bool = True) -> PricedPath:
    """A path with random prices of either sign; flows forward, reversed or either."""
    rng = np.random.default_rng(seed)
    one = (BOXES, 1)
    conductance = span(rng, 0.0, 6.0, BOXES, OPTIONS) if core else np.zeros((BOXES, OPTIONS, 2))
    return PricedPath(
        terms=Terms(
            mass=rng.normal(size=one) * 300.0,
            at_source=rng.normal(size=one),
            at_target=rng.normal(size=one),
            taken=rng.normal(size=one) if core else np.zeros(one),
            copy_source=rng.normal(size=one) * 5.0,
            copy_target=rng.normal(size=one) * 5.0,
            source=span(rng, 0.0, 20.0, *one),
            target=span(rng, 0.0, 20.0, *one),
        ),
        arrays=PathArrays(
            flow=span(rng, -0.02, 0.03, BOXES, OPTIONS),
            by_pressure=rng.uniform(size=(BOXES, OPTIONS)),
            conductance=conductance,
            rise_forward=span(rng, 0.0, 3.0, BOXES, OPTIONS),
            rise_reverse=span(rng, 0.0, 3.0, BOXES, OPTIONS),
            power=span(rng, 0.0, 9.0, BOXES, OPTIONS),
        ),
        coolant=span(rng, 5.0, 40.0, *one) if core else np.zeros((*one, 2)),
        ring_part=rng.normal(size=(*one, 2)) * 20.0 if core else np.zeros((*one, 2)),
        passive=PASSIVE if core else 0.0,
        has_core=core,
    )


def value(path: PricedPath, at: tuple[int, int], flow: float, parts: tuple[float, ...], forward: bool) -> float:
    """The terms at one point; parts are shares of the ranges of temperatures, rise and power, and the conductance."""
    box, option = at
    source_share, target_share, coolant_share, rise_share, power_share, conductance = parts

    def inside(ends: Floats, share: float) -> float:
        return float(ends[0] + share * (ends[1] - ends[0]))

    terms, arrays = path.terms, path.arrays
    source, target = inside(terms.source[box, 0], source_share), inside(terms.target[box, 0], target_share)
    coolant = inside(path.coolant[box, 0], coolant_share)
    rise = inside((arrays.rise_forward if forward else arrays.rise_reverse)[at], rise_share)
    power = inside(arrays.power[at], power_share)
    up, down = (source, target) if forward else (target, source)
    price = float((terms.at_target if forward else terms.at_source)[box, 0])
    taken, at_source = float(terms.taken[box, 0]), float(terms.at_source[box, 0])
    given = conductance * (coolant - up - rise)
    spare = max(path.passive - conductance, 0.0) * (coolant - source)
    total = float(terms.mass[box, 0]) * flow + price * (abs(flow) * HEAT * (up - down) + power + given)
    total += at_source * spare - taken * (given + spare)
    total -= float(terms.copy_source[box, 0]) * source + float(terms.copy_target[box, 0]) * target
    return total + inside(path.ring_part[box, 0], coolant_share)


def directions(flow: Floats) -> list[tuple[bool, tuple[float, float]]]:
    low, high = float(flow[0]), float(flow[1])
    forward = [(True, (max(low, 0.0), high))] if high >= 0.0 else []
    return forward + ([(False, (low, min(high, 0.0)))] if low < 0.0 else [])


def corners(path: PricedPath, at: tuple[int, int]) -> list[float]:
    low, high = path.arrays.conductance[at]
    kinks = [path.passive] if low < path.passive < high else []
    return [
        value(path, at, flow, (*ends, conductance), forward)
        for forward, flows in directions(path.arrays.flow[at])
        for flow in flows
        for conductance in (low, high, *kinks)
        for ends in itertools.product((0.0, 1.0), repeat=5)
    ]


@pytest.fixture(autouse=True)
def _same_air(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("quietcool.physics.air.SPECIFIC_HEAT", HEAT)


@pytest.mark.parametrize(("seed", "core"), [(0, True), (1, True), (2, False)])
def test_the_least_value_is_the_least_of_all_corners(seed: int, core: bool) -> None:
    path = drawn(seed, core)
    found = least_value(path)
    for at in np.ndindex(BOXES, OPTIONS):
        assert found[at] == pytest.approx(min(corners(path, at)), rel=1e-12, abs=1e-9)


def test_nothing_inside_the_ranges_lies_below_the_least_value() -> None:
    path, rng = drawn(3), np.random.default_rng(3)
    found = least_value(path)
    for at in np.ndindex(BOXES, OPTIONS):
        for _ in range(60):
            flow = rng.uniform(*path.arrays.flow[at])
            parts = (*rng.uniform(size=5), rng.uniform(*path.arrays.conductance[at]))
            assert value(path, at, flow, parts, flow >= 0.0) >= found[at] - 1e-9


def test_where_it_is_least_the_terms_have_that_value() -> None:
    path = drawn(4)
    found, point = least_value(path), least_point(path)
    for at in np.ndindex(BOXES, OPTIONS):
        box = at[0]
        flow = float(point.flow[at])
        forward = not np.signbit(flow)
        ends = [
            (path.terms.source[box, 0], point.source_over[at]),
            (path.terms.target[box, 0], point.target_over[at]),
            (path.coolant[box, 0], point.coolant_over[at]),
            ((path.arrays.rise_forward if forward else path.arrays.rise_reverse)[at], point.fan_rise[at]),
            (path.arrays.power[at], point.power[at]),
        ]
        shares = [float((there - span[0]) / (span[1] - span[0])) for span, there in ends]
        parts = (*shares, float(point.conductance[at]))
        assert value(path, at, flow, parts, forward) == pytest.approx(found[at], rel=1e-9, abs=1e-9)
        assert point.spare[at] == pytest.approx(max(PASSIVE - point.conductance[at], 0.0), abs=1e-12)
        assert path.arrays.flow[at][0] <= flow <= path.arrays.flow[at][1]


def test_one_chosen_option_has_the_value_it_has_among_all() -> None:
    path = drawn(5)
    choice = np.arange(BOXES) % OPTIONS
    alone = least_value(path.at(choice))
    assert alone.shape == (BOXES, 1)
    assert np.array_equal(alone[:, 0], least_value(path)[np.arange(BOXES), choice])


def test_a_block_s_share_of_a_flow_s_width_by_hand() -> None:
    # Affinity laws (any handbook of fans): flow goes with speed, power with its third power. From 1 W to 8 W the speed
    # doubles; a flow of 0.02 kg/s at the faster end is 0.01 at the slower one: half of a width of 0.02.
    arrays = drawn(0).arrays
    chosen = arrays.at(np.zeros(3, dtype=np.intp))
    power = np.array([[[1.0, 8.0]], [[1.0, 8.0]], [[0.0, 0.0]]])
    part = block_part(chosen._replace(power=power), np.array([-0.02, 0.02, 0.02]), np.array([0.02, 0.005, 0.0]))
    assert part == pytest.approx([0.5, 1.0, 0.0])
