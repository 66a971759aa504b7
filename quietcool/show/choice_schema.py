"""The published JSON Schema of the answer of `choose`."""

from __future__ import annotations

from collections.abc import Mapping

from quietcool.show.schema_words import COUNT, FLAG, NUMBER, TEXT, Schema, by_name, list_of, maybe, one_of, record, said


def choice_schema(head: Mapping[str, Schema], envelope: Mapping[str, Schema]) -> Schema:
    """Return the schema of the answer of `choose`; `head` holds the format."""
    return record({**head, **_whole(), **envelope})


def _solved() -> dict[str, Schema]:
    """One combination that was solved."""
    place = {
        "radiator": TEXT,
        "fan": TEXT,
        "fans": said(COUNT, "of all rows"),
        "layout": one_of("push", "pull", "push-pull"),
        "price": said(NUMBER, "radiator and fans; a part without a price costs nothing"),
    }
    return {
        "level_dba": said(NUMBER, "quietest setting found on the step grid"),
        "bound_dba": maybe("no setting of this combination is quieter"),
        "price": NUMBER,
        "places": by_name(record(place)),
        "against_best": TEXT,
    }


def _whole() -> dict[str, Schema]:
    """Everything between the format and the versions."""
    best = {
        **_solved(),
        "groups": by_name(record({"speed_rpm": NUMBER})),
        "status": said(one_of("proven", "best_found", "infeasible"), "of the speeds of this combination"),
        "lower_bound_dba": maybe("no setting of this combination is quieter"),
    }
    catalogue = {
        "title": TEXT,
        "budget": maybe("in the money of the sheets"),
        "most_fan_models": COUNT,
        "fitting": said(by_name(COUNT), "options of every place that fit it"),
    }
    return {
        "state": TEXT,
        "objective": record({"position": TEXT, "quantity": TEXT}),
        "catalogue": record(catalogue),
        "combinations": said(COUNT, "of the options that fit"),
        "allowed": said(COUNT, "that keep budget, fan models and outputs"),
        "solved": said(COUNT, "at their quietest setting found"),
        "unsolved_proven_no_quieter": said(FLAG, "whether every other combination has a bound no lower than the best"),
        "next_bound_dba": maybe("no unsolved combination is quieter; null where all were solved"),
        "floor_dba": maybe("no allowed combination is quieter"),
        "nothing_kept_below_dba": maybe("proven: no combination keeps the limits below it; null where not proven"),
        "interrupted": FLAG,
        "best": {"anyOf": [record(best), {"type": "null"}]},
        "runners_up": list_of(record(_solved())),
    }
