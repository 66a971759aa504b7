"""The bound as a mixed-integer program: which allowed combination has the least, cell by cell.

In a cell the bound of a combination is the greatest, over the prices, of a sum over its places. With one binary for
each option this is a small program: one option a place, one set of radiators, budget, fan models, and cuts for
combinations that are out. The least over the cells counts; cells are asked in the order of what is least without any
rule, until the next cannot be less. The same numbers come from adding tables (`zoom.Bounds.of_all`).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.choose.options import Options
from quietcool.decide.choose.zoom import Bounds
from quietcool.decide.hush import hushed
from quietcool.entry.catalogue_records import Catalogue

Floats = NDArray[np.float64]
Combination = tuple[int, ...]  # option of every place

SECONDS = 20.0  # for one cell
OPTIONS = {"threads": 1, "time_limit": SECONDS, "mip_rel_gap": 0.0, "output_flag": False, "log_to_console": False}
GOOD = ("optimal", "optimal_inaccurate")


class ProgramStopped(Exception):
    """The solver ended without an optimum and without a proof that there is none."""


class Program:
    """Least bound among the combinations that keep budget and fan models."""

    def __init__(self, bounds: Bounds, options: Options, set_of: NDArray[np.intp], catalogue: Catalogue) -> None:
        import cvxpy as cp

        self.bounds, self.options = bounds, options
        sizes = [len(column) for column in options]
        self.starts = np.concatenate([[0], np.cumsum(sizes)])
        self.picked = cp.Variable(int(self.starts[-1]), boolean=True)
        self.sets = cp.Variable(bounds.sets.shape[2], nonneg=True)
        self.least = cp.Variable()
        self.worth = cp.Parameter((bounds.sets.shape[1], int(self.starts[-1])))
        self.of_sets = cp.Parameter((bounds.sets.shape[1], bounds.sets.shape[2]))
        self.rules: list[Any] = [_total(self._of(place)) == 1 for place in range(len(options))]
        self.rules += self._sets(set_of) + self._bought(catalogue)
        self.rules.append(self.least >= self.worth @ self.picked + self.of_sets @ self.sets)
        self.cuts: list[Any] = []
        self.out: list[Combination] = []

    def _of(self, place: int) -> Any:
        """Binaries of a place's options."""
        return self.picked[int(self.starts[place]) : int(self.starts[place + 1])]

    def _sets(self, set_of: NDArray[np.intp]) -> list[Any]:
        """The set of radiators follows from the options."""
        rules: list[Any] = [_total(self.sets) == 1]
        for place in range(set_of.ndim):
            along = np.moveaxis(set_of, place, 0).reshape(set_of.shape[place], -1)
            holds = np.zeros((along.shape[0], self.sets.size))
            for option, numbers in enumerate(along):
                holds[option, numbers] = 1.0
            alike, first = np.unique(holds, axis=0, return_inverse=True)
            for number, row in enumerate(alike):  # options with one radiator together take the sets with it
                members = np.flatnonzero(first.reshape(-1) == number)
                rules.append(row @ self.sets == _total(self._of(place)[members]))
        return rules

    def _bought(self, catalogue: Catalogue) -> list[Any]:
        import cvxpy as cp

        every = [one for column in self.options for one in column]
        models = sorted({one.fan.name for one in every})
        used = cp.Variable(len(models), nonneg=True)
        rules: list[Any] = [_total(used) <= catalogue.most_fan_models]
        for number, model in enumerate(models):
            members = np.flatnonzero([one.fan.name == model for one in every])
            rules.append(used[number] >= self.picked[members])
        if catalogue.budget is not None:
            rules.append(np.array([one.price for one in every]) @ self.picked <= catalogue.budget + 1e-9)
        return rules

    def cut(self, combination: Combination) -> None:
        """Leave a combination out from now on."""
        places = [int(self.starts[place]) + option for place, option in enumerate(combination)]
        self.cuts.append(_total(self.picked[places]) <= len(places) - 1)
        self.out.append(combination)

    def next(self) -> tuple[float, Combination | None]:
        """Least bound of what is left, and the combination that has it; none where only closed cells are left.

        Raises
        ------
        ProgramStopped
            If the solver gives up: then nothing may be concluded.
        """
        import cvxpy as cp

        problem = cp.Problem(cp.Minimize(self.least), [*self.rules, *self.cuts])
        floors = _floors(self.bounds)
        best: tuple[float, Combination | None] = (self.bounds.closed, None)
        for cell in np.argsort(floors, kind="stable"):
            if floors[cell] >= best[0]:
                break
            value, chosen = self._solve(problem, int(cell))
            if value < best[0]:
                best = value, chosen
        return best

    def _solve(self, problem: Any, cell: int) -> tuple[float, Combination | None]:
        import cvxpy as cp

        worth = np.concatenate([place[cell] for place in self.bounds.places], axis=1)
        struck = ~np.isfinite(worth).all(axis=0)
        of_sets = self.bounds.sets[cell]
        scale = max(float(np.abs(part[np.isfinite(part)]).max(initial=1e-9)) for part in (worth, of_sets))
        ceiling = 50.0  # stands for "impossible": far above any goal, and no numerical trouble
        self.worth.value = np.where(struck, ceiling, np.minimum(worth / scale, ceiling))
        self.of_sets.value = np.minimum(of_sets / scale, ceiling)
        with hushed():
            problem.solve(solver=cp.HIGHS, verbose=False, highs_options=OPTIONS)
        if problem.status == "infeasible":
            return float("inf"), None
        if problem.status not in GOOD or self.picked.value is None:
            raise ProgramStopped(f"the solver of the program ended with {problem.status}")
        chosen = tuple(int(np.argmax(self._of(place).value)) for place in range(len(self.options)))
        return self._value(cell, chosen), chosen

    def _value(self, cell: int, chosen: Combination) -> float:
        """The bound itself: the solver's own value carries its tolerances."""
        whole = self.bounds.sets[cell][:, int(np.argmax(np.asarray(self.sets.value)))]
        for place, option in zip(self.bounds.places, chosen, strict=True):
            whole = whole + place[cell][:, option]
        return float(whole.max())


def _total(terms: Any) -> Any:
    """Sum of an expression's entries."""
    return np.ones(int(terms.size)) @ terms


def _floors(bounds: Bounds) -> Floats:
    """What any combination has at least in every cell, rules or not."""
    whole = bounds.sets.min(axis=2)
    for place in bounds.places:
        whole = whole + place.min(axis=2)
    return np.asarray(whole.max(axis=1, initial=-np.inf))


def least_by_program(
    bounds: Bounds, options: Options, set_of: NDArray[np.intp], catalogue: Catalogue, out: Sequence[Combination] = ()
) -> tuple[float, Combination | None]:
    """Least bound among the allowed combinations that are not out, and which has it."""
    if not len(bounds.sets):  # no cell is open: nothing to choose among
        return bounds.closed, None
    program = Program(bounds, options, set_of, catalogue)
    for combination in out:
        program.cut(combination)
    return program.next()
