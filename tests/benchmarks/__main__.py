"""All benchmarks of the main job, in one run; results go to `reports/benchmarks.md` and `reports/benchmarks.json`.

python -m tests.benchmarks                      (half an hour; needs the extra `benchmark`)
python -m tests.benchmarks --only cold_start    (prints only, leaves the reports alone)
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from tests.benchmarks import (
    answers,
    bound_search,
    cold_start,
    draws,
    growth,
    machine,
    operating_points,
    quietest_search,
    tradeoff_curves,
)
from tests.benchmarks.timing import load, surroundings

REPORTS = Path(__file__).parents[2] / "reports"
PARTS = {
    "operating_points": operating_points,
    "machine": machine,
    "draws": draws,
    "growth": growth,
    "quietest_search": quietest_search,
    "bound_search": bound_search,
    "tradeoff_curves": tradeoff_curves,
    "answers": answers,
    "cold_start": cold_start,
}


def document(found: dict[str, Any]) -> str:
    """Return all tables as one Markdown text."""
    around = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in found["surroundings"].items())
    lines = [
        "# Benchmarks",
        "",
        "Made by `python -m tests.benchmarks`, never by hand. Medians, with least, most and number of repeats; what is",
        "compared ran in the same run, so that ratios mean more than seconds.",
        "",
        f"Machine: {around}.",
        "",
    ]
    for name, part in PARTS.items():
        if name in found:
            lines += [*part.table(found[name]), ""]
    return "\n".join(lines).rstrip() + "\n"


def main() -> None:
    """Measure, print, and write the reports when everything was measured."""
    words = argparse.ArgumentParser(description="Benchmarks of the main job.")
    words.add_argument("--only", choices=PARTS, help="one part, printed and not written")
    asked = words.parse_args()
    found: dict[str, Any] = {"surroundings": surroundings()}
    for name, part in PARTS.items():
        if asked.only in (None, name):
            found[name] = part.run()
            found["surroundings"]["load_at_end"] = load()
            print("\n".join(part.table(found[name])), flush=True)
    if asked.only is None:
        REPORTS.mkdir(exist_ok=True)
        (REPORTS / "benchmarks.json").write_text(json.dumps(found, indent=2, allow_nan=False) + "\n")
        (REPORTS / "benchmarks.md").write_text(document(found))


if __name__ == "__main__":
    main()
