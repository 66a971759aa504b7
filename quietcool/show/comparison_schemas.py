"""The published JSON Schemas of trade-off curves and of layouts."""

from __future__ import annotations

from collections.abc import Mapping

from quietcool.show.schema_words import COUNT, FLAG, NUMBER, TEXT, Schema, by_name, list_of, maybe, one_of, record, said


def tradeoff_schema(head: Mapping[str, Schema], envelope: Mapping[str, Schema]) -> Schema:
    """Return the body of the schema of `tradeoff`; `head` holds `format`."""
    point = {
        "limit_c": said(NUMBER, "of the axis"),
        "limit_over_room_k": NUMBER,
        "temp_c": said(NUMBER, "of the axis at these speeds"),
        "level_dba": NUMBER,
        "lower_bound_dba": maybe("no setting that keeps the limit is quieter; null if nothing is known"),
        "gap_db": maybe("level less lower bound"),
        "status": one_of("proven", "best_found"),
        "price_db_per_k": maybe("level saved for one kelvin more"),
        "groups": _groups(),
    }
    present = {
        "temp_c": maybe("of the axis"),
        "temp_over_room_k": maybe("of the axis"),
        "level_dba": maybe("at the position"),
        "quieter_db": maybe("what the curve gains at the same temperature; null where it does not reach"),
        "colder_k": maybe("what it gains at the same level"),
        "groups": _groups(),
    }
    return record(
        {
            **head,
            **_asked(),
            "level_limit_dba": maybe("of the position; the curve does not stop there"),
            "points": list_of(record(point)),
            "knee": {"type": ["integer", "null"], "description": "place in `points`"},
            "present": {"oneOf": [{"type": "null"}, record(present)]},
            "solved_cases": COUNT,
            "boxes": COUNT,
            "interrupted": FLAG,
            **envelope,
        }
    )


def layouts_schema(head: Mapping[str, Schema], envelope: Mapping[str, Schema]) -> Schema:
    """Return the body of the schema of `layouts`; `head` holds `format`."""
    path = {"radiator": TEXT, "layouts": said(list_of(record(_outcome())), "the present one first")}
    return record(
        {
            **head,
            **_asked(),
            "draws": COUNT,
            "solved_cases": COUNT,
            "air_paths": by_name(record(path)),
            **envelope,
        }
    )


def _outcome() -> dict[str, Schema]:
    """One layout of a radiator."""
    layout = said(TEXT, "push, pull, push-pull with one speed or two, as built, or what else is different")
    added = {
        "fans": {"type": "integer"},
        "depth_mm": maybe("null where a sheet does not say"),
        "start_current_a": maybe("null where a sheet does not say"),
        "price": maybe("null where a sheet does not say"),
        "screws_mm": said(list_of(NUMBER), "of the fans, each once, where they change"),
    }
    break_even = {
        "level_dba": NUMBER,
        "temp_c": NUMBER,
        "present_speed_rpm": said(NUMBER, "of the first fan row as it stands now"),
        "gains": said(one_of("above", "below"), "on which side of the level the layout gains at equal noise"),
    }
    gain = {
        "level_dba": NUMBER,
        "temp_c": said(NUMBER, "of the present layout at this level"),
        "colder_k": _difference("at equal noise"),
        "quieter_db": _difference("at equal temperature"),
    }
    return {
        "layout": layout,
        "present": FLAG,
        "quietest_dba": maybe("no setting of this layout that keeps the other limits is quieter, as far as found"),
        "lower_bound_dba": maybe("no setting of this layout that keeps the main temperature is quieter"),
        "groups": by_name(record({"speed_rpm": maybe("at the main place")})),
        "main": {"type": ["integer", "null"], "description": "place in `gains` at the axis' own limit"},
        "gains": list_of(record(gain)),
        "break_even": list_of(record(break_even)),
        "added": record(added),
        "price_per_db": maybe("added price over decibels gained; null where none are gained measurably"),
        "price_per_k": maybe("added price over kelvins gained; null where none are gained measurably"),
        "beats": said(list_of(list_of(TEXT)), "pairs of groups whose blade pass swells audibly at these speeds"),
        "reason": {"oneOf": [{"type": "null"}, _reason()]},
    }


def _groups() -> Schema:
    return by_name(record({"speed_rpm": NUMBER}))


def _asked() -> dict[str, Schema]:
    axis = {"name": TEXT, "over_room": FLAG, "limit_c": maybe("that the build sets on it")}
    return {
        "state": TEXT,
        "objective": record({"position": TEXT, "quantity": {"const": "level_dba"}}),
        "axis": record(axis),
        "room_temp_c": NUMBER,
    }


def _difference(what: str) -> Schema:
    ends = {
        "value": maybe("positive when good; null where a layout does not reach"),
        "low": maybe("end of the 90 % interval"),
        "high": maybe("end of the 90 % interval"),
        "measurable": FLAG,
    }
    return said(record(ends), what)


def _reason() -> Schema:
    return record(
        {
            "sentence": TEXT,
            "row_speed_rpm": maybe("first row, present layout"),
            "other_row_speed_rpm": maybe("first row, this layout"),
            "core_exponent": maybe("of the core's pressure drop over velocity"),
            "core_share": maybe("of the first row's shut-off pressure"),
            "load_share": maybe("flow over free delivery"),
            "slowest": said(FLAG, "the first row of this layout runs at its lowest speed or rests"),
            "floor_share": maybe("of the first row's noise in this layout that no speed lowers"),
            "path_noise_share": maybe("of the noise from this path's groups, present layout"),
            "loudest_other": TEXT,
            "loudest_other_share": maybe("of the noise, present layout"),
            "heat_share": maybe("of what all radiators give off, present layout"),
            "flow_ratio": maybe("air through the core, this over present layout"),
        }
    )
