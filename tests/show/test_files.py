"""Files are written whole or not at all, and never over what was read."""

from __future__ import annotations

import csv
import stat
from pathlib import Path

import pytest

from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.errors import InputError
from quietcool.show.files import refuse_inputs, table_csv, write_whole


def test_a_file_is_replaced_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "report.html"
    place.write_text("old")

    def failing(self: Path, target: Path) -> Path:
        assert target.read_text() == "old"  # up to the last step the old one stands
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", failing)
        with pytest.raises(InputError, match="No space left"):
            write_whole(place, "new")
    assert place.read_text() == "old"
    assert list(tmp_path.iterdir()) == [place]  # no half file stays
    write_whole(place, "new")
    assert place.read_text() == "new"


def test_a_new_file_has_the_rights_of_any_other(tmp_path: Path) -> None:
    (tmp_path / "other").write_text("")
    write_whole(tmp_path / "mine", "x")
    rights = [stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("mine", "other")]
    assert rights[0] == rights[1]


def test_a_place_that_is_not_there_is_an_error_sentence(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="a place that can be written to"):
        write_whole(tmp_path / "nowhere" / "report.html", "x")


@pytest.mark.parametrize("name", ["build.toml", "parts/pump-m.toml", "parts/../build.toml"])
def test_what_was_read_is_not_written_over(name: str) -> None:
    file = demo_path("sample_room")
    build = read_build(file)
    with pytest.raises(InputError, match="not part of the build"):
        refuse_inputs(file.parent / name, file, build)
    refuse_inputs(file.parent / "report.html", file, build)


def test_a_spreadsheet_takes_no_text_for_a_formula() -> None:
    text = table_csv(("a", ">b"), [("=HYPERLINK(1)", "-1.5"), ("+x", "-"), ("@y", "1e-3"), ("-z", "2, 3")])
    rows = list(csv.reader(text.splitlines()))
    assert rows == [["a", "b"], ["'=HYPERLINK(1)", "-1.5"], ["'+x", ""], ["'@y", "1e-3"], ["'-z", "2, 3"]]
