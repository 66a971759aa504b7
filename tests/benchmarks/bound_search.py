"""How soon a bound closes: boxes and seconds until the gap is 1, 0.3 and 0.1 dB, on random builds of one state.

python -m tests.benchmarks.bound_search --builds 200      (about an hour; the benchmarks' own run takes six of a kind)

Groups count the pump. Push-pull rows are often on channels of their own here, which makes all pairs of their steps
options: such builds are told apart.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from quietcool.decide.bound.frame import sharing_groups
from quietcool.decide.bound.search import BoxSearch
from quietcool.decide.incumbent import find_incumbent
from quietcool.decide.question import Question
from quietcool.entry.build import Build
from tests.benchmarks.timing import short
from tests.random_builds import random_build

GAPS = (1.0, 0.3, 0.1)  # [dB]
KINDS = ((4, 1, 10.0), (6, 1, 20.0), (8, 1, 30.0), (4, 2, 30.0), (6, 2, 60.0))  # groups, enclosures, seconds at most
BUILDS = 6
PATIENCE = 20.0  # by the clock, over the seconds of the processor: others may use the machine


@dataclass
class Course:
    """When a search came how near."""

    shared: bool
    search: float = np.nan  # for the setting [s]
    boxes: int = 0
    gap: float = np.inf  # at the end [dB]
    reached: dict[float, tuple[float, int]] = field(default_factory=dict)  # by gap: [s], boxes


def follow(build: Build, seconds: float) -> Course:
    """Search, prove and note when each gap was reached; seconds of the processor, of both together."""
    question = Question(build, build.states[:1], 0)
    course = Course(any(len(groups) > 1 for groups in sharing_groups(build)))
    start = time.process_time()
    best = find_incumbent(question).best
    course.search = time.process_time() - start

    def note(level: float, bound: float) -> None:
        for gap in GAPS:
            if level - bound <= gap:
                course.reached.setdefault(gap, (time.process_time() - start, search.box_count))

    def look(level: float, bound: float) -> None:
        note(level, bound)
        if time.process_time() - start > seconds:
            raise KeyboardInterrupt  # as a user would: the search then answers with what it has

    search = BoxSearch(question, build.states[0].name, best, time.monotonic() + PATIENCE * seconds, look)
    proof = search.run()
    note(proof.best.level, proof.lower_bound)
    course.boxes, course.gap = proof.boxes, proof.best.level - proof.lower_bound
    return course


def run(builds: int = BUILDS) -> dict[str, Any]:
    """Follow a number of builds of every kind."""
    found: dict[str, Any] = {}
    for groups, enclosures, seconds in KINDS:
        courses: list[Course] = []
        seed = 0
        while len(courses) < builds:
            try:
                build = random_build(seed, groups=groups - 1, enclosures=enclosures)
            except ValueError:  # no sensible build in a hundred draws
                build = None
            seed += 1
            if build is not None:
                courses.append(follow(build, seconds))
        for shared in (False, True):
            mine = [course for course in courses if course.shared == shared]
            if mine:
                name = f"{groups} groups, {enclosures} enclosures" + (", rows apart" if shared else "")
                found[name] = {"limit_s": seconds, "builds": len(mine)} | _summary(mine)
    return found


def _summary(courses: list[Course]) -> dict[str, Any]:
    told: dict[str, Any] = {
        "search_s": float(np.median([course.search for course in courses])),
        "widest_gap": float(max(course.gap for course in courses)),
    }
    for gap in GAPS:
        got = [course.reached[gap] for course in courses if gap in course.reached]
        told[str(gap)] = {
            "share": len(got) / len(courses),
            "s": float(np.median([s for s, _ in got])) if got else None,
            "boxes": float(np.median([n for _, n in got])) if got else None,
        }
    return told


def table(found: dict[str, Any]) -> list[str]:
    """Return the measurements as lines of Markdown."""
    cells = " | ".join(f"to {gap:g} dB: share, s, boxes" for gap in GAPS)
    lines = [
        "## Bounds", "",
        "Random builds; share that came so near in time, median processor seconds (search, proof), boxes of those.",
        "", f"| build | number | at most s | search s | {cells} | widest gap dB |",
        "|---|---:|---:|---:|" + "---:|" * (len(GAPS) + 1),
    ]  # fmt: skip
    for name, one in found.items():
        parts = []
        for gap in GAPS:
            got = one[str(gap)]
            often = f"{got['share']:.0%}"
            parts.append(often if got["s"] is None else f"{often}, {short(got['s'])}, {got['boxes']:.0f}")
        lines.append(
            f"| {name} | {one['builds']} | {one['limit_s']:g} | {short(one['search_s'])} | {' | '.join(parts)} | "
            f"{one['widest_gap']:.2f} |"
        )
    return lines


def main() -> None:
    """Measure and print."""
    words = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    words.add_argument("--builds", type=int, default=BUILDS, help="of every kind")
    print("\n".join(table(run(words.parse_args().builds))))


if __name__ == "__main__":
    main()
