"""Part sheets: found inside the build's own folder tree, read, checked, and turned into records."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeAlias

from pydantic import ValidationError

from quietcool.entry import guards
from quietcool.entry.build import Fan, Plate, Pump, Radiator, Resistance
from quietcool.entry.convert_parts import PartError, fan_of, plate_of, pump_of, resistance_of
from quietcool.entry.convert_radiators import radiator_of
from quietcool.entry.measures import NAME
from quietcool.entry.mistakes import Complaint, complaints_of, described, nearest
from quietcool.entry.radiators import RadiatorSheet
from quietcool.entry.sheets import FanSheet, PlateSheet, PumpSheet, ResistanceSheet, Sheet
from quietcool.units import shown

Part: TypeAlias = Fan | Radiator | Plate | Pump | Resistance

SHEETS: Mapping[str, type[Sheet]] = {
    "fan": FanSheet,
    "radiator": RadiatorSheet,
    "plate": PlateSheet,
    "pump": PumpSheet,
    "resistance": ResistanceSheet,
}

RECORDS: Mapping[type[Sheet], Callable[[Any], Part]] = {
    FanSheet: fan_of,
    RadiatorSheet: radiator_of,
    PlateSheet: plate_of,
    PumpSheet: pump_of,
    ResistanceSheet: resistance_of,
}

MOST_PARTS = 200
MOST_ENTRIES = 20_000  # of a folder: beyond, somebody pointed at the wrong one


@dataclass
class Shelf:
    """All parts that a build can name."""

    parts: dict[str, Part] = field(default_factory=dict)
    sheets: dict[str, Sheet] = field(default_factory=dict)
    kinds: dict[str, str] = field(default_factory=dict)  # by name, sheets with mistakes included
    documents: list[guards.Document] = field(default_factory=list)
    hashes: dict[str, str] = field(default_factory=dict)  # SHA-256 by path relative to the build's folder
    complaints: list[Complaint] = field(default_factory=list)  # about the build file's `parts`
    unclear: set[str] = field(default_factory=set)  # likely names of sheets whose name or kind cannot be read
    complete: bool = True  # False where a folder could not be read whole

    def names(self, kind: str) -> list[str]:
        """Names of all parts of a kind."""
        return [name for name, known in self.kinds.items() if known == kind]


def read_shelf(folders: list[Any], build_file: Path, shown_folder: Path) -> Shelf:
    """Read every sheet of the folders; what is wrong with a sheet stands in its document."""
    shelf = Shelf()
    home = build_file.parent
    seen: set[Path] = set()
    size = 0
    for i, entered in enumerate(folders):
        folder = _folder(entered, i, home, seen, shelf)
        for path in _sheet_files(folder, i, shelf) if folder is not None else ():
            if path == build_file or path in seen:
                continue
            seen.add(path)
            relative = os.path.relpath(path, home)
            if len(shelf.documents) == MOST_PARTS or size > guards.LARGEST_SUM:
                limit = f"at most {MOST_PARTS} part sheets of {guards.LARGEST_SUM // 10**6} MB together"
                shelf.complaints.append(Complaint(("parts", i), limit, "more", "keep the parts of this rig only"))
                shelf.complete = False
                return shelf
            document = _document(path, home, str(shown_folder / relative))
            size += document.size
            if document.tree is not None and _is_build_file(document.tree):
                continue
            shelf.documents.append(document)
            if document.sha256:
                shelf.hashes[Path(relative).as_posix()] = document.sha256
            _read_sheet(document, shelf)
    return shelf


def _folder(entered: Any, i: int, home: Path, seen: set[Path], shelf: Shelf) -> Path | None:
    """Return the folder that an entry of `parts` names, or complain."""
    required = "a folder inside the build file's own folder tree"
    if not isinstance(entered, str):
        shelf.complete = False  # the keys say so too
        return None
    advice = 'move the sheets below the build file and name the folder, such as "parts"'
    problem = "a path that leads out of it" if Path(entered).is_absolute() or ".." in Path(entered).parts else ""
    folder = None
    if not problem:
        try:
            folder = guards.inside(home / entered, home)
            problem = "a link that leads out of it" if folder is None else "" if folder.is_dir() else "no folder"
        except OSError as error:
            problem = (error.strerror or "no such place").lower()
    if folder in seen:
        problem = "the same folder again"
        advice = "name each folder once"
    if folder is None or problem:
        shelf.complaints.append(Complaint(("parts", i), required, f"{shown(entered)}: {problem}", advice))
        shelf.complete = False
        return None
    seen.add(folder)
    return folder


def _sheet_files(folder: Path, i: int, shelf: Shelf) -> Iterator[Path]:
    """Yield what ends in .toml in a folder, sorted."""
    names = []
    try:
        with os.scandir(folder) as entries:
            for count, entry in enumerate(entries):
                if count == MOST_ENTRIES:
                    found = f"more than {MOST_ENTRIES} files"
                    shelf.complaints.append(
                        Complaint(("parts", i), "a folder of part sheets", found, "name a smaller one")
                    )
                    shelf.complete = False
                    break
                if entry.name.endswith(".toml") and not entry.name.startswith("."):
                    names.append(entry.name)
    except OSError as error:
        reason = (error.strerror or "an error").lower()
        shelf.complaints.append(Complaint(("parts", i), "a folder that can be read", reason, "check its permissions"))
        shelf.complete = False
    return (folder / name for name in sorted(names))


def _document(path: Path, home: Path, shown_as: str) -> guards.Document:
    """Read a sheet unless it is a link out of the tree."""
    problem = ""
    try:
        target = guards.inside(path, home)
        problem = "a link that leads out of it" if target is None else ""
    except OSError as error:
        problem = (error.strerror or "a link to nothing").lower()
    if problem:
        document = guards.Document(shown_as)
        document.refuse("a file inside the build file's own folder tree", problem, "put the file itself there")
        return document
    return guards.read_document(path, shown_as)


def _is_build_file(tree: dict[str, Any]) -> bool:
    """Tell whether a file beside the sheets is another build, which a folder of small builds may hold."""
    return "kind" not in tree and "loop" in tree and "room" in tree


def _read_sheet(document: guards.Document, shelf: Shelf) -> None:
    """Check one sheet and put it on the shelf."""
    tree = document.tree
    name, kind = (tree.get("name"), tree.get("kind")) if tree is not None else (None, None)
    if tree is None:
        shelf.unclear.add(Path(document.shown_as).stem)
        return
    named = isinstance(name, str) and bool(NAME.match(name))
    if not isinstance(kind, str) or kind not in SHEETS:
        shelf.unclear |= {Path(document.shown_as).stem, str(name)}
        found = described(kind) if "kind" in tree else "no such key"
        kinds = ", ".join(f'"{known}"' for known in SHEETS)
        advice = nearest(str(kind), SHEETS, "write one of these") if "kind" in tree else "add it"
        document.complaints.append(Complaint(("kind",), f"one of {kinds}", found, advice))
        return
    if not named:
        shelf.unclear.add(Path(document.shown_as).stem)
    elif name in shelf.kinds:
        first = next(d.shown_as for d in shelf.documents if d.tree is not None and d.tree.get("name") == name)
        advice = f"rename this part or the one in {first}"
        document.complaints.append(Complaint(("name",), "a name of its own", f"{shown(name)} twice", advice))
        return
    if named:
        shelf.kinds[str(name)] = kind
    _check_sheet(document, tree, SHEETS[kind], shelf)


def _check_sheet(document: guards.Document, tree: dict[str, Any], model: type[Sheet], shelf: Shelf) -> None:
    try:
        sheet = model.model_validate(tree)
    except ValidationError as error:
        document.complaints.extend(complaints_of(error, tree, model))
        return
    try:
        shelf.parts[sheet.name] = RECORDS[model](sheet)
    except PartError as error:
        document.complaints.extend(error.complaints)
        return
    shelf.sheets[sheet.name] = sheet
