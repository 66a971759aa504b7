"""The quietest setting against SciPy's differential evolution, on both demos and on random builds of 2 to 6 groups.

Run from the repository's root (fifty builds take about half an hour of one core, most of it the rival's):

    python -m tests.profiles.quietest_profile --builds 50 --seconds 5

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

from quietcool.decide.quietest import Setting, find_quietest
from quietcool.entry.build import Build
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_names, demo_path
from tests.decide.judged import broken_by_second_opinion
from tests.decide.rivals import Rival
from tests.random_builds import random_build

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


def complaints(build: Build, setting: Setting, rival: Rival) -> list[str]:
    """Return what is wrong with an answer."""
    found = []
    if setting.status == "infeasible":
        return ["a setting keeps the limits"] if np.isfinite(rival.level) else []
    if setting.level > rival.level + ALLOWED:
        found.append("too loud")
    if setting.lower_bound > min(rival.level, setting.level) + ROUNDING:
        found.append("false bound")
    if broken_by_second_opinion(build, build.states, setting.speeds):
        found.append("a limit is broken")
    return found


def judge(name: str, build: Build, seconds: float) -> list[str]:
    """Answer, let the rival answer, compare and print a line."""
    start = time.monotonic()
    searched = find_quietest(build, seconds=0.0)
    middle = time.monotonic()
    answer = find_quietest(build, seconds=seconds)
    proved = time.monotonic()
    rival = best_rival(build)
    wrong = complaints(build, answer.settings[0], rival)
    sys.stdout.write(
        f"{name}: {answer.status}, {answer.level:.3f} dB(A), bound {answer.lower_bound:.3f}; rival {rival.level:.3f}: "
        f"answer {answer.level - rival.level:+.3f} dB, search alone {searched.level - rival.level:+.3f} dB; "
        f"cases {searched.solved_cases} against {rival.cases}; "
        f"{middle - start:.1f} + {proved - middle:.1f} s{''.join(f'  <-- {word}' for word in wrong)}\n"
    )
    sys.stdout.flush()
    return wrong


def main() -> int:
    """Judge all builds; return 1 if anything is wrong."""
    words = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    words.add_argument("--builds", type=int, default=50, help="random builds")
    words.add_argument("--first-seed", type=int, default=100)
    words.add_argument("--seconds", type=float, default=5.0, help="for an answer")
    words.add_argument("--no-demos", action="store_true", help="random builds only")
    said = words.parse_args()
    count, wrong = 0, 0
    for name, build in asked(said.first_seed, said.builds):
        if said.no_demos and not name.startswith("random"):
            continue
        count, wrong = count + 1, wrong + bool(judge(name, build, said.seconds))
    sys.stdout.write(f"{count} questions, {wrong} with something wrong\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
