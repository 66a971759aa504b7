"""Published JSON Schemas of every verb's `--json` answer and of the files that go in."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from quietcool.show.choice_schema import choice_schema
from quietcool.show.comparison_schemas import layouts_schema, tradeoff_schema
from quietcool.show.decision_schemas import levers_schema, scenarios_schema
from quietcool.show.report_schema import report_schema
from quietcool.show.sound_schema import octave_list, sound_schema
from quietcool.show.uncertainty_schema import robust_schema, uncertainty_schema
from quietcool.show.verification import verify_schema
from quietcool.show.workshop_schemas import diagnose_schema, shop_schema

Schema = dict[str, Any]

DIALECT = "https://json-schema.org/draft/2020-12/schema"
PART_KINDS = ("fan", "radiator", "plate", "pump", "resistance")
VERBS = (
    "check", "choose", "demo", "diagnose", "layouts", "levers", "quietest", "report", "scenarios", "schema", "shop",
    "solve", "sound", "tradeoff", "verify",
)  # fmt: skip
#: What `quietcool schema` can be asked for.
SUBJECTS = (*VERBS, "build", "catalogue", *PART_KINDS)

_TEXT: Schema = {"type": "string"}
_FLAG: Schema = {"type": "boolean"}
_COUNT: Schema = {"type": "integer", "minimum": 0}
_NUMBER: Schema = {"type": "number"}
_STATUS: Schema = {"enum": ["proven", "best_found", "infeasible"]}


def schema_of(subject: str) -> Schema:
    """Return the JSON Schema of a verb's answer, of the build file, of catalogues or of a kind of part sheet.

    Raises
    ------
    KeyError
        If there is no such subject.
    """
    if subject == "build":
        from quietcool.entry.buildfile import build_file_schema

        return build_file_schema()
    if subject == "catalogue":
        from quietcool.entry.catalogue import catalogue_schema

        return catalogue_schema()
    if subject in PART_KINDS:
        from quietcool.entry.buildfile import sheet_schema

        return sheet_schema(subject)
    bodies: dict[str, Callable[[], Schema]] = {
        "check": _check,
        "choose": lambda: choice_schema(_format(), _envelope()),
        "demo": _demo,
        "diagnose": lambda: diagnose_schema(_format(), _envelope()),
        "layouts": lambda: layouts_schema(_format(), _envelope()),
        "levers": lambda: levers_schema(_format(), _envelope()),
        "quietest": _quietest,
        "report": lambda: report_schema(_format(), _envelope()),
        "scenarios": lambda: scenarios_schema({**_format(), "groups": _groups()}, _envelope()),
        "schema": lambda: {"$ref": DIALECT},
        "shop": lambda: shop_schema(_format(), _envelope()),
        "solve": _solve,
        "sound": _sound,
        "tradeoff": lambda: tradeoff_schema(_format(), _envelope()),
        "verify": lambda: verify_schema(_format(), _envelope()),
    }
    return {"$schema": DIALECT, "title": f"quietcool {subject}: answer in JSON", **bodies[subject]()}


def _or_null(description: str) -> Schema:
    """A number, null where there is none: no steady value, no limit, silent."""
    return {"type": ["number", "null"], "description": description}


def _record(required: Mapping[str, Schema], optional: Mapping[str, Schema] | None = None) -> Schema:
    return {
        "type": "object",
        "properties": {**required, **(optional or {})},
        "required": list(required),
        "additionalProperties": False,
    }


def _by_name(value: Schema) -> Schema:
    return {"type": "object", "additionalProperties": value}


def _list_of(value: Schema) -> Schema:
    return {"type": "array", "items": value}


def _envelope() -> dict[str, Schema]:
    return {
        "made_by": {"type": "object", "additionalProperties": _TEXT, "description": "versions of what computed it"},
        "inputs_sha256": {
            "type": "object",
            "additionalProperties": {"type": "string", "pattern": "^[0-9a-f]{64}$"},
            "description": "every file that was read, by its path in the folder of the build file",
        },
    }


def _format() -> dict[str, Schema]:
    return {"format": {"const": 1}}


def _groups() -> Schema:
    speed = {"type": "number", "minimum": 0, "description": "turns per minute; 0 at rest"}
    return _by_name(_record({"speed_rpm": speed}))


def _operating_point() -> dict[str, Schema]:
    """Properties of an operating point, all of them required."""
    air_path = {
        "flow_m3_per_h": _or_null("at the density of the path's inlet, positive as the stack is written"),
        "mass_flow_kg_per_s": _or_null("positive as the stack is written"),
        "face_velocity_m_per_s": _or_null("at the core's mean density; null without a core"),
        "layout": {"enum": ["push", "pull", "push-pull", "passive", "fans only", "opening"]},
        "temp_air_in_c": _or_null("of the air that enters the path"),
        "temp_air_out_c": _or_null("of the air that leaves it"),
        "heat_rate_w": _or_null("that the path's radiator gives off"),
    }
    enclosure = {
        "temp_air_c": _or_null("null where nothing flows through"),
        "gauge_pressure_pa": _or_null("over the room"),
    }
    return {
        "state": _TEXT,
        "converged": _FLAG,
        "groups": _groups(),
        "air_paths": _by_name(_record(air_path)),
        "enclosures": _by_name(_record(enclosure)),
        "loop": _loop(),
        "sources": _by_name(_by_name(_record(_sensing_point()))),
        "positions": _by_name(_record(_position(), _octaves_and_ratings())),
        "limits": _list_of(_record(_limit())),
        "findings": _list_of(_TEXT),
    }


def _loop() -> Schema:
    station = {
        "name": _TEXT,
        "flow_l_per_min": _or_null("through this station"),
        "temp_in_c": _or_null("of the coolant before it"),
        "temp_out_c": _or_null("of the coolant behind it"),
    }
    return _record(
        {
            "flow_l_per_min": _or_null("through the pump"),
            "temp_max_c": _or_null("hottest station"),
            "stations": _list_of(_record(station)),
        }
    )


def _sensing_point() -> dict[str, Schema]:
    return {
        "temp_c": _or_null("of this place"),
        "limit_c": _or_null("null without a limit"),
        "margin_k": _or_null("limit less temperature, positive when kept"),
    }


def _position() -> dict[str, Schema]:
    return {
        "level_dba": _or_null("the rig's share"),
        "total_dba": _or_null("with background and self-noise of the microphone"),
        "contributions_dba": _by_name(_or_null("of this group; null where it is silent")),
        "limit_dba": _or_null("on level_dba; null without a limit"),
        "margin_db": _or_null("limit less level, positive when kept"),
    }


def _octaves_and_ratings() -> dict[str, Schema]:
    return {
        "rig_db": octave_list("the rig's share by octave, 31.5 Hz to 8 kHz, without weighting"),
        "nc": _or_null("of the rig's share by the rule of the standard; null below NC-15 and above NC-70"),
        "nr": _or_null("of the rig's share"),
    }


def _limit() -> dict[str, Schema]:
    return {
        "limit": _TEXT,
        "kind": {"enum": ["point", "coolant", "enclosure air", "coolant flow", "position"]},
        "margin": _or_null("in `unit`, positive when kept; null where the quantity has no steady value"),
        "unit": {"enum": ["K", "L/min", "dB"]},
    }


def _solve() -> Schema:
    """One operating point, or several by state."""
    point = _operating_point()
    several = {"operating_points": _by_name(_record(point, uncertainty_schema()))}
    return {
        "oneOf": [
            _record({**_format(), **point, **_envelope()}, uncertainty_schema()),
            _record({**_format(), **several, **_envelope()}),
        ]
    }


def _sound() -> Schema:
    return sound_schema({**_format(), "groups": _groups()}, _envelope())


def _outcome() -> dict[str, Schema]:
    return {
        "level_dba": _or_null("loudest state, at the position of the objective"),
        "lower_bound_dba": _or_null("no admissible setting is quieter; null where none keeps the limits"),
        "gap_db": _or_null("level less lower bound"),
    }


def _quietest() -> Schema:
    robust = robust_schema(_groups(), _record(_operating_point(), uncertainty_schema()))
    return _record(_quietest_properties(), _rating() | robust)


def _quietest_properties() -> dict[str, Schema]:
    binding = {"state": _TEXT, "limit": _TEXT, "margin": _or_null("in `unit`"), "unit": _TEXT}
    worth = {
        "worth_db_per_k": _or_null("level saved per kelvin that the limit is raised"),
        "worth_db_per_10_w": _or_null("level saved per 10 W of heat less"),
    }
    rating = _rating()
    setting = {
        "states": _list_of(_TEXT),
        "groups": _groups(),
        "status": _STATUS,
        "infeasibility_proven": _FLAG,
        **_outcome(),
        "binding": _list_of(_record(binding, worth)),
        "operating_points": _by_name(_record(_operating_point(), uncertainty_schema())),
    }
    return {
        **_format(),
        "status": _STATUS,
        **_outcome(),
        "objective": _record({"position": _TEXT, "quantity": {"enum": ["level_dba", "nc", "nr"]}}),
        "interrupted": _FLAG,
        "solved_cases": _COUNT,
        "boxes": _COUNT,
        "settings": _list_of(_record(setting, rating)),
        **_envelope(),
    }


def _rating() -> dict[str, Schema]:
    """Beside the level, where a rating was asked for."""
    rating = {
        "criterion": {"enum": ["nc", "nr"]},
        "rating": _or_null("loudest state, by tangency, at the position of the objective"),
        "lower_bound": _or_null("no admissible setting is rated lower"),
        "gap": _or_null("rating less lower bound"),
    }
    return {"rating": _record(rating)}


def _demo() -> Schema:
    return _record(
        {"demo": _TEXT, "invented": {"const": True}, "explanation": _list_of(_TEXT), **_quietest_properties()},
        _rating(),
    )


def _check() -> Schema:
    mistake = {
        "file": _TEXT,
        "line": {"type": ["integer", "null"]},
        "column": {"type": ["integer", "null"]},
        "place": _TEXT,
        "required": _TEXT,
        "found": _TEXT,
        "advice": _TEXT,
    }
    finding = {"kind": _TEXT, "place": _TEXT, "sentence": _TEXT}
    told = {"mistakes": _list_of(_record(mistake)), "findings": _list_of(_record(finding))}
    names = ("enclosures", "fan_groups", "air_paths", "radiators", "sources", "positions", "states")
    counts = _record(dict.fromkeys(names, _COUNT))
    good = {"valid": {"const": True}, "title": _TEXT, "counts": counts, "origins": _by_name(_COUNT)}
    bad = {"valid": {"const": False}}
    return {
        "oneOf": [
            _record({**_format(), **good, **told, **_envelope()}),
            _record({**_format(), **bad, **told, "made_by": _envelope()["made_by"]}),
        ]
    }
