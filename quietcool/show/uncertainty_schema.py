"""Published JSON Schemas: how sure an operating point is, and robust settings."""

from __future__ import annotations

from quietcool.show.schema_words import COUNT, FLAG, NUMBER, TEXT, Schema, by_name, list_of, maybe, record, said


def uncertainty_schema() -> dict[str, Schema]:
    """Return the optional property of an operating point that says how sure it is."""
    ends = {"type": "array", "items": maybe(""), "minItems": 2, "maxItems": 2, "description": "from, to"}
    air = dict.fromkeys(("flow_m3_per_h", "temp_air_in_c", "temp_air_out_c", "heat_rate_w"), ends)
    loop = {"flow_l_per_min": ends, "temp_max_c": ends}
    station = {"name": TEXT, "flow_l_per_min": ends, "temp_in_c": ends, "temp_out_c": ends}
    chance: Schema = {"type": "number", "minimum": 0, "maximum": 1}
    cause = {
        "cause": said(TEXT, "what could be measured"),
        "inputs": list_of(TEXT),
        "first_order": said(NUMBER, "share of the variance that it explains alone"),
        "total": said(NUMBER, "share of the variance that goes if it were known, interactions included"),
    }
    ranking = {"result": TEXT, "unit": TEXT, "deviation": NUMBER, "causes": list_of(record(cause))}
    whole = record(
        {
            "confidence": said(NUMBER, "of every interval"),
            "draws": COUNT,
            "answered_draws": said(COUNT, "draws that have a steady state"),
            "seed": COUNT,
            "air_paths": by_name(record(air)),
            "enclosures": by_name(record({"temp_air_c": ends})),
            "loop": record({**loop, "stations": list_of(record(station))}),
            "sources": by_name(by_name(record({"temp_c": ends}))),
            "positions": by_name(record({"level_dba": ends, "total_dba": ends})),
            "limits": list_of(record({"limit": TEXT, "kind": TEXT, "chance": chance})),
            "all_limits_chance": said(chance, "that all limits are kept together"),
        }
    )
    whole["properties"]["ranking"] = list_of(record(ranking))
    return {"uncertainty": whole}


def robust_schema(groups: Schema, point: Schema) -> dict[str, Schema]:
    """Return the optional property of an answer of `quietest` for `--confidence`."""
    tighter = {"state": TEXT, "limit": TEXT, "by": maybe("in `unit`"), "unit": TEXT}
    setting = {
        "states": list_of(TEXT),
        "groups": groups,
        "status": said(TEXT, "of the problem with tightened limits, as are level, bound and gap"),
        "level_dba": maybe("null where no setting keeps the tightened limits"),
        "lower_bound_dba": maybe("no setting that keeps the tightened limits is quieter"),
        "gap_db": maybe("level less lower bound"),
        "chance": said(NUMBER, "that all limits are kept, by fresh draws"),
        "nominal_chance": said(NUMBER, "the same of the nominal setting"),
        "reached": FLAG,
        "tightened": list_of(record(tighter)),
        "operating_points": by_name(point),
    }
    whole = {
        "confidence": said(NUMBER, "asked for"),
        "reached": FLAG,
        "fresh_draws": COUNT,
        "seed": COUNT,
        "settings": list_of(record(setting)),
    }
    return {"robust": record(whole)}
