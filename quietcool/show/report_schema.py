"""The JSON Schema of what `report` says about its files."""

from __future__ import annotations

from collections.abc import Mapping

from quietcool.show.schema_words import COUNT, TEXT, Schema, list_of, record, said


def report_schema(head: Mapping[str, Schema], ending: Mapping[str, Schema]) -> Schema:
    """Return the body of the schema of `report`; `head` holds `format`, `ending` versions and inputs."""
    file = record({"file": TEXT, "bytes": COUNT, "sha256": {"type": "string", "pattern": "^[0-9a-f]{64}$"}})
    return record({**head, "written": said(list_of(file), "the report first"), **ending})
