"""Numbers that come in single precision are worked on in double precision.

IEEE 754-2019: each number of binary32 is one of binary64. A formula that converts its arguments to binary64 must
therefore come to the same for both. The arguments are those of the formulas' own examples.
"""

from __future__ import annotations

import ast
import doctest
import importlib
import pkgutil
from collections.abc import Iterator
from types import ModuleType
from typing import Any

import numpy as np
import pytest

import quietcool.physics

MODULES = [name for _, name, _ in pkgutil.iter_modules(quietcool.physics.__path__, "quietcool.physics.")]
AS_GIVEN = {  # these multiply before they convert, or leave it to who calls them in every refresh of the solver
    "core_pressure_drop", "fin_efficiency", "friction_developing", "nusselt_developing", "monotone_cubic",
    "pressure_curve", "fit_ua", "radiator_conductance", "perforated_sheet_loss_coefficient", "solve_small",
    "friction_factor_churchill_1977", "mass_flow_coefficients", "opening_mass_flow_coefficient", "reynolds", "direct",
    "direct_and_reverberant", "reverberation_time_sabine", "power_level_at_speed", "power_level_from_surface_level",
}  # fmt: skip
EXACT = 1e-10  # relative; single precision would be 6e-8


def single(value: Any) -> Any:
    """The same in single precision, where it is made of fractions."""
    if isinstance(value, float) or (isinstance(value, np.ndarray) and value.dtype == np.float64):
        return np.asarray(value, np.float32)
    if isinstance(value, list) and value and all(isinstance(one, float) for one in value):
        return np.asarray(value, np.float32)
    return value


def double(value: Any) -> Any:
    """What `single` makes of it, written in double precision."""
    kept = single(value)
    return np.asarray(kept, float) if kept is not value else value


def calls(module: ModuleType, example: str) -> Iterator[ast.Call]:
    """Calls of a module's own formulas in an example; those inside others' arguments are arguments."""

    def inside(node: ast.AST) -> Iterator[ast.Call]:
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            formula = getattr(module, node.func.id, None)
            if getattr(formula, "__module__", None) == module.__name__ and not isinstance(formula, type):
                yield node
                return
        if not isinstance(node, ast.GeneratorExp | ast.ListComp):  # their names are known inside only
            for child in ast.iter_child_nodes(node):
                yield from inside(child)

    yield from inside(ast.parse(example))


def flat(value: Any) -> list[Any]:
    if isinstance(value, tuple):
        return [part for one in value for part in flat(one)]
    if hasattr(value, "__dataclass_fields__"):
        return [part for name in value.__dataclass_fields__ for part in flat(getattr(value, name))]
    return [value]


def compared(module: ModuleType) -> Iterator[tuple[str, str, list[Any], list[Any]]]:
    """Formula, call, and what it comes to with arguments of single precision and with the same in double."""
    for test in doctest.DocTestFinder(exclude_empty=True).find(module, module.__name__):
        names = dict(test.globs)
        for example in test.examples:
            for call in calls(module, example.source):
                formula = ast.unparse(call.func)
                places = [eval(ast.unparse(one), names) for one in call.args]
                words = {str(one.arg): eval(ast.unparse(one.value), names) for one in call.keywords}
                one, other = (
                    flat(names[formula](*map(as_, places), **{word: as_(value) for word, value in words.items()}))
                    for as_ in (single, double)
                )
                yield formula, ast.unparse(call), one, other
            exec(example.source, names)


def agree(one: Any, other: Any) -> bool:
    if not isinstance(other, float | np.ndarray):
        return True
    same = np.asarray(one).dtype == np.asarray(other).dtype
    return same and np.allclose(one, other, rtol=EXACT, atol=1e-13, equal_nan=True)


@pytest.mark.parametrize("name", MODULES)
def test_single_precision_comes_to_the_same(name: str) -> None:
    for formula, call, single_, double_ in compared(importlib.import_module(name)):
        held = all(agree(one, other) for one, other in zip(single_, double_, strict=True))
        assert held or formula in AS_GIVEN, call


def test_most_formulas_are_compared() -> None:
    found = {formula for name in MODULES for formula, *_ in compared(importlib.import_module(name))}
    assert len(found) > 90
    assert found >= AS_GIVEN
