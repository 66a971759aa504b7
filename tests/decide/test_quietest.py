"""The whole answer: statuses, bounds that hold against every setting there is, states, interrupts, repetition."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

import quietcool.decide.quietest as quietest_module
from quietcool.decide.bound.search import Proof, prove
from quietcool.decide.incumbent import find_incumbent
from quietcool.decide.question import Question
from quietcool.decide.quietest import PROVEN_GAP, Progress, Quietest, find_quietest
from quietcool.entry.build import Build
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.errors import RefutedBound
from tests.decide.judged import (
    AGREED,
    admissible,
    broken_by_second_opinion,
    coarse,
    every_setting,
    judged,
    loudest_by_second_opinion,
)
from tests.decide.test_incumbent import EXHAUSTIVE, STEPS, tightened
from tests.random_builds import random_build

ROUNDING = 1e-6  # [dB]
ENOUGH = 120.0  # far more than the small proofs below take: they end because they are closed [s]


def sample_room() -> Build:
    return coarse(read_build(demo_path("sample_room")), STEPS)


def check_setting(build: Build, answer: Quietest) -> None:
    """Every setting: admissible, every limit kept and the level as printed in the eyes of the second opinion."""
    for setting in answer.settings:
        states = [build.state(name) for name in setting.states]
        for speed, range_ in zip(setting.speeds, build.speed_ranges, strict=True):
            assert min(abs(speed - allowed) for allowed in admissible(range_)) < 1e-9
        assert broken_by_second_opinion(build, states, setting.speeds) == {}
        assert setting.level == pytest.approx(loudest_by_second_opinion(build, states, setting.speeds), abs=AGREED)
        assert set(setting.points) == set(setting.states)
        assert setting.gap == pytest.approx(setting.level - setting.lower_bound) or setting.lower_bound == -np.inf
        assert setting.status == ("proven" if setting.gap <= PROVEN_GAP else "best_found")


@pytest.mark.slow
@pytest.mark.parametrize("one_setting", [False, True])
def test_a_demo_s_answer_agrees_with_exhaustive_search_and_its_bound_holds(one_setting: bool) -> None:
    build = sample_room()
    answer = find_quietest(build, one_setting=one_setting, seconds=2.0)
    groups = [build.states] if one_setting else [(state,) for state in build.states]
    settings = every_setting(build)

    assert [setting.states for setting in answer.settings] == [tuple(s.name for s in group) for group in groups]
    check_setting(build, answer)
    for setting, group in zip(answer.settings, groups, strict=True):
        quietest = judged(build, group, settings).quietest
        assert quietest is not None
        assert setting.lower_bound <= quietest[1] + ROUNDING
        assert quietest[1] - 1e-9 <= setting.level <= quietest[1] + EXHAUSTIVE
    loudest = max(answer.settings, key=lambda setting: setting.level)
    assert (answer.level, answer.lower_bound, answer.gap) == (loudest.level, loudest.lower_bound, loudest.gap)
    assert answer.solved_cases > 0
    assert not answer.interrupted


@pytest.mark.slow
@pytest.mark.parametrize(("seed", "states"), [(0, 1), (2, 1), (5, 1), (6, 2), (8, 1)])
def test_no_bound_lies_above_a_feasible_level(seed: int, states: int) -> None:
    """Two enclosures, stopped groups, several states: the bound against all settings, whatever the time allowed."""
    build = coarse(random_build(seed, groups=2, states=states), STEPS)
    question = Question(build, build.states, 0)
    proof = prove(question, find_incumbent(question).best, 1.0)
    quietest = judged(build, build.states, every_setting(build)).quietest

    assert quietest is not None
    assert proof.lower_bound <= quietest[1] + ROUNDING
    assert proof.best.level >= quietest[1] - 1e-9


@pytest.mark.slow
@pytest.mark.parametrize(("seed", "states"), [(0, 1), (10, 2)])
def test_where_nothing_is_feasible_the_answer_says_so_and_gives_the_least_violated(seed: int, states: int) -> None:
    build = coarse(random_build(seed, groups=2, states=states), STEPS)
    settings = every_setting(build)
    build = tightened(build, max(judged(build, build.states, settings).margin.max(), 0.0) + 3.0)
    best_possible = float(judged(build, build.states, settings).margin.max())
    answer = find_quietest(build, one_setting=True, seconds=ENOUGH)
    given = judged(build, build.states, answer.settings[0].speeds[None])

    assert best_possible < 0.0
    assert answer.status == "infeasible"
    assert math.isnan(answer.level)
    assert answer.settings[0].infeasibility_proven
    assert given.margin[0] == pytest.approx(best_possible, abs=0.05)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [0, 3, 10])
def test_infeasibility_is_never_proven_where_a_setting_keeps_the_limits(seed: int) -> None:
    """Limits so tight that a single setting of all is feasible by a hair, and the search is told the worst of all."""
    build = coarse(random_build(seed, groups=2), STEPS)
    settings = every_setting(build)
    build = tightened(build, judged(build, build.states, settings).margin.max() - 1e-4)
    question = Question(build, build.states, 0)
    every = judged(build, build.states, settings)
    worst = find_incumbent(Question(tightened(build, 5.0), build.states, 0)).best
    proof = prove(question, worst._replace(margins=worst.margins * 0.0 - 5.0), 1.0)

    assert every.quietest is not None
    assert proof.lower_bound <= every.quietest[1] + ROUNDING


@pytest.mark.slow
def test_the_position_asked_for_is_the_one_that_counts() -> None:
    build = sample_room()
    build = replace(build, states=(build.state("bounce"),))
    answer = find_quietest(build, position="percussion microphone", seconds=0.0)
    quietest = judged(build, build.states, every_setting(build), position=1).quietest

    assert answer.position == "percussion microphone"
    assert quietest is not None
    assert answer.level == pytest.approx(quietest[1], abs=EXHAUSTIVE)


@pytest.mark.slow
def test_the_same_question_gets_the_same_answer() -> None:
    first, second = (find_quietest(sample_room(), ["edit"], seconds=ENOUGH) for _ in range(2))

    assert first.status == "proven"  # closed, not cut off by the clock
    assert first.settings[0].speeds.tolist() == second.settings[0].speeds.tolist()
    for name in ("level", "lower_bound", "gap", "boxes", "solved_cases"):
        assert getattr(first, name) == getattr(second, name)
    assert first.settings[0].binding == second.settings[0].binding


@pytest.mark.slow
def test_states_asked_by_name_come_in_that_order() -> None:
    answer = find_quietest(sample_room(), ["bounce", "idle"], seconds=0.0)

    assert [setting.states for setting in answer.settings] == [("bounce",), ("idle",)]


def test_what_the_build_does_not_know_is_refused() -> None:
    with pytest.raises(KeyError):
        find_quietest(sample_room(), ["attic"])
    with pytest.raises(KeyError):
        find_quietest(sample_room(), ["idle"], position="attic")


def stop_when(word: str) -> Callable[[Progress], None]:
    """Press Ctrl-C when the progress first speaks of a word."""

    def progress(told: Progress) -> None:
        if word in told.what:
            raise KeyboardInterrupt

    return progress


@pytest.mark.slow
def test_ctrl_c_in_the_search_gives_the_states_that_are_done() -> None:
    build = sample_room()
    answer = find_quietest(build, ["bounce", "idle"], seconds=ENOUGH, progress=stop_when("searching idle"))

    assert answer.interrupted
    assert [setting.states for setting in answer.settings] == [("bounce",)]
    assert answer.status == "best_found"
    check_setting(build, answer)


def test_ctrl_c_before_there_is_anything_to_tell_is_ctrl_c() -> None:
    with pytest.raises(KeyboardInterrupt):
        find_quietest(sample_room(), ["idle"], progress=stop_when("searching idle"))


@pytest.mark.slow
def test_ctrl_c_in_the_proof_gives_the_best_so_far_with_the_bound_so_far() -> None:
    build = read_build(demo_path("booth_wall"))
    bounds: list[float] = []

    def progress(told: Progress) -> None:
        if told.what.startswith("proving"):
            bounds.append(told.lower_bound)
            raise KeyboardInterrupt

    answer = find_quietest(build, ["render"], seconds=ENOUGH, progress=progress)

    assert bounds  # otherwise the proof was over before it told anything
    assert answer.interrupted
    assert answer.status == "best_found"
    assert answer.lower_bound <= answer.level
    assert answer.lower_bound == pytest.approx(bounds[0], abs=1.0) or not math.isfinite(bounds[0])
    check_setting(build, answer)


@pytest.mark.slow
def test_a_bound_above_a_feasible_level_stops_the_tool(monkeypatch: pytest.MonkeyPatch) -> None:
    """A sabotaged proof: what the tool must never believe."""

    def sabotaged(question: Question, *_: object) -> Proof:
        found = find_incumbent(question).best
        return Proof(found.level + 0.5, found, 1, True, False)

    monkeypatch.setattr(quietest_module, "prove_rating", sabotaged)
    with pytest.raises(RefutedBound, match="lies above"):
        find_quietest(sample_room(), ["edit"])
