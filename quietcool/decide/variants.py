"""A build with its fans moved to other sides of one radiator: push, pull, push-pull with one speed or with two."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from quietcool.entry.build import AirPath, Build, Core, FanGroup, FanRow

Layout = Literal["push", "pull", "push-pull, one speed", "push-pull, two speeds", "as built"]

SECOND = " second row"  # of a new group's name
LONGEST_NAME = 64  # as in build files


@dataclass(frozen=True)
class Variant:
    """A build with one radiator's fans placed in some way."""

    layout: str  # a `Layout`, or what else is different
    present: bool  # as the build file has it
    build: Build
    path: int  # place of the radiator's path

    @property
    def rows(self) -> tuple[FanRow, ...]:
        """Fan rows of the path."""
        return self.build.air_paths[self.path].fan_rows


def radiator_paths(build: Build) -> tuple[str, ...]:
    """Names of the paths with a radiator and at least one fan row: those whose layout can be changed."""
    return tuple(path.name for path in build.air_paths if path.core is not None and path.fan_rows)


def layouts_of(build: Build, path: str) -> tuple[Variant, ...]:
    """Every layout that the fans of a path allow, the present one first.

    The first fan row of the stack is the row that is placed; a second row has the same fans, as many of them and the
    same gap. Everything else of the stack stays where it is, filters in front included. A present layout that is none
    of these (rows of different fans, say) stands "as built".

    Raises
    ------
    KeyError
        If the build has no such path with a radiator and fans.
    """
    if path not in radiator_paths(build):
        raise KeyError(path)
    number = next(i for i, one in enumerate(build.air_paths) if one.name == path)
    now = build.air_paths[number]
    first = now.fan_rows[0]
    other = _second_group(build, now, first)
    twin = replace(first, group=other.name)
    wanted: list[tuple[Layout, AirPath]] = [
        ("push", _placed(now, first, None)),
        ("pull", _placed(now, None, first)),
        ("push-pull, one speed", _placed(now, first, first)),
        ("push-pull, two speeds", _placed(now, first, twin)),
    ]
    found = [
        Variant(name, stack == now, build if stack == now else _with_path(build, number, stack, other), number)
        for name, stack in wanted
    ]
    present = [one for one in found if one.present] or [Variant("as built", True, build, number)]
    return (*present, *(one for one in found if not one.present))


def _placed(path: AirPath, before: FanRow | None, behind: FanRow | None) -> AirPath:
    """Path with its fan rows directly before and behind its core."""
    stack: list[object] = []
    for element in path.stack:
        if isinstance(element, Core):
            stack += [row for row in (before,) if row] + [element] + [row for row in (behind,) if row]
        elif not isinstance(element, FanRow):
            stack.append(element)
    return replace(path, stack=tuple(stack))  # type: ignore[arg-type]  # elements of the old stack


def _second_group(build: Build, path: AirPath, first: FanRow) -> FanGroup:
    """Group of the second row's own speed: that which drives such a row now, else a new one like the first."""
    groups = {group.name: group for group in build.fan_groups}
    own = groups[first.group]
    for row in path.fan_rows[1:]:
        if row.group != first.group and groups[row.group].fan == own.fan and row.count == first.count:
            return groups[row.group]
    name = (first.group[: LONGEST_NAME - len(SECOND)] + SECOND).strip()
    while name in groups:
        name = f"{name[: LONGEST_NAME - 1]}2"
    return replace(own, name=name, channel=None, speeds=replace(own.speeds, present=None))


def _with_path(build: Build, number: int, path: AirPath, other: FanGroup) -> Build:
    """Build with another path; groups without fans fall out, the second row's group comes in where it is needed."""
    paths = tuple(path if i == number else one for i, one in enumerate(build.air_paths))
    driven = {row.group for one in paths for row in one.fan_rows}
    groups = build.fan_groups if other in build.fan_groups else (*build.fan_groups, other)
    return replace(build, air_paths=paths, fan_groups=tuple(group for group in groups if group.name in driven))
