"""Ways to the quietest setting that an engineer would script: the same question, other searches, each held to a time.

Every rival judges settings by the package's own solver and runs until it has seen a level or its time is over; a search
that ends by itself begins anew. Batched are differential evolution and the genetic algorithm, one setting a call are
dual annealing and SLSQP with finite differences, because that is how these are called. Seconds are the processor's.
"""

from __future__ import annotations

import contextlib
import itertools
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pymoo.algorithms.soo.nonconvex.ga import GA
from pymoo.core.problem import Problem
from pymoo.optimize import minimize as evolve_by_pymoo
from scipy.optimize import differential_evolution, dual_annealing, minimize

from quietcool.decide.question import Question
from quietcool.entry.build import Build, State

Floats = NDArray[np.float64]

PENALTY = 20.0  # per part of a margin [dB]
LOUDEST = 200.0  # stands for "no steady state" [dB(A)]
POPULATION = 15  # times the number of groups, SciPy's own
GENETIC_POPULATION = 100  # pymoo's own
DIFFERENCE = 0.02  # of a range, for slopes: several steps of most groups
CORNERS = 6  # groups whose ends are rounded both ways, all combinations; the others to the next step


class EnoughError(Exception):
    """The level was seen, or the time is over."""


@dataclass
class Rival:
    """A question, and when a search had seen what: the quietest setting that keeps every limit."""

    build: Build
    state: State
    enough: float  # level at which to stop [dB(A)]
    seconds: float  # of the processor at most
    seed: int
    steps: list[tuple[float, int, float]] = field(default_factory=list)  # [s], cases, [dB(A)]
    spent: float = np.nan  # to its own end [s]

    def __post_init__(self) -> None:
        """Ask the package's own question; the clock runs from here."""
        self.question = Question(self.build, (self.state,), 0)
        self.grids = self.question.grids
        self.sizes = np.array([grid.size for grid in self.grids])
        self.rng = np.random.default_rng(self.seed)
        self.start = time.process_time()

    def ask(self, speeds: Floats, *, on_steps: bool) -> tuple[Floats, Floats]:
        """Level and margins; only a setting on the step grid counts as found."""
        level, margins = self.question.ask(speeds)
        spent = time.process_time() - self.start
        kept = np.where(np.all(margins >= 0.0, axis=1), level, np.inf)
        best = float(kept.min())
        if on_steps and np.isfinite(best) and (not self.steps or best < self.steps[-1][2]):
            self.steps.append((spent, self.question.tally.cases, best))
        if spent > self.seconds or (self.steps and self.steps[-1][2] <= self.enough):
            raise EnoughError
        return level, margins

    def on_grid(self, steps: NDArray[np.intp]) -> Floats:
        """Speeds of settings given by their steps [rev/s]."""
        return np.stack([grid[steps[:, i]] for i, grid in enumerate(self.grids)], axis=-1)

    def merit(self, steps: NDArray[np.intp]) -> Floats:
        """Level with a penalty on what is lacking."""
        level, margins = self.ask(self.on_grid(steps), on_steps=True)
        short: Floats = np.minimum(level, LOUDEST) + PENALTY * np.clip(-margins.min(axis=1), 0.0, 100.0)
        return short

    def reached(self, level: float) -> tuple[float, int] | None:
        """Seconds and cases until a level was seen."""
        return next(((s, n) for s, n, heard in self.steps if heard <= level), None)


def differential(rival: Rival, tolerance: float = 1e-8, generations: int = 200) -> None:
    """SciPy's differential evolution, every generation as one batch."""
    bounds: Any = [(0, size - 1) for size in rival.sizes]

    def merit(x: Any) -> Any:  # SciPy's stubs know no batches
        return rival.merit(np.rint(x.T).astype(np.intp))

    differential_evolution(
        merit, bounds, integrality=[True] * len(bounds), vectorized=True, updating="deferred", polish=False,
        maxiter=generations, popsize=POPULATION, tol=tolerance, rng=rival.rng,
    )  # fmt: skip


def annealing(rival: Rival) -> None:
    """SciPy's dual annealing over whole steps; its local search would see steps of no slope and is left out."""
    bounds = [(-0.5, size - 0.5) for size in rival.sizes]

    def merit(x: Floats) -> float:
        steps = np.clip(np.rint(x), 0, rival.sizes - 1).astype(np.intp)
        return float(rival.merit(steps[None])[0])

    dual_annealing(merit, bounds, no_local_search=True, maxiter=100_000, rng=rival.rng)


def multistart(rival: Rival) -> None:
    """SLSQP from a random place with slopes by finite differences, its end rounded both ways.

    Groups that may stand still do so in half of the starts; the others run between their slowest and fastest steps.
    """
    moving = [grid[grid > 0.0] for grid in rival.grids]
    low, high = np.array([grid[0] for grid in moving]), np.array([grid[-1] for grid in moving])
    still = np.array([grid[0] == 0.0 for grid in rival.grids]) & (rival.rng.random(low.size) < 0.5)
    known: dict[bytes, tuple[float, Floats]] = {}

    def answer(x: Floats) -> tuple[float, Floats]:
        key = x.tobytes()
        if key not in known:  # target and limits are asked for at the same place
            speeds = np.where(still, 0.0, low + np.clip(x, 0.0, 1.0) * (high - low))
            level, margins = rival.ask(speeds[None], on_steps=False)
            known[key] = min(float(level[0]), LOUDEST), np.clip(margins[0], -100.0, 100.0)
        return known[key]

    def level(x: Floats) -> float:
        return answer(x)[0]

    options: dict[str, Any] = {
        "method": "SLSQP", "bounds": [(0.0, 1.0)] * low.size, "options": {"eps": DIFFERENCE, "maxiter": 60},
        "constraints": {"type": "ineq", "fun": lambda x: answer(x)[1]},
    }  # fmt: skip
    found = minimize(level, rival.rng.random(low.size), **options)
    ends = np.where(still, 0.0, low + np.clip(found.x, 0.0, 1.0) * (high - low))
    choices = []
    for i, (grid, end) in enumerate(zip(rival.grids, ends, strict=True)):
        above = min(int(np.searchsorted(grid, end - 1e-9)), grid.size - 1)
        below = max(above - 1, 0)
        whole = (0,) if still[i] else (below, above)
        choices.append(whole if i < CORNERS else whole[-1:])
    rival.merit(np.array(list(itertools.product(*choices)), dtype=np.intp))


class _Settings(Problem):  # type: ignore[misc]  # pymoo is untyped
    """Steps of a setting as parts of their number, limits as constraints; a generation at a time."""

    def __init__(self, rival: Rival) -> None:
        self.rival = rival
        n = rival.sizes.size
        super().__init__(n_var=n, n_obj=1, n_ieq_constr=len(rival.question.limit_names), xl=np.zeros(n), xu=np.ones(n))

    def _evaluate(self, x: Floats, out: dict[str, Floats], *args: Any, **kwargs: Any) -> None:
        steps = np.minimum((x * self.rival.sizes).astype(np.intp), self.rival.sizes - 1)
        level, margins = self.rival.ask(self.rival.on_grid(steps), on_steps=True)
        out["F"] = np.minimum(level, LOUDEST)[:, None]
        out["G"] = np.nan_to_num(-margins, posinf=1e4)


def genetic(rival: Rival) -> None:
    """Genetic algorithm of pymoo with its own settings."""
    seed = int(rival.rng.integers(2**31))
    evolve_by_pymoo(_Settings(rival), GA(pop_size=GENETIC_POPULATION), ("n_gen", 300), seed=seed)


RIVALS: dict[str, tuple[Callable[[Rival], None], int]] = {  # by the name in the table, with the number of seeds
    "differential evolution": (differential, 3),
    "genetic algorithm": (genetic, 3),
    "dual annealing": (annealing, 2),
    "SLSQP multistart": (multistart, 2),
}


def compete(name: str, build: Build, state: State, enough: float, seconds: float) -> list[Rival]:
    """Run one rival from all of its seeds."""
    search, seeds = RIVALS[name]
    rivals = []
    for seed in range(seeds):
        rival = Rival(build, state, enough, seconds, seed)
        try:
            while True:
                search(rival)
        except EnoughError:
            rivals.append(rival)
    return rivals


def to_its_own_end(build: Build, state: State, seconds: float) -> list[Rival]:
    """Run differential evolution as SciPy offers it, until it believes that it has converged or its time is over."""
    rivals = []
    for seed in range(RIVALS["differential evolution"][1]):
        rival = Rival(build, state, -np.inf, seconds, seed)
        with contextlib.suppress(EnoughError):
            differential(rival, tolerance=0.01, generations=1000)
        rival.spent = time.process_time() - rival.start
        rivals.append(rival)
    return rivals


def brute_force(build: Build, state: State, cases: int = 4096) -> tuple[float, float]:
    """Number of settings, and processor seconds for all of them by what a batch of some costs."""
    rival = Rival(build, state, -np.inf, np.inf, 0)
    count = float(np.prod(rival.sizes.astype(float)))
    steps = np.minimum((rival.rng.random((cases, rival.sizes.size)) * rival.sizes).astype(np.intp), rival.sizes - 1)
    rival.merit(steps)
    start = time.process_time()
    rival.merit(steps)
    return count, (time.process_time() - start) / cases * count
