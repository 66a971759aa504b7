"""What is chosen on a command line is checked like a file: every mistake at once, each with a way out."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable

import pytest

from quietcool.entry.buildfile import read_build
from quietcool.entry.choices import (
    asked_for,
    chosen_among,
    chosen_number_of_points,
    chosen_one_form,
    chosen_path,
    chosen_position,
    chosen_quantity,
    chosen_seconds,
    chosen_speeds,
    chosen_states,
    speed_of,
)
from quietcool.entry.demos import demo_path
from quietcool.errors import InputError
from quietcool.units import RefusedQuantity

DEMO = read_build(demo_path("booth_wall"))


def test_without_a_wish_every_group_has_its_present_speed() -> None:
    assert chosen_speeds(DEMO, None) == pytest.approx([1100 / 60, 1100 / 60, 1100 / 60, 60.0])


def test_a_wish_goes_before_the_present_speed() -> None:
    wishes = ["pump = 2400", "side=20 rev/s", "top=0"]
    assert chosen_speeds(DEMO, wishes) == pytest.approx([20.0, 1100 / 60, 0.0, 40.0])


def test_a_group_without_any_speed_is_named() -> None:
    groups = tuple(dataclasses.replace(g, speeds=dataclasses.replace(g.speeds, present=None)) for g in DEMO.fan_groups)
    build = dataclasses.replace(DEMO, fan_groups=groups)
    with pytest.raises(InputError) as caught:
        chosen_speeds(build, ["side=1000"])
    assert [m.required for m in caught.value.mistakes] == ['a speed of "bottom"', 'a speed of "top"']
    assert '--speed "bottom=RPM"' in caught.value.mistakes[0].advice


@pytest.mark.parametrize(
    "text", ["-1", "-0.1", "nan", "inf", "-inf", "1e9", "1_000", "", "fast", "1,000", "20 Hz", "0x10"]
)
def test_what_is_no_speed(text: str) -> None:
    with pytest.raises(RefusedQuantity):
        speed_of(text)


@pytest.mark.parametrize(
    ("text", "speed"), [("0", 0.0), ("1200", 20.0), ("1.2e3", 20.0), ("20 rev/s", 20.0), ("60 1/min", 1.0)]
)
def test_what_is_a_speed(text: str, speed: float) -> None:
    """1 rpm is 1/60 of a turn per second, by definition."""
    assert speed_of(text) == pytest.approx(speed, rel=1e-15)


def test_every_mistake_of_every_choice_is_told() -> None:
    wishes = ["sid=1", "side", "top=fast", "pump=1", "pump=2"]
    with pytest.raises(InputError) as caught:
        asked_for(
            lambda: chosen_states(DEMO, ["rendr", "idle"]),
            lambda: chosen_speeds(DEMO, wishes),
            lambda: chosen_position(DEMO, "desk microfone"),
            lambda: chosen_seconds(math.nan),
        )
    told = {m.file: str(m) for m in caught.value.mistakes}
    assert set(told) == {
        "--state rendr", "--speed sid=1", "--speed side", "--speed top=fast", "--speed pump=2",
        "--at desk microfone", "--seconds",
    }  # fmt: skip
    assert 'did you mean "render"' in told["--state rendr"]
    assert 'did you mean "side"' in told["--speed sid=1"]
    assert 'did you mean "desk microphone"' in told["--at desk microfone"]


def test_states_come_once_and_all_without_a_wish() -> None:
    assert chosen_states(DEMO, ["take", "idle", "take"]) == ["take", "idle"]
    assert chosen_states(DEMO, []) == [state.name for state in DEMO.states]


def test_a_build_without_positions_cannot_be_asked_for_quiet() -> None:
    with pytest.raises(InputError, match="position"):
        chosen_position(dataclasses.replace(DEMO, positions=()), None)


@pytest.mark.parametrize("seconds", [-1.0, math.inf, 1e7])
def test_what_is_no_time(seconds: float) -> None:
    with pytest.raises(InputError, match="seconds"):
        chosen_seconds(seconds)


def test_what_is_right_comes_back_as_it_is_meant() -> None:
    """Everything at once, as the verbs ask for it; a quantity is typed in capitals or not."""
    assert asked_for(
        lambda: chosen_position(DEMO, "desk microphone"),
        lambda: chosen_position(DEMO, None),
        lambda: chosen_seconds(0.0),
        lambda: chosen_seconds(1e6),
        lambda: chosen_quantity(" NC "),
        lambda: chosen_number_of_points(2),
        lambda: chosen_number_of_points(200),
        lambda: chosen_one_form(json=True, csv=False),
        lambda: chosen_path(None, ["side"]),
        lambda: chosen_path("side", ["top", "side"]),
        lambda: chosen_among("demo", "the name of a demo", "one", ("one", "two")),
    ) == ("desk microphone", None, 0.0, 1e6, "nc", 2, 200, None, None, "side", "one")


@pytest.mark.parametrize(
    ("choice", "sentence"),
    [
        (lambda: chosen_quantity("nr "), None),
        (
            lambda: chosen_quantity("db a"),
            '--minimise db a: needs dba, nc or nr; found "db a"; did you mean "dba".',
        ),
        (
            lambda: chosen_number_of_points(1),
            "--points: needs a whole number from 2 to 200; found 1; write one.",
        ),
        (
            lambda: chosen_number_of_points(201),
            "--points: needs a whole number from 2 to 200; found 201; write one.",
        ),
        (
            lambda: chosen_one_form(json=True, csv=True),
            "--json --csv: needs one form of the answer; found two; leave one out.",
        ),
        (
            lambda: chosen_path(None, []),
            "build: needs an air path with a radiator and fans; found none; add one.",
        ),
        (
            lambda: chosen_path("tip", ["top", "side"]),
            '--path tip: needs an air path with a radiator and fans; found "tip"; did you mean "top".',
        ),
    ],
)
def test_what_is_wrong_is_one_sentence_with_a_way_out(choice: Callable[[], object], sentence: str | None) -> None:
    if sentence is None:  # the row that shows that not everything is refused
        assert choice() == "nr"
        return
    with pytest.raises(InputError) as caught:
        choice()
    assert str(caught.value) == sentence
