"""Writes what `check --json` says of frozen builds that have no answer beside them yet; it changes none that is there.

    python -m tests.reference.freeze

To freeze a state of the format, copy a build with its sheets into a new folder of `tests/reference/frozen` first.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from quietcool.entry.buildfile import check_build, read_build
from quietcool.show.json_answers import check_answer
from quietcool.solve.operating_point import solve_operating_point

FROZEN = Path(__file__).parent / "frozen"
ANSWER = "answer.json"


def answer_of(file: Path) -> dict[str, Any]:
    """Return what is said of a build now: the check, and where it settles at its highest speeds in every state."""
    build = read_build(file)
    answer: dict[str, Any] = dict(check_answer(build, check_build(build)))
    del answer["made_by"]
    points = {
        state.name: solve_operating_point(build, state, [speeds.highest for speeds in build.speed_ranges])
        for state in build.states
    }
    answer["at_highest_speeds"] = {
        name: {
            "coolant_c": round(float(point.coolant_temp_max) - 273.15, 3),
            "level_dba": [round(float(level), 3) for level in point.level],
        }
        for name, point in points.items()
    }
    return answer


def main() -> int:
    for folder in sorted(FROZEN.iterdir()):
        if not (folder / ANSWER).exists():
            text = json.dumps(answer_of(folder / "build.toml"), indent=2, ensure_ascii=False)
            (folder / ANSWER).write_text(text + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
