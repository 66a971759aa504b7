"""The published JSON Schemas of the shop sums and of a diagnosis."""

from __future__ import annotations

from collections.abc import Mapping

from quietcool.show.schema_words import (
    AMOUNT,
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


def shop_schema(head: Mapping[str, Schema], envelope: Mapping[str, Schema]) -> Schema:
    """Return the body of the schema of `shop`; `head` holds `format`."""
    coolant = {"parts_l": by_name(maybe("null where its sheet does not say")), "known_l": AMOUNT, "volume_l": AMOUNT}
    step = {"name": TEXT, "done": FLAG, "time": TEXT, "task": TEXT, "caution": TEXT}
    return record(
        {
            **head,
            "title": TEXT,
            "kept": said(FLAG, "everything fits, no output, supply or circuit is overloaded"),
            "broken": list_of(TEXT),
            "cautions": list_of(TEXT),
            "stacks": by_name(_stack()),
            "outputs": list_of(_output()),
            "outputs_short": said(COUNT, "how many are used beyond those that the controller has"),
            "supply": _supply(),
            "coolant": record(coolant),
            "air_test": _setup(),
            "air_test_result": {"oneOf": [{"type": "null"}, _test()]},
            "steps": list_of(record(step)),
            "next_step": MAYBE_TEXT,
            **envelope,
        }
    )


def _stack() -> Schema:
    screws = {
        "group": TEXT,
        "radiator": TEXT,
        "count": COUNT,
        "length_mm": maybe("under the head; null without the fan's depth"),
        "longest_mm": maybe("that stays clear of the tubes; null where the usable thread is not known"),
        "thread": MAYBE_TEXT,
        "thread_margin_mm": maybe("usable thread less what the screw takes, positive when good"),
    }
    return record(
        {
            "layout": TEXT,
            "depth_mm": said(AMOUNT, "of everything with a known depth, what is kept free included"),
            "without_depth": list_of(TEXT),
            "space_mm": maybe("null where the build file names none"),
            "margin_mm": maybe("space less depth, positive when it fits"),
            "length_mm": maybe("of the radiator with its end tanks"),
            "length_margin_mm": maybe("positive when it fits"),
            "screws": list_of(record(screws)),
        }
    )


def _output() -> Schema:
    return record(
        {
            "name": said(MAYBE_TEXT, "null for groups without a channel"),
            "wiring": one_of("splitter", "hub"),
            "groups": by_name(COUNT),
            "running_a": maybe("as fast as they can turn; null where a sheet gives neither current nor power"),
            "start_a": maybe("all at once"),
            "estimated": said(FLAG, "a current is not on a sheet"),
            "limit_a": maybe("null where none is known"),
            "limit_is_custom": said(FLAG, "the manual of the controller was not at hand"),
            "load": one_of("within", "above 80 %", "over", "unknown"),
            "start_above_limit": FLAG,
        }
    )


def _supply() -> Schema:
    return record(
        {
            "power_w": by_name(AMOUNT),
            "heaviest_state": TEXT,
            "quiet_rating_min_w": said(AMOUNT, "least rating at which the supply's own fan stays slow"),
            "quiet_rating_max_w": AMOUNT,
            "rating_w": maybe("null where the build file names none"),
            "load": one_of("quiet", "audible", "over", "unknown"),
            "peak_w": maybe("of a moment; null where no source gives one"),
            "mains_current_a": maybe("null where the build file names no mains voltage"),
            "mains_continuous_limit_a": maybe("that the circuit bears for hours"),
        }
    )


def _setup() -> Schema:
    return record(
        {
            "volume_l": AMOUNT,
            "pressure_bar": said(AMOUNT, "gauge, to test at"),
            "ceiling_bar": said(AMOUNT, "gauge, never to be passed"),
            "weakest_part": MAYBE_TEXT,
            "weakest_max_bar": maybe("null where no part has a rating"),
            "without_rating": list_of(TEXT),
            "change_mbar_per_k": AMOUNT,
        }
    )


def _test() -> Schema:
    return record(
        {
            "verdict": one_of("no leak seen", "leak", "not proven"),
            "reason": TEXT,
            "drop_mbar": NUMBER,
            "warming_k": NUMBER,
            "corrected_drop_mbar": said(NUMBER, "at temperature and barometer of the start"),
            "error_mbar": NUMBER,
            "allowed_mbar": NUMBER,
            "duration_s": NUMBER,
            "leak_rate_pa_m3_per_s": NUMBER,
            "leak_rate_cm3_per_min": said(NUMBER, "as air at 1 atm"),
            "barometer_read": FLAG,
        }
    )


def diagnose_schema(head: Mapping[str, Schema], envelope: Mapping[str, Schema]) -> Schema:
    """Return the body of the schema of `diagnose`; `head` holds `format`."""
    ends = {"type": ["array", "null"], "items": NUMBER, "minItems": 2, "maxItems": 2}
    rise = record(
        {
            "name": TEXT,
            "rise_k": NUMBER,
            "error_k": NUMBER,
            "predicted_k": maybe("by the model; null without speeds"),
            "sound_k": said(ends, "what counts as sound: the model with its error, else what is common"),
            "common_k": said(ends, "what is common at full load"),
            "basis": one_of("model", "common", "none"),
            "judgement": one_of("high", "as expected", "low", "not proven", "no yardstick"),
        }
    )
    return record(
        {
            **head,
            "state": TEXT,
            "half": one_of("block side", "radiator side", "both sides", "neither side", "not proven"),
            "chips": list_of(rise),
            "coolant": rise,
            "larger_excess": MAYBE_TEXT,
            "heat_w": NUMBER,
            "conductance_w_per_k": maybe("heat over the coolant's rise; null where that is not proven above zero"),
            "conductance_error_w_per_k": maybe("its error"),
            "predicted_conductance_w_per_k": maybe("by the model"),
            "coolant_spread_k": maybe("between hottest and coldest station, by the model"),
            "beyond_limit": list_of(TEXT),
            **envelope,
        }
    )
