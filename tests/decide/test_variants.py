"""Layouts of a radiator: what stays, what moves, and which groups there are."""

from __future__ import annotations

from dataclasses import replace

import pytest

from quietcool import demo_path, read_build
from quietcool.decide.variants import Variant, layouts_of, radiator_paths
from quietcool.entry.build import Build, Core, FanRow, Screen

BOOTH = read_build(str(demo_path("booth_wall")))
ROOM = read_build(str(demo_path("sample_room")))


def order(variant: Variant) -> list[str]:
    """Stack of the path in words."""
    words = {Screen: "filter", Core: "core"}
    stack = variant.build.air_paths[variant.path].stack
    return [e.group if isinstance(e, FanRow) else words[type(e)] for e in stack]


def by_name(build: Build, path: str) -> dict[str, Variant]:
    return {variant.layout: variant for variant in layouts_of(build, path)}


def test_filters_stay_in_front() -> None:
    found = {name: order(one) for name, one in by_name(BOOTH, "side intake").items()}
    assert found == {
        "push": ["filter", "side", "core"],
        "pull": ["filter", "core", "side"],
        "push-pull, one speed": ["filter", "side", "core", "side"],
        "push-pull, two speeds": ["filter", "side", "core", "side second row"],
    }


def test_the_present_layout_comes_first_and_is_the_build_itself() -> None:
    for build, path, name in ((BOOTH, "side intake", "push"), (ROOM, "bottom intake", "pull")):
        first, *others = layouts_of(build, path)
        assert (first.layout, first.present, first.build is build) == (name, True, True)
        assert not any(other.present for other in others)


def test_the_layout_of_every_variant_is_what_its_name_says() -> None:
    for path in radiator_paths(BOOTH):
        for variant in layouts_of(BOOTH, path):
            assert variant.layout.split(",")[0] == variant.build.air_paths[variant.path].layout


def test_a_second_row_has_the_same_fans_count_and_gap() -> None:
    path = replace(BOOTH.air_paths[0], stack=(BOOTH.air_paths[0].stack[0], FanRow("side", 4, 0.02), Core(_core(BOOTH))))
    spaced = replace(BOOTH, air_paths=(path, *BOOTH.air_paths[1:]))
    rows = by_name(spaced, "side intake")["push-pull, two speeds"].rows
    assert [(row.count, row.gap) for row in rows] == [(4, 0.02), (4, 0.02)]
    groups = {g.name: g for g in by_name(spaced, "side intake")["push-pull, two speeds"].build.fan_groups}
    old, new = groups["side"], groups["side second row"]
    assert (new.fan, new.speeds.admissible()) == (old.fan, old.speeds.admissible())
    assert (new.channel, new.speeds.present) == (None, None)


def _core(build: Build) -> object:
    core = build.air_paths[0].core
    assert core is not None
    return core.radiator


def test_going_back_from_two_speeds_drops_the_second_group() -> None:
    double = by_name(BOOTH, "side intake")["push-pull, two speeds"].build
    found = by_name(double, "side intake")
    assert found["push-pull, two speeds"].present
    assert found["push"].build.group_names == BOOTH.group_names
    assert found["push"].build.air_paths == BOOTH.air_paths
    assert found["push-pull, two speeds"].build.group_names == double.group_names


def test_a_group_that_drives_another_path_stays() -> None:
    shared = tuple(
        replace(path, stack=tuple(replace(e, group="bottom") if isinstance(e, FanRow) else e for e in path.stack))
        if path.name == "top exhaust" else path
        for path in BOOTH.air_paths
    )  # fmt: skip
    build = replace(BOOTH, air_paths=shared)
    assert "bottom" in by_name(build, "top exhaust")["pull"].build.group_names


def test_rows_of_different_fans_stand_as_built() -> None:
    path = BOOTH.air_paths[0]
    mixed = replace(path, stack=(*path.stack, FanRow("top", 3)))
    first, *others = layouts_of(replace(BOOTH, air_paths=(mixed, *BOOTH.air_paths[1:])), "side intake")
    assert (first.layout, first.present) == ("as built", True)
    assert len(others) == 4


def test_a_new_name_is_unique_and_short_enough() -> None:
    long = "s" * 64
    groups = (replace(BOOTH.fan_groups[0], name=long), replace(BOOTH.fan_groups[1], name="s" * 53 + " second row"))
    stack = (FanRow(long, 4), BOOTH.air_paths[0].stack[2])
    build = replace(BOOTH, fan_groups=groups, air_paths=(replace(BOOTH.air_paths[0], stack=stack),))
    names = by_name(build, "side intake")["push-pull, two speeds"].build.group_names
    assert len(names) == len(set(names))
    assert max(map(len, names)) <= 64


def test_paths_without_fans_or_core_have_no_layouts() -> None:
    assert radiator_paths(BOOTH) == ("side intake", "bottom intake", "top exhaust")
    with pytest.raises(KeyError):
        layouts_of(BOOTH, "rear slots")
