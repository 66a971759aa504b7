"""Shop sums and diagnoses for people: nothing is cut, what is unknown is not called zero, doubt is printed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from quietcool.entry.build import Build, Electric, Space
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.entry.readings import AirReading
from quietcool.prove.diagnosis import Measured, diagnose
from quietcool.prove.leak_test import judge_leak_test
from quietcool.prove.shop import shop_sheet
from quietcool.show import diagnosis, workshop
from quietcool.show.console import rendered

BOOTH = read_build(demo_path("booth_wall"))


def printed(build: Build) -> list[str]:
    sheet = shop_sheet(build)
    return rendered([workshop.shop_sentence(build, sheet), *workshop.shop_tables(sheet)]).splitlines()


def test_names_of_full_length_are_not_cut() -> None:
    long = "x" * 63
    path = replace(BOOTH.air_paths[0], name=long + "P")
    group = replace(BOOTH.fan_groups[1], channel=long + "Q")
    build = replace(
        BOOTH,
        air_paths=(path, *BOOTH.air_paths[1:]),
        fan_groups=(BOOTH.fan_groups[0], group, BOOTH.fan_groups[2]),
    )
    lines = printed(build)
    assert max(len(line) for line in lines[1:]) <= 80
    assert not any("\u2026" in line for line in lines)


def test_what_is_not_known_is_a_dash_and_never_a_pass() -> None:
    side = BOOTH.fan_groups[0]
    bare = replace(side, fan=replace(side.fan, depth=None, electric=Electric()))
    path = replace(BOOTH.air_paths[0], space=Space())
    build = replace(
        BOOTH, fan_groups=(bare, *BOOTH.fan_groups[1:]), air_paths=(path, *BOOTH.air_paths[1:]), supply=None
    )
    lines = printed(build)
    text = "\n".join(lines)
    assert "nothing known is too deep (1 stack not fully known)" in lines[0]
    assert "every stack fits" not in text
    assert "> 69.0" in text  # 4 + 60 + 5 mm, and the fans on top
    row = next(line for line in lines if line.startswith("1        side (4)"))
    assert row.split()[3:] == ["-", "-", "1.00", "-", "unknown", "splitter"]


def test_an_estimated_current_is_marked() -> None:
    side = BOOTH.fan_groups[0]
    guessed = replace(side, fan=replace(side.fan, electric=Electric(2.4, 2000 / 60)))
    lines = printed(replace(BOOTH, fan_groups=(guessed, *BOOTH.fan_groups[1:])))
    row = next(line for line in lines if line.startswith("1        side (4)"))
    assert row.split()[3:5] == ["~0.80", "~2.40"]


@pytest.mark.parametrize(
    ("end", "sentence", "code"),
    [
        (
            AirReading(49_490.0, 294.15, 101_300.0),
            "No leak seen: the gauge lost 5.1 mbar while the air cooled by 1.0 K",
            0,
        ),
        (AirReading(52_000.0, 296.15, 101_300.0), "Not proven: the gauge gained 20.0 mbar while the air warmed by", 3),
        (AirReading(46_000.0, 295.15, 101_300.0), "Leak: the gauge lost 40.0 mbar", 3),
    ],
)
def test_an_air_test_in_words(end: AirReading, sentence: str, code: int) -> None:
    test = judge_leak_test(BOOTH, AirReading(50_000.0, 295.15, 101_300.0), end, duration=1800.0)
    parts, found = workshop.shop_parts(BOOTH, shop_sheet(BOOTH), [], test)
    text = rendered(parts)
    assert found == code
    assert text.startswith(sentence)
    assert "(give or take" in text
    assert ("Let the air out before touching a fitting" in text) == (code == 3)


def test_a_diagnosis_prints_its_doubt_and_what_it_stands_on() -> None:
    measured = Measured(311.45, 296.15, {("cpu", "core"): 341.15}, {})
    state = BOOTH.state("render")
    lines = rendered(diagnosis.diagnosis_parts(diagnose(BOOTH, state, measured), state, measured)).splitlines()
    text = " ".join(" ".join(lines).split())
    assert lines[0].startswith("Not proven: cpu core over coolant 29.7 K (give or take 0.7;")
    assert max(len(line) for line in lines[1:]) <= 80
    assert "a custom, not a law" in text
    assert "The watts are those of render in the build file" in text
    assert diagnosis.diagnosis_verdict(diagnose(BOOTH, state, measured)) == 0
