"""How long every verb takes from cold, against an interpreter that does nothing; and how many modules it loads.

Searching verbs get no time for proofs, so that what is left is start, search and answer; they run fewer times. Byte
code lies in a cache of its own, filled by the start that counts the modules: that is every start of an installed
package but the first, whatever the environment says here. One row has no cache, for comparison.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from quietcool.entry.demos import demo_path
from tests.benchmarks.timing import short

REPEATS, SEARCH_REPEATS = 9, 1
HEAVY = ("numpy", "scipy", "pandas", "cvxpy", "plotly")
QUIET = ("--seconds", "0")
BARE = "bare interpreter"
UNCACHED = "solve, no byte code kept"


def commands(folder: Path) -> dict[str, tuple[list[str], int]]:
    """Return what is started and how often, by the name it gets in the table; files are written to the folder."""
    room, booth = str(demo_path("sample_room")), str(demo_path("booth_wall"))
    bounce, certificate = ("--state", "bounce"), str(folder / "certificate.json")
    catalogue = str(demo_path("sample_room").with_name("catalogue.toml"))
    light = {
        "--help": ["--help"],
        "--version": ["--version"],
        "check": ["check", room],
        "solve": ["solve", room],
        UNCACHED: ["solve", room],
        "solve --draws 0": ["solve", room, "--draws", "0"],
        "solve (booth wall, render)": ["solve", booth, "--state", "render"],
        "sound": ["sound", room, *bounce],
        "schema solve": ["schema", "solve"],
        "shop": ["shop", room],
        "diagnose": ["diagnose", room, *bounce, "--coolant", "40", "--room", "22"],
    }
    searching = {
        "quietest": ["quietest", room, *bounce, *QUIET],
        "quietest (booth wall, render)": ["quietest", booth, "--state", "render", *QUIET],
        "quietest --certificate": ["quietest", room, *bounce, "--seconds", "20", "--certificate", certificate],
        "demo": ["demo", "sample room", *QUIET],
        "tradeoff": ["tradeoff", room, *bounce, *QUIET],
        "layouts": ["layouts", room, *bounce, *QUIET],
        "choose": ["choose", room, catalogue, *bounce, *QUIET],
        "levers": ["levers", room, *bounce],
        "scenarios": ["scenarios", room, *bounce],
        "report": ["report", room, *bounce, *QUIET, "-o", str(folder / "report.html")],
    }
    quietcool = [sys.executable, "-m", "quietcool"]
    return {
        BARE: ([sys.executable, "-c", "pass"], REPEATS),
        **{name: ([*quietcool, *words], REPEATS) for name, words in light.items()},
        **{name: ([*quietcool, *words], SEARCH_REPEATS) for name, words in searching.items()},
    }


def heavy_modules() -> list[str]:
    """Libraries that `--help` loads and should not."""
    code = (
        "import sys\nfrom quietcool.cli import run\nrun(['--help'])\n"
        f"sys.stderr.write(' '.join(n for n in {HEAVY!r} if n in sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return done.stderr.split()


def processor_of_children() -> float:
    """Seconds of the processor that ended children took so far."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def surroundings_of(folder: Path, *, keep: bool = True) -> dict[str, str]:
    """Environment of what is started: where it keeps its byte code, or that it keeps none."""
    inherited = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    if keep:
        return inherited | {"PYTHONPYCACHEPREFIX": str(folder / "bytecode")}
    return inherited | {"PYTHONPYCACHEPREFIX": str(folder / "empty"), "PYTHONDONTWRITEBYTECODE": "1"}


def measure(words: list[str], repeats: int, around: dict[str, str]) -> dict[str, Any]:
    """Start one command several times; its modules are counted in a start of its own, which is not timed."""
    listing = [words[0], "-X", "importtime", *words[1:]]
    listed = subprocess.run(listing, capture_output=True, text=True, check=False, env=around)
    assert listed.returncode in (0, 3), listed.stderr[-2000:]
    clock, processor = [], []
    for _ in range(repeats):
        start, spent = time.perf_counter(), processor_of_children()
        subprocess.run(words, capture_output=True, check=False, env=around)
        clock.append(time.perf_counter() - start)
        processor.append(processor_of_children() - spent)
    return {
        "median_s": statistics.median(clock), "least_s": min(clock), "most_s": max(clock), "runs": repeats,
        "processor_s": statistics.median(processor),
        "modules": sum(line.startswith("import time:") for line in listed.stderr.splitlines()) - 1,
    }  # fmt: skip


def page_up(around: dict[str, str]) -> dict[str, Any]:
    """Seconds by the clock until the page tells its address."""
    words = [sys.executable, "-m", "quietcool", "page", str(demo_path("sample_room"))]
    clock = []
    for _ in range(5):
        start = time.perf_counter()
        with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=around) as child:
            assert child.stdout is not None
            line = child.stdout.readline()
            clock.append(time.perf_counter() - start)
            child.terminate()
        assert "127.0.0.1" in line or "http" in line, line
    return {"median_s": statistics.median(clock), "least_s": min(clock), "most_s": max(clock), "runs": len(clock)}


def run() -> dict[str, Any]:
    """Start every command several times."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        kept, fresh = surroundings_of(folder), surroundings_of(folder, keep=False)
        found: dict[str, Any] = {"commands": {}}
        for name, (words, repeats) in commands(folder).items():
            found["commands"][name] = measure(words, repeats, fresh if name == UNCACHED else kept)
        certificate = folder / "certificate.json"
        if certificate.exists():  # only what was proven in time leaves one
            words = [sys.executable, "-m", "quietcool", "verify", str(certificate), str(demo_path("sample_room"))]
            found["commands"]["verify"] = measure(words, SEARCH_REPEATS, kept)
        return found | {"page": page_up(kept), "heavy_modules_of_help": heavy_modules()}


def table(found: dict[str, Any]) -> list[str]:
    """Return the measurements as lines of Markdown."""
    bare = found["commands"][BARE]
    lines = [
        "## From cold",
        "",
        "The demo sample_room (state bounce where there is one to choose) unless it says otherwise; searching verbs",
        "without time for proofs. Byte code is kept, as from the second start on. Modules are those beyond the bare",
        "interpreter's.",
        "",
        "| command | median s by the clock | spread s | s of the processor | over the bare interpreter, s | modules |",
        "|---|---:|---:|---:|---:|---:|",
    ]
    for name, one in found["commands"].items():
        spread = f"{short(one['least_s'])} to {short(one['most_s'])} ({one['runs']})"
        lines.append(
            f"| `{name}` | {short(one['median_s'])} | {spread} | {short(one['processor_s'])} "
            f"| {short(one['median_s'] - bare['median_s'])} | {one['modules'] - bare['modules']} |"
        )
    one = found["page"]
    spread = f"{short(one['least_s'])} to {short(one['most_s'])} ({one['runs']})"
    lines.append(
        f"| `page`, until it tells its address | {short(one['median_s'])} | {spread} | - "
        f"| {short(one['median_s'] - bare['median_s'])} | - |"
    )
    loaded = ", ".join(found["heavy_modules_of_help"]) or "none"
    return [*lines, "", f"Of {', '.join(HEAVY)}, `--help` loads: {loaded}."]
