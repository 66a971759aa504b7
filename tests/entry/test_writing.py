"""Files are written whole or not at all, never over what was read, and nowhere else in the package."""

from __future__ import annotations

import ast
import os
import re
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

import quietcool
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.entry.writing import made_folder, refuse_folder, refuse_place, refuse_places, write_whole
from quietcool.errors import InputError

WRITING = {"write_text", "write_bytes", "mkstemp", "NamedTemporaryFile", "fdopen", "touch", "copy", "copytree", "move"}


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


@pytest.mark.parametrize("name", ["nowhere/report.html", "", ".", "..", "a\0b", "x" * 300, "pipe", "folder"])
def test_a_place_where_no_file_can_be_is_an_error_sentence(tmp_path: Path, name: str) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "folder").mkdir()
    with pytest.raises(InputError, match="a place that can be written to") as caught:
        write_whole(tmp_path / name, "x")
    assert str(caught.value).isprintable()
    assert {place.name for place in tmp_path.iterdir()} == {"pipe", "folder"}
    assert stat.S_ISFIFO((tmp_path / "pipe").stat().st_mode)  # a device is no file to be replaced


@pytest.mark.parametrize("name", ["build.toml", "parts/pump-m.toml", "parts/../build.toml"])
def test_what_was_read_is_not_written_over(name: str) -> None:
    file = demo_path("sample_room")
    build = read_build(file)
    with pytest.raises(InputError, match="not part of the build"):
        refuse_place(file.parent / name, file, build)
    refuse_place(file.parent / "report.html", file, build)


@pytest.mark.parametrize("name", ["nowhere/report.html", "parts", "", "a\0b"])
def test_what_can_never_be_written_is_refused_at_once(name: str) -> None:
    file = demo_path("sample_room")
    with pytest.raises(InputError, match="a place that can be written to"):
        refuse_place(file.parent / name, file, read_build(file))


def test_a_folder_below_a_file_is_refused_at_once(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    for name in ("file", "file/tables"):
        with pytest.raises(InputError, match="a place that can be written to"):
            refuse_folder(tmp_path / name)
    refuse_folder(tmp_path / "new" / "tables")
    assert not (tmp_path / "new").exists()


def writes(tree: ast.AST) -> Iterator[str]:
    """What a module calls that writes to a file."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            name = getattr(node.func, "attr", getattr(node.func, "id", ""))
            words = [w.value for w in [*node.args, *(k.value for k in node.keywords)] if isinstance(w, ast.Constant)]
            if name in WRITING or (name == "open" and any(re.fullmatch("[wax+bt]+", str(w)) for w in words)):
                yield name


def test_no_other_module_writes_files() -> None:
    root = Path(quietcool.__file__).parent
    found = {
        str(path.relative_to(root)): sorted(set(writes(ast.parse(path.read_text())))) for path in root.rglob("*.py")
    }
    own = {name: calls for name, calls in found.items() if calls}
    # The guard reads by number; arrays and figures have a `copy` of their own.
    assert {name: calls for name, calls in own.items() if calls != ["copy"]} == {
        "entry/writing.py": ["fdopen", "mkstemp"],
        "entry/guards.py": ["fdopen"],
    }
    assert list(writes(ast.parse("open(f, 'w'); p.write_text('x'); open(f); open(f, 'rb')"))) == ["open", "write_text"]


def test_a_folder_is_made_with_those_above_it_and_found_again(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "tables"
    assert made_folder(folder) == folder
    assert folder.is_dir()
    assert made_folder(folder) == folder


@pytest.mark.parametrize("name", ["file", "file/tables", "a\0b"])
def test_a_folder_that_cannot_be_made_is_an_error_sentence(tmp_path: Path, name: str) -> None:
    (tmp_path / "file").write_text("old")
    with pytest.raises(InputError, match="a place that can be written to; found .*; write another"):
        made_folder(tmp_path / name)
    assert (tmp_path / "file").read_text() == "old"


def test_a_report_and_its_folders_are_refused_together_with_it(tmp_path: Path) -> None:
    file = demo_path("sample_room")
    build = read_build(file)
    (tmp_path / "file").write_text("")
    refuse_places(tmp_path / "report.html", [tmp_path / "tables", tmp_path / "figures"], file, build)
    assert [place.name for place in tmp_path.iterdir()] == ["file"]  # nothing is made by asking
    with pytest.raises(InputError, match="file where a folder is needed"):
        refuse_places(tmp_path / "report.html", [tmp_path / "tables", tmp_path / "file"], file, build)
    with pytest.raises(InputError, match="one that was read"):
        refuse_places(file, [tmp_path / "tables"], file, build)


def test_where_nobody_may_write_is_refused_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = demo_path("sample_room")
    asked = []

    def denied(path: Path, mode: int) -> bool:  # as the system answers; a test that runs as root may write anywhere
        asked.append((path, mode))
        return False

    monkeypatch.setattr(os, "access", denied)
    with pytest.raises(InputError, match="found a folder that may not be written to; write another"):
        refuse_place(tmp_path / "report.html", file, read_build(file))
    with pytest.raises(InputError, match="found a folder that may not be written to; write another"):
        refuse_folder(tmp_path / "new" / "tables")
    assert asked == [(tmp_path, os.W_OK)] * 2


def test_what_stands_for_a_folder_is_no_place_of_a_file() -> None:
    for path in (Path(), Path("/")):
        with pytest.raises(InputError, match="needs a place that can be written to; found a folder; write another"):
            write_whole(path, "x")


def test_a_file_that_cannot_be_opened_leaves_no_handle_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    handles = []

    def full(handle: int, mode: str) -> None:
        handles.append(handle)
        raise OSError(24, "Too many open files")

    monkeypatch.setattr(os, "fdopen", full)
    with pytest.raises(InputError, match="found Too many open files"):
        write_whole(tmp_path / "report.html", "x")
    (handle,) = handles
    with pytest.raises(OSError, match="Bad file descriptor"):
        os.fstat(handle)
    assert list(tmp_path.iterdir()) == []
