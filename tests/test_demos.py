"""The two embedded demos: reachable, invented throughout, and whole."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from quietcool.entry.demos import demo_folder, demo_names, demo_path

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
