"""Hostile files: an error sentence each time, never a traceback, never a hang, memory bounded.

The times are what a slow and busy machine may take; the attacks take seconds to hours where nothing guards.
"""

from __future__ import annotations

import os
import socket
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import pytest

from quietcool.entry.buildfile import read_build
from quietcool.errors import InputError, Mistake
from tests.entry import small_rig
from tests.entry.small_rig import BUILD, changed

SECONDS = 5.0


def refused(file: Path) -> list[Mistake]:
    start = time.process_time()
    with pytest.raises(InputError) as raised:
        read_build(file)
    assert time.process_time() - start < SECONDS
    assert all(str(mistake).isprintable() and len(str(mistake)) < 1000 for mistake in raised.value.mistakes)
    return raised.value.mistakes


@pytest.mark.parametrize(
    ("tail", "words"),
    [
        (".".join("a" * 20_000) + " = 1", "at most 8 dots"),
        ("[" + ".".join("a" * 20_000) + "]", "at most 8 dots"),
        ("[[" + ".".join("a" * 20_000) + "]]", "at most 8 dots"),
        ("x = { " + ".".join("a" * 20_000) + " = 1 }", "at most 8 dots"),
        (" . ".join(['"a b"'] * 10) + " = 1", "at most 8 dots"),
        ("x = " + "[" * 100_000, "at most 16 deep"),
        ("x = " + "{ a = " * 20_000, "at most 16 deep"),
        ("x = " + "[" * 17 + "]" * 17, "at most 16 deep"),
        ("x = " + "[\n" * 17 + "]" * 17, "at most 16 deep"),
        ("x = " + "9" * 100_000, "thousands of digits"),
        ('x = """' + '\\"""' * 50_000, "valid TOML"),
        ("x = " + "'\"" * 100_000, "valid TOML"),
        ("x = '''" + "''" * 80_000, "valid TOML"),
        ('x = "' + "\\" * 200_001, "valid TOML"),
        ("# " + "x" * 256_000, "at most 256 kB"),
        ("\0", "valid TOML"),
        ("x = 1\nx = 2", "valid TOML"),
        ("\n".join(f"k{i} = 1" for i in range(15_000)), "fewer mistakes"),
        ("k" * 200_000 + " = 1", "a key that is known here"),
        ("\n".join(f'[[enclosure]]\nname = "e{i}"' for i in range(7_000)), "at most 200 items"),
        ("\n".join("[[a.b.c.d.e.f.g.h]]" for _ in range(9_000)), "a key that is known here"),
        ('"\\u001b[2J" = 1', "a key that is known here"),
    ],
    ids=lambda value: repr(value[:24]),
)
def test_bombs(tmp_path: Path, tail: str, words: str) -> None:
    found = refused(small_rig.write(tmp_path, f"{BUILD}\n{tail}\n"))
    assert any(words in str(mistake) for mistake in found)


@pytest.mark.parametrize("tail", ["x = " + "[" * 16 + "]" * 16, ".".join("a" * 9) + " = 1"])
def test_just_inside_the_limits_is_read(tmp_path: Path, tail: str) -> None:
    (only,) = refused(small_rig.write(tmp_path, f"{BUILD}\n{tail}\n"))
    assert "a key that is known here" in only.required


@pytest.mark.parametrize(
    "tail",
    [
        "# " + "[" * 99 + "." * 99,
        'note = "' + "[" * 99 + "a." * 99 + '"',
        "note = '" + "{" * 99 + "'",
        'note = """a " "" \\""" ' + "[" * 99 + '"""""',
        "note = '''a ' '' " + "[" * 99 + "'''''",
    ],
)
def test_brackets_and_dots_in_texts_and_comments_do_not_count(tmp_path: Path, tail: str) -> None:
    assert read_build(small_rig.write(tmp_path, f"{tail}\n{BUILD}")).title == "Small rig"


def test_a_dotted_key_bomb_takes_little_memory(tmp_path: Path) -> None:
    file = small_rig.write(tmp_path, f"{BUILD}\n{'.'.join('a' * 100_000)} = 1\n")
    tracemalloc.start()
    refused(file)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()

    assert peak < 20e6


@pytest.mark.parametrize("content", [b"\xff\xfef\x00o\x00", b"title = '\xe9'", b"\x80" * 1000])
def test_what_is_no_utf8(tmp_path: Path, content: bytes) -> None:
    file = small_rig.write(tmp_path)
    file.write_bytes(content)
    (only,) = refused(file)

    assert (only.required, only.line) == ("UTF-8 text", 1)


def test_an_empty_file_lacks_every_required_key(tmp_path: Path) -> None:
    missing = {mistake.place for mistake in refused(small_rig.write(tmp_path, ""))}
    assert missing == {"format", "title", "parts", "room", "air_path", "source", "loop", "position", "state"}


def make_pipe(path: Path) -> None:
    os.mkfifo(path)


def make_socket(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as server:
        here = Path.cwd()
        os.chdir(path.parent)  # a socket's path may have 108 characters only
        try:
            server.bind(path.name)
        finally:
            os.chdir(here)


def make_big(path: Path) -> None:
    path.write_text(small_rig.MESH + "#" * 256_000)


MAKERS: list[tuple[Callable[[Path], None], str]] = [
    (make_pipe, "no regular file"),
    (make_socket, ""),
    (Path.mkdir, "a folder"),
    (make_big, "more than 256000 bytes"),
    (lambda path: path.symlink_to("/dev/zero"), "leads out"),
    (lambda path: path.symlink_to("/etc/hostname"), "leads out"),
    (lambda path: path.symlink_to("nothing"), "no such file"),
    (lambda path: path.symlink_to(path.name), ""),
]


@pytest.mark.parametrize(("make", "words"), MAKERS)
def test_things_that_are_no_sheet(tmp_path: Path, make: Callable[[Path], None], words: str) -> None:
    file = small_rig.write(tmp_path)
    make(tmp_path / "parts" / "x.toml")
    (only,) = refused(file)

    assert only.file.endswith("x.toml")
    assert words in only.found


@pytest.mark.parametrize(("make", "words"), MAKERS[:4])
def test_things_that_are_no_build_file(tmp_path: Path, make: Callable[[Path], None], words: str) -> None:
    make(tmp_path / "x.toml")
    (only,) = refused(tmp_path / "x.toml")

    assert words in only.found


def test_a_device_is_no_build_file() -> None:
    (only,) = refused(Path("/dev/zero"))
    assert "no regular file" in only.found


def test_a_link_to_a_sheet_in_the_tree_is_followed(tmp_path: Path) -> None:
    file = small_rig.write(tmp_path)
    (tmp_path / "store").mkdir()
    (tmp_path / "parts" / "mesh.toml").rename(tmp_path / "store" / "m.toml")
    (tmp_path / "parts" / "mesh.toml").symlink_to("../store/m.toml")

    assert len(read_build(file).inputs) == 7


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        ('"../parts"', "leads out"),
        ('"parts/../../other"', "leads out"),
        ('"/etc"', "leads out"),
        ('"way out"', "leads out"),
        ('"nowhere"', "no such file"),
        ('"build.toml"', "no folder"),
        ('"a\\u0000b"', "no such place"),
        ('"' + "x" * 3000 + '"', "too long"),
        ('"parts"', "the same folder again"),
        ("3", "3"),
    ],
)
def test_folders_outside_the_tree(tmp_path: Path, entry: str, words: str) -> None:
    home = tmp_path / "home"
    file = small_rig.write(home, changed(BUILD, 'parts = ["parts"]', f'parts = ["parts", {entry}]'))
    (tmp_path / "other").mkdir()
    (home / "way out").symlink_to("../other")
    (only,) = refused(file)

    assert only.place == "parts[2]"
    assert words in only.found


def test_control_characters_never_reach_the_terminal(tmp_path: Path) -> None:
    text = changed(BUILD, 'name = "case"', 'name = "\x85case\\u001b[2J"')
    file = small_rig.write(tmp_path, text)
    (tmp_path / "parts" / "x\x1b[31m.toml").write_text("kind")

    assert len(refused(file)) > 2  # which looks at every character of every sentence


def test_more_than_200_sheets(tmp_path: Path) -> None:
    file = small_rig.write(tmp_path)
    for i in range(194):
        (tmp_path / "parts" / f"m{i}.toml").write_text(small_rig.MESH.replace('"mesh"', f'"m{i}"'))
    assert len(read_build(file).inputs) == 201  # 200 sheets and the build

    (tmp_path / "parts" / "one more.toml").write_text(small_rig.MESH.replace('"mesh"', '"one more"'))
    (only,) = refused(file)
    assert "at most 200 part sheets" in only.required


def test_many_large_sheets_are_not_all_read(tmp_path: Path) -> None:
    file = small_rig.write(tmp_path)
    for i in range(60):
        (tmp_path / "parts" / f"m{i}.toml").write_text(small_rig.MESH.replace('"mesh"', f'"m{i}"') + "#" * 250_000)
    (only,) = refused(file)

    assert "4 MB together" in only.required


def test_numbers_of_any_size_are_refused_in_words(tmp_path: Path) -> None:
    for number in ("0x" + "f" * 100_000, "9" * 4000, "9" * 100_000 + ".5", "1e400", "-1e400", "1979-05-27T07:32:00Z"):
        (only,) = refused(small_rig.write(tmp_path, changed(BUILD, "temp_c = 21.5", f"temp_c = {number}")))
        assert only.place == "room.temp_c"
        (only,) = refused(small_rig.write(tmp_path, changed(BUILD, "count = 3", f"count = {number}")))
        assert only.place == "air_path[front intake].stack[2].count"


def test_deeply_nested_branches_are_read_or_refused_in_words(tmp_path: Path) -> None:
    inner = '[["cpu"], ["gpu"]]'
    for _ in range(6):  # each level nests three brackets
        inner = f'[["cpu"], [{{ parallel = {inner} }}]]'
    text = changed(BUILD, '[["cpu"], ["gpu"]]', inner)
    assert any("16 deep" in str(mistake) for mistake in refused(small_rig.write(tmp_path, text)))


def test_without_the_grammar_the_sentence_stands_without_a_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(text: str) -> None:
        raise RuntimeError("a grammar of another version")

    monkeypatch.setattr("quietcool.entry.mistakes.positions", broken)
    (only,) = refused(small_rig.write(tmp_path, changed(BUILD, "min_rpm = 600", "min_rpm = 1900")))

    assert (only.line, only.column) == (None, None)
    assert "fan_group[front].min_rpm" in str(only)
