"""Other ways to the quietest setting, to measure the package's own by: SciPy's differential evolution, polished."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import differential_evolution

from quietcool.entry.build import Build, State
from tests.decide.judged import admissible, judged

Floats = NDArray[np.float64]

PENALTY = 20.0  # per kelvin, decibel or tenth of a litre per minute: more than any limit is worth [dB]
LOST = 100.0  # lack of margin that stands for "no steady state" [K, dB, tenths of a litre per minute]
LOUDEST = 200.0  # level that stands for it [dB(A)]


@dataclass
class Rival:
    """Settings as whole numbers of steps, judged in batches; remembers the best and the quietest feasible."""

    build: Build
    states: Sequence[State]
    position: int = 0
    level: float = np.inf
    best_merit: float = np.inf
    best_steps: NDArray[np.intp] | None = None
    cases: int = 0
    grids: list[Floats] = field(default_factory=list)

    def __post_init__(self) -> None:
        """List the admissible speeds."""
        self.grids = [np.array(admissible(speeds)) for speeds in self.build.speed_ranges]

    @property
    def bounds(self) -> list[tuple[int, int]]:
        """First and last step of every group."""
        return [(0, grid.size - 1) for grid in self.grids]

    def speeds(self, steps: NDArray[np.intp]) -> Floats:
        """Speeds of settings, (settings, groups + 1) [rev/s]."""
        return np.stack([grid[steps[:, i]] for i, grid in enumerate(self.grids)], axis=-1)

    def merit(self, steps: NDArray[np.intp]) -> Floats:
        """Level with a penalty on what is lacking; takes note of the quietest setting that keeps every limit."""
        self.cases += len(steps) * len(self.states)
        answer = judged(self.build, self.states, self.speeds(steps), self.position)
        found = answer.quietest
        if found is not None:
            self.level = min(self.level, found[1])
        merit: Floats = np.minimum(answer.level, LOUDEST) + PENALTY * np.clip(-answer.margin, 0.0, LOST)
        best = int(np.argmin(merit))
        if merit[best] < self.best_merit:
            self.best_merit, self.best_steps = float(merit[best]), steps[best].copy()
        return merit

    def evolve(self, seed: int, generations: int, population: int) -> None:
        """Run SciPy's differential evolution over whole steps, every generation as one batch."""
        differential_evolution(
            lambda x: self.merit(np.rint(x.T).astype(np.intp)),
            self.bounds,
            integrality=[True] * len(self.grids),
            vectorized=True,
            updating="deferred",
            polish=False,
            maxiter=generations,
            popsize=population,
            tol=1e-6,
            rng=np.random.default_rng(seed),
        )

    def polish(self) -> None:
        """Look at every setting within two steps (one step where groups are many) until none is better."""
        reach = range(-2, 3) if len(self.grids) <= 4 else range(-1, 2)
        moves = np.array(list(itertools.product(*([reach] * len(self.grids)))), dtype=np.intp)
        last = np.array([grid.size - 1 for grid in self.grids])
        before = np.inf
        while self.best_steps is not None and self.best_merit < before:
            before = self.best_merit
            self.merit(np.unique(np.clip(self.best_steps + moves, 0, last), axis=0))


def evolved(
    build: Build,
    states: Sequence[State],
    *,
    seed: int = 0,
    generations: int = 150,
    population: int = 30,
    position: int = 0,
) -> Rival:
    """Return what differential evolution and a polish of its best find."""
    rival = Rival(build, states, position)
    rival.evolve(seed, generations, population)
    rival.polish()
    return rival
