"""What to buy: bounds for all combinations, exact settings for those that the bounds leave, the quietest of these.

1. Every allowed combination gets a bound (`zoom.py`), coarse at first, finer where it could still win.
2. Combinations are solved in the order of their bounds: the search of `quietest` on the step grid. It ends when the
   next bound is above the best level found: no combination that was not solved can then be quieter.
3. The speeds of the winner are proven, as `quietest` does.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.choose.bound import UNIT, Rig
from quietcool.decide.choose.options import Option, Options, kept_rules, options_of, with_options
from quietcool.decide.choose.program import Combination, ProgramStopped, least_by_program
from quietcool.decide.choose.workers import Here, Workers
from quietcool.decide.choose.zoom import NEAR, Bounds, Node, examine, joined, root_node, set_numbers
from quietcool.decide.incumbent import find_incumbent, grid_speeds
from quietcool.decide.question import Question
from quietcool.decide.quietest import Progress, Quietest, find_quietest
from quietcool.decide.tradeoff import hottest_state
from quietcool.entry.build import Build, State
from quietcool.entry.catalogue_records import Catalogue
from quietcool.errors import InputError, Mistake, RefutedBound
from quietcool.solve.listening import position_limits

Floats = NDArray[np.float64]

MOST_COMBINATIONS = 2_000_000
SEEDS = 4  # solved first, so that the bounds know what they must beat
AT_ONCE = 8  # solved between two looks at the best, whatever the number of workers
LEVELS = 3  # of finer slices
ENOUGH = 16  # combinations left, at which finer slices would cost more than solving
BETTER, MOST_AGAIN = 0.5, 2  # by how much a new goal is worth looking at the same slices again [dB], and how often
COOLANT_SLICES = (8, 2, 1, 2)  # that a slice of the level before is cut into
WITHIN = 1.0  # of the winner: runners-up [dB]
MOST_RUNNERS_UP = 10
MOST_LEVEL = 60.0  # that the bounds look at where nothing was found that keeps the limits [dB(A)]
ROUNDING = 1e-6  # a bound above a level by no more than this is rounding [dB]
BOUND_SHARE, PROOF_SHARE = 0.5, 0.15  # of the time, for the bounds at most and for the winner's speeds


class Solved(NamedTuple):
    """One combination at the quietest setting that was found for it."""

    combination: Combination
    options: tuple[Option, ...]
    bound: float  # no setting of it is quieter [dB(A)]
    level: float  # [dB(A)]
    worst_margin: float  # negative where no setting was found that keeps the limits
    speeds: Floats  # in the order of the altered rig's groups [rev/s]

    @property
    def price(self) -> float:
        """Of all places."""
        return sum(option.price for option in self.options)

    @property
    def feasible(self) -> bool:
        """Whether the limits are kept."""
        return self.worst_margin >= 0.0


@dataclass(frozen=True)
class Choice:
    """What to buy."""

    state: str
    position: str
    best: Solved | None  # None where no combination was found that keeps the limits
    build: Build | None  # the rig with it
    proof: Quietest | None  # its speeds, with their bound
    runners_up: tuple[Solved, ...]  # solved ones within `WITHIN` of the winner, the quietest first
    next_bound: float  # no unsolved combination is quieter; inf if all were solved [dB(A)]
    floor: float  # no allowed combination is quieter, solved or not [dB(A)]
    level_limit: float  # what may be heard there at most, inf if nothing is said [dB(A)]
    fitting: tuple[int, ...]  # options of every place that fit
    combinations: int  # of these options
    allowed: int  # that keep the rules too
    solved: int
    interrupted: bool

    @property
    def proven(self) -> bool:
        """Whether every combination that was not solved is proven to be no quieter than the best."""
        return self.next_bound >= (np.inf if self.best is None else self.best.level) - ROUNDING

    @property
    def nothing_kept_below(self) -> float:
        """Level below which it is proven that nothing keeps the limits; NaN where that is not proven [dB(A)]."""
        looked_at = min(self.level_limit, MOST_LEVEL)
        return looked_at if self.best is None and self.floor >= looked_at else np.nan


def solve_combination(job: tuple[Build, str, int]) -> tuple[float, float, Floats]:
    """Search the quietest setting of one altered rig: level, worst margin, speeds."""
    build, state, position = job
    question = Question(build, (build.state(state),), position)
    best = find_incumbent(question).best
    return best.level, best.worst_margin, grid_speeds(question, best.steps[None])[0]


def bound_node(job: tuple[Rig, Node, float, int]) -> tuple[list[Node], Bounds]:
    """Bound the cells of one slice of coolant."""
    return examine(*job)


def find_choice(
    build: Build,
    catalogue: Catalogue,
    state: str | None = None,
    *,
    position: str | None = None,
    seconds: float = 120.0,
    workers: Workers | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> Choice:
    """Find the quietest combination that keeps the rules and the limits.

    Parameters
    ----------
    build : Build
        The rig with its places; what stands in them now is replaced.
    catalogue : Catalogue
        What may be bought, and the rules.
    state : str, optional
        The workload; that with the most heat if not given. It must limit the coolant.
    position : str, optional
        Where it is heard; the first one if not given.
    seconds : float
        Time for the whole answer; what is left then goes unsolved, and the answer is not proven. [s]
    workers : Workers, optional
        Who bounds and solves; the answer is the same whoever does.
    progress : callable, optional
        Told now and then how far the answer is.

    Returns
    -------
    Choice

    Raises
    ------
    InputError
        See `options_of`; also where the catalogue is too large, no combination is allowed, or the state does not limit
        the coolant.
    """
    load = hottest_state(build) if state is None else build.state(state)
    where = 0 if position is None else [place.name for place in build.positions].index(position)
    options = options_of(build, catalogue)
    _check(catalogue, load, options)
    kept = kept_rules(build, catalogue, options)
    if not np.any(kept):
        raise _refusal(catalogue, "rules that some combination keeps", "none", "raise the budget, or allow more models")
    search = _Search(build, catalogue, load, where, options, kept, seconds, workers or Here(), progress)
    interrupted = False
    try:
        search.seed()
        search.bound()
        search.solve_in_order()
    except KeyboardInterrupt:
        if not search.solved:
            raise
        interrupted = True
    return search.answer(interrupted)


def _check(catalogue: Catalogue, state: State, options: Options) -> None:
    count = int(np.prod([len(column) for column in options], dtype=np.float64))
    if count > MOST_COMBINATIONS:
        found = f"{count} combinations of what fits"
        raise _refusal(catalogue, f"at most {MOST_COMBINATIONS} combinations", found, "narrow the lists of the places")
    if state.limits.coolant is None:
        found = f'state "{state.name}" without it'
        raise _refusal(catalogue, "a state that limits the coolant", found, "add coolant_c to its limits")


def _refusal(catalogue: Catalogue, required: str, found: str, advice: str) -> InputError:
    return InputError([Mistake(catalogue.file, None, None, "", required, found, advice)])


@dataclass
class _Search:
    """One search: what is known so far."""

    build: Build
    catalogue: Catalogue
    state: State
    where: int
    options: Options
    kept: NDArray[np.bool_]
    seconds: float
    workers: Workers
    progress: Callable[[Progress], None] | None
    solved: dict[Combination, Solved] = field(default_factory=dict)
    bounds: Floats = field(default_factory=lambda: np.zeros(0))  # of every combination [dB(A)]

    def __post_init__(self) -> None:
        self.start = time.monotonic()
        self.bounds = np.where(self.kept, -np.inf, np.inf)

    @property
    def passed(self) -> float:
        """Part of the time that is over."""
        return (time.monotonic() - self.start) / max(self.seconds, 1e-9)

    @property
    def best(self) -> Solved | None:
        """The quietest that keeps the limits; of equals the cheapest, then the first of the catalogue."""
        good = [one for one in self.solved.values() if one.feasible]
        return min(good, key=lambda one: (one.level, one.price, one.combination), default=None)

    @property
    def level(self) -> float:
        """Of the best; inf without one [dB(A)]."""
        return np.inf if self.best is None else self.best.level

    def tell(self, what: str) -> None:
        """Say how far it is."""
        if self.progress is not None:
            self.progress(Progress(what, np.nan, self.level, float(self.unsolved_bounds().min())))

    def unsolved_bounds(self) -> Floats:
        """Bounds of all combinations, inf for those that were solved or break the rules [dB(A)]."""
        rest = self.bounds.copy()
        for combination in self.solved:
            rest[combination] = np.inf
        return rest

    def solve(self, combinations: Sequence[Combination]) -> None:
        """Solve combinations exactly that were not solved before."""
        fresh = [one for one in dict.fromkeys(combinations) if one not in self.solved]
        chosen = [tuple(column[i] for column, i in zip(self.options, one, strict=True)) for one in fresh]
        jobs = [(with_options(self.build, self.catalogue, one), self.state.name, self.where) for one in chosen]
        for one, parts, answer in zip(fresh, chosen, self.workers.map(solve_combination, jobs), strict=True):
            self.solved[one] = Solved(one, parts, -np.inf, *answer)

    def seed(self) -> None:
        """Solve what promises most by the parts alone."""
        promise, loudness = np.zeros((1,) * self.kept.ndim), np.zeros((1,) * self.kept.ndim)
        for axis, column in enumerate(self.options):
            shape = [-1 if i == axis else 1 for i in range(self.kept.ndim)]
            promise = promise + np.array([_promise(one) for one in column]).reshape(shape)
            loudness = loudness + np.array([float(one.fan.sound.power_level) for one in column]).reshape(shape)
        strong = np.argsort(np.where(self.kept, -promise, np.inf).ravel(), kind="stable")[: int(self.kept.sum())]
        half = strong[: max(strong.size // 2, 1)]
        quiet = half[np.argsort(loudness.ravel()[half], kind="stable")]
        self.tell("solving the first combinations")
        self.solve([self._at(int(number)) for number in (*strong[: SEEDS // 2], *quiet[: SEEDS // 2])])

    def _at(self, number: int | np.intp) -> Combination:
        return tuple(int(i) for i in np.unravel_index(number, self.kept.shape))

    def bound(self) -> None:
        """Bound all combinations, finer and finer, and solve the most promising ones on the way."""
        rig = Rig(self.build, self.catalogue, self.state, self.where, self.options)
        numbers = set_numbers(rig)
        nodes = [root_node(rig)]
        level = again = 0
        while True:
            self.tell(f"bounding {int(self.kept.sum())} combinations, level {level + 1}")
            cap = min(self.level, MOST_LEVEL, float(position_limits(self.build, self.state)[self.where]))
            goal = float(10.0 ** ((cap - UNIT) / 10.0))
            found = self.workers.map(bound_node, [(rig, node, goal, COOLANT_SLICES[level]) for node in nodes])
            whole = joined([one for _, one in found], len(self.options))
            self._note(whole.of_all(numbers))
            self.solve([*self._first_by_program(whole, numbers), *self._unsolved(AT_ONCE)])
            left = int(np.sum(self.bounds < self.level))
            if left <= ENOUGH or self.passed > BOUND_SHARE or level == LEVELS:
                return
            if self.level < cap - BETTER and again < MOST_AGAIN:
                again += 1  # a much better goal closes most of the same cells
                continue
            finer = [node for kept, _ in found for node in kept]
            if not finer:
                return
            nodes = [cut for node in finer for cut in _finer(node, level, bool(rig.row))]
            level += 1

    def _note(self, energy: Floats) -> None:
        with np.errstate(divide="ignore"):
            found = UNIT + 10.0 * np.log10(np.maximum(energy, 0.0))
        self.bounds = np.where(self.kept, np.maximum(self.bounds, found), np.inf)

    def _first_by_program(self, whole: Bounds, numbers: NDArray[np.intp]) -> list[Combination]:
        """The combination that the mixed-integer program puts first; nothing where it gives up."""
        try:
            found = least_by_program(whole, self.options, numbers, self.catalogue)[1]
        except ProgramStopped:
            return []
        return [found] if found is not None and self.kept[found] else []

    def _unsolved(self, count: int) -> list[Combination]:
        """The most promising combinations that were not solved and may still win."""
        order = np.argsort(self.bounds.ravel(), kind="stable")
        found = []
        for number in order[: count + len(self.solved)]:
            one = self._at(number)
            if self.bounds[one] < self.level and one not in self.solved:
                found.append(one)
        return found[:count]

    def solve_in_order(self) -> None:
        """Solve combinations in the order of their bounds until the next is above the best, or time is over."""
        while self.passed < 1.0 - PROOF_SHARE:
            batch = self._unsolved(AT_ONCE)
            if not batch:
                return
            self.tell(f"{len(self.solved)} combinations solved")
            self.solve(batch)

    def answer(self, interrupted: bool) -> Choice:
        """Put the answer together and prove the speeds of the winner."""
        best, proof, rig = self.best, None, None
        every = [one._replace(bound=float(self.bounds[one.combination])) for one in self.solved.values()]
        for one in every:
            if one.feasible and one.bound > one.level + ROUNDING:
                raise RefutedBound(
                    f"the bound of {one.bound:.6f} dB(A) for {'; '.join(o.name for o in one.options)} lies above a "
                    f"setting at {one.level:.6f} dB(A): this is a defect of the tool, please report it"
                )
        if best is not None:
            best = best._replace(bound=float(self.bounds[best.combination]))
            rig = with_options(self.build, self.catalogue, best.options)
            left = max(self.seconds * (1.0 - self.passed), 1.0) if not interrupted else 0.0
            place = self.build.positions[self.where].name
            proof = find_quietest(rig, [self.state.name], position=place, seconds=left, progress=self.progress)
            if proof.status != "infeasible" and proof.level < best.level:
                best = best._replace(level=proof.level, speeds=proof.settings[0].speeds)
        rest = sorted((one for one in every if one.feasible and best and one.combination != best.combination),
                      key=lambda one: (one.level, one.price, one.combination))  # fmt: skip
        near = [one for one in rest if best is not None and one.level <= best.level + WITHIN]
        return Choice(
            state=self.state.name,
            position=self.build.positions[self.where].name,
            best=best,
            build=rig,
            proof=proof,
            runners_up=tuple(near[:MOST_RUNNERS_UP]),
            next_bound=float(self.unsolved_bounds().min()),
            floor=float(self.bounds.min()),
            level_limit=float(position_limits(self.build, self.state)[self.where]),
            fitting=tuple(len(column) for column in self.options),
            combinations=self.kept.size,
            allowed=int(self.kept.sum()),
            solved=len(self.solved),
            interrupted=interrupted,
        )


def _finer(node: Node, level: int, row: bool) -> Iterator[Node]:
    """Cut the cells of a node, and from the second level on look at warm coolant apart."""
    cut = node._replace(cells=node.cells.quartered())
    if level > 0 or not row:
        yield cut
        return
    yield cut._replace(colder=0.0, near=NEAR)
    yield cut._replace(colder=NEAR, near=np.inf)


def _promise(option: Option) -> float:
    """Say how much an option may cool: only the order in which the first ones are solved depends on it."""
    curve = option.fan.curve
    strength = max(curve.flow) * max(curve.pressure) * option.fan_count
    return float(np.log(option.radiator.ua_air) + 0.5 * np.log(strength) - 0.5 * np.log(option.radiator.a))
