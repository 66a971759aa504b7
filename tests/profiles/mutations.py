"""Mutants of one module at a time: a sign, a comparison, a constant is changed, and the module's tests shall notice.

Run from the repository's root:

    python -m tests.profiles.mutations --module quietcool/physics/exchangers.py --sample 40
    python -m tests.profiles.mutations --sample 20          (all of physics, solve and the bound)

A copy of the package is mutated, never the tree itself. Tests of a module are its doctests and those of its mirror in
`tests/`, and of more files where `ALSO` names them. Survivors are printed with their line; a mutant that changes
nothing that can be seen (a tolerance, a first guess) is one too. Exit code 1 if fewer than `--least` are killed, or if
no mutant ran.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import copy
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FOLDERS = ("quietcool/physics", "quietcool/solve", "quietcool/decide/bound")
SLOWEST = 900  # of one mutant, then it counts as killed: it hangs [s]
ALSO = {
    "quietcool/solve": ["tests/solve/test_identities.py", "tests/solve/test_against_second_opinion.py"],
    "quietcool/decide/bound": ["tests/decide/bound"],
}
OPERATORS: dict[type[ast.AST], list[type[ast.AST]]] = {
    ast.Add: [ast.Sub], ast.Sub: [ast.Add], ast.Mult: [ast.Div], ast.Div: [ast.Mult], ast.Pow: [ast.Mult],
    ast.Lt: [ast.LtE, ast.Gt], ast.LtE: [ast.Lt, ast.Gt], ast.Gt: [ast.GtE, ast.Lt], ast.GtE: [ast.Gt, ast.Lt],
    ast.Eq: [ast.NotEq], ast.NotEq: [ast.Eq], ast.And: [ast.Or], ast.Or: [ast.And], ast.BitAnd: [ast.BitOr],
    ast.BitOr: [ast.BitAnd], ast.USub: [ast.UAdd],
}  # fmt: skip
SWAPPED = {"maximum": "minimum", "minimum": "maximum", "max": "min", "min": "max", "any": "all", "all": "any"}


@dataclass(frozen=True)
class Mutant:
    """One change of one module."""

    line: int
    change: str
    source: str


def mutants(source: str) -> Iterator[Mutant]:
    """Yield every mutant of a module; annotations, docstrings and imports are left alone."""
    tree = ast.parse(source)
    count = sum(1 for _ in changes(copy.deepcopy(tree)))
    for number in range(count):
        fresh = ast.parse(source)
        for place, (line, change, apply) in enumerate(changes(fresh)):
            if place == number:
                apply()
                yield Mutant(line, change, ast.unparse(ast.fix_missing_locations(fresh)))
                break


def changes(tree: ast.AST) -> Iterator[tuple[int, str, Callable[[], None]]]:
    """Yield line, words and deed of every change that can be made to a tree."""
    for node in list(walked(tree)):
        line = getattr(node, "lineno", 0)
        for field in ("op", "ops"):
            found = getattr(node, field, None)
            for place, old in enumerate(found if isinstance(found, list) else [found] if found else []):
                for new in OPERATORS.get(type(old), []):
                    yield line, f"{type(old).__name__} to {new.__name__}", setter(node, field, place, new())
        if isinstance(node, ast.Constant) and type(node.value) in (int, float):
            new_value = node.value + 1 if node.value != 1 else 2
            yield line, f"{node.value!r} to {new_value!r}", setter(node, "value", None, new_value)
        if isinstance(node, ast.Constant) and isinstance(node.value, bool):
            yield line, f"{node.value} to {not node.value}", setter(node, "value", None, not node.value)
        if isinstance(node, ast.Attribute) and node.attr in SWAPPED:
            yield line, f"{node.attr} to {SWAPPED[node.attr]}", setter(node, "attr", None, SWAPPED[node.attr])


class setter:  # noqa: N801 - a deed that is put off
    """Set a field of a node, or one place of a list in it, when called."""

    def __init__(self, node: ast.AST, field: str, place: int | None, new: object) -> None:
        self.node, self.field, self.place, self.new = node, field, place, new

    def __call__(self) -> None:
        old = getattr(self.node, self.field)
        if isinstance(old, list) and self.place is not None:
            old[self.place] = self.new
        else:
            setattr(self.node, self.field, self.new)


def walked(tree: ast.AST) -> Iterator[ast.AST]:
    """Walk a tree without annotations and without imports."""
    yield tree
    for field, value in ast.iter_fields(tree):
        if field in ("annotation", "returns") or isinstance(tree, ast.Import | ast.ImportFrom):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST):
                yield from walked(child)


def tests_of(module: str) -> list[str]:
    """Files whose tests speak of a module, the module's own doctests first."""
    path = Path(module)
    mirror = Path("tests", *path.parts[1:-1], f"test_{path.name}")
    named = [module] + ([str(mirror)] if (ROOT / mirror).exists() else [])
    for folder, more in ALSO.items():
        if module.startswith(folder):
            named += [name for name in more if name not in named]
    return named


def survives(copied: Path, module: str, mutant: Mutant | None) -> bool:
    """Whether the tests of a module pass with a mutant (with none: without a change), in a process of its own."""
    real = (ROOT / module).read_text(encoding="utf-8")
    (copied / module).write_text(mutant.source if mutant else real, encoding="utf-8")
    child = os.fork()
    if child == 0:
        os.chdir(copied)
        sys.path.insert(0, str(copied))
        silence = os.open(os.devnull, os.O_WRONLY)
        os.dup2(silence, 1)
        os.dup2(silence, 2)
        signal.alarm(SLOWEST)
        names = [name for name in tests_of(module) if mutant is None or name != module or ">>>" in real]
        os._exit(int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-m", "not slow", *names])))
    _, status = os.waitpid(child, 0)
    (copied / module).write_text(real, encoding="utf-8")
    # 5: no test was found, which is no reason to be pleased.
    return os.waitstatus_to_exitcode(status) in (0, 5)


@contextlib.contextmanager
def copied_tree() -> Iterator[Path]:
    """Lay out a copy that may be spoiled; this process must not have imported the package."""
    assert not [name for name in sys.modules if name.partition(".")[0] == "quietcool"]
    with tempfile.TemporaryDirectory() as folder:
        for name in ("quietcool", "tests", "data_demo", "reports"):
            shutil.copytree(ROOT / name, Path(folder) / name, ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copy(ROOT / "pyproject.toml", folder)
        os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
        sys.dont_write_bytecode = True
        yield Path(folder)


def main() -> int:
    words = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    words.add_argument("--module", action="append", help="a file of the package; all of FOLDERS if not given")
    words.add_argument("--sample", type=int, default=0, help="mutants of each module, drawn at random; 0 for all")
    words.add_argument("--seed", type=int, default=0)
    words.add_argument("--least", type=float, default=0.85, help="share that must be killed")
    words.add_argument("--most-seconds", type=float, default=float("inf"))
    asked = words.parse_args()
    modules = asked.module or sorted(
        str(path.relative_to(ROOT))
        for name in FOLDERS
        for path in (ROOT / name).glob("*.py")
        if path.stem != "__init__"
    )
    whole, killed, start = 0, 0, time.monotonic()
    with copied_tree() as copied:
        for module in modules:
            found = list(mutants((ROOT / module).read_text(encoding="utf-8")))
            drawn = random.Random(asked.seed).sample(found, min(asked.sample or len(found), len(found)))
            if time.monotonic() - start > asked.most_seconds:
                break
            if not survives(copied, module, None):
                sys.stdout.write(f"{module}: its tests fail, or take too long, without any change\n")
                return 1
            dead = 0
            for done, mutant in enumerate(drawn):
                if time.monotonic() - start > asked.most_seconds:
                    drawn = drawn[:done]
                    break
                if survives(copied, module, mutant):
                    sys.stdout.write(f"survived {module}:{mutant.line}: {mutant.change}\n")
                else:
                    dead += 1
                sys.stdout.flush()
            whole, killed = whole + len(drawn), killed + dead
            sys.stdout.write(f"{module}: {dead} of {len(drawn)} killed, of {len(found)} that there are\n")
            sys.stdout.flush()
    sys.stdout.write(f"{killed} of {whole} killed, {killed / whole if whole else 0.0:.0%}\n")
    return 0 if whole and killed >= asked.least * whole else 1


if __name__ == "__main__":
    sys.exit(main())
