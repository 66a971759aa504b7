"""Level and temperature over the speeds of two groups: where the limits are kept, and where it is quietest."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.limits import Limit, limits, margins
from quietcool.entry.build import Build, SpeedRange, State
from quietcool.show.console import number, rpm
from quietcool.show.look import Layout, Picture, Trace, axis, faint, ink, label, layout, note, points, rounded, short
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point
from quietcool.units import in_unit

Floats = NDArray[np.float64]

STEPS = 25  # speeds of each group that are solved
TABLE_STEPS = 5  # of them in the table


class Plane(NamedTuple):
    """What the figure is drawn from."""

    names: tuple[str, str]
    ranges: tuple[SpeedRange, SpeedRange]
    speeds: tuple[Floats, Floats]  # of the two groups [rev/s]
    level: Floats  # (second, first) [dB(A)]
    temp: Floats  # hottest coolant, (second, first) [K]
    margins: Floats  # in their own units, (second, first, limits)
    limits: tuple[Limit, ...]


def speed_plane(
    build: Build, state: State, point: OperatingPoint, groups: tuple[str, str], position: int = 0, quietest: str = ""
) -> Picture:  # fmt: skip
    """Draw level and hottest coolant over two groups' speeds, all other speeds as at a point.

    Parameters
    ----------
    build, state : Build, State
        The rig and its work.
    point : OperatingPoint
        A solved setting, one case: it gives all other speeds, and is marked.
    groups : tuple of two str
        Names of the groups; "pump" is one.
    position : int
        Where it is heard.
    quietest : str
        What to call the marked setting: "quietest" if it is that, "this" without a word.

    Returns
    -------
    Picture
    """
    plane = solve_plane(build, state, point, groups, position)
    columns = [build.group_names.index(name) for name in groups]
    here = [in_unit(float(point.speeds[c]), "rpm") for c in columns]
    first, second = (np.array([in_unit(s, "rpm") for s in speeds.tolist()]) for speeds in plane.speeds)
    kept = np.all(plane.margins >= 0.0, axis=-1)
    keeps = bool(np.all(margins(build, state, point) >= 0.0))
    called = quietest or "this"
    traces = [*_surface(plane, first, second), *_broken(plane, first, second)]
    traces.append(points([here[0]], [here[1]], called, ink("ink"), marker={"symbol": "star", "size": 17}))
    made = layout(
        axis(f"{label(short(groups[0]))}, rpm", range=[float(first[0]), float(first[-1])], showgrid=False),
        axis(f"{label(short(groups[1]))}, rpm", range=[float(second[0]), float(second[-1])], showgrid=False),
        height=460,
        shapes=_avoided(plane),
        annotations=[*_notes(plane, first, second, here, called)],
        margin={"l": 48, "r": 14, "t": 22, "b": 44},
    )
    return Picture(
        "speed-plane", _title(plane, point, position, kept, called, keeps=keeps), _words(plane, kept, called, here),
        *_numbers(plane, first, second), {"data": traces, "layout": made},
    )  # fmt: skip


def solve_plane(build: Build, state: State, point: OperatingPoint, groups: tuple[str, str], position: int = 0) -> Plane:
    """Solve a grid of two groups' speeds as one batch."""
    columns = [build.group_names.index(name) for name in groups]
    ranges = [build.speed_ranges[c] for c in columns]
    first, second = (np.linspace(r.lowest, r.highest, STEPS) for r in ranges)
    speeds = np.broadcast_to(point.speeds, (STEPS, STEPS, point.speeds.size)).copy()
    speeds[..., columns[0]], speeds[..., columns[1]] = first[None, :], second[:, None]
    solved = solve_operating_point(build, state, speeds)
    found = limits(build, state)
    return Plane(
        groups, (ranges[0], ranges[1]), (first, second), solved.level[..., position], solved.coolant_temp_max,
        margins(build, state, solved), found,
    )  # fmt: skip


def _surface(plane: Plane, first: Floats, second: Floats) -> list[Trace]:
    """Level as shades with lines, and the hottest coolant as dotted lines with its temperature."""
    celsius = plane.temp - 273.15
    common: dict[str, Any] = {"type": "contour", "x": rounded(first), "y": rounded(second), "showscale": False}
    font = {"size": 11}
    return [
        common
        | {
            "z": rounded(plane.level),
            "name": "level, dB(A)",
            "colorscale": [[0.0, ink("pale")], [1.0, ink("deep")]],
            "contours": {"coloring": "fill", "showlabels": True, "labelfont": font | {"color": ink("ink")}},
            "line": {"color": ink("blue"), "width": 1},
            "ncontours": 9,
            "hovertemplate": "%{x:.0f} and %{y:.0f} rpm: %{z:.1f} dB(A)<extra></extra>",
        },
        common
        | {
            "z": rounded(celsius),
            "name": "coolant, °C",
            "contours": {"coloring": "none", "showlabels": True, "labelfont": font | {"color": ink("rust")}},
            "line": {"color": ink("rust"), "width": 1.3, "dash": "dot"},
            "ncontours": 7,
            "hoverinfo": "skip",
        },
    ]


def _broken(plane: Plane, first: Floats, second: Floats) -> list[Trace]:
    """Hatch what breaks a limit, with a strong edge; every limit has its own edge."""
    if not plane.limits:
        return []
    scale = np.nanmax(np.abs(plane.margins), axis=(0, 1))
    worst = np.min(plane.margins / np.where(scale > 0.0, scale, 1.0), axis=-1)
    worst = np.where(np.isnan(worst), -1.0, worst)
    if np.all(worst >= 0.0):
        return []
    return [
        {
            "type": "contour", "x": rounded(first), "y": rounded(second), "z": rounded(worst), "showscale": False,
            "contours": {"type": "constraint", "operation": ">=", "value": 0.0},
            "fillcolor": faint("limit", 0.2), "line": {"color": ink("limit"), "width": 2.4},
            "name": "a limit is broken", "hoverinfo": "skip", "showlegend": False,
        }
    ]  # fmt: skip


def _avoided(plane: Plane) -> list[Layout]:
    """Bands of speeds to avoid."""
    shapes = []
    for along, ranges in zip("xy", plane.ranges, strict=True):
        across = "y" if along == "x" else "x"
        for low, high in ranges.avoid:
            shapes.append(
                {
                    "type": "rect", f"{along}0": in_unit(low, "rpm"), f"{along}1": in_unit(high, "rpm"),
                    f"{across}0": 0, f"{across}1": 1, f"{across}ref": "paper",
                    "fillcolor": faint("slate", 0.4), "line": {"width": 0},
                }
            )  # fmt: skip
    return shapes


def _notes(plane: Plane, first: Floats, second: Floats, here: list[float], called: str) -> list[Layout]:
    right = here[0] > 0.6 * float(first[-1]) + 0.4 * float(first[0])
    corner: dict[str, Any] = {"xref": "paper", "yref": "paper", "yanchor": "bottom"}
    notes = [
        note(here[0], here[1], called, xanchor="right" if right else "left", xshift=-12 if right else 12),
        note(0, 1, "full lines: dB(A)", ink("blue"), **corner, xanchor="left"),
        note(1, 1, "dotted: coolant, °C", ink("rust"), **corner, xanchor="right"),
    ]
    for along, ranges in zip("xy", plane.ranges, strict=True):
        for low, high in ranges.avoid:
            middle = in_unit(0.5 * (low + high), "rpm")
            at: dict[str, Any] = (
                {"x": middle, "y": 0.02, "yref": "paper", "textangle": -90, "yanchor": "bottom"}
                if along == "x"
                else {"x": 0.99, "y": middle, "xref": "paper", "xanchor": "right"}
            )
            notes.append(note(at["x"], at["y"], "avoid") | at)
    broken = np.min(plane.margins, axis=-1, initial=np.inf) < 0.0
    if np.any(broken):
        rows, cols = np.nonzero(broken)
        middle = int(np.argmin(np.abs(rows - rows.mean()) + np.abs(cols - cols.mean())))
        x, y = float(first[cols[middle]]), float(second[rows[middle]])
        notes.append(note(x, y, "a limit is broken", ink("limit")))
    return notes


def _setting(called: str) -> str:
    return "this setting" if called == "this" else f"the {called} setting"


def _title(
    plane: Plane, point: OperatingPoint, position: int, kept: NDArray[np.bool_], called: str, *, keeps: bool
) -> str:
    share = float(np.mean(kept))
    level = f"{number(float(point.level[position]), 1)} dB(A){'' if keeps else ' and breaks a limit'}"
    pair = f"{plane.names[0]} and {plane.names[1]}"
    if share == 0.0:
        return f"No speeds of {pair} keep every limit while the other groups stay; {_setting(called)} makes {level}"
    if share == 1.0:
        return f"Every pair of speeds of {pair} keeps every limit; {_setting(called)} makes {level}"
    lowest = float(np.min(np.where(kept, plane.level, np.inf)))
    return (
        f"{number(100.0 * share, 0)} % of the speeds of {pair} keep every limit, the quietest of the grid at "
        f"{number(lowest, 1)} dB(A); {_setting(called)} makes {level}"
    )


def _words(plane: Plane, kept: NDArray[np.bool_], called: str, here: list[float]) -> str:
    bands = [
        f"{name} {number(in_unit(low, 'rpm'), 0)} to {number(in_unit(high, 'rpm'), 0)} rpm"
        for name, ranges in zip(plane.names, plane.ranges, strict=True)
        for low, high in ranges.avoid
    ]
    return (
        f"Level (shades and full lines) and hottest coolant (dotted lines) over the speeds of {plane.names[0]} (along) "
        f"and {plane.names[1]} (up), the other groups as they are. Limits are kept on {number(100 * kept.mean(), 0)} % "
        f"of the area; the rest is tinted. The star is {_setting(called)}, at {rpm(round(here[0], 1))} and "
        f"{rpm(round(here[1], 1))} rpm." + (f" Bands to avoid: {', '.join(bands)}." if bands else "")
    )


def _numbers(plane: Plane, first: Floats, second: Floats) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    picked = np.linspace(0, STEPS - 1, TABLE_STEPS).round().astype(int).tolist()
    rows = []
    for j in picked:
        for i in picked:
            worst = plane.margins[j, i]
            broken = [one.name for one, m in zip(plane.limits, worst.tolist(), strict=True) if not m >= 0.0]
            rows.append(
                (
                    number(float(first[i]), 0), number(float(second[j]), 0), number(float(plane.level[j, i]), 1),
                    number(float(plane.temp[j, i]) - 273.15, 1), ", ".join(broken) or "-",
                )
            )  # fmt: skip
    columns = (f">{plane.names[0]}, rpm", f">{plane.names[1]}, rpm", ">dB(A)", ">coolant, degC", "broken limits")
    return columns, tuple(rows)
