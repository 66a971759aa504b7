"""The JSON form of every answer: units in the keys, no NaN, versions and fingerprints of the inputs.

`schemas.py` publishes what these functions return; a test holds the two together.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.limits import Limit, limits, margins
from quietcool.entry.build import Build, State
from quietcool.physics import criteria
from quietcool.show.versions import made_by
from quietcool.solve.findings import state_findings
from quietcool.solve.listening import position_limits
from quietcool.solve.loop import station_names
from quietcool.solve.noise import fixed_heard_levels
from quietcool.solve.operating_point import OperatingPoint
from quietcool.solve.sources import fixed_sources
from quietcool.solve.spectra import rig_spectrum
from quietcool.units import in_unit

if TYPE_CHECKING:
    from quietcool.decide.question import Quantity
    from quietcool.decide.quietest import Quietest, Setting
    from quietcool.decide.worth import Binding
    from quietcool.entry.findings import Finding
    from quietcool.errors import Mistake

Answer = dict[str, Any]

FORMAT = 1
OBJECTIVES = {"dba": "level_dba", "nc": "nc", "nr": "nr"}  # what is minimised -> the key that holds it
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
    limits_at, octave_levels = position_limits(build, state), rig_spectrum(build, point.speeds, point.load_share, state)
    fixed, fixed_levels = fixed_sources(build, state), fixed_heard_levels(build, state)
    found = {}
    for i, position in enumerate(build.positions):
        contributions = dict(zip(build.group_names, point.contributions[:, i].tolist(), strict=True))
        contributions |= {source.name: float(fixed_levels[k, i]) for k, source in enumerate(fixed)}
        rig = octave_levels[i]
        found[position.name] = {
            "level_dba": number(point.level[i]),
            "total_dba": number(point.total[i]),
            "contributions_dba": {name: number(level) for name, level in contributions.items()},
            "limit_dba": number(limits_at[i]),
            "margin_db": number(limits_at[i] - float(point.level[i])),
            "rig_db": octaves(rig),
            "nc": number(float(criteria.nc_rating(rig).rating)),
            "nr": number(float(criteria.nr_rating(rig).rating)),
        }
    return found


def octaves(levels: NDArray[np.float64]) -> list[float | None]:
    """Return band levels, null where there is nothing."""
    return [number(level) for level in levels.tolist()]


def quietest_answer(build: Build, answer: Quietest) -> Answer:
    """Return the answer of `quietest`."""
    loudest = _loudest(build, answer) if answer.quantity != "dba" else math.nan
    return {
        "format": FORMAT,
        "status": answer.status,
        **_outcome(answer.quantity, answer.level, answer.lower_bound, answer.gap, loudest),
        "objective": {"position": answer.position, "quantity": OBJECTIVES[answer.quantity]},
        "interrupted": answer.interrupted,
        "solved_cases": answer.solved_cases,
        "boxes": answer.boxes,
        "settings": [_setting(build, setting, answer) for setting in answer.settings],
        **envelope(build),
    }


def _loudest(build: Build, answer: Quietest) -> float:
    """Level of the loudest setting where it is heard [dB(A)]."""
    return max((_level(build, setting, answer.position) for setting in answer.settings), default=math.nan)


def _level(build: Build, setting: Setting, position: str) -> float:
    """Level of a setting in its loudest state; NaN where it keeps no limits [dB(A)]."""
    place = [heard.name for heard in build.positions].index(position)
    levels = [float(point.level[place]) for point in setting.points.values()]
    return math.nan if setting.status == "infeasible" else max(levels, default=math.nan)


def _outcome(quantity: Quantity, value: float, bound: float, gap: float, level: float) -> Answer:
    """Return level, bound and gap; those of a rating stand beside the level that goes with it."""
    if quantity == "dba":
        return {"level_dba": number(value), "lower_bound_dba": number(bound), "gap_db": number(gap)}
    rated = {"criterion": quantity, "rating": number(value), "lower_bound": number(bound), "gap": number(gap)}
    return {"level_dba": number(level), "lower_bound_dba": None, "gap_db": None, "rating": rated}


def _setting(build: Build, setting: Setting, answer: Quietest) -> Answer:
    level = _level(build, setting, answer.position) if answer.quantity != "dba" else math.nan
    return {
        "states": list(setting.states),
        "groups": speeds_answer(build, setting.speeds.tolist()),
        "status": setting.status,
        "infeasibility_proven": setting.infeasibility_proven,
        **_outcome(answer.quantity, setting.level, setting.lower_bound, setting.gap, level),
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
