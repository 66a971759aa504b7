"""Published JSON Schemas of the answers of `levers`, `scenarios` and `choose`."""

from __future__ import annotations

from collections.abc import Mapping

from quietcool.show.schema_words import (
    COUNT,
    FLAG,
    MAYBE_TEXT,
    NUMBER,
    TEXT,
    Schema,
    by_name,
    list_of,
    maybe,
    one_of,
    record,
    said,
)

ENDS: Schema = {"type": "array", "items": maybe(""), "minItems": 2, "maxItems": 2, "description": "from, to"}


def levers_schema(head: Mapping[str, Schema], envelope: Mapping[str, Schema]) -> Schema:
    """Return the schema of the answer of `levers`."""
    lever = {
        "lever": TEXT,
        "kind": one_of("unit", "change"),
        "feasible": said(FLAG, "whether the altered rig keeps its limits"),
        "quieter_db": maybe("at the same limits, positive when good"),
        "quieter_db_interval": ENDS,
        "colder_k": maybe("of `axis` at the same level, positive when good"),
        "colder_k_interval": ENDS,
        "verdict": said(MAYBE_TEXT, "null for units"),
    }
    whole = {
        "state": TEXT,
        "position": TEXT,
        "axis": said(TEXT, "limited temperature with the smallest margin"),
        "level_dba": maybe("of the rig as it is, at its continuous optimum"),
        "temp_c": maybe("of the axis at that level, at its coldest"),
        "price_db_per_k": maybe("level saved where the axis may be a kelvin warmer"),
        "measurable": said(NUMBER, "dB or K below which no verdict is given"),
        "draws": COUNT,
        "seed": COUNT,
        "solved_cases": COUNT,
        "levers": list_of(record(lever)),
    }
    return record({**head, **whole, **envelope})


def scenarios_schema(head: Mapping[str, Schema], envelope: Mapping[str, Schema]) -> Schema:
    """Return the schema of the answer of `scenarios`; `head` holds the format and the groups of the setting."""
    maybe_ends: Schema = {"anyOf": [ENDS, {"type": "null"}]}
    limit = {"limit": TEXT, "kind": TEXT, "margin": maybe("in `unit`, positive when kept"), "unit": TEXT}
    scenario = {
        "scenario": TEXT,
        "converged": FLAG,
        "coolant_c": maybe("hottest station, at the setting at hand"),
        "coolant_c_interval": maybe_ends,
        "level_dba": maybe("the rig's share at `position`"),
        "level_dba_interval": maybe_ends,
        "sources": by_name(by_name(maybe("of this place, degC"))),
        "limits": list_of(record(limit)),
        "kept": said(FLAG, "whether the setting at hand keeps every limit"),
        "missed": said(TEXT, "which limits are missed by how much"),
        "chance": maybe("that every limit is kept, by draws of the tolerances"),
        "holds": said(FLAG, "whether a setting was found that keeps every limit"),
        "setting": said(head["groups"], "that setting, or the least violated one"),
        "setting_level_dba": maybe("of that setting"),
    }
    whole = {
        "state": TEXT,
        "position": TEXT,
        "draws": COUNT,
        "seed": COUNT,
        "scenarios": list_of(record(scenario)),
    }
    return record({**head, **whole, **envelope})
