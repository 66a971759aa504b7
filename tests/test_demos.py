"""The two embedded demos: reachable, invented throughout, and whole."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

from quietcool.entry.build import Build, State
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_folder, demo_names, demo_path
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point

SHEETS = sorted(demo_folder().glob("*/parts/*.toml"))


def test_both_demos_are_there() -> None:
    assert demo_names() == ("booth_wall", "sample_room")
    assert all(demo_path(name).is_file() for name in demo_names())


def test_an_unknown_demo_is_refused_with_the_known_ones() -> None:
    with pytest.raises(KeyError, match="booth_wall, sample_room"):
        demo_path("attic")


@pytest.mark.parametrize("sheet", SHEETS, ids=[f"{path.parts[-3]}/{path.stem}" for path in SHEETS])
def test_every_number_of_a_sheet_is_marked_invented(sheet: Path) -> None:
    part = tomllib.loads(sheet.read_text())
    assert part["name"] == sheet.stem
    blocks = {key: value for key, value in part.items() if isinstance(value, dict)}
    assert blocks
    assert {key: block.get("origin") for key, block in blocks.items()} == dict.fromkeys(blocks, "invented")


def test_a_part_in_both_demos_is_the_same_part() -> None:
    texts: dict[str, set[str]] = {}
    for sheet in SHEETS:
        texts.setdefault(sheet.name, set()).add(sheet.read_text())
    assert [name for name, versions in texts.items() if len(versions) > 1] == []


@pytest.mark.parametrize("name", demo_names())
def test_every_sheet_of_a_demo_is_used(name: str) -> None:
    build = demo_path(name).read_text()
    sheets = {path.stem for path in (demo_path(name).parent / "parts").glob("*.toml")}
    assert {sheet for sheet in sheets if f'"{sheet}"' not in build} == set()


BUILDS = {name: read_build(demo_path(name)) for name in demo_names()}
STATES = [(name, state.name) for name, build in BUILDS.items() for state in build.states]


def coarse_speeds(build: Build) -> np.ndarray:
    """Every combination of about nine speeds of each group, (cases, groups) [rev/s]."""
    steps = [speeds.admissible() for speeds in build.speed_ranges]
    axes = [np.array(step)[np.unique(np.linspace(0, len(step) - 1, 9).astype(int))] for step in steps]
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, len(axes))


def smallest_margin(build: Build, state: State, point: OperatingPoint) -> np.ndarray:
    """Margin of the tightest limit of every case, whatever its unit; positive when every limit is kept."""
    limits = [place.limit for source in build.sources for place in source.points]
    heard = [state.limits.position.get(place.name, place.limit) for place in build.positions]
    air = [state.limits.enclosure_air[name] for name in build.enclosures]
    margins = [
        state.limits.coolant - point.coolant_temp_max,
        (point.coolant_flow - build.loop.min_flow) / build.loop.min_flow,
        *(limit - point.point_temp[:, i] for i, limit in enumerate(limits) if limit is not None),
        *(limit - point.level[:, i] for i, limit in enumerate(heard) if limit is not None),
        *(limit - point.enclosure_temp[:, i] for i, limit in enumerate(air)),
    ]
    return np.min(margins, axis=0)


@pytest.mark.parametrize("name", demo_names())
def test_the_demo_s_present_setting_is_one_that_can_be_set(name: str) -> None:
    for speeds in BUILDS[name].speed_ranges:
        assert speeds.present is not None
        assert min(abs(speeds.present - step) for step in speeds.admissible()) < 1e-9


@pytest.mark.slow
@pytest.mark.parametrize(("name", "state_name"), STATES)
def test_a_demo_asks_a_question_that_has_an_answer(name: str, state_name: str) -> None:
    """Every case solves; some setting keeps every limit and some other breaks one, or there is nothing to find."""
    build = BUILDS[name]
    state = build.state(state_name)
    point = solve_operating_point(build, state, coarse_speeds(build))
    assert point.converged.all()
    kept = smallest_margin(build, state, point) >= 0.0
    assert kept.any()
    assert not kept.all()
