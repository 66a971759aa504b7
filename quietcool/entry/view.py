"""What of a build file can be checked further although other parts of it are wrong.

Every table is validated on its own, so that a wrong number in one does not hide an unknown name in another.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from quietcool.entry.acoustic_tables import DoorTable, NoiseSourceTable, OtherRoomTable, PositionTable
from quietcool.entry.measures import LONGEST_LIST
from quietcool.entry.mistakes import Complaint, complaints_of
from quietcool.entry.tables import (
    AirPathTable,
    BuildTable,
    EnclosureTable,
    FanGroupTable,
    LoopTable,
    RoomTable,
    SourceTable,
    StateTable,
)
from quietcool.entry.workshop_tables import ControllerTable

_Table = TypeVar("_Table", bound=BaseModel)

LISTS: Mapping[str, type[BaseModel]] = {
    "enclosure": EnclosureTable,
    "fan_group": FanGroupTable,
    "air_path": AirPathTable,
    "source": SourceTable,
    "position": PositionTable,
    "state": StateTable,
    "noise_source": NoiseSourceTable,
    "other_room": OtherRoomTable,
    "door": DoorTable,
}
SINGLES: Mapping[str, type[BaseModel]] = {"room": RoomTable, "loop": LoopTable, "controller": ControllerTable}


@dataclass
class View:
    """The tables of a build file that are valid by themselves."""

    tree: dict[str, Any]
    whole: BuildTable | None  # where everything is valid
    lists: dict[str, dict[int, BaseModel]] = field(default_factory=dict)
    singles: dict[str, BaseModel] = field(default_factory=dict)

    def items(self, key: str, model: type[_Table]) -> Iterator[tuple[int, _Table]]:
        """Valid tables of a list with their numbers."""
        return ((i, table) for i, table in self.lists[key].items() if isinstance(table, model))

    def single(self, key: str, model: type[_Table]) -> _Table | None:
        """Return the one table of that name where it is valid."""
        table = self.singles.get(key)
        return table if isinstance(table, model) else None

    def names(self, key: str) -> list[str]:
        """Names in a list, those of tables with mistakes included."""
        rows = self.tree.get(key, [])
        found = [row.get("name") for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []
        return [name for name in found if isinstance(name, str)]

    def complete(self, *keys: str) -> bool:
        """Whether all tables of these lists are valid, so that what is missing is truly missing."""
        rows = {key: self.tree.get(key, []) for key in keys}
        return all(isinstance(row, list) and len(self.lists[key]) == len(row) for key, row in rows.items())


def view_of(tree: dict[str, Any]) -> tuple[View, list[Complaint]]:
    """Return what is valid, and complaints about what is not."""
    try:
        whole = BuildTable.model_validate(tree)
    except ValidationError as error:
        return _partial(tree), complaints_of(error, tree, BuildTable)
    view = View(tree, whole)
    view.lists = {key: dict(enumerate(getattr(whole, key))) for key in LISTS}
    view.singles = {key: getattr(whole, key) for key in SINGLES}
    return view, []


def _partial(tree: dict[str, Any]) -> View:
    view = View(tree, None)
    for key, model in LISTS.items():
        rows = tree.get(key, [])
        tables = enumerate(rows[:LONGEST_LIST] if isinstance(rows, list) else [])
        view.lists[key] = {i: table for i, row in tables if (table := _valid(model, row)) is not None}
    for key, model in SINGLES.items():
        table = _valid(model, tree.get(key))
        if table is not None:
            view.singles[key] = table
    return view


def _valid(model: type[BaseModel], row: Any) -> BaseModel | None:
    try:
        return model.model_validate(row)
    except ValidationError:
        return None
