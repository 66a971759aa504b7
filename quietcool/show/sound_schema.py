"""The published JSON Schema of what is heard."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

Schema = dict[str, Any]

_TEXT: Schema = {"type": "string"}
_FLAG: Schema = {"type": "boolean"}
_VERDICTS = ("silent", "below hearing", "masked", "audible", "prominent", "not rated")


def _or_null(description: str) -> Schema:
    return {"type": ["number", "null"], "description": description}


def octave_list(description: str) -> Schema:
    """Nine octaves, null where there is nothing."""
    octave = {"type": ["number", "null"]}
    return {"type": "array", "items": octave, "minItems": 9, "maxItems": 9, "description": description}


def _record(required: Mapping[str, Schema]) -> Schema:
    return {
        "type": "object",
        "properties": dict(required),
        "required": list(required),
        "additionalProperties": False,
    }


def _list_of(value: Schema) -> Schema:
    return {"type": "array", "items": value}


def sound_schema(common: Mapping[str, Schema], envelope: Mapping[str, Schema]) -> Schema:
    """Return the body of the schema of `sound`; `common` holds `format` and `groups`."""
    state = {
        "converged": _FLAG,
        "groups": common["groups"],
        "positions": {"type": "object", "additionalProperties": _record(_position())},
    }
    bands = {"type": "array", "items": {"type": "number"}, "description": "nominal mid-bands of every list of nine"}
    states = {"type": "object", "additionalProperties": _record(state)}
    return _record({"format": common["format"], "bands_hz": bands, "states": states, **envelope})


def _position() -> dict[str, Schema]:
    rating = {
        "rating": _or_null("NC by the rule of the standard, or NR; null below and above the curves"),
        "band_hz": _or_null("octave that decides it; null for an NC by speech interference"),
        "source": {"type": ["string", "null"], "description": "loudest source there"},
    }
    delivery = {
        "everything_dba": _or_null("what the specification allows for all that is heard"),
        "rig_dba": _or_null("what room and microphone leave of it to the rig"),
    }
    limit = {
        "what": {"enum": ["limit", "inaudible", "delivery", "nc", "nr"]},
        "value": _or_null("on the rig's share, in dB(A), NC or NR"),
        "margin_db": _or_null("positive when kept; of NC and NR: what every octave may rise"),
    }
    return {
        "level_dba": _or_null("the rig's share"),
        "total_dba": _or_null("with background and self-noise of the microphone"),
        "rig_sone": _or_null("loudness of the rig's share by ISO 532-1, from its octaves"),
        "total_sone": _or_null("loudness of everything that is heard"),
        "rig_db": octave_list("the rig's share, without weighting"),
        "total_db": octave_list("everything that is heard, without weighting"),
        "floor_db": octave_list("background and self-noise, without weighting"),
        "ratings": _record({"nc": _record(rating), "nr": _record(rating)}),
        "limits": _list_of(_record(limit)),
        "delivery": {"oneOf": [{"type": "null"}, _record(delivery)]},
        "sources": _list_of(_record(_source())),
        "tones": _list_of(_record(_tone())),
        "beats": _list_of(_record(_beat())),
        "avoid": _list_of(_record(_avoid())),
        "prominent_speeds": _list_of(_record(_prominent())),
        "room": {"oneOf": [{"type": "null"}, _record(_room())]},
    }


def _source() -> dict[str, Schema]:
    return {
        "source": _TEXT,
        "level_dba": _or_null("where it is heard; null where it is silent"),
        "energy_share": {"type": "number", "minimum": 0, "maximum": 1, "description": "of the rig's A-weighted energy"},
        "gain_removed_db": _or_null("by which the rig's level falls without it; null where nothing else sounds"),
        "gain_halved_db": _or_null("by which it falls with half of its energy"),
        "bands_db": octave_list("of this source, without weighting"),
    }


def _tone() -> dict[str, Schema]:
    return {
        "tone": _TEXT,
        "frequency_hz": _or_null("0 at rest"),
        "level_db": _or_null("time average; null where it is silent"),
        "masking_db": _or_null("noise in its critical band"),
        "tone_to_noise_db": _or_null("with the tones that are heard as one with it"),
        "tone_to_noise_limit_db": _or_null("from which on it is prominent; null outside 89.1 Hz to 11.2 kHz"),
        "prominence_db": _or_null("prominence ratio"),
        "prominence_limit_db": _or_null("from which on it is prominent; null outside 89.1 Hz to 11.2 kHz"),
        "hearing_threshold_db": _or_null("null where hearing has none"),
        "verdict": {"enum": list(_VERDICTS)},
    }


def _beat() -> dict[str, Schema]:
    return {
        "first": _TEXT,
        "second": _TEXT,
        "beat_hz": _or_null("how often it swells; among the fans of one group: at most"),
        "level_difference_db": _or_null("of the second tone to the first"),
        "depth_db": _or_null("from the loudest to the quietest; null for equal tones, which can cancel"),
        "noticed": _FLAG,
    }


def _avoid() -> dict[str, Schema]:
    rpm = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}
    return {"group": _TEXT, "while": _TEXT, "while_rpm": {"type": "number"}, "avoid_rpm": rpm}


def _prominent() -> dict[str, Schema]:
    band = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}
    return {
        "group": _TEXT,
        "prominent_now": _FLAG,
        "prominent_rpm": _list_of(band),
        "slower_rpm": _or_null("nearest slower speed without a prominent tone of this group"),
        "faster_rpm": _or_null("nearest faster speed without a prominent tone of this group"),
    }


def _room() -> dict[str, Schema]:
    return {
        "absorption_area_m2": octave_list("of the rig's room"),
        "critical_distance_m": octave_list("where direct and reverberant field are equal"),
        "reverberation_s": octave_list("by Sabine; null without a volume"),
        "schroeder_hz": _or_null("below it single room modes rule: tones spread by 5 to 10 dB with the place"),
    }
