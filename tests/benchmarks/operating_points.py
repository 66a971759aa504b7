"""Operating points per second, cost against the number of cases, and memory."""

from __future__ import annotations

import tracemalloc
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.solve.operating_point import solve_operating_point
from tests.benchmarks.scripted import FullSystem, lean, nest
from tests.benchmarks.timing import Timed, short, timed
from tests.decide.judged import with_plain_partitions
from tests.second_opinion.whole import second_opinion

Floats = NDArray[np.float64]

BATCHES = {1: 15, 100: 11, 10_000: 5}  # repeats
SCALE = {1_000: 9, 10_000: 5, 100_000: 3}
SCRIPTED = {"brentq nest, lean": 25, "brentq nest, as exact as the tests' own": 6, "scipy root on the full system": 25}
CASES = 100_000
SCALE_HEAD = "| cases in one call | s per case | spread s | peak bytes per case | bytes of the answer |"


def random_speeds(count: int) -> Floats:
    """Speeds between lowest and highest of the demo's groups, all turning [rev/s]."""
    build = read_build(demo_path("booth_wall"))
    lowest, highest = np.array([[s.lowest, s.highest] for s in build.speed_ranges]).T
    return np.random.default_rng(7).uniform(lowest, highest, (count, lowest.size))


def run() -> dict[str, Any]:
    """Measure everything of this file."""
    build = with_plain_partitions(read_build(demo_path("booth_wall")))  # the scripts know no octaves
    state = build.state("render")
    speeds = random_speeds(CASES)

    def repeated(repeats: dict[int, int]) -> dict[int, Timed]:
        return {n: timed(partial(solve_operating_point, build, state, speeds[:n]), r) for n, r in repeats.items()}

    batched = repeated(BATCHES)
    scripted = measure_scripted(build, state, speeds)
    scale = repeated(SCALE)
    sizes, costs = np.array(list(scale)), np.array([one.median for one in scale.values()])
    exponent = float(np.polyfit(np.log(sizes), np.log(costs), 1)[0])
    return {
        "question": "demo booth_wall, state render, speeds drawn evenly between lowest and highest",
        "batched": {str(n): one.entry() | {"points_per_s": n / one.median} for n, one in batched.items()},
        "scripted": scripted,
        "scale": {str(n): one.entry() | {"s_per_case": one.median / n} for n, one in scale.items()},
        "cost_exponent_1000_to_100000": exponent,
        "memory": {str(n): memory(build, state, speeds[:n]) for n in (10_000, 100_000)},
    }


def measure_scripted(build: Any, state: Any, speeds: Floats) -> dict[str, Any]:
    """Seconds a case of every script, and how far its hottest coolant lies from the package's."""
    known = solve_operating_point(build, state, speeds[: max(SCRIPTED.values())]).coolant_temp_max
    found: dict[str, Any] = {}
    for name, count in SCRIPTED.items():
        answers: list[float] = []

        def work(name: str = name, count: int = count, answers: list[float] = answers) -> None:
            answers[:] = [solve_one(name, build, state, speeds[i]) for i in range(count)]

        if "lean" in name or "root" in name:
            with lean():
                spent = timed(work, 3)
        else:
            spent = timed(work, 2)
        gap = np.abs(np.array(answers) - known[:count])
        found[name] = spent.entry() | {
            "cases": count,
            "s_per_case": spent.median / count,
            "solved": int(np.isfinite(gap).sum()),
            "worst_difference_k": float(np.nanmax(gap)),
        }
    return found


def solve_one(name: str, build: Any, state: Any, speeds: Floats) -> float:
    """Hottest coolant of one case by a script [K]."""
    if "root" in name:
        return FullSystem(build, state, speeds).solve()
    return (nest if "lean" in name else lambda b, s, v: second_opinion(b, s, v.tolist()))(
        build, state, speeds
    ).hottest_coolant


def memory(build: Any, state: Any, speeds: Floats) -> dict[str, float]:
    """Bytes a case at the peak and in the answer, by tracemalloc."""
    tracemalloc.start()
    point = solve_operating_point(build, state, speeds)
    held, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert point.converged.size == len(speeds)
    return {"peak_bytes_per_case": peak / len(speeds), "answer_bytes_per_case": held / len(speeds)}


def table(found: dict[str, Any]) -> list[str]:
    """Return the measurements as lines of Markdown."""
    most = found["batched"]["10000"]["median_s"] / 10_000
    alone = found["batched"]["1"]["median_s"]
    lines = [
        "## Operating points", "",
        f"{found['question'].capitalize()}. Processor seconds. Ratios: to one case of a batch of 10,000;",
        "to one case alone.", "",
        "| what | cases | median s | spread s | points per s | ratio to batch | ratio to one |",
        "|---|---:|---:|---:|---:|---:|---:|",
    ]  # fmt: skip
    for n, one in found["batched"].items():
        cost = one["median_s"] / int(n)
        lines.append(
            f"| quietcool, one call | {int(n):,} | {short(one['median_s'])} | {spread(one)} | {short(1 / cost)} "
            f"| {short(cost / most)} | {short(cost / alone)} |"
        )
    for name, one in found["scripted"].items():
        cost = one["s_per_case"]
        lines.append(
            f"| {name} | {one['cases']} | {short(one['median_s'])} | {spread(one)} | {short(1 / cost)} "
            f"| {short(cost / most)} | {short(cost / alone)} |"
        )
    said = "; ".join(
        f"{name}: {one['solved']} of {one['cases']} solved, hottest coolant within {one['worst_difference_k']:.1e} K"
        for name, one in found["scripted"].items()
    )
    lines += ["", f"The same answers: {said}.", "", SCALE_HEAD, "|---:|---:|---:|---:|---:|"]
    for n, one in found["scale"].items():
        room = found["memory"].get(n)
        bytes_ = f"{room['peak_bytes_per_case']:.0f} | {room['answer_bytes_per_case']:.0f}" if room else "- | -"
        lines.append(f"| {int(n):,} | {one['s_per_case']:.3g} | {spread(one)} | {bytes_} |")
    lines += ["", f"Cost grows as cases to the power {found['cost_exponent_1000_to_100000']:.3f}."]
    return lines


def spread(one: dict[str, Any]) -> str:
    """Least and most of the repeats."""
    return f"{short(one['least_s'])} to {short(one['most_s'])} ({one['runs']})"
