"""Listing the settings of a box, against every combination gone through in plain loops."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from quietcool.decide.bound import leaves
from quietcool.decide.bound.boxes import Boxes, root_box
from quietcool.decide.bound.frame import Frame
from quietcool.decide.bound.leaves import combinations, leaf_settings, most_settings
from quietcool.decide.bound.relaxation import price_count
from tests.decide.bound.planted import frame_of, without_limits
from tests.random_builds import random_build


def thinned(seed: int, share: float = 0.2) -> tuple[Frame, Boxes, tuple[np.ndarray, ...]]:
    """Two boxes with some options left, random energies of them, and a narrow range of the pump."""
    frame = frame_of(without_limits(random_build(seed, groups=2, limits=False)))
    boxes = root_box(frame, price_count(frame)).take(np.array([0, 0]))
    rng = np.random.default_rng(seed)
    allowed = tuple(rng.uniform(size=one.shape) < share for one in boxes.allowed)
    for one in allowed:
        one[:, -1] = True
    boxes = replace(boxes, allowed=allowed, pump=np.array([[1, 3], [2, 2]]), depth=np.array([0, 40]))
    return frame, boxes, tuple(rng.uniform(0.01, 1.0, size=one.shape) for one in allowed)


def every(frame: Frame, boxes: Boxes, energy: tuple[np.ndarray, ...], box: int, goal: float) -> set[tuple[int, ...]]:
    """Steps of all groups, the pump last, of every combination that is quieter than the goal."""
    found = set()
    first, last = boxes.pump[box]
    options = [np.flatnonzero(one[box]) for one in boxes.allowed]
    for pump in range(first, last + 1):
        for chosen in itertools.product(*options):
            total = frame.pump_energy[pump] + sum(energy[c][box, o] for c, o in enumerate(chosen))
            if total < goal:
                steps = {
                    group: int(step)
                    for cluster, option in zip(frame.clusters, chosen, strict=True)
                    for group, step in zip(cluster.groups, cluster.steps[option], strict=True)
                }
                found.add((*(steps[group] for group in sorted(steps)), pump))
    return found


@pytest.mark.parametrize("seed", [0, 2])
@pytest.mark.parametrize("box", [0, 1])
def test_leaves_are_the_quiet_combinations_and_no_others(seed: int, box: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(leaves, "FEW_SETTINGS", 3000)
    frame, boxes, energy = thinned(seed)
    middling = [float(np.median(e[box][one[box]])) for e, one in zip(energy, boxes.allowed, strict=True)]
    goal = float(frame.pump_energy[boxes.pump[box, 0]]) + sum(middling)
    found = leaf_settings(frame, boxes, energy, box, goal)
    assert found is not None
    assert found.shape[1] == len(frame.question.grids)
    assert len({tuple(row) for row in found.tolist()}) == len(found) > 3
    assert {tuple(row) for row in found.tolist()} == every(frame, boxes, energy, box, goal)


def test_combinations_are_counted() -> None:
    frame, boxes, _ = thinned(0)
    for box in (0, 1):
        count = np.prod([one[box].sum() for one in boxes.allowed]) * (3 if box == 0 else 1)
        assert combinations(boxes)[box] == count


def test_too_many_settings_are_not_listed(monkeypatch: pytest.MonkeyPatch) -> None:
    frame, boxes, energy = thinned(0)
    goal = 1e9  # nothing is too loud
    count = int(combinations(boxes)[1])
    monkeypatch.setattr(leaves, "FEW_SETTINGS", count)
    monkeypatch.setattr(leaves, "MANY_SETTINGS", count)
    assert len(leaf_settings(frame, boxes, energy, 1, goal)) == count
    monkeypatch.setattr(leaves, "MANY_SETTINGS", count - 1)
    assert leaf_settings(frame, boxes, energy, 1, goal) is None
    monkeypatch.setattr(leaves, "MANY_SETTINGS", count)
    monkeypatch.setattr(leaves, "MOST_LISTED", count)
    assert len(leaf_settings(frame, boxes, energy, 1, goal)) == count
    monkeypatch.setattr(leaves, "MOST_LISTED", count - 1)
    assert leaf_settings(frame, boxes, energy, 1, goal) is None


def test_older_boxes_have_more_settings_solved() -> None:
    assert most_settings(0) == pytest.approx(leaves.FEW_SETTINGS)
    assert most_settings(leaves.YOUNG) == pytest.approx(leaves.FEW_SETTINGS)
    assert most_settings(leaves.OLD) == most_settings(99) == pytest.approx(leaves.MANY_SETTINGS)
    # Half way in depth is half way over the logarithm: the geometric mean.
    middle = (leaves.YOUNG + leaves.OLD) // 2
    assert most_settings(middle) == pytest.approx(np.sqrt(leaves.FEW_SETTINGS * leaves.MANY_SETTINGS))
