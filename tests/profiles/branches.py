"""Which branches of the package no test takes: all must be taken in physics, entry and solve, 95 % overall.

Run from the repository's root (twenty minutes on one processor):

    python -m tests.profiles.branches --workers 2

The tests that continuous integration runs, doctests among them, are run with the branches counted (`[tool.coverage]` in
pyproject.toml). What is not taken in the three folders is printed with its lines, then the share of every folder. Exit
code 1 if too little is taken, if a test fails, or if nothing ran.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
WHOLE = ("quietcool/physics", "quietcool/entry", "quietcool/solve")
OVERALL = 95.0  # of lines and branches of the whole package together [percent]


def measured(words: list[str], workers: int) -> tuple[int, dict[str, Any]]:
    """Run the tests; their exit code and the report of coverage.py on them, empty where there is none."""
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "coverage.json"
        command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *words]
        command += ["--cov=quietcool", "--cov-report=", f"--cov-report=json:{report}", "-n", str(workers)]
        code = subprocess.run(command, cwd=ROOT, check=False).returncode
        return code, json.loads(report.read_text()) if report.exists() else {}


def folder_of(file: str) -> str:
    """Folder of a module, two parts deep: `quietcool` holds the modules that lie in no other."""
    return "/".join(Path(file).parts[:-1][:2])


def counted(summary: dict[str, int]) -> Counter[str]:
    """Lines and branches of a module that are there and that were taken."""
    there = summary["num_statements"] + summary["num_branches"]
    return Counter(there=there, taken=summary["covered_lines"] + summary["covered_branches"])


def shares(report: dict[str, Any]) -> dict[str, float]:
    """Share of lines and branches together that were taken, by folder and "overall" [percent]."""
    sums: dict[str, Counter[str]] = {}
    for file, found in report.get("files", {}).items():
        for name in (folder_of(file), "overall"):
            sums.setdefault(name, Counter()).update(counted(found["summary"]))
    return {name: 100.0 * one["taken"] / max(one["there"], 1) for name, one in sorted(sums.items())}


def untaken(report: dict[str, Any]) -> Iterator[str]:
    """Yield what was not taken in the folders that must be whole."""
    for file, found in sorted(report.get("files", {}).items()):
        if folder_of(file) in WHOLE:
            lines = [str(line) for line in found["missing_lines"]]
            arcs = [f"{start}->{'exit' if end < 0 else end}" for start, end in found.get("missing_branches", [])]
            if lines or arcs:
                yield f"{file}: {', '.join(lines + arcs)}"


def complaints(code: int, report: dict[str, Any]) -> Iterator[str]:
    """Yield why a run is not enough."""
    if code != 0:
        yield f"the tests ended with exit code {code}"
    if not report.get("meta", {}).get("branch_coverage", False):
        yield "no branches were counted"
        return
    share = shares(report)
    for folder in WHOLE:
        if share.get(folder, 0.0) < 100.0:
            yield f"{share.get(folder, 0.0):.2f} % of {folder} where all is asked for"
    if share.get("overall", 0.0) < OVERALL:
        yield f"{share.get('overall', 0.0):.2f} % overall where {OVERALL:g} % are asked for"


def main() -> int:
    """Measure, print, judge."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--workers", type=int, default=0, help="processes; 0 is this one alone")
    code, report = measured(["-m", "not slow"], parser.parse_args().workers)
    for line in untaken(report):
        print(line)
    for folder, share in shares(report).items():
        print(f"{folder:20} {share:7.2f} %")
    found = list(complaints(code, report))
    print("\n".join(found) or "all that is asked for")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
