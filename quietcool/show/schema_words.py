"""The pieces that every published JSON Schema is made of."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

Schema = dict[str, Any]

TEXT: Schema = {"type": "string"}
MAYBE_TEXT: Schema = {"type": ["string", "null"]}
FLAG: Schema = {"type": "boolean"}
COUNT: Schema = {"type": "integer", "minimum": 0}
NUMBER: Schema = {"type": "number"}
AMOUNT: Schema = {"type": "number", "minimum": 0}


def maybe(description: str) -> Schema:
    """Return the schema of a number that may be null."""
    return {"type": ["number", "null"], "description": description}


def said(schema: Schema, description: str) -> Schema:
    """Return a schema with what it means."""
    return {**schema, "description": description}


def one_of(*words: str) -> Schema:
    """Return the schema of one of some words."""
    return {"enum": list(words)}


def record(properties: Mapping[str, Schema]) -> Schema:
    """Return the schema of a record whose keys are all there, and no others."""
    return {
        "type": "object",
        "properties": dict(properties),
        "required": list(properties),
        "additionalProperties": False,
    }


def by_name(value: Schema) -> Schema:
    """Return the schema of things by name."""
    return {"type": "object", "additionalProperties": value}


def list_of(value: Schema) -> Schema:
    """Return the schema of a list."""
    return {"type": "array", "items": value}
