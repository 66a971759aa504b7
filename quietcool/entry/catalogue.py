"""Reads a catalogue with its part sheets: what may be bought for the places of a rig, and the rules."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from quietcool.entry.build import Build, Fan, Radiator
from quietcool.entry.catalogue_records import Catalogue, Place
from quietcool.entry.choice_tables import CatalogueTable, PlaceTable
from quietcool.entry.guards import read_document
from quietcool.entry.ledger import entries
from quietcool.entry.mistakes import Complaint, complaints_of, located
from quietcool.entry.parts import Shelf, read_shelf
from quietcool.entry.sense import duplicates, part, unknown
from quietcool.errors import InputError
from quietcool.units import shown


def read_catalogue(path: str | os.PathLike[str], build: Build) -> Catalogue:
    """Read a catalogue for a rig.

    Parameters
    ----------
    path : path of the TOML file
        Part sheets are searched in its `parts` folders, inside its own folder tree only.
    build : Build
        The rig whose places it names.

    Returns
    -------
    Catalogue
        In SI, with the SHA-256 of every file read.

    Raises
    ------
    InputError
        With every mistake of all these files, each with its place, what is required, what was found, what to do.
    """
    name = os.fspath(path)
    document = read_document(Path(name), name)
    if document.tree is None:
        raise InputError(located(document.complaints, document.shown_as, document.text, document.tree))
    home = Path(name).resolve()
    folders = document.tree.get("parts")
    shelf = read_shelf(folders if isinstance(folders, list) else [], home, Path(name).parent)
    shelf.complete &= isinstance(folders, list) and len(folders) > 0
    document.complaints += shelf.complaints
    table: CatalogueTable | None = None
    try:
        table = CatalogueTable.model_validate(document.tree)
    except ValidationError as error:
        document.complaints += complaints_of(error, document.tree, CatalogueTable)
    if table is not None:
        document.complaints += _nonsense(table, build, shelf)
    every = (document, *shelf.documents)
    mistakes = [m for one in every for m in located(one.complaints, one.shown_as, one.text, one.tree)]
    if mistakes or table is None:
        raise InputError(mistakes)
    budget = None if table.budget is None else table.budget.value
    places = tuple(_place(one, shelf) for one in table.place)
    inputs = {home.name: document.sha256, **shelf.hashes}
    ledger = tuple(entry for sheet in sorted(shelf.sheets) for entry in entries(shelf.sheets[sheet], sheet))
    return Catalogue(places, table.title, name, budget, table.most_fan_models, inputs, ledger)


def catalogue_schema() -> dict[str, Any]:
    """Return the JSON Schema of catalogues; key descriptions are the users' table of keys."""
    schema = CatalogueTable.model_json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": "quietcool catalogue"}


def _nonsense(table: CatalogueTable, build: Build, shelf: Shelf) -> Iterator[Complaint]:
    """Places that are not those of the rig, twice the same, or whose fans are not their own; parts without sheets."""
    yield from duplicates(((("place", i, "path"), one.path) for i, one in enumerate(table.place)), "places")
    cooled = {path.name for path in build.air_paths if path.core is not None}
    for i, one in enumerate(table.place):
        if one.path not in cooled:
            advice = "name one of them"
            yield unknown(("place", i, "path"), one.path, cooled, "an air path of the build with a radiator", advice)
        else:
            yield from _shared_fans(("place", i, "path"), one.path, build)
        for key, kind, names in (("radiators", "radiator", one.radiators), ("fans", "fan", one.fans)):
            for k, name in enumerate(names or []):
                yield from part(("place", i, key, k), name, kind, shelf)
            if names is None and shelf.complete and not shelf.names(kind):
                required = f"at least one {kind} sheet in the folders of parts"
                yield Complaint(("place", i), required, "none", "add one, or name another folder")


def _shared_fans(at: tuple[str | int, ...], name: str, build: Build) -> Iterator[Complaint]:
    path = next(one for one in build.air_paths if one.name == name)
    groups = {row.group for row in path.fan_rows}
    others = {row.group for other in build.air_paths if other.name != name for row in other.fan_rows}
    if len(groups) != 1 or groups & others:
        found = f"{shown(name)}, driven by {', '.join(sorted(groups)) or 'no fans'}"
        yield Complaint(at, "an air path with one fan group that drives nothing else", found,
                        "give its fans a group of their own in the build file")  # fmt: skip


def _place(table: PlaceTable, shelf: Shelf) -> Place:
    radiators = [shelf.parts[name] for name in table.radiators or sorted(shelf.names("radiator"))]
    fans = [shelf.parts[name] for name in table.fans or sorted(shelf.names("fan"))]
    return Place(
        table.path,
        tuple(dict.fromkeys(one for one in radiators if isinstance(one, Radiator))),
        tuple(dict.fromkeys(one for one in fans if isinstance(one, Fan))),
        tuple(dict.fromkeys(table.layouts)),
    )
