"""Fan curves against what their path takes: several speeds, every layout the stack allows, and what a kelvin needs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.variants import layouts_of, radiator_paths
from quietcool.entry.build import AirPath, Build, SpeedRange, State
from quietcool.show.console import number, rpm
from quietcool.show.look import (
    Layout,
    Picture,
    Trace,
    axis,
    dash,
    faint,
    ink,
    layout,
    line,
    note,
    points,
    series,
    signed,
    symbol,
)
from quietcool.solve.airflow import AirLaw, Row, bank_of
from quietcool.solve.findings import settled_law
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point
from quietcool.units import in_unit

Floats = NDArray[np.float64]

FLOWS = 61  # points of a drawn curve
SPEEDS = 13  # solved over the group's range, to say what a kelvin needs
DRAWN_SPEEDS = 4  # of them are drawn, besides the present one
KELVINS = (-3, -2, -1, 1, 2, 3)
BESIDE = 1.3  # of the highest flow at which the path comes to rest: the rest of the curves is not drawn
NEAR = 0.12  # of the highest speed: a speed nearer to the present one is not drawn
MARK_SPACE = 0.13  # of the width: the least between two marks of kelvins
HEADROOM = 1.08  # over the highest curve


class Laid(NamedTuple):
    """One layout of the path, solved with the whole rig."""

    layout: str
    point: OperatingPoint
    law: AirLaw


@dataclass(frozen=True)
class PathCurves:
    """What the figure of one path is drawn from; flows are at the density of the air that enters."""

    path: AirPath
    group: str
    density: float  # of the air that enters the path [kg/m3]
    flow: Floats  # (flows,) [m3/s]
    taken: Floats  # by everything in the path but fans, and by the enclosures' pressures, (flows,) [Pa]
    speeds: Floats  # of the group, (speeds,) [rev/s]
    rises: Floats  # of the fans at each speed, (speeds, flows) [Pa]
    rests: tuple[tuple[float, float], ...]  # flow and rise where each speed comes to rest [m3/s, Pa]
    present: float  # speed of the group [rev/s]
    layouts: tuple[tuple[str, Floats, tuple[float, float]], ...]  # name, rise over `flow`, where it rests
    peak: float  # flow of the last peak at the present speed; 0 where the curve only falls [m3/s]
    needed: tuple[tuple[int, float], ...]  # kelvins more or less in the coolant, and the flow that they take [K, m3/s]


def fan_curves(build: Build, state: State, point: OperatingPoint, path: str, *, layouts: bool = True) -> Picture:
    """Draw fan curves of a path meeting what the path takes.

    Parameters
    ----------
    build, state, point : Build, State, OperatingPoint
        A solved state, one case.
    path : str
        Name of an air path with fans.
    layouts : bool
        Solve and draw the path's other layouts too.

    Returns
    -------
    Picture

    Raises
    ------
    ValueError
        If the path has no fans, or the state is not solved.
    """
    found = path_curves(build, state, point, path, layouts=layouts)
    flow = in_unit_of_flow(found.flow)
    top = HEADROOM * max(float(found.rises.max()), *(float(rise.max()) for _, rise, _ in found.layouts), 1.0)
    traces = [*_stall_shade(found, top), *_speed_lines(found, flow), *_layout_lines(found, flow)]
    traces.append(
        line(flow, np.where(found.taken <= top, found.taken, np.nan), "path", ink("ink"), line={"width": 2.6})
    )
    traces += _rest_points(found)
    made = layout(
        axis("flow, m³/h", range=[0.0, float(flow[-1])]),
        axis("static pressure, Pa", range=[0.0, top]),
        height=430,
        annotations=_notes(found, flow, top),
        shapes=[_mark(x) for _, x in _marked(found, float(flow[-1]))],
        margin={"l": 48, "r": 14, "t": 26, "b": 44},
    )
    columns, rows = _numbers(found)
    return Picture(
        f"fan-curves-{path.replace(' ', '-')}", _title(found), _words(found), columns, rows,
        {"data": traces, "layout": made},
    )  # fmt: skip


def path_curves(build: Build, state: State, point: OperatingPoint, name: str, *, layouts: bool) -> PathCurves:
    """Solve what the figure of one path is drawn from."""
    if not point.converged:
        raise ValueError("the state is not solved")
    index = [path.name for path in build.air_paths].index(name)
    path = build.air_paths[index]
    if not path.fan_rows:
        raise ValueError(f'air path "{name}" has no fans')
    group = path.fan_rows[0].group
    column = build.group_names.index(group)
    law = settled_law(build, state, point)
    density = float(point.mass_flow[index] / point.air_flow[index]) if point.air_flow[index] else 1.2
    ranges = build.speed_ranges[column]
    asked = np.tile(point.speeds, (SPEEDS, 1))
    asked[:, column] = _spread(ranges)
    solved = solve_operating_point(build, state, asked)
    present = float(point.speeds[column])
    picked = np.unique(np.linspace(0, SPEEDS - 1, DRAWN_SPEEDS).round().astype(int))
    laid = _laid_out(build, state, point, name) if layouts else ()
    speeds = np.array([s for s in asked[picked, column].tolist() if abs(s - present) > NEAR * ranges.highest])
    reach = [float(np.max(row.free_flow)) * row.count for row in _rows_at(law, index, column, ranges.highest)]
    widest = min(max(reach), BESIDE * max(float(np.max(solved.air_flow[:, index])), 0.0) or np.inf)
    flow = np.linspace(0.0, 1.02 * widest, FLOWS)
    rises = np.array([_rise(law, index, flow * density, column, speed) for speed in [*speeds.tolist(), present]])
    rests = [_rest(law, index, density, column, solved.mass_flow[i, index], asked[i, column]) for i in range(SPEEDS)]
    every = {float(s): rest for s, rest in zip(asked[:, column], rests, strict=True)}
    now = _rest(law, index, density, column, point.mass_flow[index], present)
    rows = _rows_at(law, index, column, present)
    return PathCurves(
        path, group, density, flow, _taken(build, law, point, index, flow * density),
        np.append(speeds, present), rises, (*(every[s] for s in speeds.tolist()), now), present,
        tuple(_layout_curve(one, index, column, flow * density, density) for one in laid),
        max((float(row.curve.last_peak * np.max(row.reach) * row.count) for row in rows), default=0.0),
        _needed(point, solved, index),
    )  # fmt: skip


def _spread(ranges: SpeedRange) -> Floats:
    """Speeds over a range, of those that the group can have where there are many [rev/s]."""
    even = np.linspace(ranges.lowest, ranges.highest, SPEEDS)
    if ranges.step <= 0.0 or ranges.highest - ranges.lowest < 2 * SPEEDS * ranges.step:
        return even
    return np.asarray(ranges.lowest + ranges.step * np.round((even - ranges.lowest) / ranges.step))


def in_unit_of_flow(flow: Floats) -> Floats:
    """Return flows in m3/h."""
    return np.array([in_unit(q, "m3/h") for q in flow.tolist()])


def _laid_out(build: Build, state: State, point: OperatingPoint, path: str) -> tuple[Laid, ...]:
    """The path's other layouts with the same speeds, each solved with the whole rig."""
    found = []
    for variant in layouts_of(build, path) if path in radiator_paths(build) else ():
        if variant.present or variant.build.group_names != build.group_names:
            continue
        solved = solve_operating_point(variant.build, state, point.speeds)
        if solved.converged:
            name = variant.layout.partition(",")[0]
            found.append(Laid(name, solved, settled_law(variant.build, state, solved)))
    return tuple(found)


def _layout_curve(
    one: Laid, index: int, column: int, mass_flow: Floats, density: float
) -> tuple[str, Floats, tuple[float, float]]:
    speed = float(one.point.speeds[column])
    rise = _rise(one.law, index, mass_flow, column, speed)
    return one.layout, rise, _rest(one.law, index, density, column, one.point.mass_flow[index], speed)


def _rows_at(law: AirLaw, index: int, column: int, speed: float) -> list[Row]:
    """Fan rows of a path, those of one group at another speed."""
    return [
        replace(row, speed=np.array([speed])) if row.group == column else row for row in law.rows if row.path == index
    ]


def _rise(law: AirLaw, index: int, mass_flow: Floats, column: int, speed: float) -> Floats:
    """Pressure rise of all rows of a path over mass flow, the whole curve and not its falling substitute [Pa]."""
    bank = bank_of(_rows_at(law, index, column, speed))
    if bank is None:
        return np.zeros_like(mass_flow)
    density = law.row_density[[row.path == index for row in law.rows]]
    rise: Floats = bank.gain(mass_flow, density, frozenset())[0].sum(axis=0)
    return rise


def _rest(law: AirLaw, index: int, density: float, column: int, mass_flow: float, speed: float) -> tuple[float, float]:
    """Where a case comes to rest: flow and pressure rise of the path's fans [m3/s, Pa]."""
    return float(mass_flow) / density, float(_rise(law, index, np.array([mass_flow]), column, float(speed))[0])


def _taken(build: Build, law: AirLaw, point: OperatingPoint, index: int, mass_flow: Floats) -> Floats:
    """What the path takes at every flow, with the pressures that the enclosures have now [Pa]."""
    ends = {name: float(p) for name, p in zip(build.enclosures, point.enclosure_pressure.tolist(), strict=True)}
    path = build.air_paths[index]
    standing = ends.get(path.target, 0.0) - ends.get(path.source, 0.0)
    linear, quadratic = float(law.linear[index, 0]), float(law.quadratic[index, 0])
    return np.asarray(mass_flow * (linear + quadratic * mass_flow) + standing)


def _needed(point: OperatingPoint, solved: OperatingPoint, index: int) -> tuple[tuple[int, float], ...]:
    """Flow that the hottest coolant needs to be so many kelvins warmer or colder, where the speeds reach it."""
    temp, flow = solved.coolant_temp_max, solved.air_flow[:, index]
    known = np.isfinite(temp) & np.isfinite(flow)
    temp, flow = temp[known], flow[known]
    falling = bool(temp.size > 1 and np.all(np.diff(temp) < 0.0) and np.all(np.diff(flow) > 0.0))
    if not falling:  # a faster fan does not always cool: then no one flow belongs to a kelvin
        return ()
    wanted = [(k, float(point.coolant_temp_max) + k) for k in KELVINS]
    return tuple((k, float(np.interp(-t, -temp, flow))) for k, t in wanted if temp[-1] <= t <= temp[0])


def _stall_shade(found: PathCurves, top: float) -> list[Trace]:
    """Shade what lies left of the last peak at every speed: the peak moves on a parabola."""
    if found.peak <= 0.0:
        return []
    at_peak = float(np.interp(found.peak, found.flow, found.rises[-1]))
    share = np.linspace(0.0, np.sqrt(top / at_peak), 25)
    edge_flow, edge = found.peak * share, at_peak * share**2
    return [
        line(
            in_unit_of_flow(np.append(edge_flow, 0.0)), np.append(edge, top), "stall side", ink("rust"),
            fill="toself", fillcolor=faint("rust", 0.14), line={"width": 0}, hoverinfo="name",
        )
    ]  # fmt: skip


def _speed_lines(found: PathCurves, flow: Floats) -> list[Trace]:
    traces = []
    for speed, rise in zip(found.speeds.tolist(), found.rises, strict=True):
        now = speed == found.present
        style = {"width": 3.0 if now else 1.3}
        traces.append(line(flow, np.where(rise >= 0.0, rise, np.nan), f"{_rpm(speed)} rpm", ink("blue"), line=style))
    return traces


def _layout_lines(found: PathCurves, flow: Floats) -> list[Trace]:
    return [
        line(flow, np.where(rise >= 0.0, rise, np.nan), name, series(i + 1), line={"dash": dash(i + 1), "width": 2.2})
        for i, (name, rise, _) in enumerate(found.layouts)
    ]


def _rest_points(found: PathCurves) -> list[Trace]:
    others = found.rests[:-1]
    traces = [
        points(
            [in_unit(q, "m3/h") for q, _ in others], [p for _, p in others], "rests here", ink("blue"),
            marker={"size": 8, "color": ink("paper"), "line": {"color": ink("blue"), "width": 1.8}},
        )
    ]  # fmt: skip
    for i, (name, _, (q, p)) in enumerate(found.layouts):
        traces.append(
            points([in_unit(q, "m3/h")], [p], f"{name} rests here", series(i + 1), marker={"symbol": symbol(i + 1)})
        )
    q, p = found.rests[-1]
    traces.append(points([in_unit(q, "m3/h")], [p], "now", ink("blue"), marker={"size": 14}))
    return traces


def _mark(flow: float) -> Layout:
    return {
        "type": "line", "x0": flow, "x1": flow, "y0": 0, "y1": 1, "yref": "paper",
        "line": {"color": ink("slate"), "width": 1, "dash": "dot"},
    }  # fmt: skip


def _notes(found: PathCurves, flow: Floats, top: float) -> list[Layout]:
    """Names beside the lines, and kelvins over the marks, as many as have room."""
    notes = []
    for i, (speed, rise) in enumerate(zip(found.speeds.tolist(), found.rises, strict=True)):
        text = f"{_rpm(speed)} rpm" + (f", {found.path.layout}" if i == len(found.rises) - 1 else "")
        notes.append(note(0, float(rise[0]), text, ink("blue"), xanchor="left", yanchor="bottom", xshift=4))
    for i, (name, rise, _) in enumerate(found.layouts):
        at = int(np.argmin(np.abs(rise - 0.35 * float(rise[0]))))
        side = {"xanchor": "left", "xshift": 5} if flow[at] < 0.7 * flow[-1] else {"xanchor": "right", "xshift": -5}
        notes.append(note(float(flow[at]), float(rise[at]), name, series(i + 1), yanchor="bottom", **side))
    inside = np.flatnonzero(found.taken <= 0.97 * top)
    last = int(inside[-1]) if inside.size else 0
    notes.append(
        note(
            float(flow[last]), float(found.taken[last]), "what the path takes", xanchor="right", yanchor="bottom",
            xshift=-6,
        )
    )  # fmt: skip
    for kelvins, x in _marked(found, float(flow[-1])):
        notes.append(note(x, 1.0, signed(kelvins, 0, " K"), ink("slate"), yref="paper", yanchor="bottom"))
    if found.peak > 0.0:
        notes.append(note(0, 0.93 * top, "stall side", ink("rust"), xanchor="left", xshift=6))
    return notes


def _marked(found: PathCurves, width: float) -> list[tuple[int, float]]:
    """Kelvins and their flows [m3/h], as many as have room, the smallest change first."""
    placed: list[tuple[int, float]] = []
    for kelvins, q in sorted(found.needed, key=lambda one: (abs(one[0]), one[0])):
        x = in_unit(q, "m3/h")
        if all(abs(x - other) > MARK_SPACE * width for _, other in placed):
            placed.append((kelvins, x))
    return placed


def _title(found: PathCurves) -> str:
    q, p = found.rests[-1]
    flow = number(in_unit(q, "m3/h"), 0)
    said = f"{found.path.name}: at {_rpm(found.present)} rpm {flow} m³/h against {number(p, 1)} Pa"
    colder = next((flow for kelvins, flow in found.needed if kelvins == -1), None)
    if colder is not None:
        more = in_unit(colder - q, "m3/h")
        return f"{said}; one kelvin less in the coolant takes {number(more, 0)} m³/h more"
    return f"{said}; more speed here cools the coolant by less than one kelvin" if found.needed else said


def _words(found: PathCurves) -> str:
    others = "; ".join(
        f"as {name} it would move {number(in_unit(q, 'm3/h'), 0)} m³/h at {number(p, 1)} Pa"
        for name, _, (q, p) in found.layouts
    )
    marks = ", ".join(f"{signed(k, 0, ' K')} at {number(in_unit(q, 'm3/h'), 0)} m³/h" for k, q in found.needed)
    peak = (
        f"On the shaded side, left of {number(in_unit(found.peak, 'm3/h'), 0)} m³/h at this speed, the fans stall. "
        if found.peak > 0.0
        else "The fan's curve falls everywhere, so there is no stall side. "
    )
    return (
        f"Pressure over flow for {found.path.name}. Falling lines are what the {found.group} fans give at "
        f"{', '.join(_rpm(s) for s in sorted(found.speeds.tolist()))} rpm; the rising line is what the path takes, "
        f"with the pressures that the enclosures have now. Points are solved with the whole rig. {peak}"
        + (f"At the same speed, {others}. " if others else "")
        + (f"Dotted marks: coolant {marks}." if marks else "")
    ).strip()


def _numbers(found: PathCurves) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    laid = found.path.layout
    rows = [
        (f"{laid}, now" if s == found.present else laid, _rpm(s), number(in_unit(q, "m3/h"), 1), number(p, 2))
        for s, (q, p) in sorted(zip(found.speeds.tolist(), found.rests, strict=True))
    ]
    rows += [
        (name, _rpm(found.present), number(in_unit(q, "m3/h"), 1), number(p, 2)) for name, _, (q, p) in found.layouts
    ]
    rows += [(f"coolant {signed(k, 0)} K", "-", number(in_unit(q, "m3/h"), 1), "-") for k, q in found.needed]
    return ("layout", ">rpm", ">flow, m3/h", ">pressure rise, Pa"), tuple(rows)


def _rpm(speed: float) -> str:
    return rpm(round(in_unit(speed, "rpm"), 1))
