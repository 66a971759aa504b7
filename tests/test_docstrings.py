"""The docstring of a formula is its data sheet: arguments, units, sources and a running example, read by machine."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable
from types import ModuleType
from typing import Any

import pytest

import quietcool
import quietcool.physics

HEADING = re.compile(r"^(\w[\w ]*)\n-{3,}$", re.MULTILINE)
ENTRY = re.compile(r"^(\*{0,2}\w[\w, *]*?) ?: (.+)$", re.MULTILINE)
UNIT = re.compile(r"\[[^\]]+\]")
UNITLESS = re.compile(r"^(sequence of )?(int|str|bool|callable|\{|[A-Z]\w*)")  # counts, names, switches, records
NO_SOURCE = re.compile(r"no source|by definition|no reference needed", re.IGNORECASE)


def modules() -> list[ModuleType]:
    names = (found.name for found in pkgutil.walk_packages(quietcool.physics.__path__, "quietcool.physics."))
    return [importlib.import_module(name) for name in names]


def public_functions(module: ModuleType) -> list[tuple[str, Callable[..., Any]]]:
    """Functions that a module defines itself and does not hide."""
    return [
        (name, function)
        for name, function in inspect.getmembers(module, inspect.isfunction)
        if function.__module__ == module.__name__ and not name.startswith("_")
    ]


FUNCTIONS = [
    pytest.param(function, id=f"{module.__name__.rpartition('.')[2]}.{name}")
    for module in modules()
    for name, function in public_functions(module)
]


def sections(docstring: str) -> dict[str, str]:
    """Sections of a numpy-style docstring by heading; what stands before the first is under ""."""
    parts = HEADING.split(inspect.cleandoc(docstring))
    return {"": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}


def documented(section: str) -> list[tuple[str, str, str]]:
    """Name, type and description of every argument of a Parameters section, in order; `a, b : float` counts twice."""
    parts = ENTRY.split(section)
    return [
        (name.strip(" *"), kind, text)
        for names, kind, text in zip(parts[1::3], parts[2::3], parts[3::3], strict=True)
        for name in names.split(",")
    ]


def faults(function: Callable[..., Any]) -> list[str]:
    """What is missing from a data sheet."""
    found = sections(function.__doc__ or "")
    entries = documented(found.get("Parameters", ""))
    faults = []
    if [name for name, _, _ in entries] != list(inspect.signature(function).parameters):
        faults.append(f"Parameters lists {[name for name, _, _ in entries]}")
    faults += [f"{name} has no unit" for name, kind, text in entries if not (UNITLESS.match(kind) or UNIT.search(text))]
    returns = found.get("Returns", "").strip()
    if not (UNIT.search(returns) or re.fullmatch(r"(list of )?[A-Z]\w*(\n\s+.*)?", returns, re.DOTALL)):
        faults.append("Returns has no unit and names no record")
    if not found.get("References", "").strip() and not NO_SOURCE.search(function.__doc__ or ""):
        faults.append("no References and no reason for having none")
    if ">>>" not in found.get("Examples", ""):
        faults.append("no example that runs")
    return faults


@pytest.mark.parametrize("function", FUNCTIONS)
def test_a_formula_has_its_data_sheet(function: Callable[..., Any]) -> None:
    assert faults(function) == []


@pytest.mark.parametrize("function", FUNCTIONS)
def test_arguments_and_result_are_annotated(function: Callable[..., Any]) -> None:
    signature = inspect.signature(function)
    named = {**{name: p.annotation for name, p in signature.parameters.items()}, "return": signature.return_annotation}
    assert [name for name, annotation in named.items() if annotation is inspect.Signature.empty] == []


def test_fields_of_results_say_their_unit() -> None:
    missing = []
    for module in modules():
        for _, record in inspect.getmembers(module, inspect.isclass):
            if record.__module__ == module.__name__ and issubclass(record, tuple):
                lines = inspect.getsource(record).splitlines()
                fields = [
                    line for line in lines if re.match(r" {4}\w+: .*(Floats|NDArray\[np\.float64\]|float)\b", line)
                ]
                missing += [
                    f"{record.__name__}: {line.strip()}" for line in fields if not UNIT.search(line.partition("#")[2])
                ]
    assert missing == []


def complete(speed: float, count: int) -> float:
    """Speed of many.

    Parameters
    ----------
    speed : float
        Speed of one. [rev/s]
    count : int
        How many.

    Returns
    -------
    float
        Speed of all. [rev/s]

    References
    ----------
    .. [1] This function is here to be spoiled below; no source.

    Examples
    --------
    >>> complete(2.0, 3)
    6.0
    """
    return speed * count


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (("speed : float", "pace : float"), "Parameters lists"),
        (("of one. [rev/s]", "of one."), "speed has no unit"),
        (("of all. [rev/s]", "of all."), "Returns has no unit"),
        (
            ("References\n    ----------\n    .. [1] This function is here to be spoiled below; no source.", ""),
            "References",
        ),
        ((">>>", ">"), "example"),
    ],
)
def test_an_incomplete_data_sheet_is_seen(spoil: tuple[str, str], said: str) -> None:
    def spoiled(speed: float, count: int) -> float:
        return speed * count

    assert faults(complete) == []
    assert complete.__doc__
    assert spoil[0] in complete.__doc__
    spoiled.__doc__ = complete.__doc__.replace(*spoil)
    assert [said in fault for fault in faults(spoiled)] == [True]


# --- the rest of the package: what a docstring says of arguments is true ----------------------------------------------


def every_module() -> list[ModuleType]:
    """All modules but the door, which would run."""
    found = pkgutil.walk_packages(quietcool.__path__, "quietcool.")
    return [importlib.import_module(one.name) for one in found if not one.name.endswith("__main__")]


def documented_functions() -> list[Any]:
    """Public functions and methods outside physics whose docstring lists arguments."""
    found = []
    for module in every_module():
        owners = [(module.__name__, module)]
        owners += [
            (f"{module.__name__}.{name}", owner)
            for name, owner in inspect.getmembers(module, inspect.isclass)
            if owner.__module__ == module.__name__ and not name.startswith("_")
        ]
        for place, owner in owners:
            for name, function in inspect.getmembers(owner, inspect.isfunction):
                mine = function.__module__ == module.__name__ and not name.startswith("_")
                if mine and "Parameters\n" in (function.__doc__ or ""):
                    found.append(pytest.param(function, id=f"{place.removeprefix('quietcool.')}.{name}"))
    return found


@pytest.mark.parametrize("function", documented_functions())
def test_listed_arguments_are_those_of_the_signature(function: Callable[..., Any]) -> None:
    """Both ways: none is left out, none is invented."""
    section = sections(function.__doc__ or "")["Parameters"]
    heads = [line.split(" : ")[0] for line in section.splitlines() if line and not line[0].isspace()]
    listed = [name.strip(" *") for head in heads for name in head.split(",")]
    assert sorted(listed) == sorted(name for name in inspect.signature(function).parameters if name != "self")


def test_every_public_name_has_a_complete_docstring() -> None:
    """Functions that `import quietcool` offers list all their arguments, what they return and what they raise."""
    lacking = []
    for name in quietcool.__all__:
        offered = getattr(quietcool, name)
        if inspect.isfunction(offered):
            found = sections(offered.__doc__ or "")
            wanted = {"Returns"} | ({"Parameters"} if inspect.signature(offered).parameters else set())
            lacking += [f"{name}: {heading}" for heading in sorted(wanted - found.keys())]
        elif not (inspect.getdoc(offered) or isinstance(offered, str)):
            lacking.append(name)
    assert lacking == []


def test_every_public_function_says_what_it_does() -> None:
    lacking = [
        f"{module.__name__}.{name}"
        for module in every_module()
        for name, function in public_functions(module)
        if not (function.__doc__ or "").strip().split("\n")[0].endswith((".", ":"))
    ]
    assert lacking == []
