"""How cost grows: of a solved case with groups, paths and enclosures, and of `choose` with the catalogue."""

from __future__ import annotations

import statistics
import time
from dataclasses import replace
from typing import Any

import numpy as np

from quietcool.decide.choose.options import kept_rules, options_of, with_options
from quietcool.decide.choose.search import find_choice, solve_combination
from quietcool.entry.build import Build
from quietcool.entry.catalogue_records import Catalogue
from quietcool.solve.operating_point import solve_operating_point
from tests.benchmarks.timing import short
from tests.decide.choose.catalogues import ROOM, catalogue_for, coarse
from tests.random_builds import random_build, random_speeds

KINDS = ((2, 1), (4, 1), (6, 1), (8, 1), (4, 2), (6, 2), (8, 2), (6, 3), (8, 3))  # groups with the pump, enclosures
BUILDS, CASES, REPEATS = 4, 4096, 3
STATE = "bounce"
PLACES = ("front intake", "bottom intake")
CATALOGUES = ((1, 2, 2), (1, 4, 4), (2, 2, 2), (2, 3, 3), (2, 4, 4))  # places, radiators and fans of each
SAMPLE = 12  # combinations that the exhaustive search is extrapolated from where there are more than
WHOLE = 16  # that many
PATIENCE = 300.0  # of one choice, by the clock [s]


def builds_of(groups: int, enclosures: int) -> list[Build]:
    """Random builds of a kind."""
    found: list[Build] = []
    seed = 0
    while len(found) < BUILDS:
        try:
            build = random_build(seed, groups=groups - 1, enclosures=enclosures, limits=False, saddle=False)
        except ValueError:  # no sensible build in a hundred draws
            build = None
        seed += 1
        if build is not None and len(build.group_names) == groups:
            found.append(build)
    return found


def cost_a_case(build: Build) -> float:
    """Processor seconds a case in a batch, median."""
    speeds = random_speeds(build, np.random.default_rng(3), CASES)
    solve_operating_point(build, build.states[0], speeds)
    seconds = []
    for _ in range(REPEATS):
        start = time.process_time()
        solve_operating_point(build, build.states[0], speeds)
        seconds.append(time.process_time() - start)
    return statistics.median(seconds) / CASES


def rigs() -> dict[str, Any]:
    """Cost by kind, and the powers that cost grows with, by least squares over all builds."""
    kinds: dict[str, Any] = {}
    rows, costs = [], []
    for groups, enclosures in KINDS:
        builds = builds_of(groups, enclosures)
        mine = [cost_a_case(build) for build in builds]
        paths = [len(build.air_paths) for build in builds]
        kinds[f"{groups}, {enclosures}"] = {
            "groups": groups, "enclosures": enclosures, "paths": statistics.median(paths),
            "median_s": statistics.median(mine), "least_s": min(mine), "most_s": max(mine), "builds": len(builds),
        }  # fmt: skip
        rows += [(groups, count, enclosures) for count in paths]
        costs += mine
    logs = np.log(np.array(rows, dtype=float))
    told = {name: float(np.polyfit(logs[:, i], np.log(costs), 1)[0]) for i, name in enumerate(("groups", "paths"))}
    return {"kinds": kinds, "powers": told}


def exhaustive(build: Build, catalogue: Catalogue) -> tuple[float, float, int, bool]:
    """Processor seconds to solve every allowed combination, the quietest level, their number, and whether all ran."""
    options = options_of(build, catalogue)
    places = np.argwhere(kept_rules(build, catalogue, options))
    whole = len(places) <= WHOLE
    picked = places if whole else np.random.default_rng(5).permutation(places)[:SAMPLE]
    start, best = time.process_time(), np.inf
    for place in picked:
        chosen = [column[i] for column, i in zip(options, place, strict=True)]
        level, margin, _ = solve_combination((with_options(build, catalogue, chosen), STATE, 0))
        best = min(best, level) if margin >= 0.0 else best
    return (time.process_time() - start) * len(places) / len(picked), best, len(places), whole


def choices() -> dict[str, Any]:
    """`choose` and the exhaustive search on catalogues of several sizes."""
    found = {}
    for places, radiators, fans in CATALOGUES:
        rig = coarse(ROOM, 50.0)
        catalogue = replace(catalogue_for(rig, PLACES[:places], radiators, fans, seed=4), most_fan_models=2)
        start = time.process_time()
        choice = find_choice(rig, catalogue, STATE, seconds=PATIENCE)
        spent = time.process_time() - start
        all_s, level, count, whole = exhaustive(rig, catalogue)
        mine = None if choice.best is None else choice.best.level
        found[f"{places} places, {radiators} radiators and {fans} fans each"] = {
            "combinations": count, "s": spent, "solved": choice.solved, "proven": bool(choice.proven),
            "exhaustive_s": all_s, "exhaustive_ran_whole": whole,
            "louder_than_exhaustive_db": None if mine is None or not whole else mine - level,
        }  # fmt: skip
    return found


def run() -> dict[str, Any]:
    """Measure both."""
    return {"rigs": rigs(), "choices": choices()}


def table(found: dict[str, Any]) -> list[str]:
    """Return the measurements as lines of Markdown."""
    powers = found["rigs"]["powers"]
    lines = [
        "## Growth", "",
        f"Random builds, {CASES:,} cases in one call, processor microseconds a case. Fitted over all builds, each by",
        f"itself: as groups to the power {powers['groups']:.2f}, as paths to the power {powers['paths']:.2f}.", "",
        "| groups | enclosures | paths, median | builds | median us a case | spread us |",
        "|---:|---:|---:|---:|---:|---:|",
    ]  # fmt: skip
    for one in found["rigs"]["kinds"].values():
        lines.append(
            f"| {one['groups']} | {one['enclosures']} | {one['paths']:g} | {one['builds']} "
            f"| {short(one['median_s'] * 1e6)} | {short(one['least_s'] * 1e6)} to {short(one['most_s'] * 1e6)} |"
        )
    lines += [
        "", f"`choose` against solving every combination (beyond {WHOLE} extrapolated from {SAMPLE}), processor",
        "seconds; those of `choose` hold its bounds and the proof of the winner's speeds, the other's no proof.", "",
        "| catalogue | combinations | choose: s | solved | proven | exhaustive: s | exhaustive over choose "
        "| choose louder by, dB |",
        "|---|---:|---:|---:|---|---:|---:|---:|",
    ]  # fmt: skip
    for name, one in found["choices"].items():
        louder = one["louder_than_exhaustive_db"]
        ran = "" if one["exhaustive_ran_whole"] else " (extrapolated)"
        proven = "yes" if one["proven"] else "no"
        lines.append(
            f"| {name} | {one['combinations']} | {short(one['s'])} | {one['solved']} | {proven} "
            f"| {short(one['exhaustive_s'])}{ran} | {short(one['exhaustive_s'] / one['s'])} "
            f"| {'-' if louder is None else f'{louder:.3f}'} |"
        )
    return lines
