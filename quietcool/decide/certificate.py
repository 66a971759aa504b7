"""Certificates: what a search found and closed, in lines that `quietcool verify` can go through one by one.

JSON Lines in UTF-8, sorted keys, the same search the same bytes. First a header with the SHA-256 of every input, then
each setting with its claim, each state that was searched, each box of its tree with where it was cut and the prices
that bounded it, and last the SHA-256 of all lines before. The checker in `checker/` reads nothing but these lines and
the build.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterator, Mapping
from pathlib import Path

import numpy as np

from quietcool.decide.bound.log import SearchLog
from quietcool.decide.quietest import Quietest, Setting
from quietcool.entry.build import Build
from quietcool.entry.writing import write_whole

FORMAT = 1
KIND = "quietcool certificate"
CLAIM_MARGIN = 5e-4  # the claim stays this far below the search's bound, for rounding in another order [dB]
DIGITS = 12  # of prices and references: any numbers would do

NO_QUIETER = "no setting is quieter than lower_bound_dba"
NONE_KEEPS = "no setting keeps the limits"
NOTHING = "nothing"


def write_certificate(
    file: Path, build: Build, answer: Quietest, logs: Mapping[str, SearchLog], *, made_by: str
) -> None:
    """Write the certificate of an answer.

    Parameters
    ----------
    file : Path
        Written as a whole or not at all.
    build : Build
        The rig, with the hashes of its files.
    answer : Quietest
        What was found.
    logs : mapping
        The log of the search of each state.
    made_by : str
        Version of quietcool.
    """
    digest = hashlib.sha256()
    lines = []
    for record in _records(build, answer, logs, made_by):
        line = json.dumps(record, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":")) + "\n"
        digest.update(line.encode())
        lines.append(line)
    lines.append(json.dumps({"sha256": digest.hexdigest()}) + "\n")
    write_whole(file, "".join(lines))


def _records(
    build: Build, answer: Quietest, logs: Mapping[str, SearchLog], made_by: str
) -> Iterator[dict[str, object]]:
    yield {
        "kind": KIND,
        "format": FORMAT,
        "quietcool": made_by,
        "title": build.title,
        "inputs": dict(build.inputs),
        "position": answer.position,
    }
    for setting in answer.settings:
        yield {"setting": _claim(build, setting, logs)}
    for setting in answer.settings:
        for state in setting.states:
            if state in logs and not math.isnan(logs[state].unit):  # else it was interrupted before it had a bound
                yield from _search(state, logs[state])


def _claim(build: Build, setting: Setting, logs: Mapping[str, SearchLog]) -> dict[str, object]:
    """What is claimed of a setting: the highest bound among its states holds for it."""
    searched = [_claimed(logs[state]) for state in setting.states if state in logs]
    bound = max(searched, default=-math.inf)
    claim: dict[str, object] = {
        "states": list(setting.states),
        "status": setting.status,
        "speeds_rpm": {
            name: round(float(speed) * 60.0, 9) for name, speed in zip(build.group_names, setting.speeds, strict=True)
        },
        "claim": NOTHING if bound == -math.inf else NONE_KEEPS if bound == math.inf else NO_QUIETER,
    }
    if np.isfinite(bound):
        claim["lower_bound_dba"] = bound
    if setting.status != "infeasible":
        claim["level_dba"] = setting.level
    return claim


def _claimed(log: SearchLog) -> float:
    return -math.inf if math.isnan(log.lower_bound) else log.lower_bound - CLAIM_MARGIN


def _search(state: str, log: SearchLog) -> Iterator[dict[str, object]]:
    """The head of a state's search and all its boxes."""
    bound = _claimed(log)
    claim = NOTHING if bound == -math.inf else NONE_KEEPS if bound == math.inf else NO_QUIETER
    head: dict[str, object] = {"state": state, "claim": claim, "unit_dba": log.unit, "trims": log.trims}
    if np.isfinite(bound):
        head["lower_bound_dba"] = bound
    yield {"search": head}
    for number in sorted({0, *(child for cut in log.cuts.values() for child in cut.children)}):
        box: dict[str, object] = {"box": number}
        if number in log.cuts:
            box["cut"] = list(log.cuts[number])
        if number in log.prices:
            box["prices"] = [[float(f"{value:.{DIGITS}g}") for value in part] for part in log.prices[number]]
        yield box
