"""True settings planted in boxes: what a bound must never lose.

A setting of the step grid is solved; boxes of several widths are laid round its pressures and temperatures at random
places. Whatever the bound derives of such a box must leave room for the setting.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from quietcool.decide.bound.boxes import Boxes, root_box
from quietcool.decide.bound.frame import Frame, make_block_frame, make_frame, make_frames, sharing_groups
from quietcool.decide.bound.propagation import Examined, examine
from quietcool.decide.bound.relaxation import Reference, Relaxation, price_count
from quietcool.decide.question import Question
from quietcool.entry.build import Build, Limits, LoopElement, Parallel
from quietcool.solve.loop import station_names
from quietcool.solve.operating_point import solve_operating_point
from tests.random_builds import random_build
from tests.second_opinion.whole import second_opinion

Floats = NDArray[np.float64]

UNIT = 30.0  # level of energy 1 [dB(A)]
WIDTHS = (3.0, 0.5, 0.05, 1e-3)  # of boxes [Pa, K]
HOTTEST = 372.0  # beyond it the property fits end [K]
ROUNDING = 1e-9  # relative; the truth is solved to about 1e-10


@dataclass(frozen=True)
class Truth:
    """What one setting comes to."""

    steps: NDArray[np.intp]  # (groups + 1,)
    pressure: Floats  # (enclosures,) [Pa]
    air_temp: Floats  # (enclosures,) [K]
    node_temp: Floats  # of the ring's nodes [K]
    mass_flow: Floats  # (paths,) [kg/s]
    conductance: Floats  # (paths,) [W/K]
    heat: Floats  # given off by each radiator, (paths,) [W]
    energy: float  # [-]


def without_limits(build: Build) -> Build:
    """The same rig with nothing asked of it, so that every setting is a true one."""
    return replace(
        build,
        sources=tuple(
            replace(source, points=tuple(replace(point, limit=None) for point in source.points))
            for source in build.sources
        ),
        positions=tuple(replace(position, limit=None) for position in build.positions),
        states=tuple(replace(state, limits=Limits()) for state in build.states),
        loop=replace(build.loop, min_flow=0.0),
    )


def frame_of(build: Build) -> Frame:
    state = build.states[0]
    return make_frame(Question(build, (state,), 0), state, UNIT)


def frames_of(build: Build, width: int) -> list[Frame]:
    """Frames of every level of a search, and one more with every group's steps in blocks of a width."""
    state = build.states[0]
    question = Question(build, (state,), 0)
    return [
        *make_frames(question, state, UNIT),
        make_block_frame(question, state, UNIT, [width for _ in sharing_groups(build)]),
    ]


def node_stations(build: Build) -> list[str]:
    """A station at the inlet of every node of the ring, in the order of the bound's nodes."""
    radiators = {path.name for path in build.air_paths if path.core is not None}

    def cools(element: LoopElement) -> bool:
        return bool(radiators & set(station_names((element,))))

    def inside(element: LoopElement) -> Iterator[str]:
        if isinstance(element, Parallel):
            for branch in element.branches:
                for part in branch:
                    if cools(part):
                        yield station_names((part,))[0]
                        yield from inside(part)

    order = build.loop.order
    first = next(i for i, element in enumerate(order) if cools(element))
    cooling = [element for element in order[first:] + order[:first] if cools(element)]
    return [station_names((element,))[0] for element in cooling] + [name for part in cooling for name in inside(part)]


def solved_truths(build: Build, frame: Frame, rng: Generator, count: int) -> list[Truth]:
    """Random settings of the step grid that have a steady state in the range of the property fits."""
    grids = frame.question.grids
    steps = np.stack([rng.integers(0, grid.size, size=count) for grid in grids], axis=-1)
    speeds = np.stack([grid[steps[:, i]] for i, grid in enumerate(grids)], axis=-1)
    point = solve_operating_point(build, build.states[0], speeds)
    names = station_names(build.loop.order)
    places = [names.index(name) for name in node_stations(build)]
    truths = []
    for i in range(count):
        if not point.converged[i] or np.isnan(point.enclosure_temp[i]).any():
            continue
        if not point.coolant_temp_max[i] < HOTTEST or not (point.enclosure_temp[i] < HOTTEST).all():
            continue
        truths.append(
            Truth(
                steps[i],
                point.enclosure_pressure[i],
                point.enclosure_temp[i],
                point.station_temp_in[i, places],
                point.mass_flow[i],
                point.conductance[i],
                point.heat_rate[i],
                float(10.0 ** ((point.level[i, 0] - UNIT) / 10.0)),
            )
        )
    return truths


def second_truth(build: Build, steps: Sequence[int]) -> Truth | None:
    """One setting as the scalar second opinion of the tests solves it; None without a steady state."""
    grids = Question(build, build.states, 0).grids
    opinion = second_opinion(build, build.states[0], [grid[k] for grid, k in zip(grids, steps, strict=True)])
    if not opinion.converged or opinion.temps is None or not opinion.hottest_coolant < HOTTEST:
        return None
    temps, names = opinion.temps, [path.name for path in build.air_paths]
    return Truth(
        np.array(steps),
        np.array([opinion.air.pressure[name] for name in build.enclosures]),
        np.array([temps.enclosure[name] for name in build.enclosures]),
        np.array([temps.station_in[name] for name in node_stations(build)]),
        np.array([opinion.air.mass_flow[name] for name in names]),
        np.array([opinion.conductance[name].forced if name in opinion.conductance else 0.0 for name in names]),
        np.array([temps.forced_heat.get(name, 0.0) + temps.passive_heat.get(name, 0.0) for name in names]),
        float(10.0 ** ((opinion.level[build.positions[0].name] - UNIT) / 10.0)),
    )


def boxes_round(frame: Frame, truth: Truth, rng: Generator, widths: Sequence[float] = WIDTHS) -> Boxes:
    """One box of every width with the truth at a random place in it; wide ones leave the pump open."""
    root = root_box(frame, price_count(frame)).take(np.zeros(len(widths), dtype=np.intp))

    def around(values: Floats) -> Floats:
        width = np.reshape(widths, (-1, 1))
        offset = rng.uniform(size=(len(widths), values.size))
        return np.stack([values - width * offset, values + width * (1.0 - offset)], axis=-1)

    last = frame.pump_energy.size - 1
    reach = np.where(np.array(widths) > 0.1, rng.integers(0, 6, size=len(widths)), 0)
    step = int(truth.steps[-1])
    return replace(
        root,
        pressure=around(truth.pressure),
        air_temp=around(truth.air_temp),
        coolant_temp=around(truth.node_temp),
        pump=np.stack([np.maximum(step - reach, 0), np.minimum(step + reach, last)], axis=-1),
    )


def option_of(frame: Frame, cluster: int, truth: Truth) -> int:
    """The truth's option in a cluster."""
    members = frame.clusters[cluster]
    if not members.groups:
        return 0
    steps = truth.steps[list(members.groups)]
    inside = (members.blocks[..., 0] <= steps) & (steps <= members.blocks[..., 1])
    return int(np.flatnonzero(np.all(inside, axis=1))[0])


def losses(frame: Frame, truth: Truth, seen: Examined, asked: int) -> Iterator[str]:
    """Everything in examined boxes that has no room for the truth, one sentence each."""
    if seen.boxes.count < asked:
        yield f"{asked - seen.boxes.count} of {asked} boxes were emptied"
        return
    for name, span, value in (
        ("pressure", seen.boxes.pressure, truth.pressure),
        ("air", seen.boxes.air_temp, truth.air_temp),
        ("coolant", seen.boxes.coolant_temp, truth.node_temp),
    ):
        if not np.all((span[..., 0] <= value + 1e-7) & (span[..., 1] >= value - 1e-7)):
            yield f"{name}: {value} not in {span.tolist()}"
    for number, cluster in enumerate(frame.clusters):
        option = option_of(frame, number, truth)
        if not np.all(seen.boxes.allowed[number][:, option]):
            yield f"cluster {number}: the true option is struck"
        for path in cluster.paths:
            own = frame.paths[path].option_of_cluster[option]
            ranges = seen.paths[path]
            for name, span, value, slack in (
                ("flow", ranges.flow, truth.mass_flow[path], 1e-9 * frame.paths[path].flow_scale),
                ("conductance", ranges.conductance, truth.conductance[path], 1e-8 * truth.conductance[path]),
                ("heat", ranges.forced + ranges.spare, truth.heat[path], 1e-5),
            ):
                low, high = span[:, own].T
                if not np.all((low <= value + slack) & (value - slack <= high)):
                    yield f"{name} of path {path}: {value} not in {span[:, own].tolist()}"


def random_prices(relaxation: Relaxation, truth: Truth, rng: Generator) -> tuple[Floats, Reference]:
    """Prices over several orders of magnitude, of either sign, and references round the ranges."""
    frame = relaxation.frame
    n, segments = frame.enclosures, len(frame.ring.segments)
    flow = 0.2 * max(options.flow_scale for options in frame.paths)
    scale = np.concatenate([np.full(n, flow), np.full(n + segments, 150.0)])
    size = 10.0 ** rng.uniform(-3.0, 1.0, size=(relaxation.count, 1)) * truth.energy
    price = rng.normal(size=(relaxation.count, n + n + segments)) * size / scale
    paths = (relaxation.count, len(frame.paths))
    reference = Reference(rng.normal(size=paths) * flow, np.abs(rng.normal(size=paths)) * 30.0)
    return price, reference


def bound_breaches(frame: Frame, truth: Truth, seen: Examined, rng: Generator, evaluations: int) -> Iterator[str]:
    """Bounds at random prices that lie above the truth's energy."""
    relaxation = Relaxation(frame, seen)
    for _ in range(evaluations):
        price, reference = random_prices(relaxation, truth, rng)
        found = relaxation.evaluate(price, reference)
        if not np.all(found.bound <= truth.energy * (1.0 + ROUNDING)):
            yield f"bound {found.bound} above energy {truth.energy}"
        for number, forced in enumerate(found.option_bound):
            if not np.all(forced[:, option_of(frame, number, truth)] <= truth.energy * (1.0 + ROUNDING)):
                yield f"cluster {number}: bound of the true option above energy {truth.energy}"


def planted_boxes(seed: int, widths: tuple[float, ...], count: int = 2) -> Iterator[tuple[Frame, Truth, Examined]]:
    """Boxes of each width round settings of a random build, looked at until nothing more is struck."""
    build = without_limits(random_build(seed, limits=False))
    frame, rng = frame_of(build), np.random.default_rng([seed, 9])
    truths = solved_truths(build, frame, rng, 4 * count)[:count]
    assert len(truths) == count  # else whoever asks for them tests nothing
    for truth in truths:
        for width in widths:
            boxes = boxes_round(frame, truth, rng, [width])
            for visit in range(3):
                seen = examine(frame, boxes, truth.energy * 1.2, from_afar=visit == 0)
                boxes = seen.boxes
            assert boxes.count == 1
            yield frame, truth, seen


def check_truth(frame: Frame, truth: Truth, rng: Generator, evaluations: int = 3) -> tuple[int, list[str]]:
    """Plant one truth in boxes of every width; number of bounds tried, and what was wrong."""
    boxes = boxes_round(frame, truth, rng)
    goal = truth.energy * (1.0 + 1e-7)
    wrong: list[str] = []
    for visit in range(3):  # a box is looked at again with what is known of it
        seen = examine(frame, boxes, goal, from_afar=visit == 0)
        wrong += losses(frame, truth, seen, boxes.count)
        if wrong:
            return 0, wrong
        boxes = seen.boxes
    wrong += bound_breaches(frame, truth, seen, rng, evaluations)
    return evaluations * boxes.count, wrong


def check_build(build: Build, seed: int, count: int, evaluations: int = 3) -> tuple[int, list[str]]:
    """Plant settings of one build; number of bounds tried, and what was wrong."""
    rng = np.random.default_rng([seed, 77])
    bare = without_limits(build)
    frames = frames_of(bare, int(rng.integers(2, 12)))
    tried, wrong = 0, []
    for truth in solved_truths(bare, frames[-1], rng, count):
        for level, frame in enumerate(frames):
            number, found = check_truth(frame, truth, rng, evaluations)
            tried += number
            place = f"{build.title}, frame {level} of {len(frames)}, steps {truth.steps.tolist()}"
            wrong += [f"{place}: {sentence}" for sentence in found]
    return tried, wrong
