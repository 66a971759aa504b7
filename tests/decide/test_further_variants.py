"""Other parts and other air for a radiator: what is different, and that nothing else is."""

from __future__ import annotations

from dataclasses import replace

import pytest

from quietcool.decide.additions import added_by
from quietcool.decide.further_variants import other_air, other_parts
from quietcool.decide.variants import layouts_of
from quietcool.entry.build import ROOM as OUTSIDE
from quietcool.entry.buildfile import read_build
from quietcool.entry.catalogue import read_catalogue
from quietcool.entry.demos import demo_path

ROOM = read_build(demo_path("sample_room"))
BOOTH = read_build(demo_path("booth_wall"))
SHELF = read_catalogue(demo_path("sample_room").parent / "catalogue.toml", ROOM)


def test_every_other_part_that_fits_stands_once() -> None:
    names = [one.layout for one in other_parts(ROOM, "front intake", SHELF)]
    # By hand: 60 + 25 + 5 = 90 mm fit in 100 mm, so does every other core and fan of the catalogue.
    assert names == ["fans fan-d-140x25", "core radiator-u-420x30", "core radiator-v-420x60"]
    # 45 + 25 + 5 = 75 mm do not fit in the 65 mm of the bottom.
    assert [one.layout for one in other_parts(ROOM, "bottom intake", SHELF)] == ["fans fan-e-120x25"]


def test_a_part_changes_what_it_is_and_brings_its_tolerances() -> None:
    for variant in other_parts(ROOM, "front intake", SHELF):
        kind, name = variant.layout.split(" ", 1)
        path = variant.build.air_paths[variant.path]
        assert path.layout == "push"
        fan = next(g.fan for g in variant.build.fan_groups if g.name == path.fan_rows[0].group)
        assert path.core is not None
        assert (fan.name if kind == "fans" else path.core.radiator.name) == name
        assert any(entry.place.startswith(f"{name}: ") for entry in variant.build.ledger)
        assert variant.build.air_paths[1:] == ROOM.air_paths[1:]


def test_what_a_deeper_core_takes() -> None:
    present = layouts_of(ROOM, "front intake")[0]
    deep = next(v for v in other_parts(ROOM, "front intake", SHELF) if v.layout == "core radiator-v-420x60")
    added = added_by(deep, present)
    # By the sheets: 60 - 45 = 15 mm, 116 - 92 = 24.
    assert (added.fans, added.price, added.screws) == (0, 24.0, ())
    assert added.depth == pytest.approx(0.015)


def test_thicker_fans_take_longer_screws() -> None:
    present = layouts_of(ROOM, "front intake")[0]
    stiff = next(v for v in other_parts(ROOM, "front intake", SHELF) if v.layout.startswith("fans"))
    groups = tuple(
        replace(g, fan=replace(g.fan, depth=0.030)) if g.name == "front" else g for g in stiff.build.fan_groups
    )
    added = added_by(replace(stiff, build=replace(stiff.build, fan_groups=groups)), present)
    # Common practice, no source: a 25 mm fan takes a 30 mm screw, a 30 mm fan a 35 mm screw.
    assert added.screws == pytest.approx([0.035])
    assert added.present_screws == pytest.approx([0.030])


def test_other_air_of_an_exhaust() -> None:
    found = {one.layout: one for one in other_air(BOOTH, "top exhaust")}
    assert list(found) == ["room air", "100 cm2 more opening in tower", "rear slots closed"]
    breathing = found["room air"].build.air_paths[found["room air"].path]
    assert (breathing.name, breathing.source) == ("top exhaust", OUTSIDE)
    closed = found["rear slots closed"]
    assert closed.build.air_paths[closed.path].name == "top exhaust"
    assert "rear slots" not in {path.name for path in closed.build.air_paths}
    more = found["100 cm2 more opening in tower"].build.air_paths
    assert (len(more), more[: len(BOOTH.air_paths)]) == (len(BOOTH.air_paths) + 1, BOOTH.air_paths)


def test_an_intake_has_room_air_already() -> None:
    assert "room air" not in {one.layout for one in other_air(BOOTH, "side intake")}
