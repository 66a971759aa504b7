"""The steps come in one order: no air on coolant, no coolant before an air test, no power before a wet test.

The order is common practice, no source.
"""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietcool.errors import InputError
from quietcool.prove.commissioning import STEPS, checked_steps, next_step, refuse_air_on_coolant

NAMES = [step.name for step in STEPS]


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("dry fit", "air test"),
        ("air test", "fill"),
        ("fill", "bleed"),
        ("bleed", "wet test"),
        ("wet test", "power up"),
        ("air test", "power up"),
    ],
)
def test_what_comes_before_what(before: str, after: str) -> None:
    assert NAMES.index(before) < NAMES.index(after)


def test_each_step_leads_to_the_next_and_the_last_to_none() -> None:
    for count, following in enumerate([*STEPS, None]):
        assert next_step(NAMES[:count]) == following


@given(st.sets(st.sampled_from(NAMES)))
def test_only_a_beginning_of_the_list_can_be_done(done: set[str]) -> None:
    beginnings = [set(NAMES[:count]) for count in range(len(NAMES) + 1)]
    if done in beginnings:
        assert set(checked_steps(sorted(done))) == done
    else:
        with pytest.raises(InputError, match="before"):
            checked_steps(sorted(done))


def test_filling_before_the_air_test_is_refused() -> None:
    with pytest.raises(InputError, match='"air test" before "fill"'):
        checked_steps(["dry fit", "fill"])


def test_an_unknown_step_is_refused_with_the_nearest() -> None:
    with pytest.raises(InputError, match='did you mean "air test"'):
        checked_steps(["air tets"])


def test_no_air_on_coolant() -> None:
    refuse_air_on_coolant(["dry fit", "air test"])
    with pytest.raises(InputError, match="filled"):
        refuse_air_on_coolant(["dry fit", "air test", "fill"])


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("air test", ("rating", "goggles", "regulat")),
        ("fill", ("power supply",)),
        ("bleed", ("only the pump", "dry")),
        ("wet test", ("only the pump", "bridge")),
        ("power up", ("licensed electrician", "local code")),
        ("look again", ("hot",)),
    ],
)
def test_each_caution_stands_where_it_is_needed(step: str, words: tuple[str, ...]) -> None:
    said = next(s.caution for s in STEPS if s.name == step).lower()
    assert [word for word in words if word not in said] == []


def test_names_are_their_own() -> None:
    assert all(a != b for a, b in itertools.combinations(NAMES, 2))
