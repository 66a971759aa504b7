"""The mixed-integer program against the list of all combinations: two ways to the same least bound."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool.decide.choose.options import kept_rules, options_of
from quietcool.decide.choose.program import Program, least_by_program
from quietcool.decide.choose.zoom import Bounds
from tests.decide.choose.catalogues import ROOM, catalogue_for, coarse

RIG = coarse(ROOM, 100.0)


def drawn(options: int, sets: int, seed: int) -> Bounds:
    """Cells with drawn numbers; one option is struck in each."""
    dice = np.random.default_rng(seed)
    places = tuple(dice.uniform(0.1, 2.0, (6, 2, options)) for _ in range(2))
    for place in places:
        place[np.arange(6), :, dice.integers(0, options, 6)] = np.inf
    return Bounds(places, dice.uniform(0.1, 1.0, (6, 2, sets)), 10.0)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("budget", "models"), [(None, 4), (260.0, 2)])
def test_the_program_finds_what_the_list_finds(seed: int, budget: float | None, models: int) -> None:
    catalogue = replace(
        catalogue_for(RIG, ("front intake", "bottom intake"), 2, 2, seed=seed), budget=budget, most_fan_models=models
    )
    options = options_of(RIG, catalogue)
    radiators = [sorted({one.radiator.name for one in column}) for column in options]
    of = [np.array([names.index(one.radiator.name) for one in c]) for c, names in zip(options, radiators, strict=True)]
    set_of = np.asarray(np.ravel_multi_index(np.ix_(*of), [len(names) for names in radiators]))
    found = drawn(len(options[0]), 4, seed)
    kept = kept_rules(RIG, catalogue, options)
    listed = np.where(kept, found.of_all(set_of), np.inf)
    if not kept.any():
        pytest.skip("no combination within the budget")
    value, combination = least_by_program(found, options, set_of, catalogue)
    assert value == pytest.approx(listed.min(), rel=1e-9)
    assert combination == np.unravel_index(np.argmin(listed), listed.shape)


def test_a_cut_leaves_the_next_best(capfd: pytest.CaptureFixture[str]) -> None:
    catalogue = catalogue_for(RIG, ("front intake", "bottom intake"), 1, 2, seed=7)
    options = options_of(RIG, catalogue)
    found, set_of = drawn(len(options[0]), 1, 7), np.zeros((4, 4), dtype=np.intp)
    program = Program(found, options, set_of, catalogue)
    for value in np.sort(found.of_all(set_of).ravel())[:3]:
        least, combination = program.next()
        assert least == pytest.approx(value, rel=1e-9)
        assert combination is not None
        program.cut(combination)
    assert capfd.readouterr().out == ""  # the solver's banner stays off the screen
