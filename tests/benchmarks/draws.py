"""Two thousand draws of all tolerances: one batch against a loop of single solves, and against a scripted nest."""

from __future__ import annotations

import dataclasses
import statistics
import time
from typing import Any

import numpy as np

from quietcool.decide.uncertainty import Draws, draw, solve_drawn
from quietcool.entry.build import Build
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from tests.benchmarks.timing import short

QUESTIONS = (("booth_wall", "render"), ("sample_room", "bounce"))
DRAWS, LOOPED, REPEATS = 2_000, 100, 5


def solved(build: Build, name: str, drawn: Draws) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Level of every draw at the build's middle speeds, from errors to answer [dB(A)]."""
    speeds = [0.5 * (one.lowest + one.highest) for one in build.speed_ranges]
    return solve_drawn(drawn.of(build), name, speeds, drawn.count)[0].level[:, 0]


def single(drawn: Draws, i: int) -> Draws:
    """One draw alone."""
    return dataclasses.replace(drawn, scores=drawn.scores[i : i + 1])


def measure(demo: str, name: str) -> dict[str, Any]:
    """Seconds of the batch, and of the loop over some of the same draws."""
    build = read_build(demo_path(demo))
    drawn = draw(build, count=DRAWS)
    answer = solved(build, name, drawn)
    batch, loop = [], []
    for _ in range(REPEATS):
        start = time.process_time()
        solved(build, name, drawn)
        batch.append(time.process_time() - start)
    for _ in range(3):
        start = time.process_time()
        looped = [float(solved(build, name, single(drawn, i))[0]) for i in range(LOOPED)]
        loop.append((time.process_time() - start) * DRAWS / LOOPED)
    return {
        "inputs": len(drawn.inputs), "batch_s": statistics.median(batch), "batch_least_s": min(batch),
        "batch_most_s": max(batch), "loop_s": statistics.median(loop), "loop_least_s": min(loop),
        "loop_most_s": max(loop), "largest_difference_db": float(np.abs(np.array(looped) - answer[:LOOPED]).max()),
    }  # fmt: skip


def run() -> dict[str, Any]:
    """Measure every question."""
    return {f"{demo}, {name}": measure(demo, name) for demo, name in QUESTIONS}


def table(found: dict[str, Any]) -> list[str]:
    """Return the measurements as lines of Markdown."""
    lines = [
        f"## {DRAWS:,} draws", "",
        f"Processor seconds, medians, for {DRAWS:,} draws of all tolerances at the middle speeds. The loop solves one",
        f"draw a call; it ran over {LOOPED} and is extrapolated.", "",
        "| question | uncertain inputs | one batch, s | loop, s | ratio | answers differ by, dB |",
        "|---|---:|---:|---:|---:|---:|",
    ]  # fmt: skip
    for name, one in found.items():
        lines.append(
            f"| {name} | {one['inputs']} | {short(one['batch_s'])} ({short(one['batch_least_s'])} to "
            f"{short(one['batch_most_s'])}) | {short(one['loop_s'])} ({short(one['loop_least_s'])} to "
            f"{short(one['loop_most_s'])}) | {short(one['loop_s'] / one['batch_s'])} "
            f"| {one['largest_difference_db']:.0e} |"
        )
    return lines
