"""The quietest setting: search and proof of the package against differential evolution with the same evaluator."""

from __future__ import annotations

import statistics
import time
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import differential_evolution

from quietcool.decide.incumbent import find_incumbent
from quietcool.decide.question import Question
from quietcool.decide.quietest import find_quietest
from quietcool.entry.build import Build, State
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from tests.benchmarks.timing import short

Floats = NDArray[np.float64]

QUESTIONS = (
    ("booth_wall", "render"), ("booth_wall", "render capped"), ("booth_wall", "transcode"), ("sample_room", "bounce"),
)  # fmt: skip
NEAR = 0.1  # above the best known: what "found" means here [dB]
REPEATS, SEEDS = 5, 7
GENERATIONS, POPULATION = 200, 15  # SciPy's own population
PENALTY = 20.0  # per part of a margin [dB]
PROOF_SECONDS = 30.0


@dataclass
class Trail:
    """When a search had seen what: the quietest feasible level over seconds and solved cases."""

    start: float = field(default_factory=time.perf_counter)
    steps: list[tuple[float, int, float]] = field(default_factory=list)  # [s], cases, [dB(A)]

    def note(self, cases: int, level: float) -> None:
        """Take note where it is quieter than before."""
        if not self.steps or level < self.steps[-1][2]:
            self.steps.append((time.perf_counter() - self.start, cases, level))

    def reached(self, level: float) -> tuple[float, int] | None:
        """Seconds and cases until a level was reached."""
        return next(((s, n) for s, n, heard in self.steps if heard <= level), None)


def evolve(build: Build, state: State, seed: int) -> Trail:
    """Run SciPy's differential evolution on whole steps with the package's own batched evaluator."""
    question = Question(build, (state,), 0)
    grids = question.grids
    trail = Trail()

    def merit(x: Floats) -> Floats:
        steps = np.rint(x.T).astype(np.intp)
        level, margins = question.ask(np.stack([grid[steps[:, i]] for i, grid in enumerate(grids)], axis=-1))
        worst = margins.min(axis=1)
        if np.any(worst >= 0.0):
            trail.note(question.tally.cases, float(level[worst >= 0.0].min()))
        return np.minimum(level, 200.0) + PENALTY * np.clip(-worst, 0.0, 100.0)

    differential_evolution(
        merit, [(0, grid.size - 1) for grid in grids], integrality=[True] * len(grids), vectorized=True,
        updating="deferred", polish=False, maxiter=GENERATIONS, popsize=POPULATION, tol=1e-8,
        rng=np.random.default_rng(seed),
    )  # fmt: skip
    return trail


def search(build: Build, state: State) -> tuple[float, int, float]:
    """Seconds, cases and level of the package's search, from start to end."""
    question = Question(build, (state,), 0)
    start = time.perf_counter()
    best = find_incumbent(question).best
    return time.perf_counter() - start, question.tally.cases, best.level if best.worst_margin >= 0.0 else np.inf


def run() -> dict[str, Any]:
    """Measure every question."""
    return {f"{demo}, {name}": measure(demo, name) for demo, name in QUESTIONS}


def measure(demo: str, name: str) -> dict[str, Any]:
    """Measure one question: the package's search and proof, and the rival from several seeds."""
    build = read_build(demo_path(demo))
    state = build.state(name)
    searches = [search(build, state) for _ in range(REPEATS + 1)][1:]
    start = time.perf_counter()
    answer = find_quietest(build, [name], seconds=PROOF_SECONDS)
    whole = time.perf_counter() - start
    trails = [evolve(build, state, seed) for seed in range(SEEDS)]
    best = min([searches[0][2], answer.level, *(trail.steps[-1][2] for trail in trails if trail.steps)])
    reached = [found for trail in trails if (found := trail.reached(best + NEAR)) is not None]
    return {
        "groups": len(build.group_names),
        "best_known_dba": best,
        "search": {
            "median_s": statistics.median(s for s, _, _ in searches), "least_s": min(s for s, _, _ in searches),
            "most_s": max(s for s, _, _ in searches), "runs": REPEATS, "cases": searches[0][1],
            "above_best_db": searches[0][2] - best,
        },
        "with_proof": {
            "s": whole, "status": answer.status, "gap_db": answer.gap, "cases": answer.solved_cases,
            "boxes": answer.boxes, "above_best_db": answer.level - best,
        },
        "differential_evolution": {
            "runs": SEEDS, "reached": len(reached),
            "median_s": statistics.median(s for s, _ in reached) if reached else None,
            "least_s": min((s for s, _ in reached), default=None), "most_s": max((s for s, _ in reached), default=None),
            "median_cases": statistics.median(n for _, n in reached) if reached else None,
        },
    }  # fmt: skip


def table(found: dict[str, Any]) -> list[str]:
    """Return the measurements as lines of Markdown."""
    lines = [
        "## Quietest setting", "",
        f"Seconds and solved cases until a setting within {NEAR} dB of the best known is seen. The package's search is",
        "timed to its end, differential evolution only to the moment at which it first sees such a setting, without",
        "the time it would need to know that it may stop. Ratios are differential evolution over search.", "",
        "| question | search: s | cases | above best, dB | diff. evolution: s | cases | runs that got there "
        "| ratio of s | ratio of cases | with proof: s | status, gap dB |",
        "|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|---|",
    ]  # fmt: skip
    for name, one in found.items():
        mine, rival, proof = one["search"], one["differential_evolution"], one["with_proof"]
        told = "- | -" if rival["median_s"] is None else f"{short(rival['median_s'])} | {rival['median_cases']:.0f}"
        ratios = (
            "- | -" if rival["median_s"] is None
            else f"{short(rival['median_s'] / mine['median_s'])} | {short(rival['median_cases'] / mine['cases'])}"
        )  # fmt: skip
        lines.append(
            f"| {name} ({one['groups']} groups) | {short(mine['median_s'])} ({short(mine['least_s'])} to "
            f"{short(mine['most_s'])}) | {mine['cases']} | {mine['above_best_db']:.3f} | {told} "
            f"| {rival['reached']} of {rival['runs']} | {ratios} | {short(proof['s'])} "
            f"| {proof['status']}, {proof['gap_db']:.3f} |"
        )
    return lines
