"""What an answer may cost, in counts that no machine changes: solved cases, boxes, imported modules. Never seconds.

What is allowed is 30 % more than what was counted when it was written: libraries differ a little, a loss does not pass.
A count that has become much smaller is to be entered here.
Not marked slow, although the larger ones take seconds: they must run wherever the suite runs.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from quietcool.decide.quietest import find_quietest
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_names, demo_path
from quietcool.solve.operating_point import solve_operating_point

ROOT = Path(__file__).parents[1]
ROOM = str(demo_path("sample_room"))
MORE = 1.3
UNTIL_PROVEN = 3600.0  # [s]; a proof that time ends early would be counted short
BARE = [sys.executable, "-c", "pass"]

COUNTED = [  # demo, state, solved cases, boxes
    ("sample_room", "idle", 320, 72),
    ("sample_room", "edit", 326, 72),
    ("sample_room", "bounce", 606, 84),
    ("booth_wall", "idle", 521, 74),
    ("booth_wall", "transcode", 1845, 148),
    ("booth_wall", "take", 393, 74),
    ("booth_wall", "render capped", 10316, 1318),
    ("booth_wall", "render", 30470, 1834),
]


@pytest.mark.parametrize(("demo", "state", "cases", "boxes"), COUNTED, ids=[f"{one[0]}, {one[1]}" for one in COUNTED])
def test_a_proven_answer_takes_no_more_cases_and_boxes(demo: str, state: str, cases: int, boxes: int) -> None:
    answer = find_quietest(read_build(demo_path(demo)), [state], seconds=UNTIL_PROVEN)
    assert answer.status == "proven"
    assert 0 < answer.solved_cases <= MORE * cases
    assert 0 < answer.boxes <= MORE * boxes


def test_every_state_of_the_demos_is_counted() -> None:
    states = {(demo, state.name) for demo in demo_names() for state in read_build(demo_path(demo)).states}
    assert states == {(demo, state) for demo, state, _, _ in COUNTED}


@pytest.mark.parametrize(("demo", "state", "refreshes"), [("sample_room", "bounce", 7), ("booth_wall", "render", 9)])
def test_a_batch_comes_to_rest_in_few_refreshes(demo: str, state: str, refreshes: int) -> None:
    build = read_build(demo_path(demo))
    lowest, highest = np.array([[speeds.lowest, speeds.highest] for speeds in build.speed_ranges]).T
    speeds = np.random.default_rng(7).uniform(lowest, highest, (500, lowest.size))
    point = solve_operating_point(build, build.state(state), speeds)
    assert np.quantile(point.iterations, 0.99) <= MORE * refreshes


def loaded_by(words: list[str]) -> set[str]:
    """Names of all modules that a fresh interpreter imports when it runs these words."""
    run = subprocess.run(
        [words[0], "-X", "importtime", *words[1:]], cwd=ROOT, capture_output=True, text=True, check=False, timeout=120
    )
    assert run.returncode in (0, 3), run.stderr[-2000:]
    return {line.rpartition("|")[2].strip() for line in run.stderr.splitlines() if line.startswith("import time:")}


NEVER = {"pandas", "plotly", "cvxpy", "fastapi", "uvicorn", "joblib", "jinja2", "scipy.special", "scipy.optimize"}
LOADED = [  # words, modules beyond the bare interpreter's when it was written, what none of them may be
    (["--help"], 133, {"numpy", "scipy", "pydantic", "rich"} | NEVER),
    (["--version"], 132, {"numpy", "scipy", "pydantic", "rich"} | NEVER),
    (["check", ROOM], 457, NEVER),
    (["solve", ROOM], 479, NEVER),
    (["shop", ROOM], 469, NEVER),
]


@pytest.mark.parametrize(("words", "most", "never"), LOADED, ids=[one[0][0] for one in LOADED])
def test_a_start_loads_no_more_modules(words: list[str], most: int, never: set[str]) -> None:
    seen = loaded_by([sys.executable, "-m", "quietcool", *words]) - loaded_by(BARE)
    assert "quietcool.cli" in seen
    assert not seen & never
    assert len(seen) <= MORE * most
