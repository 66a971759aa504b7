"""The bound on every combination: no setting that keeps the limits is quieter, and cells only add what is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool.decide.choose.bound import UNIT, Rig
from quietcool.decide.choose.options import Options, options_of, with_options
from quietcool.decide.choose.zoom import NEAR, Node, examine, joined, root_node, set_numbers
from quietcool.decide.question import Question
from quietcool.entry.build import Build
from quietcool.entry.catalogue_records import Catalogue
from tests.decide.choose.catalogues import BOOTH, ROOM, catalogue_for, coarse

SETTINGS = 400  # tried for every combination
QUIET, LOUD = 24.0, 40.0  # goals for the two rigs, above most of what they can do [dB(A)]


def bounds(rig: Rig, goal: float, *, finer: int) -> np.ndarray:
    """Bound of every combination, after some finer levels [dB(A)]."""
    nodes = [root_node(rig)]
    for level in range(finer + 1):
        found = [examine(rig, node, 10.0 ** ((goal - UNIT) / 10.0), 3 if level == 0 else 1) for node in nodes]
        nodes = [replaced for kept, _ in found for node in kept for replaced in cut(node, level)]
    whole = joined([one for _, one in found], len(rig.places)).of_all(set_numbers(rig))
    return UNIT + 10.0 * np.log10(np.maximum(whole, 1e-9))


def cut(node: Node, level: int) -> list[Node]:
    finer = node._replace(cells=node.cells.quartered())
    return [finer] if level else [finer._replace(near=NEAR), finer._replace(colder=NEAR, near=np.inf)]


def quietest_seen(build: Build, catalogue: Catalogue, options: Options, combination: tuple[int, ...], state: str,
                  seed: int) -> float:  # fmt: skip
    """Quietest of many drawn settings that keeps every limit."""
    rig = with_options(build, catalogue, [column[i] for column, i in zip(options, combination, strict=True)])
    question = Question(rig, (rig.state(state),), 0)
    dice = np.random.default_rng(seed)
    speeds = np.stack([dice.choice(grid, SETTINGS) for grid in question.grids], axis=-1)
    level, margins = question.ask(speeds)
    kept = margins.min(axis=1) >= 0.0
    return float(level[kept].min(initial=np.inf))


@pytest.mark.parametrize(
    ("build", "paths", "state", "goal"),
    [
        (coarse(ROOM, 20.0), ("front intake", "bottom intake"), "bounce", QUIET),
        (coarse(BOOTH, 20.0), ("side intake", "top exhaust"), "render", LOUD),
    ],
    ids=["two intakes", "an intake and an exhaust that breathes enclosure air"],
)
@pytest.mark.parametrize("finer", [0, pytest.param(1, marks=pytest.mark.slow)])
def test_no_setting_that_keeps_the_limits_undercuts_the_bound(
    build: Build, paths: tuple[str, ...], state: str, goal: float, finer: int
) -> None:
    catalogue = catalogue_for(build, paths, 2, 2, seed=3)
    options = options_of(build, catalogue)
    found = bounds(Rig(build, catalogue, build.state(state), 0, options), goal, finer=finer)
    seen = 0
    for combination in list(np.ndindex(*found.shape))[:: max(found.size // 10, 1)]:
        quietest = quietest_seen(build, catalogue, options, combination, state, seed=sum(combination))
        seen += bool(np.isfinite(quietest))
        assert found[combination] <= quietest
    assert seen > 3  # else nothing was tested


def test_finer_cells_raise_the_least_bound() -> None:
    build = coarse(ROOM, 20.0)
    catalogue = catalogue_for(build, ("front intake",), 2, 2, seed=4)
    rig = Rig(build, catalogue, build.state("bounce"), 0, options_of(build, catalogue))
    goal = 20.0  # near what the best can do: prices are searched for it
    assert bounds(rig, goal, finer=2).min() > bounds(rig, goal, finer=0).min() + 0.1


def test_a_goal_closes_cells_and_the_bound_stays_at_or_above_it() -> None:
    build = coarse(ROOM, 20.0)
    catalogue = catalogue_for(build, ("front intake",), 2, 2, seed=4)
    rig = Rig(build, catalogue, build.state("bounce"), 0, options_of(build, catalogue))
    low = 10.0 ** ((6.0 - UNIT) / 10.0)
    nodes, found = examine(rig, root_node(rig), low, 3)
    assert nodes == []
    assert np.all(found.of_all(set_numbers(rig)) >= low)


def test_a_radiator_that_is_no_part_of_a_row_is_bounded_too() -> None:
    build = coarse(ROOM, 20.0)
    order = build.loop.order
    apart = (*order[:2], "front intake", order[2], "bottom intake")
    build = replace(build, loop=replace(build.loop, order=apart))
    catalogue = catalogue_for(build, ("front intake", "bottom intake"), 1, 2, seed=2)
    options = options_of(build, catalogue)
    found = bounds(Rig(build, catalogue, build.state("bounce"), 0, options), QUIET, finer=1)
    for combination in ((0, 0), (0, 1), (1, 0), (1, 1)):
        quietest = quietest_seen(build, catalogue, options, combination, "bounce", seed=0)
        assert 10.0 < found[combination] <= quietest < np.inf
