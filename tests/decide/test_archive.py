"""What was solved once: quietest, coldest and front among settings against a plain look at all of them."""

from __future__ import annotations

import numpy as np

from quietcool.decide.archive import Archive
from quietcool.decide.axes import axis_named, column_of, limited_to
from quietcool.decide.question import Question
from tests.decide.coarse import sample_room, solve_everything

BUILD = sample_room(8.0, 10.0, 20.0)
STATE = BUILD.state("bounce")
AXIS = axis_named(BUILD, STATE, "coolant")


def archive() -> Archive:
    build, state = limited_to(BUILD, STATE, AXIS, 0.0, 0)
    return Archive(Question(build, (state,), 0), column_of(build, state, AXIS))


def test_the_best_among_all_settings() -> None:
    kept, truth = archive(), solve_everything(BUILD, STATE, AXIS)
    sizes = [grid.size for grid in kept.question.grids]
    steps = np.stack([axis.ravel() for axis in np.meshgrid(*map(np.arange, sizes), indexing="ij")], axis=-1)
    assert kept.ask(steps) == len(steps) == truth.level.size
    assert kept.ask(steps[::3]) == 0
    for limit in np.quantile(truth.temp, (0.05, 0.3, 0.8)):
        place = kept.quietest(float(limit))
        assert place is not None
        assert kept.solved.level[place] == truth.quietest(float(limit))
    coldest = kept.coldest()
    assert coldest is not None
    assert kept.solved.temp[coldest] == truth.temp[truth.kept].min()
    temp, level, _ = kept.front()
    beaten = [
        np.any(truth.kept & (truth.temp <= t) & (truth.level <= v) & ((truth.temp < t) | (truth.level < v)))
        for t, v in zip(temp, level, strict=True)
    ]
    assert not any(beaten)
    assert np.all(np.diff(temp) > 0.0)
    assert np.all(np.diff(level) < 0.0)


def test_an_empty_archive_knows_nothing() -> None:
    empty = archive()
    assert empty.quietest(400.0) is None
    assert empty.coldest() is None
    assert all(part.shape[0] == 0 for part in empty.front())
