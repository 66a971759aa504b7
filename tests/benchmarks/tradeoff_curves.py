"""Trade-off curves: the package's search against NSGA-II of pymoo with the same evaluator, at equal hypervolume.

python -m tests.benchmarks.tradeoff_curves      (needs the extra `benchmark`; about five minutes)

Both sides are measured by all settings they have solved: the hypervolume that these dominate between the corners of the
package's curve, as a part of the rectangle. Seconds are those of the processor, because others use the machine.
"""

from __future__ import annotations

import time
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pymoo.algorithms.moo.nsga2 import NSGA2
from pymoo.core.problem import Problem
from pymoo.indicators.hv import HV
from pymoo.optimize import minimize

from quietcool.decide.axes import axis_named, column_of, limited_to
from quietcool.decide.front import find_front
from quietcool.decide.question import Question, Tally
from quietcool.entry.build import Build, State
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from tests.benchmarks.timing import short, surroundings

Floats = NDArray[np.float64]

QUESTIONS = (("booth_wall", "render"), ("booth_wall", "take"), ("sample_room", "bounce"))
POINTS, POPULATION, SEEDS = 40, 100, 3
LONGEST = 60.0  # of one run of the rival [s of the processor]
EQUAL = (0.99, 0.999, 1.0)  # parts of the package's hypervolume


class Settings(Problem):  # type: ignore[misc]  # pymoo is untyped
    """Temperature and level of settings on the step grid, all other limits as constraints; a batch at a time."""

    def __init__(self, question: Question, column: int) -> None:
        self.question, self.column = question, column
        self.solved = np.zeros((0, 2))  # temperature and level of what keeps all other limits [K, dB(A)]
        limits = len(self.question.limit_names) - 1
        n = len(self.question.grids)
        super().__init__(n_var=n, n_obj=2, n_ieq_constr=limits, xl=np.zeros(n), xu=np.ones(n))

    def _evaluate(self, x: Floats, out: dict[str, Floats], *args: Any, **kwargs: Any) -> None:
        sizes = np.array([grid.size for grid in self.question.grids])
        steps = np.minimum((x * sizes).astype(np.intp), sizes - 1)
        speeds = np.stack([grid[steps[:, i]] for i, grid in enumerate(self.question.grids)], axis=-1)
        level, margins = self.question.ask(speeds)
        both, others = np.stack([-margins[:, self.column], level], axis=-1), np.delete(margins, self.column, axis=1)
        self.solved = undominated(np.concatenate([self.solved, both[np.all(others >= 0.0, axis=1)]]))
        out["F"], out["G"] = np.nan_to_num(both, posinf=1e4), np.nan_to_num(-others, posinf=1e4)


def undominated(solved: Floats) -> Floats:
    """Settings that no other beats in both."""
    order = np.lexsort((solved[:, 1], solved[:, 0]))
    level = solved[order, 1]
    before = np.minimum.accumulate(np.concatenate([[np.inf], level[:-1]])) if order.size else level
    kept: Floats = solved[order[level < before]]
    return kept


def dominated(solved: Floats, corners: Floats) -> float:
    """Part of the rectangle between the corners (least, greatest) that settings dominate."""
    scaled = (solved - corners[0]) / (corners[1] - corners[0])
    inside = np.all(scaled <= 1.0, axis=1)
    return float(HV(ref_point=np.ones(2))(np.maximum(scaled[inside], 0.0))) if np.any(inside) else 0.0


def measure(demo: str, name: str) -> dict[str, Any]:
    """Measure one curve, and the rival from several seeds."""
    build = read_build(demo_path(demo))
    state = build.state(name)
    axis = axis_named(build, state, "coolant")
    find_front(build, state, axis, 0, 3)  # loads and fills caches
    tally, start = Tally(), time.process_time()
    front = find_front(build, state, axis, 0, POINTS, tally=tally)
    seconds = time.process_time() - start
    if front is None:
        raise ValueError(f"{demo}, {name}: no curve")
    temp, level, _ = front.archive.front()
    corners = np.array([[temp[0], level[-1]], [temp[-1], level[0]]])
    own = dominated(np.stack([temp, level], axis=-1), corners)
    rivals = [evolve(build, state, corners, own, seed) for seed in range(SEEDS)]
    return {"s": seconds, "cases": tally.cases, "hypervolume": own, "rivals": rivals}


def evolve(build: Build, state: State, corners: Floats, own: float, seed: int) -> dict[str, Any]:
    """Run NSGA-II until it has the package's hypervolume or its time is over; when it came how near."""
    axis = axis_named(build, state, "coolant")
    zero_build, zero_state = limited_to(build, state, axis, 0.0, 0)
    problem = Settings(Question(zero_build, (zero_state,), 0), column_of(zero_build, zero_state, axis))
    reached: dict[float, float] = {}
    start = time.process_time()

    def watch(algorithm: Any) -> None:
        spent = time.process_time() - start - watch_cost[0]
        before = time.process_time()
        found = dominated(problem.solved, corners) / own
        watch_cost[0] += time.process_time() - before
        for part in EQUAL:
            if found >= part:
                reached.setdefault(part, spent)
        best[0] = found
        if EQUAL[-1] in reached or spent > LONGEST:
            algorithm.termination.force_termination = True

    watch_cost, best = [0.0], [0.0]
    minimize(problem, NSGA2(pop_size=POPULATION), ("n_gen", 100_000), seed=seed, callback=watch)
    return {"reached_s": {str(part): reached.get(part) for part in EQUAL}, "best_part": best[0],
            "cases": problem.question.tally.cases}  # fmt: skip


def run() -> dict[str, Any]:
    """Measure every curve."""
    return {f"{demo}, {name}": measure(demo, name) for demo, name in QUESTIONS}


def table(found: dict[str, Any]) -> list[str]:
    """Return the measurements as lines of Markdown."""
    parts = " | ".join(f"NSGA-II to {part:g}: s, ratio" for part in EQUAL)
    lines = [
        "## Trade-off curves", "",
        f"Processor seconds for {POINTS} points without bounds, and until NSGA-II (population {POPULATION}, {SEEDS}",
        f"seeds, at most {LONGEST:g} s each) has solved settings of the same hypervolume: median, and its ratio to the",
        "package's seconds.", "",
        f"| curve | s | cases | {parts} | best part it came to |", "|---|---:|---:|" + "---:|" * (len(EQUAL) + 1),
    ]  # fmt: skip
    for name, one in found.items():
        cells = []
        for part in EQUAL:
            times = [rival["reached_s"][str(part)] for rival in one["rivals"]]
            whole = np.median([LONGEST if t is None else t for t in times])
            more = "more than " if sum(t is None for t in times) * 2 >= len(times) else ""
            cells.append(f"{more}{short(float(whole))}, {more}{short(float(whole) / one['s'])}")
        best = max(rival["best_part"] for rival in one["rivals"])
        lines.append(f"| {name} | {short(one['s'])} | {one['cases']} | {' | '.join(cells)} | {best:.5f} |")
    return lines


def main() -> None:
    """Measure and print."""
    print(", ".join(f"{name} {value}" for name, value in surroundings().items()))
    print("\n".join(table(run())))


if __name__ == "__main__":
    main()
