"""Reads a build file with its part sheets: the one door from files to a `Build`."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from quietcool.entry.build import Build, Entered, Radiator
from quietcool.entry.convert import build_of
from quietcool.entry.convert_radiators import estimated_entries
from quietcool.entry.findings import Finding, check_build
from quietcool.entry.guards import Document, read_document
from quietcool.entry.ledger import entries
from quietcool.entry.mistakes import located
from quietcool.entry.parts import SHEETS, Shelf, read_shelf
from quietcool.entry.radiators import RadiatorSheet
from quietcool.entry.ring import check_ring
from quietcool.entry.sense import check_pump, check_sense
from quietcool.entry.tables import BuildTable, LoopTable
from quietcool.entry.view import view_of
from quietcool.errors import InputError, Mistake

__all__ = ["Finding", "build_file_schema", "check_build", "read_build", "sheet_schema"]


def read_build(path: str | os.PathLike[str]) -> Build:
    """Read a build file and the part sheets it can name.

    Parameters
    ----------
    path : path of the TOML file
        Part sheets are searched in its `parts` folders, inside its own folder tree only.

    Returns
    -------
    Build
        In SI, with a ledger of every number and the SHA-256 of every file read.

    Raises
    ------
    InputError
        With every mistake of all these files, each with its place, what is required, what was found, what to do.
    """
    shown = os.fspath(path)
    document = read_document(Path(shown), shown)
    if document.tree is None:
        raise InputError(_mistakes(document))
    home = Path(shown).resolve()
    view, complaints = view_of(document.tree)
    folders = document.tree.get("parts")
    shelf = read_shelf(folders if isinstance(folders, list) else [], home, Path(shown).parent)
    shelf.complete &= isinstance(folders, list) and len(folders) > 0  # else every part would be unknown
    complaints += [*shelf.complaints, *check_sense(view, shelf)]
    loop = view.single("loop", LoopTable)
    if loop is not None:
        complaints += [*check_pump(loop, view, shelf), *check_ring(loop, view, shelf)]
    document.complaints += complaints
    mistakes = [mistake for each in (document, *shelf.documents) for mistake in _mistakes(each)]
    if mistakes or view.whole is None:
        raise InputError(mistakes)
    return _finished(view.whole, shelf, document, home)


def _mistakes(document: Document) -> list[Mistake]:
    return located(document.complaints, document.shown_as, document.text, document.tree)


def _finished(table: BuildTable, shelf: Shelf, document: Document, home: Path) -> Build:
    build = build_of(table, shelf)
    inputs = {home.name: document.sha256, **shelf.hashes}
    return replace(build, ledger=tuple(_ledger(table, shelf)), inputs=inputs)


def _ledger(table: BuildTable, shelf: Shelf) -> Iterator[Entered]:
    yield from entries(table, "build")
    for name in sorted(shelf.sheets):
        sheet, part = shelf.sheets[name], shelf.parts[name]
        yield from entries(sheet, name)
        if isinstance(sheet, RadiatorSheet) and isinstance(part, Radiator):
            yield from estimated_entries(sheet, part)


def build_file_schema() -> dict[str, Any]:
    """Return the JSON Schema of build files; key descriptions are the users' table of keys."""
    return _schema(BuildTable.model_json_schema(), "quietcool build file")


def sheet_schema(kind: str) -> dict[str, Any]:
    """Return the JSON Schema of part sheets of a kind; KeyError names the kinds there are."""
    if kind not in SHEETS:
        raise KeyError(f"no part is a {kind!r}; there are {', '.join(SHEETS)}")
    return _schema(SHEETS[kind].model_json_schema(), f"quietcool {kind} sheet")


def _schema(schema: dict[str, Any], title: str) -> dict[str, Any]:
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": title}
