"""The quietest setting: search and proof of the package against what an engineer would script, with the same solver."""

from __future__ import annotations

import statistics
import time
from typing import Any

import numpy as np

from quietcool.decide.bound.search import BoxSearch
from quietcool.decide.incumbent import find_incumbent
from quietcool.decide.question import Question
from quietcool.entry.build import Build
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from tests.benchmarks.search_rivals import RIVALS, Rival, brute_force, compete
from tests.benchmarks.timing import short
from tests.random_builds import random_build

DEMOS = (("booth_wall", "render"), ("sample_room", "bounce"))
RANDOM = ((6, 1, 1), (8, 1, 1), (6, 2, 1))  # groups with the pump, enclosures, first seed looked at
NEAR = 0.1  # above the best known: what "found" means here [dB]
REPEATS = 3
LONGEST = 8.0  # of one run of a rival [s of the processor]
PROOF_SECONDS = 30.0


def questions() -> dict[str, tuple[Build, str]]:
    """Builds and states by their names in the table."""
    found = {f"{demo}, {name}": (read_build(demo_path(demo)), name) for demo, name in DEMOS}
    for groups, enclosures, first in RANDOM:
        build = next(b for seed in range(first, 100) if (b := possible(seed, groups, enclosures)) is not None)
        found[f"{build.title}, enclosures: {enclosures}"] = (build, build.states[0].name)
    return found


def possible(seed: int, groups: int, enclosures: int) -> Build | None:
    """Return a random build whose limits can be kept; None for another seed."""
    try:
        build = random_build(seed, groups=groups - 1, enclosures=enclosures)
    except ValueError:  # no sensible build in a hundred draws
        return None
    best = find_incumbent(Question(build, build.states[:1], 0)).best
    return build if len(build.group_names) == groups and best.worst_margin >= 0.0 else None


def measure(build: Build, name: str) -> dict[str, Any]:
    """Measure one question: the package's search and proof, then every rival from several seeds."""
    state = build.state(name)
    seconds, cases, level = [], 0, np.inf
    for _ in range(REPEATS + 1):  # the first loads and fills caches
        question = Question(build, (state,), 0)
        start = time.process_time()
        incumbent = find_incumbent(question).best
        seconds.append(time.process_time() - start)
        cases, level = question.tally.cases, incumbent.level
    start = time.process_time()
    proof = BoxSearch(question, name, incumbent, time.monotonic() + PROOF_SECONDS, lambda *_: None).run()
    proved = time.process_time() - start
    # Whoever comes within NEAR of the bound is within NEAR of everything that there is.
    enough = max(proof.lower_bound + NEAR, proof.best.level)
    rivals = {rival: compete(rival, build, state, enough, LONGEST) for rival in RIVALS}
    seen = [run.steps[-1][2] for runs in rivals.values() for run in runs if run.steps]
    best = min([level, proof.best.level, *seen])
    settings, brute = brute_force(build, state)
    mine = statistics.median(seconds[1:])
    return {
        "groups": len(build.group_names), "best_known_dba": best,
        "search": {"median_s": mine, "least_s": min(seconds[1:]), "most_s": max(seconds[1:]), "runs": REPEATS,
                   "cases": cases, "above_best_db": level - best},
        "proof": {"s": proved, "gap_db": proof.best.level - proof.lower_bound, "boxes": proof.boxes,
                  "above_best_db": proof.best.level - best},
        "rivals": {rival: summed_up(runs, best) for rival, runs in rivals.items()},
        "brute_force": {"settings": settings, "s": brute},
    }  # fmt: skip


def summed_up(runs: list[Rival], best: float) -> dict[str, Any]:
    """Medians over the seeds; a run that never got there counts with its whole time and all of its cases."""
    got = [run.reached(best + NEAR) for run in runs]
    spent = [LONGEST if one is None else one[0] for one in got]
    cases = [run.question.tally.cases if one is None else one[1] for run, one in zip(runs, got, strict=True)]
    missed = [run.steps[-1][2] - best for run in runs if run.steps]
    return {
        "runs": len(runs), "reached": sum(one is not None for one in got), "median_s": statistics.median(spent),
        "least_s": min(spent), "most_s": max(spent), "median_cases": statistics.median(cases),
        "worst_above_best_db": max(missed) if len(missed) == len(runs) else None,
    }  # fmt: skip


def run() -> dict[str, Any]:
    """Measure every question."""
    return {name: measure(*asked) for name, asked in questions().items()}


def table(found: dict[str, Any]) -> list[str]:
    """Return the measurements as lines of Markdown."""
    lines = [
        "## Quietest setting", "",
        f"Processor seconds and solved cases until a setting within {NEAR} dB of the best known is seen, medians.",
        "The package's search is timed to its end; a rival only to the moment at which it first sees such a setting,",
        f"without the time it would need to know that it may stop, and for {LONGEST:g} s at most: a run that did not",
        "get there counts with that, and `>` marks a median of such runs. All rivals ask the package's batched solver.",
        "Brute force is the number of settings times what one costs in a batch of 4,096; nobody ran it.", "",
        "| question | search: s | cases | above best, dB | proof: s | gap, dB | rival | s | cases | runs that got "
        "there | worst above best, dB | s over search | cases over search |",
        "|---|---:|---:|---:|---:|---:|---|---:|---:|---:|---:|---:|---:|",
    ]  # fmt: skip
    for name, one in found.items():
        mine, proof, brute = one["search"], one["proof"], one["brute_force"]
        first = (
            f"| {name} ({one['groups']} groups) | {short(mine['median_s'])} ({short(mine['least_s'])} to "
            f"{short(mine['most_s'])}) | {mine['cases']} | {mine['above_best_db']:.3f} | {short(proof['s'])} "
            f"| {proof['gap_db']:.3f} "
        )
        for rival, its in one["rivals"].items():
            mark = ">" if 2 * its["reached"] < its["runs"] else ""
            far = its["worst_above_best_db"]
            lines.append(
                f"{first}| {rival} | {mark}{short(its['median_s'])} | {its['median_cases']:.0f} "
                f"| {its['reached']} of {its['runs']} | {'none' if far is None else f'{far:.2f}'} "
                f"| {mark}{short(its['median_s'] / mine['median_s'])} "
                f"| {mark}{short(its['median_cases'] / mine['cases'])} |"
            )
            first = "| | | | | | "
        lines.append(
            f"{first}| brute force | {brute['s']:.1e} | {brute['settings']:.1e} | - | - "
            f"| {brute['s'] / mine['median_s']:.1e} | {brute['settings'] / mine['cases']:.1e} |"
        )
    return lines
