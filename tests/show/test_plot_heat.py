"""Heat is neither made nor lost on its way: what goes into anything comes out of it."""

from __future__ import annotations

import numpy as np
import pytest

from quietcool.show.plot_heat import heat_flow, heat_streams
from quietcool.solve.operating_point import solve_operating_point
from tests.random_builds import random_build
from tests.show.solved_rigs import check_picture, solved


def balance(streams: list, thing: tuple[int, str]) -> tuple[float, float]:
    into = sum(s.watts for s in streams if s.end == thing)
    out = sum(s.watts for s in streams if s.start == thing)
    return into, out


@pytest.mark.parametrize("name", ["booth_wall", "sample_room"])
@pytest.mark.parametrize("rpm", [1.0, 0.6])
def test_every_thing_passes_on_what_it_gets(name: str, rpm: float) -> None:
    """First law of thermodynamics, steady state; watts put in are those of the build file and of the sheets."""
    build, state, point = solved(name, "idle")
    point = solve_operating_point(build, state, point.speeds * rpm)
    streams = heat_streams(build, state, point)
    total = sum(s.watts for s in streams if s.start[0] == 0)
    for thing in {s.end for s in streams if s.end[0] < 4}:
        into, out = balance(streams, thing)
        assert into == pytest.approx(out, abs=2e-5 * total), thing
    into, out = balance(streams, (4, "room"))
    assert into - out == pytest.approx(total, abs=2e-5 * total)
    files = sum(float(w) for w in state.heat.values()) + sum(float(w) for w in state.air_heat.values())
    assert total > files


def test_a_random_rig_keeps_its_heat() -> None:
    found = 0
    for seed in range(30):
        drawn = random_build(seed)
        build = drawn[0] if isinstance(drawn, tuple) else drawn
        state = build.states[0]
        speeds = [r.highest for r in build.speed_ranges]
        point = solve_operating_point(build, state, speeds)
        if not point.converged or np.any(np.isnan(point.enclosure_temp)):
            continue
        streams = heat_streams(build, state, point)
        total = sum(s.watts for s in streams if s.start[0] == 0)
        into, out = balance(streams, (4, "room"))
        assert into - out == pytest.approx(total, rel=1e-4)
        found += 1
    assert found >= 10


def test_the_picture_is_whole() -> None:
    picture = heat_flow(*solved())
    check_picture(picture)
    assert "1174 W go in" in picture.title or "W go in" in picture.title
