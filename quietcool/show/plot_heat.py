"""Where the heat goes: from sources through coolant and radiators to enclosure air and the room, in watts."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from quietcool.entry.build import PUMP, ROOM, Build, State
from quietcool.physics import air
from quietcool.physics.pumps import electrical_power
from quietcool.show.console import number
from quietcool.show.drawing import Drawing, fitting
from quietcool.show.look import Picture, wrapped
from quietcool.solve.operating_point import OperatingPoint

WIDTH = 470.0
COLUMN, BAR = 97.0, 8.0  # from one column to the next; width of a bar
TALL = 250.0  # height of all watts together
TOP = 22.0
SIZE, LETTERS, LINE = 12.5, 10, 13.5  # of names: text size, characters of a line, distance of lines
LEAST = 0.05  # less is not drawn [W]
PLACES = ("sources", "coolant", "radiators", "air inside", "room")
COLOURS = ("rust", "blue", "green", "ochre", "slate")

Thing = tuple[int, str]  # column and name


class Stream(NamedTuple):
    """Heat that goes from one thing to another."""

    start: Thing
    end: Thing
    watts: float
    through: str = ""  # the path, where air carries it


def heat_flow(build: Build, state: State, point: OperatingPoint) -> Picture:
    """Draw heat on its way from sources to the room.

    Parameters
    ----------
    build, state, point : Build, State, OperatingPoint
        A solved state, one case.

    Returns
    -------
    Picture
    """
    streams = heat_streams(build, state, point)
    drawn = [s for s in streams if s.watts >= LEAST]
    things = _things(drawn)
    words = _words(drawn)
    per_watt = TALL / max(_total(drawn), 1.0)
    middles, height = _middles(things, per_watt)
    drawing = Drawing(WIDTH, height, words)
    for column, place in enumerate(PLACES):
        if any(thing[0] == column for thing in things):
            drawing.text(column * COLUMN + 2.0, 12.0, place, size=11.5, colour="soft")
    _draw_bands(drawing, drawn, things, middles, per_watt)
    _draw_bars(drawing, things, middles, per_watt)
    rows = tuple((s.start[1], s.end[1], s.through or "-", number(s.watts, 1)) for s in streams)
    columns = ("from", "to", "through", ">W")
    return Picture("heat-flow", _title(drawn, streams), words, columns, rows, drawing=drawing.svg())


def heat_streams(build: Build, state: State, point: OperatingPoint) -> list[Stream]:
    """Return every stream of heat; what goes in comes out in the room.

    Air carries heat by what it is warmer than the room. A negative stream runs against its arrow.
    """
    found = [Stream((0, s.name), (1, "coolant"), float(state.heat.get(s.name, 0.0))) for s in build.sources]
    pump = build.loop.pump
    power = float(electrical_power(pump.electric.power, float(point.speeds[-1]), pump.electric.speed))
    share = float(pump.coolant_share)
    found.append(Stream((0, PUMP), (1, "coolant"), share * power))
    found.append(Stream((0, PUMP), _node(build.loop.pump_enclosure), (1.0 - share) * power))
    found += [Stream((0, f"heat in {name}"), _node(name), float(w)) for name, w in state.air_heat.items()]
    for i in range(len(build.air_paths)):
        found += _path_streams(build, state, point, i)
    return [stream for stream in found if stream.watts != 0.0]


def _path_streams(build: Build, state: State, point: OperatingPoint, i: int) -> Iterable[Stream]:
    """Heat of one path: fans and forced heat go where the air goes, passive heat to the node the path starts from."""
    path, mass_flow = build.air_paths[i], float(point.mass_flow[i])
    ends = (path.source, path.target) if mass_flow >= 0.0 else (path.target, path.source)
    speeds = dict(zip(build.group_names, point.speeds.tolist(), strict=True))
    fans = {group.name: group.fan for group in build.fan_groups}
    watts = sum(
        row.count * float(fans[row.group].electric.power) * (speeds[row.group] / fans[row.group].electric.speed) ** 3
        for row in path.fan_rows
    )
    if path.fan_rows:
        yield Stream((0, "fans"), _node(ends[1]), float(watts))
    capacity = abs(mass_flow) * air.SPECIFIC_HEAT
    if path.core is not None:
        warming = capacity * float(point.path_temp_out[i] - point.path_temp_in[i])
        forced = warming - float(watts)
        core = (2, path.name)
        yield Stream((1, "coolant"), core, float(point.heat_rate[i]))
        yield Stream(core, _node(ends[1]), forced)
        yield Stream(core, _node(path.source), float(point.heat_rate[i]) - forced)
    if ends[0] != ROOM:
        over = float(point.path_temp_in[i]) - float(state.room_temp)
        yield Stream(_node(ends[0]), _node(ends[1]), capacity * over, path.name)


def _node(name: str) -> Thing:
    return (4, ROOM) if name == ROOM else (3, name)


def _things(streams: list[Stream]) -> dict[Thing, float]:
    """Everything heat passes, with the watts that pass it."""
    found: dict[Thing, list[float]] = {}
    for stream in streams:
        found.setdefault(stream.start, [0.0, 0.0])[1] += stream.watts
        found.setdefault(stream.end, [0.0, 0.0])[0] += stream.watts
    return {thing: max(watts) for thing, watts in sorted(found.items(), key=lambda one: one[0][0])}


def _total(streams: list[Stream]) -> float:
    return sum(s.watts for s in streams if s.start[0] == 0)


def _middles(things: dict[Thing, float], per_watt: float) -> tuple[dict[Thing, float], float]:
    """Height of the middle of every bar, and of the drawing."""
    placed: dict[Thing, float] = {}
    columns = [[thing for thing in things if thing[0] == column] for column in range(len(PLACES))]
    heights = [[max(per_watt * things[thing], _label_height(thing)) + 8.0 for thing in column] for column in columns]
    tallest = max(sum(column) for column in heights)
    for column, sizes in zip(columns, heights, strict=True):
        y = TOP + 0.5 * (tallest - sum(sizes))
        for thing, size in zip(column, sizes, strict=True):
            placed[thing] = y + 0.5 * size
            y += size
    return placed, TOP + tallest + 6.0


def _draw_bands(
    drawing: Drawing, streams: list[Stream], things: dict[Thing, float], middles: dict[Thing, float], per_watt: float
) -> None:  # fmt: skip
    """Bands between bars; each end takes its place on the bar in the order of where the other end stands."""
    tops = {thing: middles[thing] - 0.5 * per_watt * watts for thing, watts in things.items()}
    starts, ends = dict(tops), dict(tops)
    left: dict[int, float] = {}
    for n in sorted(range(len(streams)), key=lambda n: middles[streams[n].end]):
        left[n] = starts[streams[n].start]
        starts[streams[n].start] += per_watt * streams[n].watts
    right: dict[int, float] = {}
    for n in sorted(range(len(streams)), key=lambda n: middles[streams[n].start]):
        right[n] = ends[streams[n].end]
        ends[streams[n].end] += per_watt * streams[n].watts
    for n, stream in enumerate(streams):
        thick = max(per_watt * stream.watts, 1.0)
        x0, x1 = stream.start[0] * COLUMN + BAR, stream.end[0] * COLUMN
        drawing.path(_band(x0, left[n], x1, right[n], thick), "", fill=COLOURS[stream.start[0]], fill_opacity="0.36")


def _band(x0: float, y0: float, x1: float, y1: float, thick: float) -> str:
    """Outline of a band; one that ends in its own column, or before it, swings out to the right."""
    bend = max(0.5 * (x1 - x0), 30.0)
    a, b = x0 + bend, x1 - bend
    low0, low1 = y0 + thick, y1 + thick
    return (
        f"M {x0:.1f} {y0:.1f} C {a:.1f} {y0:.1f} {b:.1f} {y1:.1f} {x1:.1f} {y1:.1f} "
        f"V {low1:.1f} C {b:.1f} {low1:.1f} {a:.1f} {low0:.1f} {x0:.1f} {low0:.1f} Z"
    )


def _draw_bars(drawing: Drawing, things: dict[Thing, float], middles: dict[Thing, float], per_watt: float) -> None:
    for thing, watts in things.items():
        x, y, tall = thing[0] * COLUMN, middles[thing], max(per_watt * watts, 1.5)
        drawing.box(x, y - 0.5 * tall, BAR, tall, COLOURS[thing[0]])
        lines = wrapped(thing[1], LETTERS)
        y -= 0.5 * LINE * (len(lines) + 1) - 0.8 * LINE
        for n, said in enumerate(lines):
            drawing.text(
                x + BAR + 4.0, y + LINE * n, fitting(said, COLUMN - BAR - 6.0, SIZE), size=SIZE, bold=True, halo=True
            )
        drawing.text(x + BAR + 4.0, y + LINE * len(lines), f"{number(watts, 0)} W", size=SIZE, halo=True)


def _label_height(thing: Thing) -> float:
    return LINE * (len(wrapped(thing[1], LETTERS)) + 1) - 3.0


def _title(drawn: list[Stream], streams: list[Stream]) -> str:
    total = _total(drawn)
    cores = {s.end[1]: s.watts for s in streams if s.end[0] == 2}
    taking = [name for name, watts in cores.items() if watts < -LEAST]
    said = f"{number(total, 0)} W go in"
    if cores:
        best = max(cores, key=lambda name: cores[name])
        into_coolant = sum(s.watts for s in drawn if s.end == (1, "coolant"))
        said += (
            f", {number(into_coolant, 0)} W of it into the coolant; {best} gives off the most, "
            f"{number(cores[best], 0)} W"
        )
    return said + (f"; {' and '.join(taking)} takes heat from the air instead" if taking else "")


def _words(streams: list[Stream]) -> str:
    said = "; ".join(
        f"{number(s.watts, 0)} W from {s.start[1]} to {s.end[1]}" + (f" through {s.through}" if s.through else "")
        for s in streams
    )
    return f"Heat on its way, bands as wide as the watts they carry: {said}."
