"""Which boxes are taken out, and that none is lost or doubled; joining and picking boxes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool.decide.bound import open_boxes
from quietcool.decide.bound.boxes import Boxes, hull, join, root_box
from quietcool.decide.bound.frame import Frame
from quietcool.decide.bound.open_boxes import BEST_FIRST_EVERY, OpenBoxes
from quietcool.decide.bound.relaxation import price_count
from tests.decide.bound.planted import frame_of, without_limits
from tests.random_builds import random_build

FRAMES = (frame_of(without_limits(random_build(0, groups=2, limits=False))),) * 2


def numbered(rng: np.random.Generator, count: int, first: int, level: int = 0) -> Boxes:
    build = without_limits(random_build(0, groups=2, limits=False))
    frame: Frame = frame_of(build)
    many = root_box(frame, price_count(frame)).take(np.zeros(count, dtype=np.intp))

    def moved(spans: np.ndarray) -> np.ndarray:
        return spans + rng.uniform(size=(count, *[1] * (spans.ndim - 1)))

    return replace(
        many,
        pressure=moved(many.pressure),
        air_temp=moved(many.air_temp),
        coolant_temp=moved(many.coolant_temp),
        flow=tuple(moved(one) for one in many.flow),
        conductance=tuple(moved(one) for one in many.conductance),
        allowed=tuple(rng.uniform(size=one.shape) < 0.5 for one in many.allowed),
        pump=np.sort(rng.integers(0, 9, size=(count, 2)), axis=1),
        bound=rng.uniform(size=count),
        depth=rng.integers(0, 5, size=count),
        number=np.arange(first, first + count),
        level=level,
    )


def test_every_box_comes_out_once_and_the_right_ones_first() -> None:
    rng = np.random.default_rng(0)
    batches = [numbered(rng, 5, 0), numbered(rng, 7, 5), numbered(rng, 4, 12)]
    every = join(batches)
    queue = OpenBoxes([*batches, every.take(np.zeros(0, dtype=np.intp))], FRAMES)
    assert queue
    left = set(range(16))
    for chunk in range(20):
        if not queue:
            break
        now = sorted(left)
        assert queue.least() == every.bound[now].min()
        out = queue.take(chunk, [3])
        assert 1 <= out.count <= 3
        keys = every.bound if chunk % BEST_FIRST_EVERY == 0 else -every.depth
        worst, rest = keys[out.number].max(), sorted(left - set(out.number.tolist()))
        assert not rest or worst <= keys[rest].min()
        left -= set(out.number.tolist())
        assert np.array_equal(out.bound, every.bound[out.number])
        assert np.array_equal(out.flow[0], every.flow[0][out.number])
    assert not left
    assert not queue
    assert queue.least() == np.inf
    assert queue.deepest() is None


def test_the_deepest_box_has_the_lowest_bound_of_the_deepest() -> None:
    rng = np.random.default_rng(1)
    queue = OpenBoxes([], FRAMES)
    batches = [numbered(rng, 6, 0), numbered(rng, 8, 6)]
    queue.add(batches)
    every = join(batches)
    deepest = np.flatnonzero(every.depth == every.depth.max())
    found = queue.deepest()
    assert found is not None
    assert found.count == 1
    assert found.depth[0] == every.depth.max()
    # Batches are not mixed: it is the lowest of the batch that holds the lowest.
    assert found.number[0] == deepest[np.argmin(every.bound[deepest])] or len(deepest) > 1


def test_a_chunk_is_of_one_level_and_no_larger_than_that_level_allows() -> None:
    rng = np.random.default_rng(2)
    queue = OpenBoxes([numbered(rng, 5, 0, level=0), numbered(rng, 9, 5, level=1)], FRAMES)
    seen: list[int] = []
    while queue:
        out = queue.take(1, [2, 4])
        assert out.count <= (2, 4)[out.level]
        assert np.all((out.number >= 5) == (out.level == 1))
        seen += out.number.tolist()
    assert sorted(seen) == list(range(14))


def test_a_joined_box_is_what_it_was_and_the_hull_holds_all() -> None:
    rng = np.random.default_rng(3)
    parts = [numbered(rng, 3, 0), numbered(rng, 2, 3)]
    every, around = join(parts), hull(join(parts))
    assert every.count == 5
    assert around.count == 1
    for name in ("pressure", "air_temp", "coolant_temp"):
        value, whole = getattr(every, name), getattr(around, name)
        assert np.array_equal(value, np.concatenate([getattr(one, name) for one in parts]))
        assert np.array_equal(whole[0, ..., 0], value[..., 0].min(axis=0))
        assert np.array_equal(whole[0, ..., 1], value[..., 1].max(axis=0))
    for name in ("flow", "conductance", "allowed"):
        for place, whole in enumerate(getattr(around, name)):
            value = np.concatenate([getattr(one, name)[place] for one in parts])
            assert np.array_equal(getattr(every, name)[place], value)
            if name == "allowed":
                assert np.array_equal(whole[0], value.any(axis=0))
            else:
                assert np.array_equal(
                    whole[0], np.stack([value[..., 0].min(axis=0), value[..., 1].max(axis=0)], axis=-1)
                )
    assert around.pump.tolist() == [[every.pump[:, 0].min(), every.pump[:, 1].max()]]
    assert around.bound.tolist() == [every.bound.min()]
    for name in ("pump", "bound", "depth", "number", "price"):
        assert np.array_equal(getattr(every, name), np.concatenate([getattr(one, name) for one in parts]))
        assert np.array_equal(getattr(every.take(np.array([4, 1])), name), getattr(every, name)[[4, 1]])


def test_boxes_with_many_options_are_kept_without_those_that_none_allows(monkeypatch: pytest.MonkeyPatch) -> None:
    """What comes out is what went in, wherever it is allowed; what is kept meanwhile is smaller."""
    rng = np.random.default_rng(3)
    every = numbered(rng, 150, 0)
    few = tuple(one & (np.arange(one.shape[1]) % 4 == 1) for one in every.allowed)
    every = replace(every, allowed=few)
    monkeypatch.setattr(open_boxes, "FEW_OPTIONS", 0)
    queue = OpenBoxes([every], FRAMES)

    kept = sum(one.flow[0].nbytes for one in queue.batches)
    assert kept < 0.3 * every.flow[0].nbytes
    assert sorted(np.concatenate([one.number for one in queue.batches]).tolist()) == list(range(150))
    while queue:
        out = queue.take(1, [40])
        assert all(np.array_equal(a, b[out.number]) for a, b in zip(out.allowed, every.allowed, strict=True))
        assert np.array_equal(out.coolant_temp, every.coolant_temp[out.number])
        for number, path, flow, true in zip(FRAMES[0].cluster_of, FRAMES[0].paths, out.flow, every.flow, strict=True):
            allowed = out.allowed[number]
            assert np.array_equal(
                flow[:, path.option_of_cluster][allowed], true[out.number][:, path.option_of_cluster][allowed]
            )
