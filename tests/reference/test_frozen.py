"""Build files and sheets of every past state of the format read for ever, and mean what they meant.

The answers beside them are the package's own, so they prove nothing: they are tripwires for a default that changed.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from quietcool.entry.buildfile import read_build
from quietcool.entry.catalogue import read_catalogue
from quietcool.errors import InputError
from tests.reference.freeze import ANSWER, FROZEN, answer_of

FOLDERS = sorted(path.name for path in FROZEN.iterdir())
SAME = 0.05  # kelvins and decibels: formulas may get better by so much


def frozen(name: str) -> dict[str, Any]:
    answer: dict[str, Any] = json.loads((FROZEN / name / ANSWER).read_text(encoding="utf-8"))
    return answer


@pytest.mark.parametrize("name", FOLDERS)
def test_an_old_file_reads_and_means_what_it_meant(name: str) -> None:
    then, now = frozen(name), answer_of(FROZEN / name / "build.toml")
    for key in ("format", "valid", "title", "counts", "mistakes", "inputs_sha256"):
        assert now[key] == then[key], key
    # Defaults may become more: keys that an old file has not. What it prints stays.
    assert now["origins"] | {"default": 0} == then["origins"] | {"default": 0}
    assert {(f["kind"], f["place"]) for f in then["findings"]} <= {(f["kind"], f["place"]) for f in now["findings"]}
    for state, point in then["at_highest_speeds"].items():
        found = now["at_highest_speeds"][state]
        assert found["coolant_c"] == pytest.approx(point["coolant_c"], abs=SAME)
        assert found["level_dba"] == pytest.approx(point["level_dba"], abs=SAME)


def test_an_old_catalogue_reads() -> None:
    folder = FROZEN / "sample_room_2026_11"
    assert read_catalogue(folder / "catalogue.toml", read_build(folder / "build.toml")).places


def test_every_kind_of_sheet_is_among_them() -> None:
    sheets = [path.read_text(encoding="utf-8") for path in FROZEN.rglob("parts/*.toml")]
    assert len(FOLDERS) >= 8
    for kind in ("fan", "radiator", "plate", "pump", "resistance"):
        assert any(f'kind = "{kind}"' in sheet for sheet in sheets)
    for block in ("[geometry]", "levels_db", "points_m_per_s_pa", "max_flow_cfm"):
        assert any(block in sheet for sheet in sheets), block


def test_a_file_that_no_longer_reads_is_seen(tmp_path: Path) -> None:
    shutil.copytree(FROZEN / "small_first", tmp_path / "rig")
    file = tmp_path / "rig" / "build.toml"
    file.write_text(file.read_text().replace("altitude_m", "altitude"))
    with pytest.raises(InputError):
        answer_of(file)
