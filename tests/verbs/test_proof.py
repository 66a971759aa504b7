"""`quietest --certificate` and `verify` from outside: words in, an answer on stdout, an exit code that holds."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from quietcool import cli
from quietcool.entry.demos import demo_path
from quietcool.show.schemas import schema_of

SEAT = str(demo_path("sample_room"))
BOOTH = str(demo_path("booth_wall"))


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A short search's certificate: it claims as much as was found in the time."""
    path = tmp_path_factory.mktemp("proof") / "bounce.jsonl"
    words = ["quietest", SEAT, "--state", "bounce", "--seconds", "3", "--draws", "0", "--certificate", str(path)]
    assert cli.run(words) == 0
    return path


def answered(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, dict[str, Any]]:
    capsys.readouterr()
    code = cli.run([*words, "--json"])
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator(schema_of("verify")).validate(found)
    return code, found


@pytest.mark.slow
def test_a_certificate_is_confirmed(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, found = answered(capsys, "verify", str(file), SEAT)

    assert code == 0
    assert found["proven"]
    assert found["objections"] == []


@pytest.mark.slow
def test_a_certificate_of_another_rig_is_refuted(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, found = answered(capsys, "verify", str(file), BOOTH)

    assert code == 3
    assert not found["proven"]

    capsys.readouterr()
    assert cli.run(["verify", str(file), BOOTH]) == 3
    assert capsys.readouterr().out.startswith("Refuted")


def test_what_is_no_certificate_is_wrong_input(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    other = tmp_path / "notes.txt"
    other.write_text("not one\n", encoding="utf-8")

    assert cli.run(["verify", str(other), SEAT]) == 2
    assert cli.run(["verify", str(tmp_path / "missing"), SEAT]) == 2
    assert "certificate" in capsys.readouterr().err


def test_a_certificate_is_of_a_level(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["quietest", SEAT, "--minimise", "nc", "--certificate", str(tmp_path / "a")]

    assert cli.run(words) == 2
    assert not (tmp_path / "a").exists()
