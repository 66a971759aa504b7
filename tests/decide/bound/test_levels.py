"""Blocks of steps: every finer option lies in the block that is said to hold it, and nothing is lost on the way."""

from __future__ import annotations

import numpy as np
import pytest

from quietcool.decide.bound.boxes import narrowed, refined, root_box, widened
from quietcool.decide.bound.frame import (
    Frame,
    TooManyOptions,
    make_block_frame,
    make_frame,
    make_frames,
    sharing_groups,
)
from quietcool.decide.bound.relaxation import price_count
from quietcool.decide.bound.search import prove
from quietcool.decide.incumbent import find_incumbent
from quietcool.decide.question import Question
from tests.random_builds import random_build

SHARED = (0, 3, 4)  # seeds of builds with push-pull rows on channels of their own


def levels(seed: int, groups: int = 3) -> tuple[Frame, ...]:
    build = random_build(seed, groups=groups, enclosures=1)
    frames = make_frames(Question(build, build.states[:1], 0), build.states[0], 30.0)
    assert len(frames) > 1
    return frames


@pytest.mark.parametrize("seed", SHARED)
def test_every_setting_lies_in_exactly_one_block_of_every_level(seed: int) -> None:
    frames = levels(seed)
    for frame in frames:
        for number, cluster in enumerate(frame.clusters):
            exact = frames[-1].clusters[number].steps
            inside = np.all(
                (cluster.blocks[None, ..., 0] <= exact[:, None]) & (exact[:, None] <= cluster.blocks[None, ..., 1]),
                axis=2,
            )
            assert np.all(inside.sum(axis=1) == 1)


@pytest.mark.parametrize("seed", SHARED)
def test_a_finer_option_lies_in_the_block_that_holds_it(seed: int) -> None:
    frames = levels(seed)
    for coarse, fine in zip(frames[:-1], frames[1:], strict=True):
        for big, small in zip(coarse.clusters, fine.clusters, strict=True):
            held = big.blocks[big.holding(small)]
            assert np.all(held[..., 0] <= small.blocks[..., 0])
            assert np.all(small.blocks[..., 1] <= held[..., 1])


@pytest.mark.parametrize("seed", SHARED)
def test_a_block_is_as_quiet_as_its_quietest_setting_and_as_loud_as_its_loudest(seed: int) -> None:
    frames = levels(seed)
    for coarse, fine in zip(frames[:-1], frames[1:], strict=True):
        for number, big, small in zip(coarse.cluster_of, coarse.paths, fine.paths, strict=True):
            holding = coarse.clusters[number].holding(fine.clusters[number])
            own = np.zeros(small.power.size, dtype=np.intp)
            own[small.option_of_cluster] = big.option_of_cluster[holding]
            for wide, narrow in zip(big.rows, small.rows, strict=True):
                assert np.all(wide.energy[own] <= narrow.energy)
                assert np.all(wide.energy[own] + wide.spread[own] >= (narrow.energy + narrow.spread) * (1.0 - 1e-12))
                assert np.all((wide.speed[own] <= narrow.speed) & (narrow.fastest <= wide.fastest[own]))
            assert np.all((big.power[own] <= small.power) & (small.most_power <= big.most_power[own]))


def test_boxes_keep_what_they_know_when_refined_narrowed_and_widened() -> None:
    coarse, fine = levels(0)[:2]
    box = root_box(coarse, price_count(coarse))
    rng = np.random.default_rng(0)
    for allowed in box.allowed:
        allowed[:] = rng.uniform(size=allowed.shape) < 0.3
        allowed[:, 0] = True
    finer = refined(box, coarse, fine)
    for number, (big, small) in enumerate(zip(coarse.clusters, fine.clusters, strict=True)):
        assert np.array_equal(finer.allowed[number][0], box.allowed[number][0][big.holding(small)])

    narrow = narrowed(fine, finer)
    assert all(np.all(allowed) for allowed in narrow.boxes.allowed)  # one box: what it strikes is gone
    again = widened(narrow.boxes, narrow, fine)
    for one, other in zip(again.allowed, finer.allowed, strict=True):
        assert np.array_equal(one, other)
    for path, number in enumerate(fine.cluster_of):
        used = np.unique(fine.paths[path].option_of_cluster[finer.allowed[number][0]])
        assert np.array_equal(again.flow[path][:, used], finer.flow[path][:, used])


def test_rest_is_a_block_of_its_own() -> None:
    build = random_build(2, groups=3, enclosures=1, may_stop=True)
    question = Question(build, build.states[:1], 0)
    assert any(grid[0] == 0.0 for grid in question.grids[:-1])
    frame = make_block_frame(question, build.states[0], 30.0, [7] * len(sharing_groups(build)))
    for cluster in frame.clusters:
        for place, group in enumerate(cluster.groups):
            if question.grids[group][0] == 0.0:
                assert np.all(cluster.blocks[cluster.blocks[:, place, 0] == 0, place, 1] == 0)


def test_groups_with_too_many_combinations_get_a_bound_from_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("quietcool.decide.bound.frame.MOST_OPTIONS", 1000)
    build = random_build(0, groups=3, enclosures=1)
    question = Question(build, build.states[:1], 0)
    with pytest.raises(TooManyOptions):
        make_frame(question, build.states[0], 30.0)
    best = find_incumbent(question).best
    found = prove(question, best, 3.0)
    assert 0.0 < found.best.level - found.lower_bound < 30.0
