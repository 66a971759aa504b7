"""A trade-off curve for people and for programs: sentences, table, JSON, CSV."""

from __future__ import annotations

import csv
import math
from io import StringIO
from typing import Any

import numpy as np

from quietcool.decide.axes import Axis
from quietcool.decide.tradeoff import Present, Tradeoff, TradePoint
from quietcool.entry.build import Build
from quietcool.show.console import Part, number, rpm, table
from quietcool.show.json_answers import FORMAT, Answer, envelope, speeds_answer
from quietcool.show.json_answers import number as in_json
from quietcool.show.wording import BROKEN, INTERRUPTED, KEPT, counted, level_words, speeds_words
from quietcool.units import in_unit

LEAST_PRINTED = 0.005  # gains below print as nothing [K or dB]


def tradeoff_verdict(answer: Tradeoff) -> int:
    """Return the exit code: interrupted, no setting keeps the other limits, or answered."""
    if answer.interrupted:
        return INTERRUPTED
    return KEPT if answer.points else BROKEN


def temp_words(axis: Axis, temp: float, room_temp: float) -> str:
    """Return a temperature of an axis: "45.0 degC", or "22.0 K over room"."""
    if axis.over_room:
        return f"{number(temp - room_temp, 1)} K over room"
    return f"{number(in_unit(temp, 'degC'), 1)} degC"


def axis_noun(axis: Axis) -> str:
    """Return what an axis measures, without how it is counted: "coolant", "gpu 1 core"."""
    return axis.limit


def tradeoff_sentences(build: Build, answer: Tradeoff) -> list[str]:
    """Return the answer in sentences: the curve with its knee, the limit on it, the present speeds, the bounds."""
    if not answer.points:
        return [f"{answer.state}: no setting was found that keeps the limits besides that of the {answer.axis.limit}."]
    first, last = answer.points[0], answer.points[-1]
    said = (
        f"{answer.state}: from {_temp(answer, first.limit)} to {_temp(answer, last.limit)} of {axis_noun(answer.axis)} "
        f"the quietest level falls from {level_words(first.level)} to {level_words(last.level)} at the "
        f"{answer.position}"
    )
    if answer.knee is not None:
        knee = answer.points[answer.knee]
        said += (
            f"; the knee is at {_temp(answer, knee.limit)} and {level_words(knee.level)}"
            f"{_price_words(knee.price)}: {speeds_words(build, knee.speeds.tolist())}"
        )
    lines = [f"{said}.", *_limit_sentence(answer), *_present_sentence(answer)]
    if answer.interrupted:
        lines.insert(0, "Interrupted: what follows is the best so far.")
    return [*lines, bounds_sentence(answer)]


def _temp(answer: Tradeoff, temp: float) -> str:
    return temp_words(answer.axis, temp, answer.room_temp)


def _price_words(price: float) -> str:
    return f", where a kelvin is worth {number(price, 2)} dB" if math.isfinite(price) else ""


def _limit_sentence(answer: Tradeoff) -> list[str]:
    """Return where the limit of the build lies on the curve; nothing without one."""
    if answer.axis_limit is None:
        return []
    limits = [point.limit for point in answer.points]
    if answer.axis_limit < limits[0]:
        return [f"No setting keeps the limit of {_temp(answer, answer.axis_limit)}."]
    level = float(np.interp(answer.axis_limit, limits, [point.level for point in answer.points]))
    price = float(np.interp(answer.axis_limit, limits, [point.price for point in answer.points]))
    if answer.axis_limit > limits[-1]:
        price = 0.0
    said = f"The limit of {_temp(answer, answer.axis_limit)} costs about {level_words(level)}{_price_words(price)}"
    if answer.level_limit is None:
        return [f"{said}."]
    kept = "within" if level <= answer.level_limit else "above"
    return [f"{said}; that is {kept} the limit of {level_words(answer.level_limit)}."]


def _present_sentence(answer: Tradeoff) -> list[str]:
    """Return how far the present speeds are from the curve; nothing without them."""
    here = answer.present
    if here is None:
        return []
    said = f"Present speeds: {_temp(answer, here.temp)} and {level_words(here.level)}"
    gains = [
        f"{number(gain, 1)} {unit} {better} at the same {kept}"
        for gain, unit, better, kept in (
            (here.quieter, "dB", "quieter", "temperature"),
            (here.colder, "K", "colder", "level"),
        )
        if math.isfinite(gain) and gain > LEAST_PRINTED
    ]
    return [f"{said}; the curve is {' or '.join(gains)}." if gains else f"{said}."]


def bounds_sentence(answer: Tradeoff) -> str:
    """Return how well the curve is proven."""
    proven = sum(point.status == "proven" for point in answer.points)
    widest = max(point.gap for point in answer.points)
    if proven == len(answer.points):
        return f"All {counted(proven, 'point')} are proven to within {number(widest, 2)} dB."
    if not math.isfinite(widest):
        return f"{proven} of {counted(len(answer.points), 'point')} are proven; of others no bound is known."
    return f"{proven} of {counted(len(answer.points), 'point')} are proven; the widest gap is {number(widest, 1)} dB."


def tradeoff_tables(build: Build, answer: Tradeoff) -> list[Part]:
    """Return the curve as a table, coldest first."""
    if not answer.points:
        return []
    unit = "K over room" if answer.axis.over_room else "degC"
    columns = [
        f">limit, {unit}",
        ">dB(A)",
        ">none below",
        ">dB for 1 K",
        *(f">{name}" for name in build.group_names),
        "",
    ]
    rows = []
    for place, point in enumerate(answer.points):
        shown = point.limit - answer.room_temp if answer.axis.over_room else in_unit(point.limit, "degC")
        rows.append(
            [
                number(shown, 2),
                number(point.level, 2),
                number(point.lower_bound, 2),
                number(point.price, 2),
                *(rpm(in_unit(speed, "rpm")) for speed in point.speeds),
                "knee" if place == answer.knee else "",
            ]
        )
    return [table(f"Level against {answer.axis.name}, heard at the {answer.position}; speeds in rpm", columns, rows)]


def tradeoff_answer(build: Build, answer: Tradeoff) -> Answer:
    """Return the answer of `tradeoff` in JSON."""
    return {
        "format": FORMAT,
        "state": answer.state,
        "objective": {"position": answer.position, "quantity": "level_dba"},
        "axis": {
            "name": answer.axis.name,
            "over_room": answer.axis.over_room,
            "limit_c": None if answer.axis_limit is None else in_json(answer.axis_limit, "degC"),
        },
        "room_temp_c": in_json(answer.room_temp, "degC"),
        "level_limit_dba": answer.level_limit,
        "points": [_point(build, answer, point) for point in answer.points],
        "knee": answer.knee,
        "present": None if answer.present is None else _present(build, answer, answer.present),
        "solved_cases": answer.solved_cases,
        "boxes": answer.boxes,
        "interrupted": answer.interrupted,
        **envelope(build),
    }


def _point(build: Build, answer: Tradeoff, point: TradePoint) -> dict[str, Any]:
    return {
        "limit_c": in_json(point.limit, "degC"),
        "limit_over_room_k": in_json(point.limit - answer.room_temp),
        "temp_c": in_json(point.temp, "degC"),
        "level_dba": in_json(point.level),
        "lower_bound_dba": in_json(point.lower_bound),
        "gap_db": in_json(point.gap),
        "status": point.status,
        "price_db_per_k": in_json(point.price),
        "groups": speeds_answer(build, point.speeds.tolist()),
    }


def _present(build: Build, answer: Tradeoff, present: Present) -> dict[str, Any]:
    return {
        "temp_c": in_json(present.temp, "degC"),
        "temp_over_room_k": in_json(present.temp - answer.room_temp),
        "level_dba": in_json(present.level),
        "quieter_db": in_json(present.quieter),
        "colder_k": in_json(present.colder),
        "groups": speeds_answer(build, present.speeds.tolist()),
    }


def tradeoff_csv(build: Build, answer: Tradeoff) -> str:
    """Return the curve as comma-separated values, one line a point; what is not known stays empty."""
    head = ["limit_c", "limit_over_room_k", "temp_c", "level_dba", "lower_bound_dba", "gap_db", "status",
            "price_db_per_k", "knee"]  # fmt: skip
    lines = []
    for place, point in enumerate(answer.points):
        cells = _point(build, answer, point)
        groups = cells.pop("groups")
        lines.append([*cells.values(), int(place == answer.knee), *(one["speed_rpm"] for one in groups.values())])
    return csv_text([*head, *(f"speed_rpm {name}" for name in build.group_names)], lines)


def csv_text(head: list[str], lines: list[list[Any]]) -> str:
    """Return lines under a heading as comma-separated values."""
    text = StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(head)
    writer.writerows(lines)
    return text.getvalue()
