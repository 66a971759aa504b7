"""The whole sheet: what cannot stay is told as broken, what wants care as a caution."""

from __future__ import annotations

from dataclasses import replace

import pytest

from quietcool.entry.build import Build, Controller, Space, Supply, Vessel
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_names, demo_path
from quietcool.prove.shop import shop_sheet

BOOTH = read_build(demo_path("booth_wall"))


def said(build: Build) -> str:
    return "\n".join(shop_sheet(build).cautions)


@pytest.mark.parametrize("name", demo_names())
def test_nothing_of_a_demo_is_broken(name: str) -> None:
    assert shop_sheet(read_build(demo_path(name))).broken == ()


def test_every_kind_of_break_is_told() -> None:
    tight = replace(BOOTH.air_paths[0], space=Space(depth=0.09, length=0.5))
    build = replace(
        BOOTH,
        air_paths=(tight, *BOOTH.air_paths[1:]),
        controller=Controller(2, 0.7),
        supply=Supply(1000.0, mains_voltage=120.0, circuit_current=10.0),
    )
    # By hand: 4 + 30 + 60 + 5 = 99 mm in 90; 516 mm in 500; 0.8 A on 0.7 A; 3 outputs on 2; 1195 W on 1000 W;
    # 1194.8 / 0.9 / 120 = 11.1 A on 8 A.
    assert shop_sheet(build).broken == (
        "side intake: the stack is 9 mm deeper than its place",
        "side intake: the radiator with its end tanks is 16 mm longer than its place",
        "output 1: 0.80 A on a limit of 0.70 A",
        "the controller has 1 output fewer than are used",
        "render takes 1195 W from a supply of 1000 W",
        "render takes 11.1 A for hours from a circuit that bears 8.0 A for hours",
    )


def test_the_start_of_four_fans_is_a_caution_not_a_break() -> None:
    sheet = shop_sheet(BOOTH)
    assert sheet.broken == ()
    assert "output 1: everything starting at once draws 1.80 A on a limit of 1.00 A" in "\n".join(sheet.cautions)


@pytest.mark.parametrize(
    "words",
    ["licensed electrician", "local code", "pierces a tube", "goggles", "never on a filled loop", "Unplug"],
)
def test_the_cautions_of_the_trade_are_there(words: str) -> None:
    assert words in said(BOOTH)


def test_what_is_not_known_is_asked_for() -> None:
    bare = replace(
        BOOTH,
        controller=None,
        supply=None,
        loop=replace(BOOTH.loop, vessel=Vessel(), volume=1e-3),
        fan_groups=(replace(BOOTH.fan_groups[0], channel=None), *BOOTH.fan_groups[1:]),
    )
    told = said(bare)
    assert "side: no channel in the build file" in told
    assert "Limits of 1.0 A are custom: the manual of the controller comes first" in told
    assert "No pressure rating is known of tube, fittings and reservoir" in told
    assert "volume_l says 1.00 L, the parts hold 1.80 L" in told


def test_a_peak_beyond_twice_the_rating_is_a_caution() -> None:
    # "ATX Version 3.0 Multi Rail Desktop Platform Power Supply Design Guide", 2022: 200 % for 100 microseconds
    # (recalled, not re-read).
    assert "Peaks of a moment" not in said(BOOTH)
    peaks = tuple(replace(source, peak=3000.0) for source in BOOTH.sources)
    assert "Peaks of a moment reach" in said(replace(BOOTH, sources=peaks))
