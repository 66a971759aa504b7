"""From a setting that the page sends to what it shows: numbers first, pictures after."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from quietcool.decide.limits import limits
from quietcool.decide.variants import layouts_of, radiator_paths
from quietcool.entry.build import Build, SpeedRange, State
from quietcool.entry.mistakes import nearest
from quietcool.show import plots, wording
from quietcool.show.console import rpm
from quietcool.show.json_answers import number, state_margins
from quietcool.show.look import Picture
from quietcool.show.page_models import Asked, AskedPictures, Kept, Pictures, Shown, Solved, Source
from quietcool.show.pages import degrees
from quietcool.solve.findings import state_findings
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point
from quietcool.units import in_unit, shown, si_value

UNITS = {"K": ("degC", "°C", 1), "m3/s": ("L/min", "L/min", 2), "dB": (None, "dB(A)", 1)}


class Refused(ValueError):
    """What the page asked for is not there; the message is a sentence for it."""


def chosen(asked_state: str, room_temp_c: float, layouts: Mapping[str, str], build: Build) -> tuple[Build, State]:
    """Return the build with the layouts, and the state with the room, that were asked for."""
    known = [state.name for state in build.states]
    if asked_state not in known:
        raise Refused(f"state: needs a state of the build; found {shown(asked_state)}; {_near(asked_state, known)}")
    for path, layout in layouts.items():
        build = with_layout(build, path, layout)
    return build, replace(build.state(asked_state), room_temp=si_value(room_temp_c, "degC"))


def with_layout(build: Build, path: str, layout: str) -> Build:
    """Return the build with one radiator's fans placed as asked."""
    offered = layouts_offered(build)
    if path not in offered:
        raise Refused(
            f"layouts: needs an air path with a radiator and fans; found {shown(path)}; {_near(path, list(offered))}"
        )
    if layout not in offered[path]:
        raise Refused(f"layouts: {path} can be {' or '.join(offered[path])}; found {shown(layout)}; choose one of them")
    return offered[path][layout]


def layouts_offered(build: Build) -> dict[str, dict[str, Build]]:
    """Return by path and layout the builds that have the same groups, the present one first."""
    found: dict[str, dict[str, Build]] = {}
    for path in radiator_paths(build):
        variants = [v for v in layouts_of(build, path) if v.build.group_names == build.group_names]
        found[path] = {v.layout.partition(",")[0]: v.build for v in variants}
    return found


def speeds_of(build: Build, speeds_rpm: Mapping[str, float]) -> list[float]:
    """Return the speed of every group [rev/s]."""
    unknown = [name for name in speeds_rpm if name not in build.group_names]
    if unknown:
        near = _near(unknown[0], build.group_names)
        raise Refused(f"speeds_rpm: needs groups of the build; found {shown(unknown[0])}; {near}")
    missing = [name for name in build.group_names if name not in speeds_rpm]
    if missing:
        raise Refused(f"speeds_rpm: needs a speed of every group; found none of {missing[0]}; add it")
    for name, ranges in zip(build.group_names, build.speed_ranges, strict=True):
        check_speed(name, ranges, speeds_rpm[name])
    return [si_value(speeds_rpm[name], "rpm") for name in build.group_names]


def check_speed(name: str, ranges: SpeedRange, speed_rpm: float) -> None:
    """Refuse a speed that a group's controller cannot reach."""
    lowest, highest = (in_unit(end, "rpm") for end in (ranges.lowest, ranges.highest))
    if not (lowest <= speed_rpm <= highest or (speed_rpm == 0.0 and ranges.may_stop)):
        ends = f"{rpm(lowest)} to {rpm(highest)} rpm" + (", or 0" if ranges.may_stop else "")
        raise Refused(f"speeds_rpm: {name} needs {ends}; found {speed_rpm:g}; choose a speed in that range")


def solve_for_page(build: Build, asked: Asked) -> Solved:
    """Return the numbers of a setting."""
    changed, state, point = _solved(build, asked)
    if not point.converged:
        sentence = degrees(wording.solve_sentence(changed, state.name, point))
        return Solved(sentence=sentence, converged=False, level_dba=None, readings=[], sources=[], findings=[])
    heard = changed.positions[0].name if changed.positions else ""
    contributions = point.contributions[:, 0].tolist() if heard else []
    named = zip(changed.group_names, contributions, strict=True) if heard else ()
    return Solved(
        sentence=degrees(wording.solve_sentence(changed, state.name, point)),
        converged=True,
        level_dba=number(float(point.level[0])) if heard else None,
        readings=readings(changed, state, point),
        sources=[Source(name=name, level_dba=number(level)) for name, level in named],
        findings=[degrees(said) for said in state_findings(changed, state, point)],
    )


def readings(build: Build, state: State, point: OperatingPoint) -> list[Kept]:
    """Return every limit with its value, the tightest of its kind first, then levels that have no limit."""
    found = []
    for limit, (margin, unit) in state_margins(build, state, point):
        to, printed, digits = UNITS.get(limit.unit, (None, limit.unit, 1))
        value = None if margin is None else _value(limit.value, margin, unit, to)
        found.append(
            Kept(
                name=limit.name, value=value, limit=_in(limit.value, to), margin=margin, unit=printed, digits=digits,
                kept=margin is not None and margin >= 0.0,
            )
        )  # fmt: skip
    limited = {limit.name for limit in limits(build, state)}
    for i, position in enumerate(build.positions):
        if position.name not in limited:
            level = number(float(point.level[i]))
            found.append(
                Kept(name=position.name, value=level, limit=None, margin=None, unit="dB(A)", digits=1, kept=True)
            )
    return found


def _value(limit: float, margin: float, unit: str, to: str | None) -> float | None:
    """Return what was read: limit less margin, and for a flow limit plus margin."""
    bound = _in(limit, to)
    if bound is None:
        return None
    return bound + margin if unit == "L/min" else bound - margin


def _in(value: float, unit: str | None) -> float | None:
    shown_as = in_unit(value, unit) if unit else value
    return shown_as if math.isfinite(shown_as) else None


def pictures_for_page(build: Build, asked: AskedPictures) -> Pictures:
    """Return the pictures of a setting: who is loudest, fan curves of one path, air map, ring."""
    changed, state, point = _solved(build, asked)
    if not point.converged:
        return Pictures(pictures=[])
    blown = [path.name for path in changed.air_paths if path.fan_rows]
    wanted = asked.path if asked.path is not None else next(iter(blown), None)
    if wanted is not None and wanted not in blown:
        raise Refused(f"path: needs an air path with fans; found {shown(wanted)}; {_near(wanted, blown)}")
    found: list[Picture] = []
    if wanted is not None:
        found.append(plots.fan_curves(changed, state, point, wanted, layouts=False))
    found += [plots.air_map(changed, state, point), plots.coolant_ring(changed, state, point)]
    if changed.positions:
        found.append(plots.loudest(changed, state, point))
    return Pictures(pictures=[_shown(picture) for picture in found])


def _solved(build: Build, asked: Asked) -> tuple[Build, State, OperatingPoint]:
    changed, state = chosen(asked.state, asked.room_temp_c, asked.layouts, build)
    return changed, state, solve_operating_point(changed, state, speeds_of(changed, asked.speeds_rpm))


def _shown(picture: Picture) -> Shown:
    kind = "fan-curves" if picture.name.startswith("fan-curves") else picture.name
    figure = None if picture.figure is None else dict(picture.figure)
    return Shown(name=kind, title=picture.title, words=picture.alternative, figure=figure, drawing=picture.drawing)


def _near(name: str, known: tuple[str, ...] | list[str]) -> str:
    return nearest(name, known, "write another").rstrip("?")
