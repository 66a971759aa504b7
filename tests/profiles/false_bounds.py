"""Bounds against the quietest settings that anything finds: one above a feasible level is a defect.

Run from the repository's root:

    python -m tests.profiles.false_bounds --builds 1000 --seconds 10

The truth of a build is the quietest feasible setting among 60 gradient descents, differential evolution and a polish on
the step grid; every one is a setting that keeps all limits, so that a bound above it is false whatever found it. Builds
have 2 to 8 groups with the pump, one or two enclosures, slots from tight to wide, heat from easy to nearly too much.
Exit code 1 if a bound is false.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.search import prove
from quietcool.decide.descent import descend_together
from quietcool.decide.incumbent import find_incumbent, spread, turning_ranges
from quietcool.decide.question import Question
from quietcool.entry.build import Build, Opening
from tests.decide.rivals import Rival
from tests.random_builds import random_build

STARTS = 60
CARRIED = 6  # ends of descents that are polished on the grid
GENERATIONS, POPULATION = 40, 12
FALSE = 1e-6  # of a bound over a feasible level [dB]
PROVEN = 0.1  # [dB]


@dataclass(frozen=True)
class Trial:
    """What one build came to."""

    seed: int
    groups: int  # with the pump
    enclosures: int
    level: float  # the search's own best, inf if none [dB(A)]
    truth: float  # [dB(A)]
    bound: float  # [dB(A)]
    boxes: int
    seconds: float

    @property
    def false(self) -> bool:
        """Whether the bound lies above a feasible level."""
        return bool(self.bound > min(self.truth, self.level) + FALSE)


def drawn(seed: int, most_groups: int = 7, most_enclosures: int = 2) -> Build | None:
    """Draw the build of a seed; None where no sensible one was found."""
    rng = np.random.default_rng([seed, 31])
    groups, enclosures = int(rng.integers(1, most_groups + 1)), int(rng.integers(1, most_enclosures + 1))
    try:
        build = random_build(seed, groups=groups, enclosures=enclosures, difficulty=float(rng.uniform(0.0, 1.1)))
    except ValueError:
        return None
    return with_slots(build, 10.0 ** rng.uniform(-0.7, 0.5))


def with_slots(build: Build, part: float) -> Build:
    """Tighten or widen every bare opening."""
    return replace(
        build,
        air_paths=tuple(
            replace(
                path,
                stack=tuple(
                    replace(one, area=part * float(one.area)) if isinstance(one, Opening) else one for one in path.stack
                ),
            )
            for path in build.air_paths
        ),
    )


def truth_of(build: Build, seed: int, starts: int = STARTS, generations: int = GENERATIONS) -> float:
    """Level of the quietest feasible setting that anything finds; inf if nothing does [dB(A)]."""
    question = Question(build, build.states[:1], 0)
    rival = Rival(build, build.states[:1])
    rival.evolve(seed, generations, POPULATION)
    rival.polish()
    ranges = turning_ranges(question)
    span = ranges[1] - ranges[0]
    places = spread(starts, len(span))
    ends = descend_together(lambda places, _: question.ask(ranges[0] + places * span), places, ranges)
    ends = sorted(ends, key=lambda end: (end.margins.min(initial=0.0) < -0.05, end.level))[:CARRIED]
    for end in ends:
        steps = nearest_steps(question, ranges[0] + end.place * span)
        rival.best_steps, rival.best_merit = steps, np.inf
        rival.polish()
    return rival.level


def nearest_steps(question: Question, speeds: NDArray[np.float64]) -> NDArray[np.intp]:
    return np.array([int(np.argmin(np.abs(grid - s))) for grid, s in zip(question.grids, speeds, strict=True)])


def tried(build: Build, seed: int, seconds: float, starts: int = STARTS, generations: int = GENERATIONS) -> Trial:
    """Bound one build and look for its truth."""
    question = Question(build, build.states[:1], 0)
    start = time.monotonic()
    found = find_incumbent(question).best
    proof = prove(question, found, seconds)
    took = time.monotonic() - start
    level = proof.best.level if proof.best.worst_margin >= 0.0 else np.inf
    truth, groups = truth_of(build, seed, starts, generations), len(question.grids)
    return Trial(seed, groups, len(build.enclosures), level, truth, float(proof.lower_bound), proof.boxes, took)


def said(trials: list[Trial]) -> str:
    """Return the table of a run."""
    lines = ["groups enclosures builds false proven  s median  s 90 %  boxes median  worst bound less truth, dB"]
    kinds = sorted({(t.groups, t.enclosures) for t in trials})
    for groups, enclosures in kinds:
        mine = [t for t in trials if (t.groups, t.enclosures) == (groups, enclosures)]
        feasible = [t for t in mine if np.isfinite(min(t.truth, t.level))]
        closed = [t for t in mine if not min(t.level, 1e9) - t.bound > PROVEN]
        nearest = max((t.bound - min(t.truth, t.level) for t in feasible), default=np.nan)
        seconds = np.percentile([t.seconds for t in mine], [50, 90])
        lines.append(
            f"{groups:6d} {enclosures:10d} {len(mine):6d} {sum(t.false for t in mine):5d} "
            f"{len(closed) / len(mine):6.0%} "
            f"{seconds[0]:9.1f} {seconds[1]:7.1f} {np.median([t.boxes for t in mine]):13.0f}  {nearest:.4f}"
        )
    louder = [t.level - t.truth for t in trials if np.isfinite(t.truth)]
    lines.append(f"search louder than the truth by at most {max(louder, default=np.nan):.4f} dB")
    return "\n".join(lines) + "\n"


def main() -> int:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--builds", type=int, default=40)
    words.add_argument("--first-seed", type=int, default=0)
    words.add_argument("--seconds", type=float, default=10.0, help="time for each bound")
    words.add_argument("--most-seconds", type=float, default=np.inf, help="time for the whole run")
    asked = words.parse_args()
    trials: list[Trial] = []
    start, seed = time.monotonic(), asked.first_seed
    while len(trials) < asked.builds and time.monotonic() - start < asked.most_seconds:
        build = drawn(seed)
        if build is not None:
            trials.append(tried(build, seed, asked.seconds))
            if trials[-1].false:
                sys.stdout.write(f"FALSE BOUND: {trials[-1]}\n")
            sys.stdout.write(f"{trials[-1]}\n")
            sys.stdout.flush()
        seed += 1
    sys.stdout.write(said(trials))
    return 1 if any(trial.false for trial in trials) else 0


if __name__ == "__main__":
    sys.exit(main())
