"""The ledger of a build: every number of its files with its print, origin and tolerance."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel

from quietcool.entry.build import Entered
from quietcool.entry.measures import Quantity
from quietcool.entry.sheets import DEFAULT_TOLERANCE, Block

#: Keys that steer the reading and are no numbers of the rig.
_SILENT = {"format", "tolerance_percent", "tolerance_db"}


def entries(table: BaseModel, file: str) -> Iterator[Entered]:
    """Yield an entry for every number of a file, in the order of its keys.

    Numbers of a build file were entered by somebody and have no tolerance. Numbers of a sheet's block take the
    tolerance of the block where they are one of its results; conditions (the speed of a curve, the distance of a
    level) and exponents take none. A default counts as an estimate.
    """
    yield from _walk(table, f"{file}: ", None)


def _walk(node: Any, place: str, block: Block | None, *, default: bool = False) -> Iterator[Entered]:
    if isinstance(node, Quantity):
        yield _entry(node, place, block, default)
    elif isinstance(node, int) and not isinstance(node, bool):
        yield Entered(place, str(node), float(node), "1", "default" if default else _origin(block), None)
    elif isinstance(node, BaseModel):
        yield from _walk_table(node, place, node if isinstance(node, Block) else block, default)
    elif isinstance(node, dict):
        for key, value in node.items():
            yield from _walk(value, f"{place}.{key}", block, default=default)
    elif isinstance(node, list | tuple):
        for i, item in enumerate(node, start=1):
            name = getattr(item, "name", i)
            yield from _walk(item, f"{place}[{name}]", block, default=default)


def _walk_table(table: BaseModel, place: str, block: Block | None, default: bool) -> Iterator[Entered]:
    dot = "" if place.endswith(": ") else "."
    fields = {name: field.alias or name for name, field in type(table).model_fields.items()}
    for name, key in fields.items():
        if key not in _SILENT:
            unset = default or name not in table.model_fields_set
            yield from _walk(getattr(table, name), f"{place}{dot}{key}", block, default=unset)
    for key, value in (table.__pydantic_extra__ or {}).items():
        yield from _walk(value, f"{place}{dot}{key}", block)


def _origin(block: Block | None) -> str:
    return block.origin if block is not None else "entered"


def _entry(quantity: Quantity, place: str, block: Block | None, default: bool) -> Entered:
    origin = "default" if default else _origin(block)
    tolerance = None
    if block is not None and quantity.spread:
        known = DEFAULT_TOLERANCE["estimate" if default else block.origin]
        stated = getattr(block, "tolerance_percent" if quantity.spread == "relative" else "tolerance_db", None)
        tolerance = known[0 if quantity.spread == "relative" else 1]
        if stated is not None and not default:
            tolerance = stated.value
    return Entered(
        place,
        quantity.printed,
        quantity.value,
        quantity.si,
        origin,
        tolerance,
        quantity.spread if tolerance is not None else "",
    )
