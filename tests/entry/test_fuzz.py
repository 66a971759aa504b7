"""Files spoiled at random: a build or an error sentence comes out, never anything else."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from quietcool.entry.build import Build
from quietcool.entry.buildfile import check_build, read_build
from quietcool.errors import InputError
from tests.entry import small_rig
from tests.profiles.spoiling import FRAGMENTS, VALUES

FILES = {"build": small_rig.BUILD, **small_rig.SHEETS}


@st.composite
def spoiled(draw: st.DrawFn) -> tuple[str, str]:
    """One file with a few cuts, insertions, swaps of lines and repeated pieces."""
    name = draw(st.sampled_from(sorted(FILES)))
    text = FILES[name]
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(text)))
        end = draw(st.integers(start, min(len(text), start + 40)))
        kind = draw(st.sampled_from(["cut", "put", "replace", "repeat", "move"]))
        piece = draw(st.sampled_from(FRAGMENTS) | st.text(max_size=6))
        if kind == "cut":
            text = text[:start] + text[end:]
        elif kind == "put":
            text = text[:start] + piece + text[start:]
        elif kind == "replace":
            text = text[:start] + piece + text[end:]
        elif kind == "repeat":
            text = text[:end] + text[start:end] * draw(st.integers(1, 50)) + text[end:]
        else:
            there = draw(st.integers(0, len(text)))
            text = text[:there] + text[start:end] + text[there:]
    return name, text


@st.composite
def wrong_value(draw: st.DrawFn) -> tuple[str, str]:
    """One file in which one value is another TOML value: syntax stays right, sense does not."""
    name = draw(st.sampled_from(sorted(FILES)))
    lines = FILES[name].split("\n")
    rows = [i for i, line in enumerate(lines) if "=" in line and not line.rstrip().endswith("[")]
    row = draw(st.sampled_from(rows))
    value = draw(st.sampled_from(VALUES))
    lines[row] = f"{lines[row].split('=')[0]}= {value}"
    return name, "\n".join(lines)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_rig.write(tmp_path_factory.mktemp("fuzz")).parent


def outcome(file: Path) -> Build | InputError:
    try:
        return read_build(file)
    except InputError as error:
        return error


def put_to_the_test(folder: Path, name: str, text: str) -> None:
    file = folder / "build.toml" if name == "build" else folder / "parts" / f"{name}.toml"
    file.write_bytes(text.encode("utf-8", errors="surrogatepass"))
    start = time.monotonic()
    result = outcome(folder / "build.toml")
    assert time.monotonic() - start < 10.0
    file.write_text(FILES[name], encoding="utf-8")
    if isinstance(result, Build):
        check_build(result)
        assert len(result.states) >= 1
        return
    assert result.mistakes
    for mistake in result.mistakes:
        assert str(mistake).isprintable()
        assert mistake.required
        assert mistake.found
        assert mistake.advice
        assert mistake.line is None or 1 <= mistake.line <= text.count("\n") + 200


@given(spoiled())
@settings(max_examples=150, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])
def test_spoiled_files(folder: Path, case: tuple[str, str]) -> None:
    put_to_the_test(folder, *case)


@given(wrong_value())
@settings(max_examples=150, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])
def test_wrong_values(folder: Path, case: tuple[str, str]) -> None:
    put_to_the_test(folder, *case)
