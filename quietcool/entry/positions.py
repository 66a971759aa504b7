"""Where in a TOML file each value and key stands; loaded only when there is a mistake to print."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from tree_sitter import Node

Path: TypeAlias = tuple[str | int, ...]  # ("air_path", 0, "stack", 2, "count")
Place: TypeAlias = tuple[int, int]  # line and column, both from 1


@dataclass
class Positions:
    """Places of values and of keys by their path from the top of the file."""

    values: dict[Path, Place] = field(default_factory=dict)
    keys: dict[Path, Place] = field(default_factory=dict)
    counts: dict[Path, int] = field(default_factory=dict)  # tables so far of an array of tables

    def find(self, path: Path, *, key: bool = False) -> Place:
        """Place of a value (or of its key), or of the nearest table around it."""
        for length in range(len(path), 0, -1):
            known = self.keys if key and length == len(path) else self.values
            if path[:length] in known:
                return known[path[:length]]
        return 1, 1


def positions(text: str) -> Positions:
    """Return where everything stands in a text that is valid TOML."""
    from tree_sitter import Language, Parser  # 40 ms that a file without mistakes need not spend
    from tree_sitter_toml import language

    found = Positions()
    lines = text.split("\n")
    root = Parser(Language(language())).parse(text.encode()).root_node
    for node in root.named_children:
        if node.type == "pair":
            _pair(node, (), found, lines)
        elif node.type in ("table", "table_array_element"):
            _table(node, found, lines)
    return found


def _table(node: Node, found: Positions, lines: list[str]) -> None:
    keys = _key(next(_children(node)))
    if node.type == "table":
        path = _expand(keys, found.counts)
    else:
        base = (*_expand(keys[:-1], found.counts), keys[-1])
        found.counts[base] = found.counts.get(base, -1) + 1
        found.values.setdefault(base, _place(node, lines))
        path = (*base, found.counts[base])
    found.values[path] = _place(node, lines)
    for length in range(1, len(path) + 1):
        found.keys.setdefault(path[:length], _place(node, lines))
    for pair in _pairs(node):
        _pair(pair, path, found, lines)


def _pair(node: Node, base: Path, found: Positions, lines: list[str]) -> None:
    key, value = list(_children(node))[:2]
    path = (*base, *_key(key))
    for length in range(len(base) + 1, len(path) + 1):  # a dotted key makes the tables on its way
        found.keys.setdefault(path[:length], _place(key, lines))
        found.values.setdefault(path[:length], _place(key, lines))
    found.values[path] = _place(value, lines)
    _value(value, path, found, lines)


def _value(node: Node, path: Path, found: Positions, lines: list[str]) -> None:
    if node.type == "array":
        for i, item in enumerate(_children(node)):
            found.values[(*path, i)] = _place(item, lines)
            _value(item, (*path, i), found, lines)
    elif node.type == "inline_table":
        for pair in _pairs(node):
            _pair(pair, path, found, lines)


def _pairs(node: Node) -> Iterator[Node]:
    return (child for child in node.named_children if child.type == "pair")


def _children(node: Node) -> Iterator[Node]:
    return (child for child in node.named_children if child.type != "comment")


def _place(node: Node, lines: list[str]) -> Place:
    row, column = node.start_point
    return row + 1, len(lines[row].encode()[:column].decode(errors="replace")) + 1


def _key(node: Node) -> list[str]:
    if node.type == "dotted_key":
        return [part for child in _children(node) for part in _key(child)]
    text = (node.text or b"").decode()
    return [text] if node.type == "bare_key" else [next(iter(tomllib.loads(f"{text} = 0")))]


def _expand(keys: list[str], counts: dict[Path, int]) -> Path:
    """Put the number of the table that is meant behind each array of tables."""
    path: Path = ()
    for key in keys:
        path = (*path, key)
        if path in counts:
            path = (*path, counts[path])
    return path
