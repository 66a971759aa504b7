"""What fits where, and which combinations keep the rules: checked by hand and against one at a time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool.decide.choose.options import keeps_rules, kept_rules, options_of, with_options
from quietcool.entry.build import Controller, Space
from quietcool.errors import InputError
from tests.decide.choose.catalogues import BOOTH, ROOM, catalogue_for, coarse

PATHS = ("front intake", "bottom intake")
RIG = coarse(ROOM, 100.0)
SMALL = catalogue_for(RIG, PATHS, 2, 2, seed=1)


def test_an_option_puts_its_parts_into_the_stack_and_leaves_the_rest() -> None:
    options = options_of(RIG, SMALL)
    chosen = [column[0] for column in options]
    rig = with_options(RIG, SMALL, chosen)
    for option, place in zip(chosen, SMALL.places, strict=True):
        path = next(one for one in rig.air_paths if one.name == place.path)
        old = next(one for one in RIG.air_paths if one.name == place.path)
        assert path.core is not None
        assert path.core.radiator == option.radiator
        assert path.layout == option.layout
        assert sum(row.count for row in path.fan_rows) == option.fan_count
        assert [e for e in path.stack if type(e).__name__ == "Screen"] == [
            e for e in old.stack if type(e).__name__ == "Screen"
        ]


def test_rules_for_all_at_once_are_those_of_each() -> None:
    strict = replace(SMALL, budget=230.0, most_fan_models=2)
    options = options_of(RIG, strict)
    kept = kept_rules(RIG, strict, options)
    assert 0 < kept.sum() < kept.size
    for place in np.ndindex(*kept.shape):
        chosen = [column[i] for column, i in zip(options, place, strict=True)]
        assert kept[place] == keeps_rules(RIG, strict, chosen)


def test_a_stack_that_is_too_deep_does_not_fit() -> None:
    path = RIG.air_paths[0]
    # By hand: core 45 mm, fan 25 mm, 5 mm to keep free: one row takes 75 mm, two rows 100 mm.
    tight = replace(RIG, air_paths=(replace(path, space=Space(depth=0.080)), *RIG.air_paths[1:]))
    both = replace(SMALL, places=(replace(SMALL.places[0], layouts=("push", "push-pull")), SMALL.places[1]))
    assert {one.layout for one in options_of(RIG, both)[0]} == {"push", "push-pull"}
    assert {one.layout for one in options_of(tight, both)[0]} == {"push"}


def test_an_output_bears_what_its_limit_says() -> None:
    group = BOOTH.fan_groups[0]
    assert group.fan.electric.current == pytest.approx(0.2)
    wired = replace(BOOTH, controller=Controller(6, 1.0))
    wired = replace(wired, air_paths=tuple(replace(p, space=Space()) for p in wired.air_paths))
    catalogue = catalogue_for(wired, ("side intake",), 1, 1, seed=2)
    catalogue = replace(catalogue, places=(replace(catalogue.places[0], layouts=("push", "push-pull")),))
    # By hand: four fans take 0.8 A, eight take 1.6 A, on an output of 1 A.
    assert [one.layout for one in options_of(wired, catalogue)[0]] == ["push"]


def test_what_cannot_be_chosen_is_told_with_its_place() -> None:
    unpriced = replace(SMALL.places[0], fans=tuple(replace(fan, price=None) for fan in SMALL.places[0].fans))
    with pytest.raises(InputError, match="budget needs the price of every part; found sheets without price: front"):
        options_of(RIG, replace(SMALL, budget=100.0, places=(unpriced, SMALL.places[1])))
    wide = replace(SMALL.places[0], fans=tuple(replace(fan, size=0.2) for fan in SMALL.places[0].fans))
    with pytest.raises(InputError, match=r"place\[front intake\] needs radiator, fans and layout that fit"):
        options_of(RIG, replace(SMALL, places=(wide, SMALL.places[1])))
