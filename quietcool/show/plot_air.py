"""The air map: room, enclosures and paths with their flows, temperatures, and whose air each one breathes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from quietcool.entry.build import ROOM, AirPath, Build, Core, FanRow, State
from quietcool.show.console import number
from quietcool.show.drawing import Drawing, fitting
from quietcool.show.look import Picture, signed, wrapped
from quietcool.solve.operating_point import OperatingPoint
from quietcool.units import in_unit

WIDTH = 430.0
ROOM_EDGE, BLOCK_EDGE = 40.0, 322.0  # where the room's strip ends and where enclosures begin
LANE = 70.0  # height of one path
TOP = 10.0
WARMED = 0.5  # over the room: air that has been warmed [K]
THINNEST, THICKEST = 2.0, 15.0
BLOCK_TEXT, HEAD_TEXT = 14, 12  # characters of a line in an enclosure, and of its name
BOLD = 14.5  # size of plain text as wide as a bold name of 13
STILL = 1e-6  # of the largest mass flow: less is still air [-]


class Lane(NamedTuple):
    """One path on the map."""

    path: AirPath
    number: int  # of the path in the build
    y: float
    enclosure: str  # beside whose block it stands; the room where both ends are the room
    other: str  # the second enclosure of a path between two, or ""


@dataclass(frozen=True)
class Block:
    """One enclosure on the map."""

    name: str
    top: float
    bottom: float
    heads: tuple[str, ...]  # its name
    lines: tuple[str, ...]


def air_map(build: Build, state: State, point: OperatingPoint) -> Picture:
    """Draw rooms, enclosures and paths with flow, air temperatures and who breathes whose air.

    Parameters
    ----------
    build, state, point : Build, State, OperatingPoint
        A solved state, one case.

    Returns
    -------
    Picture
    """
    lanes, blocks, height = _placed(build, point)
    words = _words(build, point)
    drawing = Drawing(WIDTH, height, words)
    drawing.box(0.5, 4.5, ROOM_EDGE - 4.0, height - 9.0, "panel", "soft", rx="3")
    room = f"room, {_celsius(float(state.room_temp))} °C"
    drawing.text(0.5 * ROOM_EDGE + 2.0, 0.5 * height, room, size=12, bold=True, anchor="middle", turn=-90)
    for block in blocks.values():
        _draw_block(drawing, block)
    most = max((abs(float(m)) for m in point.mass_flow.tolist()), default=0.0)
    for lane in lanes:
        _draw_lane(drawing, build, state, point, lane, blocks, most)
    columns, rows = _numbers(build, point)
    return Picture("air-map", _title(build, state, point), words, columns, rows, drawing=drawing.svg())


def breathed(build: Build, point: OperatingPoint) -> dict[str, list[tuple[str, float]]]:
    """Return by enclosure which paths its air comes through, and their shares of what flows in."""
    found: dict[str, list[tuple[str, float]]] = {}
    for name in build.enclosures:
        inflow = [
            (path.name, abs(float(m)))
            for path, m in zip(build.air_paths, point.mass_flow.tolist(), strict=True)
            if float(m) != 0.0 and (path.target if m > 0.0 else path.source) == name
        ]
        total = sum(m for _, m in inflow)
        found[name] = sorted(((p, m / total) for p, m in inflow), key=lambda one: -one[1])
    return found


def draws_from(path: AirPath, mass_flow: float) -> str:
    """Return the node whose air a path breathes in the direction that it takes."""
    return path.source if mass_flow >= 0.0 else path.target


def _placed(build: Build, point: OperatingPoint) -> tuple[list[Lane], dict[str, Block], float]:
    """Lanes from top to bottom, enclosure by enclosure, and the blocks beside them."""
    shares = breathed(build, point)
    lanes: list[Lane] = []
    blocks: dict[str, Block] = {}
    y = TOP
    for i, name in enumerate(build.enclosures):
        start = y
        for index, path in enumerate(build.air_paths):
            others = [end for end in (path.source, path.target) if end not in (ROOM, name)]
            if name in (path.source, path.target) and (not others or build.enclosures.index(others[0]) > i):
                lanes.append(Lane(path, index, y + 0.5 * LANE, name, others[0] if others else ""))
                y += LANE
        lines = _block_lines(build, point, name, shares[name])
        heads = tuple(wrapped(name, HEAD_TEXT))
        y = max(y, start + 20.0 + 14.0 * (len(heads) + len(lines)))
        blocks[name] = Block(name, start, y - 8.0, heads, lines)
    for index, path in enumerate(build.air_paths):
        if path.source == path.target == ROOM:
            lanes.append(Lane(path, index, y + 0.5 * LANE, ROOM, ""))
            y += LANE
    return lanes, blocks, y + 4.0


def _block_lines(build: Build, point: OperatingPoint, name: str, shares: list[tuple[str, float]]) -> tuple[str, ...]:
    i = build.enclosures.index(name)
    temp = float(point.enclosure_temp[i])
    lines = [f"{_celsius(temp)} °C" if temp == temp else "no steady air"]
    lines.append(f"{signed(float(point.enclosure_pressure[i]), 2)} Pa")
    if len(shares) > 1:
        lines.append("breathes")
        for path, share in shares:
            if share >= 0.005:
                lines += wrapped(f"{100.0 * share:.0f} % {path}", BLOCK_TEXT)
    return tuple(lines)


def _draw_block(drawing: Drawing, block: Block) -> None:
    drawing.box(BLOCK_EDGE, block.top, WIDTH - BLOCK_EDGE - 1.0, block.bottom - block.top, "panel", "soft", rx="3")
    x = 0.5 * (BLOCK_EDGE + WIDTH)
    for n, said in enumerate(block.heads):
        drawing.text(x, block.top + 17.0 + 14.0 * n, fitting(said, 104.0, BOLD), size=13, bold=True, anchor="middle")
    for n, said in enumerate(block.lines):
        colour = "ink" if n < 2 else "soft"
        y = block.top + 21.0 + 14.0 * (n + len(block.heads))
        drawing.text(x, y, fitting(said, 106.0, 12.0), size=12, colour=colour, anchor="middle")


def _draw_lane(
    drawing: Drawing,
    build: Build,
    state: State,
    point: OperatingPoint,
    lane: Lane,
    blocks: dict[str, Block],
    most: float,
) -> None:
    path, i, y = lane.path, lane.number, lane.y
    mass_flow = float(point.mass_flow[i])
    thick = THINNEST + (THICKEST - THINNEST) * (abs(mass_flow) / most if most > 0.0 else 0.0)
    cold, warm = (_colour(state, float(t)) for t in (point.path_temp_in[i], point.path_temp_out[i]))
    still = abs(mass_flow) <= STILL * most
    if lane.other:
        _draw_between(drawing, lane, blocks[lane.other], thick, warm if not still else "rule", mass_flow)
        left = ROOM_EDGE + 6.0
    else:
        rightward = (path.source == ROOM) == (mass_flow >= 0.0) if path.source != path.target else mass_flow >= 0.0
        _draw_arrow(drawing, y, rightward, thick, ("rule", "rule") if still else (cold, warm))
        _draw_stack(drawing, path, y, into_block=path.source == ROOM, rightward=rightward)
        left = ROOM_EDGE + 10.0
    drawing.text(left, y - 19.0, fitting(path.name, 262.0, BOLD), size=13, bold=True, halo=True)
    said = _lane_words(build, point, lane)
    drawing.text(left, y + 27.0, said, colour="limit" if mass_flow < 0.0 else "ink", size=12, halo=True)
    if lane.enclosure == ROOM:
        drawing.box(BLOCK_EDGE, y - 18.0, 60.0, 36.0, "panel", "soft", rx="3")
        drawing.text(BLOCK_EDGE + 30.0, y + 4.0, "room", size=12, bold=True, anchor="middle")


def _lane_words(build: Build, point: OperatingPoint, lane: Lane) -> str:
    i, path = lane.number, lane.path
    flow = in_unit(abs(float(point.air_flow[i])), "m3/h")
    temps = [float(point.path_temp_in[i]), float(point.path_temp_out[i])]
    said = f"{number(flow, 0)} m³/h"
    if abs(temps[1] - temps[0]) >= 0.05:
        said += f" · {_celsius(temps[0])} → {_celsius(temps[1])} °C"
    else:
        said += f" · {_celsius(temps[0])} °C"
    if path.core is not None:
        watts = float(point.heat_rate[i])
        said += f" · {number(watts, 0)} W" if watts >= 0.0 else f" · takes in {number(-watts, 0)} W"
    return f"{said} · reversed" if float(point.mass_flow[i]) < 0.0 else said


def _draw_arrow(drawing: Drawing, y: float, rightward: bool, thick: float, colours: tuple[str, str]) -> None:
    """A bar in two colours with a head, from the strip to the block or back."""
    start, end = (ROOM_EDGE, BLOCK_EDGE - 2.0) if rightward else (BLOCK_EDGE, ROOM_EDGE - 2.0)
    middle, way = 0.5 * (start + end), 1.0 if rightward else -1.0
    head = max(9.0, 0.9 * thick)
    drawing.path(f"M {start} {y} H {middle}", colours[0], width=thick)
    drawing.path(f"M {middle} {y} H {end - way * head}", colours[1], width=thick)
    half = 0.5 * thick + 4.0
    drawing.path(f"M {end} {y} L {end - way * head} {y - half} V {y + half} Z", colours[1], width=0.0, fill=colours[1])


def _draw_between(drawing: Drawing, lane: Lane, other: Block, thick: float, colour: str, mass_flow: float) -> None:
    """A bent bar from one enclosure to the next."""
    forward = (lane.path.source == lane.enclosure) == (mass_flow >= 0.0)
    start, end = (lane.y, other.top + 12.0) if forward else (other.top + 12.0, lane.y)
    bend, edge = BLOCK_EDGE - 70.0, BLOCK_EDGE - 2.0
    drawing.path(f"M {BLOCK_EDGE} {start} H {bend} V {end} H {edge - 9.0}", colour, width=thick)
    half = 0.5 * thick + 4.0
    drawing.path(f"M {edge} {end} l -10 {-half} v {2.0 * half} Z", colour, width=0.0, fill=colour)


def _draw_stack(drawing: Drawing, path: AirPath, y: float, *, into_block: bool, rightward: bool) -> None:
    """Fans as rings with the way they blow, the core as fins, in the order in which the air meets them."""
    shown = [element for element in path.stack if isinstance(element, FanRow | Core)]
    if not into_block:
        shown = shown[::-1]
    x = 0.5 * (ROOM_EDGE + BLOCK_EDGE) - 15.0 * (len(shown) - 1)
    way = 1.0 if into_block else -1.0  # as the stack is written: fans are mounted so, whatever the air does
    for element in shown:
        if isinstance(element, Core):
            drawing.box(x - 11.0, y - 15.0, 22.0, 30.0, "paper", "ink")
            fins = " ".join(f"M {x + dx} {y - 15.0} V {y + 15.0}" for dx in (-6.6, -2.2, 2.2, 6.6))
            drawing.path(fins, "ink", width=0.9)
        else:
            drawing.path(f"M {x - 10.0} {y} a 10 10 0 1 0 20 0 a 10 10 0 1 0 -20 0 Z", "ink", width=1.2, fill="paper")
            drawing.path(f"M {x + 7.0 * way} {y} L {x - 4.5 * way} {y - 6.5} V {y + 6.5} Z", "ink", fill="ink")
        x += 30.0


def _colour(state: State, temp: float) -> str:
    return "rust" if temp - float(state.room_temp) > WARMED else "blue"


def _title(build: Build, state: State, point: OperatingPoint) -> str:
    cores = [
        (float(point.path_temp_in[i]) - float(state.room_temp), path, draws_from(path, float(point.mass_flow[i])))
        for i, path in enumerate(build.air_paths)
        if path.core is not None
    ]
    warm = [one for one in cores if one[0] > WARMED]
    if not cores:
        return "No radiator stands in the air"
    if not warm:
        return "Every radiator breathes room air"
    rise, path, node = max(warm, key=lambda one: one[0])
    whose = "room air" if node == ROOM else f"{node} air"
    temp = _celsius(float(state.room_temp) + rise)
    return f"{path.name} breathes {whose} at {temp} °C, {number(rise, 1)} K over the room" + (
        "; every other radiator breathes room air" if len(warm) == 1 and len(cores) > 1 else ""
    )


def _words(build: Build, point: OperatingPoint) -> str:
    said = []
    for i, path in enumerate(build.air_paths):
        mass_flow = float(point.mass_flow[i])
        ends = (path.source, path.target) if mass_flow >= 0.0 else (path.target, path.source)
        watts = float(point.heat_rate[i])
        gives = f"gives off {number(watts, 0)}" if watts >= 0.0 else f"takes in {number(-watts, 0)}"
        heat = f", its radiator {gives} W" if path.core is not None else ""
        said.append(
            f"{path.name} takes {number(in_unit(abs(float(point.air_flow[i])), 'm3/h'), 0)} m³/h from {ends[0]} to "
            f"{ends[1]}, {_celsius(float(point.path_temp_in[i]))} to {_celsius(float(point.path_temp_out[i]))} °C{heat}"
        )
    for name, shares in breathed(build, point).items():
        parts = ", ".join(f"{100.0 * share:.0f} % through {path}" for path, share in shares)
        said.append(f"the air of {name} comes {parts}" if parts else f"nothing flows into {name}")
    return f"Map of the air. {'; '.join(said)}."


def _numbers(build: Build, point: OperatingPoint) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    rows = []
    for i, path in enumerate(build.air_paths):
        mass_flow = float(point.mass_flow[i])
        ends = (path.source, path.target) if mass_flow >= 0.0 else (path.target, path.source)
        rows.append(
            (
                path.name, path.layout, ends[0], ends[1],
                number(in_unit(abs(float(point.air_flow[i])), "m3/h"), 1),
                _celsius(float(point.path_temp_in[i])), _celsius(float(point.path_temp_out[i])),
                number(float(point.heat_rate[i]), 0) if path.core is not None else "-",
            )
        )  # fmt: skip
    return ("path", "layout", "from", "to", ">m3/h", ">degC in", ">degC out", ">W given off"), tuple(rows)


def _celsius(temp: float) -> str:
    return number(in_unit(temp, "degC"), 1)
