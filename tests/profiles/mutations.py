"""Changes of one operator, number or argument at a time: which of them does no test notice?

Run from the repository's root, with the extra `mutation` installed:

    python -m tests.profiles.mutations --sample 150                       (physics, solve and the bound)
    python -m tests.profiles.mutations --folder quietcool/physics --sample 0          (all there are)
    python -m tests.profiles.mutations --folder quietcool/solve --mutant 'quietcool.solve.loop.*'

The library mutmut makes the mutants, knows which test reaches which function and forks a warmed-up process for each;
what is added here is a seeded sample of each folder in a copy of the tree, the quick tests first, and numbers in the
tables of modules, which mutmut leaves alone (it changes nothing outside functions, and no decorated one).

Survivors are printed as they were changed. `mutations_excused.toml` beside this file holds those that were looked at
and left, each with its reason; they count as survivors all the same, and a second share counts them as killed. Exit
code 1 if in any folder fewer than `--least` are killed, or nothing ran.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import accumulate
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
EXCUSED = tomllib.loads(Path(__file__).with_name("mutations_excused.toml").read_text(encoding="utf-8"))["excused"]
COUNTED = "tests/test_counts.py::test_a_proven_answer_takes_no_more_cases_and_boxes"
# Of each folder what is tested with it; mutmut drops the tests that do not reach a function.
TESTS = {
    "quietcool/physics": ["quietcool/physics", "tests/physics", "tests/solve/test_against_second_opinion.py"],
    "quietcool/solve": ["quietcool/solve", "tests/solve"],
    "quietcool/decide/bound": [
        "quietcool/decide/bound",
        "tests/decide/bound",
        "tests/decide/test_checker.py::test_two_bounds_written_apart_agree",
        *(f"{COUNTED}[sample_room, {state}]" for state in ("idle", "edit", "bounce")),
    ],
}
OPTIONS = ["-p", "no:cacheprovider", "-p", "tests.profiles.mutations", "-m", "not slow", "-k", "not _mutmut_"]
MOST_SECONDS = 60.0  # of tests that one mutant meets, as timed without it: a survivor may fall to a longer suite
SURVIVED = (0, 5, 33)  # tests passed; there were none
SETTINGS = """
[tool.mutmut]
source_paths = ["quietcool"]
only_mutate = ["{folder}/*.py"]
also_copy = ["data_demo", "reports"]
pytest_add_cli_args_test_selection = {tests}
pytest_add_cli_args = {options}
timeout_multiplier = 5.0
timeout_constant = 6.0
track_dependencies = false
"""


def pytest_collection_modifyitems(config: pytest.Config, items: list[Any]) -> None:
    """Put the quick tests first, as mutmut timed them, and leave out what comes after the time of a mutant.

    This module is a plugin of every run of pytest here. Where tests are only listed, all of them are.
    """
    if config.option.collectonly:
        return
    for place in (Path("mutmut-stats.json"), Path("mutants/mutmut-stats.json")):
        if place.exists():
            seconds = json.loads(place.read_text(encoding="utf-8"))["duration_by_test"]
            items.sort(key=lambda item: seconds.get(item.nodeid, 0.0))
            total = accumulate(seconds.get(item.nodeid, 0.0) for item in items)
            items[:] = [item for item, until in zip(items, total, strict=True) if until <= MOST_SECONDS]


@dataclass
class Tally:
    """What became of the mutants of one folder."""

    killed: int = 0
    survivors: list[tuple[str, str]] = field(default_factory=list)  # name and the changed lines

    @property
    def ran(self) -> int:
        """Mutants that met their tests."""
        return self.killed + len(self.survivors)


def excuse(change: str) -> str | None:
    """Give the reason why a changed line may survive, if it is listed."""
    return next((row["reason"] for row in EXCUSED if re.search(row["change"], change)), None)


def mutmut(tree: Path, *words: str) -> str:
    """Run mutmut in the copy and return what it printed."""
    run = subprocess.run(
        [sys.executable, "-m", "mutmut", *words], cwd=tree, env={**os.environ, "PYTHONPATH": "."},
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace",
    )  # fmt: skip
    return run.stdout


def lay_out(tree: Path, folder: str) -> None:
    """Copy what the tests need; the tree itself is never changed."""
    for name in ("quietcool", "tests", "data_demo", "reports"):
        shutil.copytree(ROOT / name, tree / name, ignore=shutil.ignore_patterns("__pycache__"), dirs_exist_ok=True)
    settings = SETTINGS.format(folder=folder, tests=json.dumps(TESTS[folder]), options=json.dumps(OPTIONS))
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8") + settings
    (tree / "pyproject.toml").write_text(text, encoding="utf-8")
    # Which test reaches what is found out anew: mutmut looks for new tests, not for tests that have changed.
    (tree / "mutants/mutmut-stats.json").unlink(missing_ok=True)


def exit_codes(tree: Path, folder: str) -> dict[str, int | None]:
    """Read the exit code of every mutant's tests, None where they have not run."""
    found: dict[str, int | None] = {}
    for path in sorted((tree / "mutants" / folder).glob("*.py.meta")):
        found |= json.loads(path.read_text(encoding="utf-8"))["exit_code_by_key"]
    return found


def in_functions(tree: Path, folder: str, drawn: random.Random, sample: int, wanted: str | None) -> Tally:
    """Try a sample of the mutants that mutmut makes."""
    said = mutmut(tree, "run", "--max-children", "1", "no such mutant")  # makes them and times the tests
    names = sorted(exit_codes(tree, folder))
    if wanted:
        names = [name for name in names if re.fullmatch(wanted.replace("*", ".*"), name)]
    chosen = drawn.sample(names, min(sample or len(names), len(names)))
    sys.stdout.write(f"{folder}: {len(chosen)} of {len(names)} mutants of functions\n")
    sys.stdout.flush()
    if not chosen:
        sys.stdout.write(said[-2000:])
        return Tally()
    said = mutmut(tree, "run", "--max-children", "1", *chosen)
    tally, codes = Tally(), exit_codes(tree, folder)
    for name in chosen:
        code = codes[name]
        if code in SURVIVED:
            lines = mutmut(tree, "show", name).splitlines()
            changed = [line for line in lines if re.match(r"[-+](?![-+]{2} )", line)]
            tally.survivors.append((name, "\n".join([f"# {name}", *changed])))
        elif code is not None:
            tally.killed += 1
    if not tally.ran:
        sys.stdout.write(said[-2000:])
    return tally


def constants(source: str) -> Iterator[tuple[int, str, str]]:
    """Yield line, change and changed source for every number of a module that stands outside functions."""
    lines = source.splitlines(keepends=True)
    for statement in ast.parse(source).body:
        if not isinstance(statement, ast.Assign | ast.AnnAssign):
            continue
        for node in ast.walk(statement):
            if isinstance(node, ast.Constant) and type(node.value) in (int, float):
                old = node.value
                new = old + 1 if isinstance(old, int) else old * 1.1 if old else 1.0
                line, first, last = node.lineno - 1, node.col_offset, node.end_col_offset
                text = lines[line].encode()
                changed = (text[:first] + repr(new).encode() + text[last:]).decode()
                yield (
                    node.lineno,
                    f"-{lines[line].rstrip()}\n+{changed.rstrip()}",
                    "".join([*lines[:line], changed, *lines[line + 1 :]]),
                )


def tests_of(module: Path, folder: str) -> list[str]:
    """Doctests and mirror of a module; all tests of the folder where there is no mirror."""
    mirror = Path("tests", *module.parts[1:-1], f"test_{module.name}")
    return [str(module), str(mirror)] if (ROOT / mirror).exists() else TESTS[folder]


def at_modules(tree: Path, folder: str, drawn: random.Random, sample: int) -> Tally:
    """Try a sample of numbers in the tables of modules, each a tenth more, in a process of its own."""
    every = [
        (path.relative_to(tree), line, change, source)
        for path in sorted((tree / folder).glob("*.py"))
        for line, change, source in constants(path.read_text(encoding="utf-8"))
    ]
    chosen = drawn.sample(every, min(sample or len(every), len(every)))
    sys.stdout.write(f"{folder}: {len(chosen)} of {len(every)} numbers outside functions\n")
    sys.stdout.flush()
    tally = Tally()
    for path, line, change, source in chosen:
        real = (tree / path).read_text(encoding="utf-8")
        (tree / path).write_text(source, encoding="utf-8")
        words = [sys.executable, "-m", "pytest", "-x", "-q", *OPTIONS, *tests_of(path, folder)]
        try:
            code = subprocess.run(
                words, cwd=tree, env={**os.environ, "PYTHONPATH": "."}, capture_output=True, timeout=600
            ).returncode
        except subprocess.TimeoutExpired:
            code = -1
        finally:
            (tree / path).write_text(real, encoding="utf-8")
        if code in SURVIVED:
            tally.survivors.append((f"{path}:{line}", f"# {path}:{line}\n{change}"))
        else:
            tally.killed += 1
    return tally


def report(folder: str, tally: Tally, least: float) -> bool:
    """Print what survived and the shares; tell whether enough was killed."""
    reasons = [excuse(change) for _, change in tally.survivors]
    for (_, change), reason in zip(tally.survivors, reasons, strict=True):
        sys.stdout.write(f"\n{change}\n{f'  excused: {reason}' if reason else '  SURVIVED'}\n")
    excused = sum(reason is not None for reason in reasons)
    share = tally.killed / tally.ran if tally.ran else 0.0
    kind = (tally.killed + excused) / tally.ran if tally.ran else 0.0
    sys.stdout.write(
        f"\n{folder}: ran {tally.ran}, killed {tally.killed} ({share:.1%}), survived {len(tally.survivors)}, "
        f"of these excused {excused} ({kind:.1%} killed or excused)\n\n"
    )
    sys.stdout.flush()
    return tally.ran > 0 and share >= least


def main() -> int:
    words = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    words.add_argument("--folder", action="append", choices=TESTS, help="all of them if not given")
    words.add_argument("--sample", type=int, default=150, help="mutants of functions in each folder; 0 for all")
    words.add_argument("--numbers", type=int, default=20, help="numbers outside functions in each folder; 0 for all")
    words.add_argument("--mutant", help="only mutants of this name, * stands for anything, and no numbers")
    words.add_argument("--seed", type=int, default=0)
    words.add_argument("--least", type=float, default=0.85, help="share that must be killed in each folder")
    words.add_argument("--tree", type=Path, help="where to lay out the copies, kept for the next run")
    asked = words.parse_args()
    sys.stdout.write(f"seed {asked.seed}\n")
    enough = []
    for folder in asked.folder or TESTS:
        with tempfile.TemporaryDirectory() as temporary:
            tree = (asked.tree or Path(temporary)) / folder.replace("/", "-")
            tree.mkdir(parents=True, exist_ok=True)
            lay_out(tree, folder)
            drawn = random.Random(asked.seed)
            tally = in_functions(tree, folder, drawn, asked.sample, asked.mutant)
            if not asked.mutant and tally.ran:
                more = at_modules(tree, folder, drawn, asked.numbers)
                tally = Tally(tally.killed + more.killed, tally.survivors + more.survivors)
            enough.append(report(folder, tally, asked.least))
    return 0 if enough and all(enough) else 1


if __name__ == "__main__":
    sys.exit(main())
