"""A rig in which one fan of a row has died: its section of the path becomes a path of its own.

Fans of a row cover a section each. A path of n fans is the same as two paths side by side, of n - 1 and of 1, each with
its part of core, screens and openings, the core's coolant flowing through both parts side by side. In the second, the
fan that died stands still.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from quietcool.entry.build import (
    AirPath,
    Build,
    Core,
    FanGroup,
    FanRow,
    LoopElement,
    Parallel,
    Radiator,
    Resistance,
    Screen,
    SpeedRange,
    StackElement,
)

Death = Literal["free-wheeling", "blocked"]

DEAD = "dead fan"  # name of its group
PLUG = Resistance("blocked fan", "guard", a=1e6, b=0.0)  # lets through next to nothing [Pa s/m]
LONGEST_NAME = 64  # as in build files


def with_dead_fan(build: Build, path_name: str, row_index: int, death: Death) -> Build:
    """Return the rig with one fan of a row dead.

    Parameters
    ----------
    build : Build
        The rig.
    path_name : str
        Air path of the row.
    row_index : int
        Which of its fan rows, from 0; every row of the path must have as many fans as this one, at least 2. [-]
    death : str
        "free-wheeling": the fan stands in the way as a fan at rest does; "blocked": its section lets no air through.

    Returns
    -------
    Build
        With one more path and, for a free-wheeling fan, one more group that can only stand still; the group comes last.

    Raises
    ------
    ValueError
        If the row has one fan only, or rows of the path differ in their number of fans.
    """
    number = next(i for i, path in enumerate(build.air_paths) if path.name == path_name)
    path = build.air_paths[number]
    counts = {row.count for row in path.fan_rows}
    count = path.fan_rows[row_index].count
    if count < 2 or len(counts) > 1:
        raise ValueError(f"{path_name}: rows of one and the same number of fans, at least 2; got {sorted(counts)}")
    live, dead = split_path(path, count - 1, count)
    rows = [i for i, element in enumerate(dead.stack) if isinstance(element, FanRow)]
    place = rows[row_index]
    died: StackElement = FanRow(DEAD, 1, path.fan_rows[row_index].gap)
    if death == "blocked":
        area = dead.core.radiator.face_area if dead.core is not None else 0.01
        died = Screen(PLUG, area)
    dead = replace(dead, stack=(*dead.stack[:place], died, *dead.stack[place + 1 :]))
    paths = tuple(live if i == number else one for i, one in enumerate(build.air_paths))
    groups = build.fan_groups
    if death == "free-wheeling":
        fan = next(group.fan for group in groups if group.name == path.fan_rows[row_index].group)
        groups = (*groups, FanGroup(DEAD, fan, SpeedRange(0.0, 0.0, 1.0)))
    order = build.loop.order if path.core is None else _beside(build.loop.order, path.name, dead.name)
    return replace(build, air_paths=(*paths, dead), fan_groups=groups, loop=replace(build.loop, order=order))


def split_path(path: AirPath, part: int, whole: int) -> tuple[AirPath, AirPath]:
    """Split a path into two side by side, of `part` and of `whole - part` sections; together they are the path."""
    other = f"{path.name[: LONGEST_NAME - len(', ' + DEAD)]}, {DEAD}"
    return _part(path, path.name, part, whole), _part(path, other, whole - part, whole)


def _part(path: AirPath, name: str, part: int, whole: int) -> AirPath:
    share = part / whole
    stack: list[StackElement] = []
    for element in path.stack:
        if isinstance(element, FanRow):
            stack.append(replace(element, count=part))
        elif isinstance(element, Core):
            stack.append(replace(element, radiator=_part_of_core(element.radiator, part, whole)))
        elif isinstance(element, Screen):
            stack.append(replace(element, area=element.area * share))
        else:
            stack.append(replace(element, area=element.area * share))
    return replace(path, name=name, stack=tuple(stack))


def _part_of_core(core: Radiator, part: int, whole: int) -> Radiator:
    """Part of a core: area and conductances go with its share, and so does its coolant flow at one pressure drop."""
    share = part / whole
    sections = max(round(core.fan_sections * share), 1)
    return replace(
        core,
        face_length=core.face_length * share,
        fan_sections=sections,
        passive_conductance=core.passive_conductance * core.fan_sections * share / sections,
        ua_air=core.ua_air * share,
        ua_coolant=core.ua_coolant * share,
        ua_coolant_flow=core.ua_coolant_flow * share,
        coolant_a=core.coolant_a / share,
        coolant_b=core.coolant_b / share**2,
    )


def _beside(order: tuple[LoopElement, ...], name: str, other: str) -> tuple[LoopElement, ...]:
    """Put a station beside another one, wherever that stands."""
    found: list[LoopElement] = []
    for element in order:
        if isinstance(element, Parallel):
            found.append(Parallel(tuple(_beside(branch, name, other) for branch in element.branches)))
        elif element == name:
            found.append(Parallel(((name,), (other,))))
        else:
            found.append(element)
    return tuple(found)
