"""The quietest setting against SciPy's differential evolution, on both demos and on random builds of 2 to 6 groups.

Run from the repository's root (fifty builds take about half an hour of one core, most of it the rival's):

    python -m tests.profiles.quietest_profile --builds 50 --seconds 5
    python -m tests.profiles.quietest_profile --builds 50 --search-only     (no proofs: the search by itself)

A line each: how many dB the answer, and the search alone, lie above what two runs of differential evolution and a
polish of their best find. Exit code 1 if an answer is louder by more than 0.02 dB, a bound lies above a feasible level,
the second opinion finds a limit broken, or "infeasible" is said where a setting keeps the limits.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.incumbent import find_incumbent, grid_speeds
from quietcool.decide.question import Question
from quietcool.decide.quietest import find_quietest
from quietcool.entry.build import Build
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_names, demo_path
from tests.decide.judged import broken_by_second_opinion
from tests.decide.rivals import Rival
from tests.random_builds import random_build

Floats = NDArray[np.float64]

ALLOWED = 0.02  # [dB]
ROUNDING = 1e-6  # [dB]
SEEDS = (0, 1)  # of the rival
GENERATIONS, POPULATION = 150, 20


def asked(first: int, count: int) -> Iterator[tuple[str, Build]]:
    """Every state of the demos, then random builds: 2 to 6 groups of fans, one or two enclosures, one state."""
    for name in demo_names():
        build = read_build(demo_path(name))
        yield from ((f"{name}, {state.name}", replace(build, states=(state,))) for state in build.states)
    for seed in range(first, first + count):
        groups, enclosures = 2 + seed % 5, 1 + seed // 5 % 2
        try:
            name = f"random {seed}, {groups} groups, {enclosures} enclosures"
            yield name, random_build(seed, groups=groups, enclosures=enclosures)
        except ValueError:  # no sensible build in a hundred draws
            continue


def best_rival(build: Build) -> Rival:
    """Let differential evolution run from several seeds and polish the best of all."""
    rival = Rival(build, build.states)
    for seed in SEEDS:
        rival.evolve(seed, GENERATIONS, POPULATION)
    rival.polish()
    return rival


def complaints(build: Build, speeds: Floats, level: float, bound: float, rival: Rival) -> list[str]:
    """Return what is wrong with an answer; a level that is NaN says "infeasible"."""
    found = []
    if np.isnan(level):
        return ["a setting keeps the limits"] if np.isfinite(rival.level) else []
    if level > rival.level + ALLOWED:
        found.append("too loud")
    if bound > min(rival.level, level) + ROUNDING:
        found.append("false bound")
    if broken_by_second_opinion(build, build.states, speeds):
        found.append("a limit is broken")
    return found


def judge(name: str, build: Build, seconds: float | None) -> list[str]:
    """Answer, let the rival answer, compare and print a line."""
    question = Question(build, build.states, 0)
    start = time.monotonic()
    best = find_incumbent(question).best
    level = best.level if best.worst_margin >= 0.0 else np.nan
    spent, rival = time.monotonic() - start, best_rival(build)
    said = f"search {level:.3f} dB(A), {level - rival.level:+.3f} dB, {question.tally.cases} cases, {spent:.1f} s"
    if seconds is None:
        wrong = complaints(build, grid_speeds(question, best.steps[None])[0], level, -np.inf, rival)
    else:
        answer = find_quietest(build, seconds=seconds)
        wrong = complaints(build, answer.settings[0].speeds, answer.level, answer.lower_bound, rival)
        said += f"; {answer.status} {answer.level:.3f}, {answer.level - rival.level:+.3f} dB, gap {answer.gap:.3f} dB"
    words = "".join(f"  <-- {word}" for word in wrong)
    sys.stdout.write(f"{name}: {said}; rival {rival.level:.3f} dB(A), {rival.cases} cases{words}\n")
    sys.stdout.flush()
    return wrong


def main() -> int:
    """Judge all builds; return 1 if anything is wrong."""
    words = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    words.add_argument("--builds", type=int, default=50, help="random builds")
    words.add_argument("--first-seed", type=int, default=100)
    words.add_argument("--seconds", type=float, default=5.0, help="for an answer")
    words.add_argument("--search-only", action="store_true", help="leave the proofs out")
    words.add_argument("--no-demos", action="store_true", help="random builds only")
    said = words.parse_args()
    count, wrong = 0, 0
    for name, build in asked(said.first_seed, said.builds):
        if said.no_demos and not name.startswith("random"):
            continue
        count, wrong = count + 1, wrong + bool(judge(name, build, None if said.search_only else said.seconds))
    sys.stdout.write(f"{count} questions, {wrong} with something wrong\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
