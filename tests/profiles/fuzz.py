"""Mutated build files, part sheets, catalogues, bodies of the page's requests and command lines, by the thousand.

Run from the repository's root:

    python -m tests.profiles.fuzz --cases 200000 --workers 2

Each case ends in an answer or in sentences with a documented exit code (a documented status of the page): no traceback,
no warning, no more than 5 s of processor time, no more than 1 GB on top of what the libraries take; workers are held to
that by the system. Searches of minutes stand still: of their command lines only the words are looked at. Case N of a
seed is always the same (`--first N --cases 1` repeats it). Exit code 1 if a case does anything else.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import importlib
import io
import json
import multiprocessing
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from types import FrameType
from typing import Any

import numpy as np
import pytest
import typer

from quietcool import cli
from quietcool.entry.buildfile import check_build, read_build
from quietcool.entry.catalogue import read_catalogue
from quietcool.entry.demos import demo_path
from quietcool.entry.mistakes import located
from quietcool.entry.parts import read_shelf
from quietcool.errors import Infeasible, InputError
from quietcool.show import page
from quietcool.solve.operating_point import solve_operating_point
from tests.entry import small_rig
from tests.profiles.spoiling import SPOILERS, spoiled_body, spoiled_text
from tests.show.no_searches import NoSearches

MOST_SECONDS = 5.0  # of processor time, for one case
HANGING = 30.0  # of processor time, then a case is ended [s]
MOST_BYTES = 1_000_000_000  # on top of what is there when a worker starts
MEMORY = Path("/dev/shm")  # files that live for a millisecond need no disk
CHUNK = 500  # cases that one worker does at a stretch
CODES = {0, 2, 3, 4}
STATUSES = {200, 400, 403, 404, 405, 409, 413, 415, 422}
SEARCHES = {
    "quietcool.decide.quietest": "find_quietest", "quietcool.decide.tradeoff": "find_tradeoff",
    "quietcool.decide.layouts": "find_layouts", "quietcool.decide.choose.search": "find_choice",
    "quietcool.decide.levers": "find_levers", "quietcool.decide.scenarios": "find_scenarios",
    "quietcool.decide.robust": "find_robust", "quietcool.show.page": "serve",
}  # fmt: skip


class Hanging(BaseException):
    """A case takes longer than it may by far."""


@dataclass
class Place:
    """A folder with everything that cases are made of; one for each worker."""

    folder: Path
    files: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Lay out a small rig, the small demo with its catalogue, and the page."""
        self.rig = small_rig.write(self.folder / "rig")
        text = small_rig.BUILD.replace("max_rpm = 1500\n", "max_rpm = 1500\nrpm = 900\n")
        self.build_text = text.replace("pump_max_rpm = 4000\n", "pump_max_rpm = 4000\npump_rpm = 3000\n")
        self.rig.write_text(self.build_text, encoding="utf-8")
        (self.folder / "alone").mkdir()
        shutil.copytree(demo_path("sample_room").parent, self.folder / "demo")
        self.demo = self.folder / "demo" / "build.toml"
        self.catalogue = (self.folder / "demo" / "catalogue.toml").read_text(encoding="utf-8")
        self.demo_build = read_build(self.demo)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(page, "Searches", NoSearches)
            self.app = page.create_page(self.demo_build, self.demo)
        self.loop = asyncio.new_event_loop()


# --- kinds of cases: each returns how it ended, and raises where it should not have ended so --------------------------


def build_file(rng: Random, place: Place) -> str:
    """Read a spoiled build file, and solve what is accepted."""
    return read(rng.choice(SPOILERS)(rng, place.build_text), place.rig, place.build_text, rng, place)


def whole_sheet(rng: Random, place: Place) -> str:
    """A build with one spoiled sheet."""
    name = rng.choice(sorted(small_rig.SHEETS))
    file, text = place.rig.parent / "parts" / f"{name}.toml", small_rig.SHEETS[name]
    return read(rng.choice(SPOILERS)(rng, text), file, text, rng, place)


def read(spoiled: str, file: Path, text: str, rng: Random, place: Place) -> str:
    file.write_bytes(spoiled.encode("utf-8", errors="surrogatepass"))
    try:
        build = read_build(place.rig)
        check_build(build)
    except InputError as error:
        return refused(error)
    finally:
        file.write_text(text, encoding="utf-8")
    if rng.random() > 0.25:
        return "accepted"
    ends = [(speeds.lowest, speeds.highest)[rng.random() < 0.5] for speeds in build.speed_ranges]
    point = solve_operating_point(build, rng.choice(build.states), ends)
    numbers = np.array([point.coolant_temp_max, *point.level])
    if bool(point.converged) != bool(np.all(~np.isnan(numbers))):
        raise AssertionError(f"converged is {point.converged}, but its numbers are {numbers}")
    return "solved" if point.converged else "not converged"


def sheet_alone(rng: Random, place: Place) -> str:
    """One spoiled sheet in a folder of its own."""
    name = rng.choice(sorted(small_rig.SHEETS))
    spoiled = rng.choice(SPOILERS)(rng, small_rig.SHEETS[name])
    (place.folder / "alone" / "part.toml").write_bytes(spoiled.encode("utf-8", errors="surrogatepass"))
    shelf = read_shelf(["alone"], place.folder / "build.toml", place.folder)
    mistakes = [m for d in shelf.documents for m in located(d.complaints, d.shown_as, d.text, d.tree)]
    return refused(InputError(mistakes)) if mistakes else "accepted"


def catalogue(rng: Random, place: Place) -> str:
    """A spoiled catalogue beside a build that is right."""
    file = place.demo.with_name("catalogue.toml")
    file.write_bytes(rng.choice(SPOILERS)(rng, place.catalogue).encode("utf-8", errors="surrogatepass"))
    try:
        read_catalogue(file, place.demo_build)
    except InputError as error:
        return refused(error)
    finally:
        file.write_text(place.catalogue, encoding="utf-8")
    return "accepted"


def refused(error: InputError) -> str:
    """Hold mistakes to what a mistake is: one printable sentence that says where, what, and what to do."""
    if not error.mistakes:
        raise AssertionError("refused without a mistake")
    for mistake in error.mistakes:
        if not (str(mistake).isprintable() and mistake.required and mistake.found and mistake.advice):
            raise AssertionError(f"not a sentence: {mistake!r}")
    return "refused"


def body(rng: Random, place: Place) -> str:
    """A request to the page with a spoiled body, sometimes with odd headers or another address."""
    names = [*place.demo_build.group_names, *(s.name for s in place.demo_build.states), "front intake", "push-pull"]
    setting = {
        "state": "bounce", "room_temp_c": 22.0, "speeds_rpm": {"front": 600, "bottom": 500, "pump": 2000}, "layouts": {}
    }  # fmt: skip
    address, asked = rng.choice([
        ("/api/solve", setting), ("/api/pictures", setting | {"path": None}), ("/api/save", setting),
        ("/api/quietest", {"state": "bounce", "room_temp_c": 22.0, "layouts": {}, "seconds": 3.0}),
        ("/api/stop", {"search": "1"}),
    ])  # fmt: skip
    content = json.dumps(spoiled_body(rng, asked, names))
    if rng.random() < 0.2:
        content = spoiled_text(rng, content)
    headers = {"host": "127.0.0.1", "content-type": "application/json"}
    if rng.random() < 0.05:
        headers[rng.choice(["host", "content-type", "origin", "content-length", "sec-fetch-site"])] = rng.choice(
            ["", "x", "null", "-1", "99999999999999999999", "²", "http://127.0.0.1", "127.0.0.1:²", "\xff"]
        )
    if rng.random() < 0.03:
        address = rng.choice(
            ["/api/quietest/%00", "/api/quietest/2", "/", "/api", "/api/solve/..", "/page.js?" + "x" * 99]
        )
    status, answer = asked_of(place, rng.choice(["POST"] * 20 + ["GET", "PUT"]), address, headers, content.encode(
        "utf-8", errors="surrogatepass"))  # fmt: skip
    for copy in place.demo.parent.glob("build-setting-*"):
        copy.unlink()
    if status not in STATUSES:
        raise AssertionError(f"{address} answered {status}: {answer[:200]!r}")
    if status in (400, 403, 409, 413, 415, 422) and not json.loads(answer)["detail"].isprintable():
        raise AssertionError(f"{address} answered {answer[:200]!r}")
    return str(status)


def asked_of(place: Place, method: str, address: str, headers: dict[str, str], content: bytes) -> tuple[int, bytes]:
    """Ask the page's program without any network."""
    path, _, query = address.partition("?")
    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": "http",
        "path": path.replace("%00", "\0"), "raw_path": path.encode(), "query_string": query.encode(), "root_path": "",
        "headers": [(n.encode(), v.encode("latin-1")) for n, v in headers.items()],
        "server": ("127.0.0.1", 80), "client": ("127.0.0.1", 1),
    }  # fmt: skip
    told: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": content, "more_body": False}

    async def send(message: dict[str, Any]) -> None:
        told.append(message)

    place.loop.run_until_complete(place.app(scope, receive, send))
    return told[0]["status"], b"".join(message.get("body", b"") for message in told)


def words(rng: Random, place: Place) -> str:
    """A command line of the verbs' own options, with right, wrong and strange values."""
    command = typer.main.get_command(cli.app)
    verbs: dict[str, Any] = command.commands  # type: ignore[attr-defined]
    verb = rng.choice(sorted(verbs)) if rng.random() < 0.97 else rng.choice(["", "chek", "--", "-x", "\x1b[2J"])
    said = [verb]
    for option in verbs[verb].params if verb in verbs else []:
        if option.param_type_name == "argument":
            said += [argument(rng, option.name, place)] if rng.random() < 0.95 else []
        elif rng.random() < 0.25:
            said.append(rng.choice(option.opts))
            said += [] if getattr(option, "is_flag", False) else [option_value(rng, place)]
    if rng.random() < 0.1:
        said.insert(
            rng.randint(0, len(said)), rng.choice(["--", "-", "-o", "--json", "--help", "x", "", "\0", "--debu"])
        )
    out, complaints = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(complaints):
        code = cli.run(said)
    told = complaints.getvalue()
    if code not in CODES or "Traceback" in told or (code == 2) != bool(told) and code != 3:
        raise AssertionError(f"exit code {code} of {said}: {told[:500]}")
    if not all(line.isprintable() for line in (told + out.getvalue()).split("\n")):
        raise AssertionError(f"unprintable answer to {said}")
    return f"exit {code}"


def argument(rng: Random, name: str, place: Place) -> str:
    """Return a value of an argument, mostly one that is right."""
    right = {
        "build": str(place.rig), "catalogue": str(place.demo.with_name("catalogue.toml")), "verb": "solve",
        "name": "booth_wall", "certificate": str(place.rig),
    }  # fmt: skip
    return right.get(name, "x") if rng.random() < 0.85 else option_value(rng, place)


def option_value(rng: Random, place: Place) -> str:
    """Return some value of an option."""
    return rng.choice([
        "0", "1", "-1", "2", "40", "1e300", "nan", "inf", "", "x", "edit", "render", "desk", "front", "front intake",
        "front=900", "front=0", "pump=2000", "pump=1e9", "front=nan", "=", "a=b=c", "cpu core=60", "gpu core=71",
        "25", "35 degC", "-400", "0.5 bar, 22 degC", "0.495 bar, 21 degC, 1013 hPa", "1e400 bar, x", "hot", "cold",
        "nc", "cpu=100",
        "dba", "coolant", "case air", "9" * 400, "é\u202e", "\x1b[31m", str(place.folder), str(place.folder / "none"),
        str(place.rig), "/dev/null", "a" * 5000, "0.9", "500", "fill", "--json",
    ])  # fmt: skip


KINDS: list[tuple[float, Callable[[Random, Place], str]]] = [
    (0.12, build_file), (0.04, whole_sheet), (0.50, sheet_alone), (0.04, catalogue), (0.22, body), (0.08, words),
]  # fmt: skip


# --- running ---------------------------------------------------------------------------------------------------------


@dataclass
class Tally:
    """What came of cases."""

    ends: Counter[tuple[str, str]] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)
    slowest: tuple[float, int] = (0.0, -1)  # processor time [s], case
    memory: int = 0  # most that a worker held [kB]

    def add(self, other: Tally) -> None:
        self.ends += other.ends
        self.faults += other.faults
        self.slowest = max(self.slowest, other.slowest)
        self.memory = max(self.memory, other.memory)


_place: Place | None = None


def begin(folder: str) -> None:
    """Make this process a worker: a place, limits, warnings as errors, searches that stand still."""
    global _place
    _place = Place(Path(tempfile.mkdtemp(dir=folder)))
    warnings.simplefilter("error")
    for module, name in SEARCHES.items():
        setattr(importlib.import_module(module), name, standing_still)
    command = typer.main.get_command(cli.app)
    typer.main.get_command = lambda _: command  # making it takes longer than most cases
    signal.signal(signal.SIGPROF, end_of_patience)
    with Path("/proc/self/statm").open() as pages:
        held = int(pages.read().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (held + MOST_BYTES, resource.RLIM_INFINITY))


def standing_still(*_: Any, **__: Any) -> Any:
    raise Infeasible("the search stands still")


def end_of_patience(number: int, frame: FrameType | None) -> None:
    raise Hanging


def some_cases(seed: int, first: int, count: int) -> Tally:
    """Do cases one after the other."""
    tally, place = Tally(), _place
    assert place is not None
    for case in range(first, first + count):
        rng = Random(f"{seed} {case}")
        (kind,) = rng.choices([kind for _, kind in KINDS], [weight for weight, _ in KINDS])
        start = time.process_time()
        signal.setitimer(signal.ITIMER_PROF, HANGING)
        try:
            tally.ends[kind.__name__, kind(rng, place)] += 1
        except BaseException as error:  # whatever it is, it is a fault
            if isinstance(error, KeyboardInterrupt):
                raise
            where = traceback.extract_tb(error.__traceback__)[-1]
            said = f"{type(error).__name__}: {str(error)[:600]} ({Path(where.filename).name}:{where.lineno})"
            tally.faults.append(f"case {case}, {kind.__name__}: {said}")
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0.0)
        took = time.process_time() - start
        tally.slowest = max(tally.slowest, (took, case))
        if took > MOST_SECONDS:
            tally.faults.append(f"case {case}, {kind.__name__}: took {took:.1f} s")
    tally.memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return tally


def some_of(job: tuple[int, int, int]) -> Tally:
    return some_cases(*job)


def run(
    cases: int, first: int = 0, seed: int = 0, workers: int = 1, tell: Callable[[str], object] | None = None
) -> Tally:
    """Do cases on some processes."""
    whole = Tally()
    with tempfile.TemporaryDirectory(dir=MEMORY if MEMORY.is_dir() else None) as folder:
        context = multiprocessing.get_context("spawn")
        with context.Pool(workers, begin, (folder,)) as pool:
            starts = range(first, first + cases, CHUNK)
            jobs = [(seed, start, min(CHUNK, first + cases - start)) for start in starts]
            for part in pool.imap_unordered(some_of, jobs):
                whole.add(part)
                if tell is not None:
                    tell(f"{sum(whole.ends.values())} cases, {len(whole.faults)} faults\n")
    return whole


def told(tally: Tally) -> str:
    """Return the table of a run."""
    lines = [f"{kind:12s} {end:15s} {count:8d}" for (kind, end), count in sorted(tally.ends.items())]
    seconds, case = tally.slowest
    lines.append(f"slowest: {seconds:.2f} s of processor time (case {case}); most memory {tally.memory / 1000:.0f} MB")
    lines.append(f"{len(tally.faults)} faults in {sum(tally.ends.values()) + len(tally.faults)} cases")
    return "\n".join([*tally.faults[:40], *lines]) + "\n"


def main() -> int:
    options = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    options.add_argument("--cases", type=int, default=20_000)
    options.add_argument("--first", type=int, default=0)
    options.add_argument("--seed", type=int, default=0)
    options.add_argument("--workers", type=int, default=2)
    asked = options.parse_args()
    tally = run(asked.cases, asked.first, asked.seed, asked.workers, sys.stderr.write)
    sys.stdout.write(told(tally))
    return 1 if tally.faults or not tally.ends else 0


if __name__ == "__main__":
    sys.exit(main())
