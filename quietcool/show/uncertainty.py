"""How sure an answer is, for people and for scripts: intervals, chances that limits are kept, what to measure first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

from quietcool.decide.uncertainty import CONFIDENCE, Ranking, Uncertainty, told_causes
from quietcool.entry.build import Build
from quietcool.show.console import NOTHING, Part, table
from quietcool.show.console import number as printed
from quietcool.show.json_answers import number
from quietcool.solve.loop import station_names

if TYPE_CHECKING:
    from collections.abc import Iterator

Answer: TypeAlias = dict[str, Any]

SURE = 0.995  # a chance from here on is told as "all draws"
TOLD_CAUSES = 8  # of every result, in the table
PERCENT = f"{100.0 * CONFIDENCE:.0f} %"


def uncertainty_sentence(build: Build, state: str, known: Uncertainty, position: int = 0) -> str:
    """Return how sure a state is, in one sentence."""
    low, high = known.low, known.high
    facts = [f"coolant {_range(low.coolant_temp_max, high.coolant_temp_max, 'degC')} degC"]
    if build.positions:
        heard = _range(low.level[position], high.level[position], None)
        facts.append(f"{heard} dB(A) at the {build.positions[position].name}")
    sentence = f"{state}, {PERCENT} intervals of {known.draws} draws of the tolerances: {', '.join(facts)}"
    return f"{sentence}; {chance_words(known)}."


def chance_words(known: Uncertainty) -> str:
    """Return how often limits are kept, and which is the least sure."""
    if not known.limits:
        return "no limit is set"
    least = int(np.argmin(known.kept))
    every = f"every limit is kept in {percent(known.all_kept)} of them"
    if known.all_kept >= SURE:
        return every
    return f"{every}, least surely {known.limits[least].name} ({percent(float(known.kept[least]))})"


def percent(share: float) -> str:
    """Return a share in whole percent; what is not quite all or nothing does not read as if it were.

    >>> percent(0.613), percent(0.9991), percent(1.0), percent(0.002)
    ('61 %', 'over 99 %', '100 %', 'under 1 %')
    """
    if 0.0 < share < 0.005:
        return "under 1 %"
    if 0.995 <= share < 1.0:
        return "over 99 %"
    return f"{100.0 * share:.0f} %"


def first_sentence(ranking: Ranking) -> str:
    """Return what to measure first for one result: the cause with the greatest share of its variance."""
    if not ranking.causes or not ranking.causes[0].total > 0.0:
        return f"Nothing uncertain moves the {ranking.result}."
    top = ranking.causes[0]
    return f"Measure first, for the {ranking.result}: {top.name}; it is {percent(min(top.total, 1.0))} of the variance."


def uncertainty_tables(build: Build, known: Mapping[str, Uncertainty]) -> list[Part]:
    """Return intervals of all that is printed, and the chance of every limit, state by state."""
    parts: list[Part] = []
    for name, one in known.items():
        of = f" of {name}" if len(known) > 1 else ""
        rows = [
            [place, what, _end(low, unit, digits), _end(high, unit, digits), unit or "dB(A)"]
            for place, what, unit, digits, low, high in _printed(build, one)
        ]
        columns = ["where", "what", ">from", ">to", "unit"]
        parts.append(table(f"{PERCENT} intervals{of}, {one.answered} of {one.draws} draws", columns, rows))
        chances = [[limit.name, percent(float(k))] for limit, k in zip(one.limits, one.kept, strict=True)]
        if chances:
            parts.append(table(f"Chance that a limit is kept{of}", ["limit", ">chance"], chances))
    return parts


def ranking_sentences(known: Mapping[str, Uncertainty]) -> list[str]:
    """Return what to measure first for the temperature that is least sure to be kept, and for the first level."""
    said: list[str] = []
    for one in known.values():
        results = {ranking.result: ranking for ranking in one.rankings}
        doubtful = sorted(zip(one.kept.tolist(), [limit.name for limit in one.limits], strict=True))
        kelvins = [results[name] for _, name in doubtful if name in results and results[name].unit == "K"]
        levels = [ranking for ranking in one.rankings if ranking.unit == "dB"]
        said += [first_sentence(ranking) for ranking in (*kelvins[:1], *levels[:1])]
    return list(dict.fromkeys(said))


def sure_sentences(build: Build, known: Mapping[str, Uncertainty], position: str | None = None) -> list[str]:
    """Return how sure states are, and what to measure first where that was asked for."""
    heard = 0 if position is None else [place.name for place in build.positions].index(position)
    said = [uncertainty_sentence(build, name, one, heard) for name, one in known.items()]
    return [*said, *ranking_sentences(known)]


def sure_tables(build: Build, known: Mapping[str, Uncertainty]) -> list[Part]:
    """Return all intervals, chances and rankings."""
    ranked: list[Part] = [ranking_table(name, one.rankings) for name, one in known.items() if one.rankings]
    return [*ranked, *uncertainty_tables(build, known)]


def ranking_table(state: str, rankings: Sequence[Ranking]) -> Part:
    """Return the largest causes of error of every result."""
    rows = [
        [ranking.result, cause.name, percent(max(cause.first, 0.0)), percent(min(cause.total, 1.0))]
        for ranking in rankings
        for cause in told_causes(ranking)[:TOLD_CAUSES]
    ]
    columns = ["result", "what to measure", ">alone", ">with interactions"]
    return table(f"What to measure first, in {state}: shares of the variance", columns, rows)


def settings_sure_table(build: Build, known: Mapping[str, Uncertainty], position: str) -> Part:
    """Return the essentials of every state as intervals, and the chance that its limits are kept."""
    heard = [place.name for place in build.positions].index(position)
    rows = []
    for name, one in known.items():
        low, high = one.low, one.high
        rows.append(
            [
                name,
                _range(low.coolant_temp_max, high.coolant_temp_max, "degC"),
                _range(low.coolant_flow, high.coolant_flow, "L/min"),
                _range(low.level[heard], high.level[heard], None),
                percent(one.all_kept),
                one.limits[int(np.argmin(one.kept))].name if one.limits else NOTHING,
                percent(float(one.kept.min())) if one.limits else NOTHING,
            ]
        )
    columns = ["state", ">coolant, degC", ">L/min", ">dB(A)", ">all limits kept", "least sure limit", ">kept"]
    return table(f"{PERCENT} intervals at these settings", columns, rows)


def _printed(build: Build, known: Uncertainty) -> Iterator[tuple[str, str, str | None, int, float, float]]:
    """Every printed flow, temperature and level: place, what, unit, digits and ends in SI."""
    low, high = known.low, known.high
    for i, path in enumerate(build.air_paths):
        yield path.name, "air flow", "m3/h", 1, low.air_flow[i], high.air_flow[i]
        yield path.name, "air in", "degC", 1, low.path_temp_in[i], high.path_temp_in[i]
        yield path.name, "air out", "degC", 1, low.path_temp_out[i], high.path_temp_out[i]
    for i, name in enumerate(build.enclosures):
        yield name, "air", "degC", 1, low.enclosure_temp[i], high.enclosure_temp[i]
    yield "ring", "coolant flow", "L/min", 2, low.coolant_flow.item(), high.coolant_flow.item()
    yield "ring", "hottest coolant", "degC", 1, low.coolant_temp_max.item(), high.coolant_temp_max.item()
    places = [f"{source.name} {point.name}" for source in build.sources for point in source.points]
    for i, name in enumerate(places):
        yield name, "temperature", "degC", 1, low.point_temp[i], high.point_temp[i]
    for i, position in enumerate(build.positions):
        yield position.name, "rig", None, 1, low.level[i], high.level[i]
        yield position.name, "total", None, 1, low.total[i], high.total[i]


def _end(value: float, unit: str | None, digits: int) -> str:
    shown = number(value, unit)
    return NOTHING if shown is None else printed(shown, digits)


def _range(low: Any, high: Any, unit: str | None) -> str:
    return f"{_end(float(low), unit, 1)} to {_end(float(high), unit, 1)}"


# JSON ----------------------------------------------------------------------------------------------------------------


def uncertainty_answer(build: Build, known: Uncertainty) -> Answer:
    """Return the JSON form of how sure one state is: every interval as [from, to]."""
    positions = {
        place.name: {"level_dba": _ends(known, "level", i), "total_dba": _ends(known, "total", i)}
        for i, place in enumerate(build.positions)
    }
    answer: Answer = {
        "confidence": CONFIDENCE,
        "draws": known.draws,
        "answered_draws": known.answered,
        "seed": known.seed,
        **_air_ends(build, known),
        **_coolant_ends(build, known),
        "positions": positions,
        "limits": [
            {"limit": limit.name, "kind": limit.kind, "chance": float(kept)}
            for limit, kept in zip(known.limits, known.kept, strict=True)
        ],
        "all_limits_chance": known.all_kept,
    }
    return answer | ({"ranking": [_ranking(one) for one in known.rankings]} if known.rankings else {})


def _ends(known: Uncertainty, name: str, index: Any = (), unit: str | None = None) -> list[float | None]:
    """Ends of the interval of one entry of a field of the operating point."""
    return [number(float(getattr(point, name)[index]), unit) for point in (known.low, known.high)]


def _air_ends(build: Build, known: Uncertainty) -> Answer:
    paths = {
        path.name: {
            "flow_m3_per_h": _ends(known, "air_flow", i, "m3/h"),
            "temp_air_in_c": _ends(known, "path_temp_in", i, "degC"),
            "temp_air_out_c": _ends(known, "path_temp_out", i, "degC"),
            "heat_rate_w": _ends(known, "heat_rate", i),
        }
        for i, path in enumerate(build.air_paths)
    }
    enclosures = {
        name: {"temp_air_c": _ends(known, "enclosure_temp", i, "degC")} for i, name in enumerate(build.enclosures)
    }
    return {"air_paths": paths, "enclosures": enclosures}


def _coolant_ends(build: Build, known: Uncertainty) -> Answer:
    stations = [
        {
            "name": name,
            "flow_l_per_min": _ends(known, "station_flow", i, "L/min"),
            "temp_in_c": _ends(known, "station_temp_in", i, "degC"),
            "temp_out_c": _ends(known, "station_temp_out", i, "degC"),
        }
        for i, name in enumerate(station_names(build.loop.order))
    ]
    loop = {
        "flow_l_per_min": _ends(known, "coolant_flow", (), "L/min"),
        "temp_max_c": _ends(known, "coolant_temp_max", (), "degC"),
        "stations": stations,
    }
    places = iter(range(len(known.low.point_temp)))
    sources: Answer = {source.name: {} for source in build.sources}
    for source in build.sources:
        for place in source.points:
            sources[source.name][place.name] = {"temp_c": _ends(known, "point_temp", next(places), "degC")}
    return {"loop": loop, "sources": sources}


def _ranking(ranking: Ranking) -> Answer:
    causes = [
        {"cause": cause.name, "inputs": list(cause.inputs), "first_order": cause.first, "total": cause.total}
        for cause in ranking.causes
    ]
    return {"result": ranking.result, "unit": ranking.unit, "deviation": ranking.deviation, "causes": causes}


def with_uncertainty(build: Build, answer: Answer, known: Mapping[str, Uncertainty]) -> Answer:
    """Return an answer of `solve` or `quietest` with `uncertainty` in every operating point that has one."""
    if "settings" in answer:
        return {**answer, "settings": [with_uncertainty(build, setting, known) for setting in answer["settings"]]}
    if "operating_points" in answer:
        points = {name: with_uncertainty(build, point, known) for name, point in answer["operating_points"].items()}
        return {**answer, "operating_points": points}
    if answer.get("state") not in known:
        return answer
    return {**answer, "uncertainty": uncertainty_answer(build, known[answer["state"]])}
