"""Catalogues: what is read, and how mistakes are told. The rules are the package's own: no outside source has them."""

from __future__ import annotations

import json
import shutil
import tomllib
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

from quietcool.entry.buildfile import read_build
from quietcool.entry.catalogue import catalogue_schema, read_catalogue
from quietcool.entry.demos import demo_path
from quietcool.errors import InputError

HOME = demo_path("sample_room").parent
ROOM = read_build(demo_path("sample_room"))


@pytest.fixture
def catalogue(tmp_path: Path) -> Path:
    """A copy of the demo's catalogue that a test may spoil."""
    shutil.copytree(HOME, tmp_path / "room")
    return tmp_path / "room" / "catalogue.toml"


def refused(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_catalogue(path, ROOM)
    return str(caught.value)


def test_the_demo_reads() -> None:
    found = read_catalogue(HOME / "catalogue.toml", ROOM)
    assert (found.budget, found.most_fan_models) == (330.0, 2)
    assert [place.path for place in found.places] == ["front intake", "bottom intake"]
    assert [core.name for core in found.places[1].radiators] == ["radiator-t-240x30", "radiator-w-240x45"]
    assert found.places[0].layouts == ("push", "pull", "push-pull")
    assert "catalogue.toml" in found.inputs
    assert any(entry.place.startswith("fan-d-140x25: ") for entry in found.ledger)


def test_without_a_list_everything_of_the_catalogue_is_there(catalogue: Path) -> None:
    catalogue.write_text('format = 1\ntitle = "all"\nparts = ["catalogue"]\n[[place]]\npath = "front intake"\n')
    place = read_catalogue(catalogue, ROOM).places[0]
    assert [fan.name for fan in place.fans] == ["fan-d-140x25", "fan-e-120x25"]
    assert len(place.radiators) == 3


def test_every_mistake_is_told_with_its_line_and_what_to_do(catalogue: Path) -> None:
    text = catalogue.read_text().replace('path = "front intake"', 'path = "front intakes"')
    text = text.replace('"fan-e-120x25"', '"fan-f-120x25"').replace("most_fan_models = 2", "most_fan_models = 0")
    catalogue.write_text(text.replace("most_fan_models = 0", "most_fan_models = 2"))
    said = refused(catalogue)
    assert "catalogue.toml:10:" in said
    assert 'did you mean "front intake"?' in said
    assert '"fan-f-120x25"' in said
    catalogue.write_text(text)
    assert "most_fan_models needs a whole number from 1 to 100; found 0" in refused(catalogue)


def test_unknown_keys_and_sheets_with_mistakes_are_refused(catalogue: Path) -> None:
    catalogue.write_text(catalogue.read_text().replace("budget = 330", "buget = 330"))
    assert 'did you mean "budget"?' in refused(catalogue)
    sheet = catalogue.parent / "catalogue" / "fan-d-140x25.toml"
    sheet.write_text(sheet.read_text().replace("price = 27", "price = -1"))
    assert "fan-d-140x25.toml" in refused(catalogue)


def test_a_place_needs_fans_of_its_own(catalogue: Path) -> None:
    booth = read_build(demo_path("booth_wall"))
    text = 'format = 1\ntitle = "x"\nparts = ["catalogue"]\n[[place]]\npath = "rear slots"\n'
    catalogue.write_text(text)
    with pytest.raises(InputError, match="an air path of the build with a radiator"):
        read_catalogue(catalogue, booth)


def test_what_is_no_toml_is_told_with_its_place(catalogue: Path) -> None:
    catalogue.write_text('format = 1\ntitle = "x\n')
    said = refused(catalogue)
    assert "catalogue.toml:2:" in said
    assert "needs valid TOML" in said


def test_the_schema_is_one_that_the_demo_keeps_and_a_misspelt_one_does_not() -> None:
    schema = json.loads(json.dumps(catalogue_schema()))
    jsonschema.Draft202012Validator.check_schema(schema)
    good = tomllib.loads((HOME / "catalogue.toml").read_text())
    jsonschema.validate(good, schema, jsonschema.Draft202012Validator)
    with pytest.raises(jsonschema.ValidationError, match="buget"):
        jsonschema.validate(good | {"buget": 3}, schema, jsonschema.Draft202012Validator)


def test_folders_without_a_part_of_a_kind_are_told(catalogue: Path) -> None:
    (catalogue.parent / "fans only").mkdir()
    shutil.copy(catalogue.parent / "catalogue" / "fan-d-140x25.toml", catalogue.parent / "fans only")
    catalogue.write_text('format = 1\ntitle = "x"\nparts = ["fans only"]\n[[place]]\npath = "front intake"\n')
    with pytest.raises(InputError) as caught:
        read_catalogue(catalogue, ROOM)
    (only,) = caught.value.mistakes
    assert only.required == "at least one radiator sheet in the folders of parts"
    assert (only.found, only.advice) == ("none", "add one, or name another folder")


def test_fans_that_drive_another_path_too_cannot_be_chosen_alone(catalogue: Path) -> None:
    first, second, *others = ROOM.air_paths
    assert (first.name, second.name) == ("front intake", "bottom intake")
    shared = tuple(replace(e, group=second.fan_rows[0].group) if e in first.fan_rows else e for e in first.stack)
    bare = tuple(e for e in first.stack if e not in first.fan_rows)
    for stack, driver in ((shared, second.fan_rows[0].group), (bare, "no fans")):
        build = replace(ROOM, air_paths=(replace(first, stack=stack), second, *others))
        with pytest.raises(InputError, match="an air path with one fan group that drives nothing else") as caught:
            read_catalogue(catalogue, build)
        assert f'"front intake", driven by {driver}' in str(caught.value)
        assert "give its fans a group of their own in the build file" in str(caught.value)
