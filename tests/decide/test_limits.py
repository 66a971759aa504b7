"""Limits by name and margins by sign; values against the second opinion, which shares nothing with the solver."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool.decide.limits import SCALES, limits, margins
from quietcool.entry.build import Build, Limits, Opening
from quietcool.solve.operating_point import solve_operating_point
from tests.decide.judged import AGREED, second_margins
from tests.plain_builds import plain_build
from tests.random_builds import random_build, random_speeds
from tests.second_opinion.whole import second_opinion


def limited_build() -> Build:
    """Return the plain build with one limit of every kind; its position is limited by the position and by the state."""
    build = plain_build(Opening(0.01, 2.0))
    core = replace(build.sources[0].points[0], limit=350.0)
    sources = (replace(build.sources[0], points=(core, replace(core, name="unwatched", limit=None))),)
    here = replace(build.positions[0], limit=30.0)
    there = replace(here, name="there", limit=None)
    state = replace(
        build.states[0], limits=Limits(coolant=320.0, enclosure_air={"box": 310.0}, position={"there": 25.0})
    )
    return replace(
        build, sources=sources, positions=(here, there), states=(state,), loop=replace(build.loop, min_flow=2e-5)
    )


def test_every_limit_of_the_build_is_named_in_a_fixed_order() -> None:
    build = limited_build()
    found = limits(build, build.states[0])

    assert [(one.kind, one.name, one.unit, one.value) for one in found] == [
        ("point", "cpu core", "K", 350.0),
        ("coolant", "coolant", "K", 320.0),
        ("enclosure air", "box air", "K", 310.0),
        ("coolant flow", "coolant flow", "m3/s", 2e-5),
        ("position", "here", "dB", 30.0),
        ("position", "there", "dB", 25.0),
    ]
    assert {one.unit for one in found} == SCALES.keys()


def test_the_limit_of_a_state_at_a_position_replaces_the_position_s_own() -> None:
    build = limited_build()
    state = replace(build.states[0], limits=Limits(position={"here": 21.0}))
    found = {one.name: one.value for one in limits(build, state)}

    assert found["here"] == 21.0


def test_a_build_without_limits_has_none() -> None:
    build = plain_build(Opening(0.01, 2.0))
    point = solve_operating_point(build, build.states[0], np.full((3, 2), 20.0))

    assert limits(build, build.states[0]) == ()
    assert margins(build, build.states[0], point).shape == (3, 0)


@pytest.mark.parametrize("seed", [1, 4, 9, 12, 15])
def test_margins_are_those_of_the_second_opinion(seed: int) -> None:
    build = random_build(seed)
    state = build.states[0]
    speeds = random_speeds(build, np.random.default_rng(seed), 1)[0]
    point = solve_operating_point(build, state, speeds)
    opinion = second_opinion(build, state, speeds.tolist())
    assert opinion.converged
    expected = second_margins(build, state, opinion)

    found = dict(zip([one.name for one in limits(build, state)], margins(build, state, point), strict=True))

    assert found.keys() == expected.keys()
    for one in limits(build, state):
        assert found[one.name] == pytest.approx(expected[one.name], abs=AGREED * SCALES[one.unit])


def test_a_margin_falls_one_for_one_with_its_limit_and_no_other_moves() -> None:
    build = limited_build()
    state = build.states[0]
    point = solve_operating_point(build, state, [15.0, 40.0])
    colder = replace(state, limits=replace(state.limits, coolant=318.5))
    change = margins(build, colder, point) - margins(build, state, point)

    assert change == pytest.approx([0.0, -1.5, 0.0, 0.0, 0.0, 0.0], abs=1e-12)


def test_an_enclosure_without_through_flow_has_no_margin() -> None:
    """Air that stands still takes no heat away: there is no steady temperature to hold against a limit."""
    build = limited_build()
    still = replace(build, air_paths=(build.air_paths[0], build.air_paths[2]))  # nothing leads into the box any more
    point = solve_operating_point(still, still.states[0], [15.0, 40.0])
    names = [one.name for one in limits(still, still.states[0])]
    found = dict(zip(names, margins(still, still.states[0], point), strict=True))

    assert np.isnan(found["box air"])
