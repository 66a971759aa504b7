"""From what a check found to one sentence with its place.

A `Complaint` knows the path of keys from the top of its file. Line and column are looked up at the end, once per
file, so that a file without mistakes pays nothing.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ValidationError

from quietcool.entry.measures import REFUSED
from quietcool.entry.positions import Path, Positions, positions
from quietcool.errors import Mistake
from quietcool.units import clean, shown

LONGEST_WORDS = 1000  # characters of each part of a sentence
LONGEST_PATH = 4096
MOST_MISTAKES = 100  # printed per file: beyond, a person corrects and runs again


@dataclass(frozen=True)
class Complaint:
    """Something wrong at a path of one file."""

    path: Path
    required: str
    found: str
    advice: str
    key: bool = False  # the key itself is wrong, not its value
    line: int | None = None  # known already: the reader of the syntax said so
    column: int | None = None


def nearest(name: str, known: Iterable[str], otherwise: str) -> str:
    """Return advice that offers the nearest of the known names.

    >>> nearest("tmep_c", ["temp_c", "altitude_m"], "see the table of keys")
    'did you mean "temp_c"?'
    """
    offers = list(known)[:2000]
    close = difflib.get_close_matches(name, offers, n=1, cutoff=0.5) if len(name) <= 64 else []
    if close:
        return f'did you mean "{clean(close[0], 64)}"?'
    listed = ", ".join(clean(offer, 64) for offer in sorted(offers)[:12]) + (", ..." if len(offers) > 12 else "")
    return f"{otherwise}: there {'are' if len(offers) > 1 else 'is'} {listed}" if offers else otherwise


def complaints_of(error: ValidationError, tree: Any, model: type[BaseModel], base: Path = ()) -> list[Complaint]:
    """Return what pydantic found wrong in a tree, each as a complaint with its path under `base`."""
    found = []
    for row in error.errors(include_url=False)[: MOST_MISTAKES + 1]:
        path, missing = _path(row["loc"], tree)
        found.append(_complaint(row, (*base, *path), missing or row["type"] == "extra_forbidden", model))
    return found


def _path(loc: Sequence[str | int], tree: Any) -> tuple[Path, bool]:
    """Drop the tags that pydantic puts between keys; tell whether the last key is missing."""
    path: Path = ()
    node = tree
    for step in loc:
        if isinstance(node, dict) and step in node or isinstance(node, list) and isinstance(step, int):
            path, node = (*path, step), node[step]  # type: ignore[index]
        elif step == loc[-1] and isinstance(node, dict) and " " not in str(step):
            return (*path, step), True
    return path, False


def _complaint(row: Any, path: Path, key: bool, model: type[BaseModel]) -> Complaint:
    kind, context, entered = row["type"], row.get("ctx", {}), row["input"]
    if kind == REFUSED:
        found = context.get("found") or described(entered)
        return Complaint(path, context["required"], found, context["advice"], key=False)
    if kind == "extra_forbidden":
        keys = sorted(_fields_at(row["loc"][:-1], model))
        return Complaint(
            path, "a key that is known here", shown(path[-1]), nearest(str(path[-1]), keys, "remove it"), True
        )
    if kind == "missing":
        meaning = _fields_at(row["loc"][:-1], model).get(str(path[-1])) or "a value"
        return Complaint(path, meaning, "no such key", f'add "{path[-1]}" here', False)
    if kind == "too_long":
        return Complaint(path, f"at most {context['max_length']} items", f"{_length(entered)}", "leave some out")
    if kind == "too_short":
        return Complaint(path, f"at least {context['min_length']} items", f"{_length(entered)}", "add what is missing")
    if kind == "literal_error":
        advice = nearest(str(entered), str(context["expected"]).replace("'", "").replace(" or ", ", ").split(", "), "")
        return Complaint(
            path, context["expected"].replace("'", '"'), described(entered), advice or "write one of these"
        )
    required, advice = _TYPES.get(kind, ("what the table of keys says", "compare with the table of keys"))
    return Complaint(path, required, described(entered), advice)


_TYPES = {
    "string_type": ("a text", "write it in quotes"),
    "string_too_long": ("a shorter text", "shorten it"),
    "bool_type": ("true or false", "write true or false without quotes"),
    "list_type": ("a list in brackets", "put it in [ ]"),
    "dict_type": ("a table", "write it as { key = value }"),
    "model_type": ("a table", "write it as { key = value } or under a [header]"),
    "model_attributes_type": ("a table", "write it as { key = value } or under a [header]"),
    "recursion_loop": ("less nesting", "flatten it"),
}


def described(entered: object) -> str:
    """Return what was found in words: a number or text as it is, a table by its keys."""
    if isinstance(entered, dict):
        keys = ", ".join(clean(str(key), 24) for key in list(entered)[:6])
        return f"a table with {keys}" if keys else "an empty table"
    return f"a list of {_length(entered)}" if isinstance(entered, list) else shown(entered)


def _length(entered: object) -> str:
    count = len(entered) if isinstance(entered, list | dict | str) else 0
    return f"{count or 'no'} item{'' if count == 1 else 's'}"


def _fields_at(loc: Sequence[str | int], model: type[BaseModel]) -> dict[str, str | None]:
    """Return the keys that the table at `loc` may have with their meaning, by walking the fields of the model."""
    candidates: list[type[BaseModel]] = [model]
    for step in loc:
        if isinstance(step, int):
            continue
        tagged = [c for c in candidates if getattr(c, "tag", None) == step]
        if tagged:
            candidates = tagged
            continue
        inner = [
            found
            for candidate in candidates
            for name, field in candidate.model_fields.items()
            if step in (name, field.alias)
            for found in _models_in(field.annotation)
        ]
        candidates = inner or candidates
    return {
        field.alias or name: field.description
        for candidate in candidates
        for name, field in candidate.model_fields.items()
    }


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    inner = (
        *getattr(annotation, "__args__", ()),
        *([annotation.__value__] if hasattr(annotation, "__value__") else []),
    )
    return [model for part in inner for model in _models_in(part)]


def place_of(path: Path, tree: Any) -> str:
    """Return a path in words: things of a list go by their name, else by their number from 1.

    >>> place_of(("fan_group", 1, "min_rpm"), {"fan_group": [{"name": "side"}, {"name": "top"}]})
    'fan_group[top].min_rpm'
    """
    words = ""
    node = tree
    for step in path:
        if isinstance(node, list) and isinstance(step, int) and step < len(node):
            node = node[step]
            name = node.get("name") if isinstance(node, dict) else None
            words += f"[{name if isinstance(name, str) and len(name) <= 64 and name.isprintable() else step + 1}]"
        else:
            node = node.get(step) if isinstance(node, dict) else None
            words += ("." if words else "") + clean(str(step), 40)
    return words


def located(complaints: Sequence[Complaint], file: str, text: str, tree: Any) -> list[Mistake]:
    """Return the complaints about one file as mistakes with line and column."""
    if not complaints:
        return []
    known = _positions(text) if any(c.line is None for c in complaints) and tree is not None else None
    mistakes = []
    for c in dict.fromkeys(complaints):
        line, column = c.line, c.column
        if line is None and known is not None:
            line, column = known.find(c.path, key=c.key)
        words = (clean(part, LONGEST_WORDS) for part in (place_of(c.path, tree), c.required, c.found, c.advice))
        mistakes.append(Mistake(clean(file, LONGEST_PATH), line, column, *words))
    mistakes.sort(key=lambda m: (m.line or 0, m.column or 0))
    if len(mistakes) > MOST_MISTAKES:
        last = mistakes[MOST_MISTAKES]
        advice = "correct these first and run again"
        more = Mistake(file, last.line, last.column, "", "fewer mistakes", f"more than {MOST_MISTAKES}", advice)
        mistakes = [*mistakes[:MOST_MISTAKES], more]
    return mistakes


def _positions(text: str) -> Positions | None:
    """Return the positions, or None where the grammar does not load: the sentence stands without them too."""
    try:
        return positions(text)
    except Exception:  # a foreign grammar of another binary version may fail in any way
        return None
