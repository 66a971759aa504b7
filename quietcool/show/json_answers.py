"""The JSON form of every answer: units in the keys, no NaN, versions and fingerprints of the inputs.

`schemas.py` publishes what these functions return; a test holds the two together.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from quietcool.decide.limits import Limit, limits, margins
from quietcool.entry.build import Build, State
from quietcool.show.versions import made_by
from quietcool.solve.findings import state_findings
from quietcool.solve.loop import station_names
from quietcool.solve.operating_point import OperatingPoint
from quietcool.units import in_unit

if TYPE_CHECKING:
    from quietcool.decide.quietest import Quietest, Setting
    from quietcool.decide.worth import Binding
    from quietcool.entry.findings import Finding
    from quietcool.errors import Mistake

Answer = dict[str, Any]

FORMAT = 1
MARGIN_UNITS = {"m3/s": "L/min"}  # a margin of the core -> how people read it; every other unit is read as it is


def dumps(answer: Mapping[str, Any]) -> str:
    """Return an answer as strict JSON: no NaN, and the same text for the same answer."""
    return json.dumps(answer, indent=2, allow_nan=False)


def number(value: float, unit: str | None = None) -> float | None:
    """Return an SI number in a unit of the border; None where it is no number (no steady value, silent)."""
    converted = in_unit(float(value), unit) if unit else float(value)
    return converted if math.isfinite(converted) else None


def envelope(build: Build) -> Answer:
    """Return what ends every answer about a build: versions, and SHA-256 of every file that was read."""
    return {"made_by": made_by(), "inputs_sha256": dict(build.inputs)}


def check_answer(build: Build, findings: Sequence[Finding]) -> Answer:
    """Return the answer of `check` for a build without mistakes."""
    counts = {
        "enclosures": len(build.enclosures),
        "fan_groups": len(build.fan_groups),
        "air_paths": len(build.air_paths),
        "radiators": sum(path.core is not None for path in build.air_paths),
        "sources": len(build.sources),
        "positions": len(build.positions),
        "states": len(build.states),
    }
    said = [{"kind": f.kind, "place": f.place, "sentence": f.sentence} for f in findings]
    return {
        "format": FORMAT,
        "valid": True,
        "title": build.title,
        "counts": counts,
        "origins": origins(build),
        "mistakes": [],
        "findings": said,
        **envelope(build),
    }


def refused_answer(mistakes: Sequence[Mistake]) -> Answer:
    """Return the answer of `check` for files with mistakes."""
    said = [vars(mistake) for mistake in mistakes]
    return {"format": FORMAT, "valid": False, "mistakes": said, "findings": [], "made_by": made_by()}


def origins(build: Build) -> dict[str, int]:
    """Count the numbers of a build by where they come from."""
    found: dict[str, int] = {}
    for entry in build.ledger:
        found[entry.origin] = found.get(entry.origin, 0) + 1
    return dict(sorted(found.items()))


def solve_answer(build: Build, points: Mapping[str, OperatingPoint]) -> Answer:
    """Return the answer of `solve`: an operating point, or several by state."""
    solved = {name: operating_point_answer(build, build.state(name), point) for name, point in points.items()}
    if len(solved) == 1:
        return {"format": FORMAT, **next(iter(solved.values())), **envelope(build)}
    return {"format": FORMAT, "operating_points": solved, **envelope(build)}


def operating_point_answer(build: Build, state: State, point: OperatingPoint) -> Answer:
    """Return the JSON form of one operating point."""
    return {
        "state": state.name,
        "converged": bool(point.converged),
        "groups": speeds_answer(build, point.speeds.tolist()),
        "air_paths": _air_paths(build, point),
        "enclosures": {
            name: {
                "temp_air_c": number(point.enclosure_temp[i], "degC"),
                "gauge_pressure_pa": number(point.enclosure_pressure[i]),
            }
            for i, name in enumerate(build.enclosures)
        },
        "loop": _loop(build, point),
        "sources": _sources(build, point),
        "positions": _positions(build, state, point),
        "limits": [
            {"limit": limit.name, "kind": limit.kind, "margin": value, "unit": unit}
            for limit, (value, unit) in state_margins(build, state, point)
        ],
        "findings": list(state_findings(build, state, point)),
    }


def speeds_answer(build: Build, speeds: Sequence[float]) -> Answer:
    """Return the speed of every group."""
    return {name: {"speed_rpm": in_unit(s, "rpm")} for name, s in zip(build.group_names, speeds, strict=True)}


def state_margins(build: Build, state: State, point: OperatingPoint) -> list[tuple[Limit, tuple[float | None, str]]]:
    """Pair every limit of a state with its margin as people read it: K, L/min or dB; None where it has no value."""
    found = margins(build, state, point).tolist()
    return [(limit, read_margin(m, limit.unit)) for limit, m in zip(limits(build, state), found, strict=True)]


def read_margin(margin: float, unit: str) -> tuple[float | None, str]:
    """Return a margin and its unit as people read them."""
    shown = MARGIN_UNITS.get(unit)
    return (number(margin, shown), shown) if shown else (number(margin), unit)


def _air_paths(build: Build, point: OperatingPoint) -> Answer:
    return {
        path.name: {
            "flow_m3_per_h": number(point.air_flow[i], "m3/h"),
            "mass_flow_kg_per_s": number(point.mass_flow[i]),
            "face_velocity_m_per_s": number(point.face_velocity[i]),
            "layout": path.layout,
            "temp_air_in_c": number(point.path_temp_in[i], "degC"),
            "temp_air_out_c": number(point.path_temp_out[i], "degC"),
            "heat_rate_w": number(point.heat_rate[i]),
        }
        for i, path in enumerate(build.air_paths)
    }


def _loop(build: Build, point: OperatingPoint) -> Answer:
    stations = [
        {
            "name": name,
            "flow_l_per_min": number(point.station_flow[i], "L/min"),
            "temp_in_c": number(point.station_temp_in[i], "degC"),
            "temp_out_c": number(point.station_temp_out[i], "degC"),
        }
        for i, name in enumerate(station_names(build.loop.order))
    ]
    return {
        "flow_l_per_min": number(float(point.coolant_flow), "L/min"),
        "temp_max_c": number(float(point.coolant_temp_max), "degC"),
        "stations": stations,
    }


def _sources(build: Build, point: OperatingPoint) -> Answer:
    temps = iter(point.point_temp.tolist())
    found: Answer = {}
    for source in build.sources:
        found[source.name] = {}
        for place in source.points:
            temp = next(temps)
            limit = math.nan if place.limit is None else place.limit
            found[source.name][place.name] = {
                "temp_c": number(temp, "degC"),
                "limit_c": number(limit, "degC"),
                "margin_k": number(limit - temp),
            }
    return found


def _positions(build: Build, state: State, point: OperatingPoint) -> Answer:
    found = {}
    for i, position in enumerate(build.positions):
        asked = state.limits.position.get(position.name, position.limit)
        limit = math.nan if asked is None else asked
        contributions = zip(build.group_names, point.contributions[:, i].tolist(), strict=True)
        found[position.name] = {
            "level_dba": number(point.level[i]),
            "total_dba": number(point.total[i]),
            "contributions_dba": {name: number(level) for name, level in contributions},
            "limit_dba": number(limit),
            "margin_db": number(limit - float(point.level[i])),
        }
    return found


def quietest_answer(build: Build, answer: Quietest) -> Answer:
    """Return the answer of `quietest`."""
    return {
        "format": FORMAT,
        "status": answer.status,
        "level_dba": number(answer.level),
        "lower_bound_dba": number(answer.lower_bound),
        "gap_db": number(answer.gap),
        "objective": {"position": answer.position, "quantity": "level_dba"},
        "interrupted": answer.interrupted,
        "solved_cases": answer.solved_cases,
        "boxes": answer.boxes,
        "settings": [_setting(build, setting) for setting in answer.settings],
        **envelope(build),
    }


def _setting(build: Build, setting: Setting) -> Answer:
    return {
        "states": list(setting.states),
        "groups": speeds_answer(build, setting.speeds.tolist()),
        "status": setting.status,
        "infeasibility_proven": setting.infeasibility_proven,
        "level_dba": number(setting.level),
        "lower_bound_dba": number(setting.lower_bound),
        "gap_db": number(setting.gap),
        "binding": [_binding(binding) for binding in setting.binding],
        "operating_points": {
            name: operating_point_answer(build, build.state(name), point) for name, point in setting.points.items()
        },
    }


def _binding(binding: Binding) -> Answer:
    margin, unit = read_margin(binding.margin, binding.unit)
    worths = {"worth_db_per_k": binding.worth_db_per_k, "worth_db_per_10_w": binding.worth_db_per_10_w}
    found: Answer = {"state": binding.state, "limit": binding.limit, "margin": margin, "unit": unit}
    return found | {key: number(worth) for key, worth in worths.items() if worth is not None}
