"""Scenarios of a build file in SI; what a file leaves out is the package's own choice, which the documents print."""

from __future__ import annotations

from pathlib import Path

import pytest

from quietcool.entry.build import Build
from quietcool.entry.buildfile import read_build
from quietcool.entry.choice_records import WhatIf
from tests.entry import small_rig


def read(folder: Path, lines: str) -> Build:
    return read_build(small_rig.write(folder, small_rig.BUILD + lines))


def test_scenarios_arrive_in_si(tmp_path: Path) -> None:
    lines = '\n[scenarios]\nroom_temp_c = [18, "86 degF"]\ndust = 1.6\ndoor_ajar_db = 9\n'
    asked = read(tmp_path, lines).what_if
    assert asked.room_temps == pytest.approx((291.15, 303.15), abs=1e-9)  # 0 degC = 273.15 K; 86 degF = 30 degC
    assert (asked.dust, asked.door_ajar) == (1.6, 9.0)


@pytest.mark.parametrize(
    ("line", "key"), [("room_temp_c = [20]", "room_temps"), ("dust = 2", "dust"), ("door_ajar_db = 3", "door_ajar")]
)
def test_what_is_left_out_stays_as_it_is_everywhere(tmp_path: Path, line: str, key: str) -> None:
    asked = read(tmp_path, f"\n[scenarios]\n{line}\n").what_if
    keys = ("room_temps", "dust", "door_ajar")
    assert [name for name in keys if getattr(asked, name) != getattr(WhatIf(), name)] == [key]


def test_without_scenarios_there_are_the_usual_ones(tmp_path: Path) -> None:
    assert read(tmp_path, "").what_if == WhatIf()
