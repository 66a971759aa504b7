"""Positions are held to the text itself: what stands at the place is what was asked for."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest

from quietcool.entry.positions import Path, positions
from tests.entry import small_rig


def leaves(node: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    if isinstance(node, dict | list):
        for key, value in node.items() if isinstance(node, dict) else enumerate(node):
            yield from leaves(value, (*path, key))
    else:
        yield path, node


@pytest.mark.parametrize("text", [small_rig.BUILD, *small_rig.SHEETS.values()], ids=lambda text: text[10:40])
def test_every_value_of_a_file_is_found(text: str) -> None:
    known, lines = positions(text), text.split("\n")
    for path, value in leaves(tomllib.loads(text)):
        line, column = known.values[path]
        printed = f'"{value}"' if isinstance(value, str) else str(value).lower()
        assert lines[line - 1][column - 1 :].startswith(printed), path


TRICKY = '''\
a.b = 1
"quoted key".'c d' = [ # comment
  10, # another
  { x = 2, y.z = 3 },
]
"esc\\u0061ped" = 5
[t]
é = "nö" # wörds
u = """
x""" # after a text of two lines
v = [[1, 2], [3]]
[[list]]
k = 1
[list.sub]
k = 2
[[list.inner]]
k = 3
[[list.inner]]
k = 4
[[list]]
k = 5
[[list.inner]]
k = 6
'''.replace("é", '"é"')


@pytest.mark.parametrize(
    ("path", "place"),
    [
        (("a", "b"), (1, 7)),
        (("quoted key", "c d", 0), (3, 3)),
        (("quoted key", "c d", 1, "x"), (4, 9)),
        (("quoted key", "c d", 1, "y", "z"), (4, 18)),
        (("escaped",), (6, 18)),
        (("t", "é"), (8, 7)),
        (("t", "v", 1, 0), (11, 15)),
        (("list",), (12, 1)),
        (("list", 0), (12, 1)),
        (("list", 0, "sub", "k"), (15, 5)),
        (("list", 0, "inner", 1, "k"), (19, 5)),
        (("list", 1), (20, 1)),
        (("list", 1, "inner", 0, "k"), (23, 5)),
    ],
)
def test_tricky_places(path: Path, place: tuple[int, int]) -> None:
    assert positions(TRICKY).values[path] == place


def test_a_missing_value_is_looked_for_in_the_table_around_it() -> None:
    known = positions(TRICKY)

    assert known.find(("list", 1, "inner", 0, "missing")) == (22, 1)
    assert known.find(("nowhere",)) == (1, 1)


def test_a_wrong_key_has_a_place_of_its_own() -> None:
    assert positions(TRICKY).find(("t", "v"), key=True) == (11, 1)
