"""Trade-off curves of the demos against dense epsilon-constraint references, with their bounds.

Run from the repository's root (about ten minutes):

    python -m tests.profiles.tradeoff_profile

The small demo's references are all its settings, solved. The big demo has tens of millions; there each limit is a
search of its own from many starts (`find_incumbent`), and the quieter of it and a curve with twice the points is the
reference. Exit code 1 if a point is louder than its reference by more than 0.05 dB, or a bound lies above it.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from quietcool import demo_path, read_build
from quietcool.decide.axes import Axis, axis_named, limited_to
from quietcool.decide.front import find_front
from quietcool.decide.incumbent import find_incumbent
from quietcool.decide.question import Question
from quietcool.decide.tradeoff import Tradeoff, find_tradeoff
from quietcool.entry.build import Build, State
from tests.decide.coarse import solve_everything

WORST_EXCESS = 0.05  # [dB]
SECONDS = 60.0
SMALL = (("sample_room", "bounce", "coolant"), ("sample_room", "edit", "gpu core"), ("sample_room", "idle", "case air"))
BIG = (("booth_wall", "render", "coolant"), ("booth_wall", "take", "coolant"), ("booth_wall", "render", "gpu 1 core"))
EVERY = 5  # of the big demo's points has a search of its own


def references(build: Build, state: State, axis: Axis, answer: Tradeoff, *, everything: bool) -> list[float]:
    """Least level known under each limit [dB(A)]."""
    limits = [point.limit for point in answer.points]
    if everything:
        truth = solve_everything(build, state, axis)
        return [truth.quietest(limit) for limit in limits]
    dense = find_front(build, state, axis, 0, 2 * len(limits) + 1)
    known = []
    for place, limit in enumerate(limits):
        found = dense.archive.quietest(limit) if dense is not None else None
        level = float("inf") if found is None or dense is None else float(dense.archive.solved.level[found])
        if place % EVERY == 0:
            limited, load = limited_to(build, state, axis, limit, 0)
            best = find_incumbent(Question(limited, (load,), 0)).best
            level = min(level, best.level) if best.worst_margin >= 0.0 else level
        known.append(level)
    return known


def main() -> int:
    """Compare every curve and tell the worst."""
    failed = False
    for demo, name, along in (*SMALL, *BIG):
        build = read_build(str(demo_path(demo)))
        state = build.state(name)
        start = time.monotonic()
        answer = find_tradeoff(build, name, axis=along, seconds=SECONDS)
        taken = time.monotonic() - start
        everything = demo == "sample_room"
        axis = axis_named(build, state, along)
        reference = np.array(references(build, state, axis, answer, everything=everything))
        level = np.array([point.level for point in answer.points])
        bound = np.array([point.lower_bound for point in answer.points])
        excess, false = float(np.max(level - reference)), int(np.count_nonzero(bound > reference + 1e-6))
        failed = failed or excess > WORST_EXCESS or false > 0
        proven = sum(point.status == "proven" for point in answer.points)
        print(
            f"{demo}, {name}, {along}: {taken:.0f} s, worst excess {excess:.4f} dB, {false} false bounds, "
            f"{proven} of {len(level)} proven, widest gap {np.max(level - bound):.2f} dB", flush=True,
        )  # fmt: skip
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
