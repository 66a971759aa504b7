"""The public names are listed once, sorted, and load from where the list says."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import quietcool

SOURCE = Path(quietcool.__file__)


def names_for_type_checkers() -> dict[str, str]:
    """Names imported under TYPE_CHECKING, with the module each comes from."""
    tree = ast.parse(SOURCE.read_text())
    block = next(node for node in tree.body if isinstance(node, ast.If))
    return {
        alias.name: str(node.module) for node in block.body if isinstance(node, ast.ImportFrom) for alias in node.names
    }


def test_the_list_is_sorted_and_short() -> None:
    assert quietcool.__all__ == sorted(quietcool.__all__)
    assert len(quietcool.__all__) <= 16


def test_the_list_the_homes_and_the_types_agree() -> None:
    assert set(quietcool.__all__) == {*quietcool._HOME, "__version__"}
    assert names_for_type_checkers() == quietcool._HOME


@pytest.mark.parametrize("name", quietcool.__all__)
def test_every_public_name_loads(name: str) -> None:
    assert getattr(quietcool, name) is not None
    assert name in dir(quietcool)


def test_an_unknown_name_is_refused() -> None:
    with pytest.raises(AttributeError, match="read_builds"):
        quietcool.read_builds  # noqa: B018  (the look-up is the test)
