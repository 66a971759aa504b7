"""Demo rigs solved once for the tests of pictures, report and page, and a rig whose every name is hostile."""

from __future__ import annotations

import functools
from dataclasses import replace
from typing import Any

from quietcool.decide.quietest import Quietest
from quietcool.entry.build import Build, State
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.show.look import Picture
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point
from tests.show.invented_answers import answer, setting

HOSTILE = '<script>alert(1)</script><b>"&\'</b><img src=x onerror=alert(2)>'


@functools.cache
def demo(name: str) -> Build:
    return read_build(demo_path(name))


@functools.cache
def solved(name: str = "booth_wall", state: str = "render") -> tuple[Build, State, OperatingPoint]:
    """A demo at its present speeds."""
    build = demo(name)
    speeds = [one.present for one in build.speed_ranges]
    return build, build.state(state), solve_operating_point(build, build.state(state), speeds)


def small_answer(build: Build) -> Quietest:
    """An answer for the sample room without a search: every limit is kept at these speeds."""
    rpm = (560.0, 0.0, 1800.0)
    return answer(*(setting(build, (state.name,), rpm) for state in build.states), position=build.positions[0].name)


def hostile(build: Build) -> Build:
    """The build with markup in its title and in every name that a file could hold."""
    groups = tuple(replace(g, fan=replace(g.fan, name=f"{g.fan.name} {HOSTILE}")) for g in build.fan_groups)
    positions = tuple(replace(p, name=f"{p.name} {HOSTILE}") for p in build.positions)
    states = tuple(replace(s, name=f"{s.name} <img src=x onerror=alert(3)><b>") for s in build.states)
    sources = tuple(
        replace(s, points=tuple(replace(p, name=f"{p.name} {HOSTILE}") for p in s.points)) for s in build.sources
    )
    return replace(
        build, title=HOSTILE, fan_groups=groups, positions=positions, states=states, sources=sources,
    )  # fmt: skip


def texts_of(figure: Any) -> list[str]:
    """Every text anywhere in a figure."""
    if isinstance(figure, str):
        return [figure]
    if isinstance(figure, dict):
        return [text for value in figure.values() for text in texts_of(value)]
    if isinstance(figure, list | tuple):
        return [text for value in figure for text in texts_of(value)]
    return []


def check_picture(picture: Picture) -> None:
    """What every picture must have: an answer, words, numbers, and axes with units."""
    assert picture.title
    assert len(picture.alternative) > 40
    assert picture.rows
    assert {len(row) for row in picture.rows} == {len(picture.columns)}
    assert (picture.figure is None) != (picture.drawing is None)
    if picture.figure is not None:
        made = picture.plotly()  # plotly refuses what it does not know
        titles = [made.layout[key].title.text for key in made.layout if key.startswith("xaxis")]
        assert titles
        assert all("," in title or "axis" in title for title in titles), titles
