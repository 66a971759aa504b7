"""What a user waits for besides the search: the report with its size, and the page's answer to one setting."""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from quietcool.entry.build import Build
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.show.page import create_page
from tests.benchmarks.timing import short, timed

REPORTS = (("sample_room", "bounce"),)
PAGES = (("sample_room", "bounce"), ("booth_wall", "render"))
REPEATS = 3
PRESSES = 200


def report(demo: str, state: str) -> dict[str, Any]:
    """Seconds by the clock of the whole command, and the size of what it writes."""
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "report.html"
        words = [sys.executable, "-m", "quietcool", "report", str(demo_path(demo)), "--state", state, "--seconds", "0"]

        def write() -> None:
            done = subprocess.run([*words, "-o", str(target)], capture_output=True, text=True, check=False)
            assert done.returncode in (0, 3), done.stderr

        return timed(write, REPEATS, warm=False, clock=time.perf_counter).entry() | {"bytes": target.stat().st_size}


def settings(build: Build, state: str, count: int) -> list[dict[str, Any]]:
    """Settings as the page asks for them, each a little faster than the last."""
    found = []
    for i in range(count):
        part = 0.3 + 0.4 * i / count
        rpm = {
            name: 60.0 * float(one.lowest + part * (one.highest - one.lowest))
            for name, one in zip(build.group_names, build.speed_ranges, strict=True)
        }
        found.append({"state": state, "room_temp_c": 22.0, "speeds_rpm": rpm, "layouts": {}})
    return found


def page(demo: str, state: str) -> dict[str, Any]:
    """Seconds by the clock and of the processor from a request to its answer, inside one process."""
    path = demo_path(demo)
    build = read_build(path)
    clock, processor = [], []
    with TestClient(create_page(build, path), base_url="http://127.0.0.1:8000") as client:
        for asked in settings(build, state, PRESSES):
            start, spent = time.perf_counter(), time.process_time()
            answer = client.post("/api/solve", json=asked)
            clock.append(time.perf_counter() - start)
            processor.append(time.process_time() - spent)
            assert answer.status_code == 200, answer.text
    clock, processor = clock[10:], processor[10:]  # the first load and fill caches
    return {
        "median_s": statistics.median(clock), "worst_of_20_s": statistics.quantiles(clock, n=20)[-1],
        "processor_s": statistics.median(processor), "runs": len(clock), "bytes": len(answer.content),
    }  # fmt: skip


def run() -> dict[str, Any]:
    """Measure both."""
    return {
        "reports": {f"{demo}, {state}": report(demo, state) for demo, state in REPORTS},
        "pages": {f"{demo}, {state}": page(demo, state) for demo, state in PAGES},
    }


def table(found: dict[str, Any]) -> list[str]:
    """Return the measurements as lines of Markdown."""
    lines = [
        "## Report and page", "",
        "`report` with one state and `--seconds 0` (no proof), from cold, seconds by the clock:", "",
        "| report | median s | spread s | size, MB |", "|---|---:|---:|---:|",
    ]  # fmt: skip
    for name, one in found["reports"].items():
        spread = f"{short(one['least_s'])} to {short(one['most_s'])} ({one['runs']})"
        lines.append(f"| {name} | {short(one['median_s'])} | {spread} | {one['bytes'] / 1e6:.2f} |")
    lines += [
        "", "The page's answer to one setting, request to answer inside one process (no network, no browser):", "",
        "| page | median ms | 19 of 20 below, ms | of the processor, median ms | answer, kB | settings |",
        "|---|---:|---:|---:|---:|---:|",
    ]  # fmt: skip
    for name, one in found["pages"].items():
        lines.append(
            f"| {name} | {1e3 * one['median_s']:.1f} | {1e3 * one['worst_of_20_s']:.1f} "
            f"| {1e3 * one['processor_s']:.1f} | {one['bytes'] / 1e3:.1f} | {one['runs']} |"
        )
    return lines
