"""How long the commands take from cold, against an interpreter that does nothing."""

from __future__ import annotations

import subprocess
import sys
from typing import Any

from quietcool.entry.demos import demo_path
from tests.benchmarks.timing import short, timed

REPEATS = 9
HEAVY = ("numpy", "scipy", "pandas", "cvxpy", "plotly")
RENDER = ("--state", "render")


def commands() -> dict[str, list[str]]:
    """Return what is started, by the name it gets in the table."""
    quietcool = [sys.executable, "-m", "quietcool"]
    booth, room = str(demo_path("booth_wall")), str(demo_path("sample_room"))
    return {
        "bare interpreter": [sys.executable, "-c", "pass"],
        "--help": [*quietcool, "--help"],
        "check (booth wall)": [*quietcool, "check", booth],
        "solve (booth wall, render)": [*quietcool, "solve", booth, *RENDER],
        "solve (sample room, all states)": [*quietcool, "solve", room],
        "quietest --seconds 1 (booth wall, render)": [*quietcool, "quietest", booth, *RENDER, "--seconds", "1"],
        "quietest --seconds 1 (sample room)": [*quietcool, "quietest", room, "--seconds", "1"],
    }


def heavy_modules() -> list[str]:
    """Libraries that `--help` loads and should not."""
    code = (
        "import sys\nfrom quietcool.cli import run\nrun(['--help'])\n"
        f"sys.stderr.write(' '.join(n for n in {HEAVY!r} if n in sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return done.stderr.split()


def run() -> dict[str, Any]:
    """Start every command several times."""
    found: dict[str, Any] = {"commands": {}, "heavy_modules_of_help": heavy_modules()}
    for name, words in commands().items():
        repeats = REPEATS if "quietest" not in name else 5

        def start(words: list[str] = words) -> None:
            done = subprocess.run(words, capture_output=True, text=True, check=False)
            assert done.returncode in (0, 3), done.stderr

        found["commands"][name] = timed(start, repeats).entry()
    return found


def table(found: dict[str, Any]) -> list[str]:
    """Return the measurements as lines of Markdown."""
    bare = found["commands"]["bare interpreter"]["median_s"]
    lines = [
        "## From cold",
        "",
        "| command | median s | spread s | over the bare interpreter, s |",
        "|---|---:|---:|---:|",
    ]
    for name, one in found["commands"].items():
        spread = f"{short(one['least_s'])} to {short(one['most_s'])} ({one['runs']})"
        lines.append(f"| `{name}` | {short(one['median_s'])} | {spread} | {short(one['median_s'] - bare)} |")
    loaded = ", ".join(found["heavy_modules_of_help"]) or "none"
    return [*lines, "", f"Of {', '.join(HEAVY)}, `--help` loads: {loaded}."]
