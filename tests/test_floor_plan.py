"""Every import inside the package goes down the floor plan, never up or sideways."""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "quietcool"

FLOORS = [  # ground floor first; rooms of one floor do not see each other
    {"errors", "units"},
    {"physics"},
    {"entry"},
    {"solve"},
    {"decide", "prove"},
    {"show"},
    {"verbs"},
    {"cli"},
    {"__init__", "__main__"},
]
FLOOR = {name: level for level, names in enumerate(FLOORS) for name in names}
CORE = {"physics", "entry", "solve", "decide", "prove"}
FOREIGN_TO_PHYSICS = {"plotly", "cvxpy", "pandas", "pydantic", "rich", "typer", "logging", "pathlib", "tomllib"}


def room(path: Path) -> str:
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def imports_of(tree: ast.AST, package: str = "") -> Iterator[str]:
    """Full names that a module imports, wherever in the module the import stands."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        if isinstance(node, ast.ImportFrom):
            if node.level:
                yield f"relative import in {package}"
            else:
                yield from (f"{node.module}.{alias.name}" for alias in node.names)


def faults(tree: ast.AST, here: str, module: str = "") -> list[str]:
    """What a module of room `here` imports against the plan."""
    found = []
    for name in imports_of(tree, module):
        top, _, rest = name.partition(".")
        there = rest.split(".")[0]
        if name.startswith("relative import"):
            found.append(name)
        elif top == "quietcool" and there != here and FLOOR.get(there, len(FLOORS)) >= FLOOR[here]:
            found.append(f"{here} must not import {name}")
        elif top == "quietcool" and here == there == "physics" and rest != f"physics.{module}":
            found.append(f"physics.{module} must not import {name}")
        elif here == "physics" and top in FOREIGN_TO_PHYSICS:
            found.append(f"physics.{module} must not import {top}")
        elif here in CORE and top in {"plotly", "rich", "typer"}:
            found.append(f"{here}, a part of the core, must not import {top}")
    return found


MODULES = sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", MODULES, ids=[str(path.relative_to(PACKAGE)) for path in MODULES])
def test_imports_go_down(path: Path) -> None:
    assert not faults(ast.parse(path.read_text()), room(path), path.stem)


@pytest.mark.parametrize(
    ("here", "module", "source"),
    [
        ("physics", "air", "from quietcool.entry.build import Build"),
        ("physics", "air", "from quietcool.physics.coolant import density"),
        ("physics", "air", "from quietcool.physics import coolant"),
        ("physics", "air", "import pandas"),
        ("solve", "heat", "import quietcool.decide.quietest"),
        ("solve", "heat", "from quietcool import read_build"),
        ("decide", "quietest", "from quietcool.prove.shop import anything"),
        ("decide", "quietest", "def late():\n    import plotly"),
        ("entry", "build", "from . import parts"),
        ("show", "report", "from quietcool.attic import anything"),
    ],
)
def test_the_plan_refuses(here: str, module: str, source: str) -> None:
    assert faults(ast.parse(source), here, module)


def test_modules_stay_in_known_rooms() -> None:
    assert {room(path) for path in MODULES} <= FLOOR.keys()


@pytest.mark.parametrize("path", MODULES, ids=[str(path.relative_to(PACKAGE)) for path in MODULES])
def test_modules_fit_a_sitting(path: Path) -> None:
    """House rule: a module has fewer than 400 lines, a function body fewer than 40."""
    text = path.read_text()
    long = []
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            body = node.body[1:] if ast.get_docstring(node) is not None else node.body
            lines = body[-1].end_lineno - body[0].lineno + 1 if body else 0
            if lines >= 40:
                long.append(f"{node.name} ({lines})")
    assert len(text.splitlines()) < 400, f"{path.name}: {len(text.splitlines())} lines"
    assert not long, f"{path.name}: {', '.join(long)}"


def test_no_print_in_the_core() -> None:
    callers = [
        path.name
        for path in MODULES
        if room(path) in CORE
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print"
    ]
    assert not callers


def test_only_declared_packages_are_imported() -> None:
    """A plain install must be able to import every module: what is imported is declared in pyproject.toml."""
    import tomllib

    project = tomllib.loads((PACKAGE.parent / "pyproject.toml").read_text())["project"]
    declared = {line.split()[0].replace("-", "_").lower() for line in project["dependencies"]}
    declared |= {"quietcool", "pydantic_core"}  # pydantic requires its core in one exact version
    for extra in ("images", "cluster"):  # imported where they are used; without them an error says what to install
        declared |= {name for line in project["optional-dependencies"][extra] for name in re.split(r"\W+", line)}
    imported = {name.split(".")[0] for path in MODULES for name in imports_of(ast.parse(path.read_text()))}
    assert imported - declared - set(sys.stdlib_module_names) == set()
