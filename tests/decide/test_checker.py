"""The certificate's checker against true settings: its boxes lose none, its bounds undercut all, its tables agree.

Truth: the batched solver, which shares no formula of air and coolant networks with the checker. The tree
is held to made-up records here; whole certificates are in test_certificate.py.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

import quietcool.decide.checker
from quietcool.decide.bound.propagation import examine
from quietcool.decide.bound.relaxation import Reference, Relaxation
from quietcool.decide.checker.case import Box, Case
from quietcool.decide.checker.lagrangian import least_energy
from quietcool.decide.checker.tables import Coolant, effectiveness
from quietcool.decide.checker.tree import Recorded, check_tree, look
from quietcool.entry.build import Build
from quietcool.solve.loop import station_names
from quietcool.solve.operating_point import solve_operating_point
from tests.decide.bound.planted import UNIT, Truth, boxes_round, frame_of, node_stations, solved_truths, without_limits
from tests.random_builds import random_build

SEEDS = (0, 2, 4, 12)


def planted(seed: int, count: int) -> tuple[Build, Case, list[Truth], np.random.Generator]:
    build = without_limits(random_build(seed, limits=False))
    rng = np.random.default_rng([seed, 5])
    truths = solved_truths(build, frame_of(build), rng, count)
    return build, Case(build, build.states[0], 0, UNIT), truths, rng


def boxes_of_checker(case: Case, build: Build, truth: Truth, rng: np.random.Generator, width: float) -> Box:
    spans = boxes_round(frame_of(build), truth, rng, [width])
    low, high = spans.pump[0]
    return case.root()._replace(
        pressure=spans.pressure[0], air=spans.air_temp[0], coolant=spans.coolant_temp[0], pump=(int(low), int(high))
    )


def option_of(case: Case, cluster: int, truth: Truth) -> int:
    wanted = tuple(int(truth.steps[g]) for g in case.clusters[cluster][0])
    return case.cluster_options(cluster).index(wanted)


def random_prices(case: Case, truth: Truth, rng: np.random.Generator) -> tuple[tuple[float, ...], ...]:
    n, balances, paths = len(case.enclosures), len(case.ring.balances), len(case.paths)
    scale = np.concatenate([np.full(n, 0.2 * case.scale), np.full(n + balances, 150.0)])
    size = 10.0 ** rng.uniform(-3.0, 1.0) * truth.energy
    price = rng.normal(size=scale.size) * size / scale
    return tuple(price), tuple(rng.normal(size=paths) * 0.2 * case.scale), tuple(rng.uniform(0.0, 60.0, size=paths))


def losses(case: Case, truth: Truth, box: Box, rng: np.random.Generator) -> Iterator[str]:
    seen = look(case, box, truth.energy * (1.0 + 1e-7))
    if seen is None:
        yield "emptied"
        return
    for span, value in ((seen.box.air, truth.air_temp), (seen.box.coolant, truth.node_temp)):
        if not np.all((span[:, 0] <= value + 1e-7) & (value - 1e-7 <= span[:, 1])):
            yield f"{value} not in {span.tolist()}"
    for cluster, (_, paths) in enumerate(case.clusters):
        option = option_of(case, cluster, truth)
        if not seen.box.allowed[cluster][option]:
            yield f"cluster {cluster}: the true option is struck"
            continue
        for path in paths:
            table, own = seen.tables[path], case.of_cluster[path][option]
            for name, span, value, slack in (
                ("flow", table.flow[own], truth.mass_flow[path], 1e-9 * case.scale),
                ("conductance", table.conductance[own], truth.conductance[path], 1e-8 * truth.conductance[path]),
                ("heat", table.forced[own] + table.spare[own], truth.heat[path], 1e-5),
            ):
                if not span[0] <= value + slack or not value - slack <= span[1]:
                    yield f"{name} of path {path}: {value} not in {span}"
    for _ in range(4):
        bound, forced = least_energy(case, seen, *random_prices(case, truth, rng))
        if not bound <= truth.energy * (1.0 + 1e-9):
            yield f"bound {bound} above {truth.energy}"
        for cluster, values in enumerate(forced):
            if not values[option_of(case, cluster, truth)] <= truth.energy * (1.0 + 1e-9):
                yield f"cluster {cluster}: bound of the true option above {truth.energy}"


@pytest.mark.parametrize("seed", SEEDS)
def test_no_box_of_the_checker_loses_a_true_setting(seed: int) -> None:
    build, case, truths, rng = planted(seed, 2)

    assert truths
    for truth in truths:
        for width in (0.5, 1e-3):
            assert list(losses(case, truth, boxes_of_checker(case, build, truth, rng, width), rng)) == []


@pytest.mark.parametrize("seed", [0, 4])
def test_two_bounds_written_apart_agree(seed: int) -> None:
    # The same box at the same prices: the search's Lagrangian and the checker's, which share nothing but the records.
    build, case, truths, rng = planted(seed, 2)
    frame = frame_of(build)
    for truth in truths:
        goal = truth.energy * 1.05
        spans = boxes_round(frame, truth, rng, [0.02])
        box = case.root()._replace(
            pressure=spans.pressure[0],
            air=spans.air_temp[0],
            coolant=spans.coolant_temp[0],
            pump=(int(spans.pump[0, 0]), int(spans.pump[0, 1])),
        )
        for visit in range(3):
            searched = examine(frame, spans, goal, from_afar=visit == 0)
            checked = look(case, box, goal)
            assert checked is not None
            spans, box = searched.boxes, checked.box
        relaxation = Relaxation(frame, searched)
        for _ in range(5):
            price, flows, conductances = random_prices(case, truth, rng)
            reference = Reference(np.array([flows]), np.array([conductances]))
            expected = float(relaxation.evaluate(np.array([price]), reference).bound[0])

            assert least_energy(case, checked, price, flows, conductances)[0] == pytest.approx(
                expected, abs=5e-3 * truth.energy + 1e-3 * abs(expected)
            )


@pytest.mark.parametrize("seed", SEEDS)
def test_nodes_and_balances_of_the_ring_are_those_of_a_solved_state(seed: int) -> None:
    build, case, _, _ = planted(seed, 1)
    speeds = [0.5 * (r.lowest + r.highest) for r in build.speed_ranges]
    point = solve_operating_point(build, build.states[0], speeds)
    names = station_names(build.loop.order)

    assert case.ring.nodes == node_stations(build)
    solved = Coolant(build, [speeds[-1]])._solve(
        speeds[-1], float(0.5 * (point.station_temp_in + point.station_temp_out).mean())
    )
    for name, flow in zip(names, point.station_flow, strict=True):
        assert solved[name].flow == pytest.approx(flow, rel=1e-7)
    power = float(build.loop.pump.electric.power) * (speeds[-1] / build.loop.pump.electric.speed) ** 3
    heat = {**build.states[0].heat, "pump": float(build.loop.pump.coolant_share) * power}
    for balance in case.ring.balances:
        ends = [float(point.station_temp_in[names.index(case.ring.nodes[n])]) for n in (balance.source, balance.target)]
        rate = sum(solved[name].rate for name in balance.stream)
        given = sum(
            point.heat_rate[i] for i, path in enumerate(build.air_paths) if path.name in balance.radiators
        )
        put_in = sum(float(heat.get(name, 0.0)) for name in balance.stations)

        assert rate * (ends[0] - ends[1]) + put_in - given == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize(
    ("ntu", "ratio", "expected"),
    [
        # Both streams unmixed, equal capacity rates: Kays and London, Compact Heat Exchangers, 3rd ed. 1984, table 2-6
        # (recalled, not re-read; printed to three figures).
        (1.0, 1.0, 0.476),
        (2.0, 1.0, 0.614),
        (3.0, 1.0, 0.681),
        # One stream of endless capacity: 1 - exp(-NTU), the limit of every arrangement.
        (1.0, 1e-12, 0.632121),
    ],
)
def test_effectiveness_of_cross_flow(ntu: float, ratio: float, expected: float) -> None:
    assert effectiveness(ntu, ratio) == pytest.approx(expected, abs=6e-4)


def case_with_claim() -> tuple[Case, Truth, Box]:
    build, case, truths, rng = planted(0, 1)
    return case, truths[0], boxes_of_checker(case, build, truths[0], rng, 1e-3)


def open_boxes(case: Case, box: Box, recorded: Recorded, goal: float) -> list[str]:
    root, case.root = case.root, lambda: box  # type: ignore[method-assign]  # a small root: the tree is what is tried
    try:
        return list(check_tree(case, recorded, goal))
    finally:
        case.root = root  # type: ignore[method-assign]


def test_a_box_that_holds_a_quieter_setting_is_never_closed() -> None:
    case, truth, box = case_with_claim()
    rng = np.random.default_rng(1)
    goal = truth.energy * 1.02  # a claim that the planted setting refutes
    for _ in range(10):
        prices = random_prices(case, truth, rng)

        assert open_boxes(case, box, Recorded((), {}, {0: prices}), goal) != []  # type: ignore[dict-item]


def test_pieces_of_a_cut_hold_the_setting_whatever_the_cut() -> None:
    case, truth, box = case_with_claim()
    rng = np.random.default_rng(2)
    goal = truth.energy * 1.02
    coordinates = 2 * len(case.enclosures) + len(case.ring.nodes) + 1
    for _ in range(6):
        cuts = {
            0: (int(rng.integers(0, coordinates)), tuple(rng.uniform(-50.0, 400.0, 2)), (1, 2, 3)),
            2: (int(rng.integers(0, coordinates)), (float(rng.uniform(290.0, 330.0)),), (4, 5)),
        }

        assert open_boxes(case, box, Recorded((), cuts, {}), goal) != []
        assert open_boxes(case, box, Recorded(((0, (-1.0, 0.5, 2.0)),), cuts, {}), goal) != []


def imported(file: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
        elif isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
    return names


def test_the_checker_shares_no_code_with_the_search() -> None:
    folder = Path(quietcool.decide.checker.__file__).parent
    ours = {name for file in folder.glob("*.py") for name in imported(file) if name.startswith("quietcool")}

    assert {name for name in ours if name.startswith("quietcool.decide") and ".checker" not in name} == set()
    # Of the solver only what a level is and the solved point of the claimed setting; of physics only properties.
    assert {name for name in ours if name.startswith(("quietcool.solve", "quietcool.physics"))} == {
        "quietcool.solve.noise",
        "quietcool.solve.operating_point",
        "quietcool.physics.air",
        "quietcool.physics.coolant",
    }


def test_every_module_of_the_checker_can_be_read_in_one_sitting() -> None:
    folder = Path(quietcool.decide.checker.__file__).parent

    assert all(len(file.read_text(encoding="utf-8").splitlines()) < 400 for file in folder.glob("*.py"))
