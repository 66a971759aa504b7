"""`report` and `page` from outside: words in, files out, an exit code that holds."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from typing import Any

import jsonschema
import pytest

import quietcool.decide.quietest
from quietcool import cli
from quietcool.entry.demos import demo_path
from quietcool.show import dossier
from quietcool.show.schemas import schema_of
from tests.show.invented_answers import searcher
from tests.show.solved_rigs import demo, small_answer

ROOT = Path(__file__).parents[2]


@pytest.fixture
def rig(tmp_path: Path) -> Path:
    shutil.copytree(demo_path("sample_room").parent, tmp_path / "rig")
    return tmp_path / "rig" / "build.toml"


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the search find what the tests of reports find, and the curve be short."""
    found = small_answer(demo("sample_room"))
    monkeypatch.setattr(quietcool.decide.quietest, "find_quietest", searcher(found))
    monkeypatch.setattr(dossier, "CURVE_POINTS", 3)


@pytest.mark.slow
@pytest.mark.usefixtures("quick")
def test_a_report_and_its_tables_are_written(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = rig.parent / "report.html"
    code = cli.run(["report", str(rig), "-o", str(out), "--csv", str(rig.parent / "tables")])
    said = capsys.readouterr()
    assert code == 0, said.err
    assert "Report written to" in said.out
    assert said.out.startswith("idle: front 560 rpm")
    assert out.read_text().startswith("<!doctype html>")
    assert len(list((rig.parent / "tables").glob("*.csv"))) > 15


@pytest.mark.slow
@pytest.mark.usefixtures("quick")
def test_json_names_every_file_with_its_digest(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code = cli.run(["report", str(rig), "-o", str(rig.parent / "report.html"), "--json"])
    answer: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert code == 0
    jsonschema.validate(answer, schema_of("report"))
    (file,) = answer["written"]
    assert hashlib.sha256(Path(file["file"]).read_bytes()).hexdigest() == file["sha256"]


def test_a_report_does_not_overwrite_the_build(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = rig.read_bytes()
    assert cli.run(["report", str(rig), "-o", str(rig)]) == 2
    assert "not part of the build" in capsys.readouterr().err
    assert rig.read_bytes() == before


def test_a_report_needs_a_place(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["report", str(rig)]) == 2
    assert "--output" in capsys.readouterr().err


@pytest.mark.parametrize("port", ["-1", "70000"])
def test_a_port_that_is_none_is_wrong_use(rig: Path, port: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["page", str(rig), "--port", port]) == 2
    assert "--port" in capsys.readouterr().err


@pytest.mark.slow
def test_the_page_tells_its_address_answers_and_ends(rig: Path) -> None:
    running = subprocess.Popen(
        [sys.executable, "-m", "quietcool", "page", str(rig)], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True, env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    try:
        assert running.stdout is not None
        line = running.stdout.readline()
        address = next(word for word in line.split() if word.startswith("http://127.0.0.1:"))
        end = time.monotonic() + 60.0
        while True:
            try:
                with urllib.request.urlopen(address, timeout=10) as answer:
                    assert answer.status == 200
                    break
            except OSError:
                assert time.monotonic() < end
                time.sleep(0.2)
        running.send_signal(signal.SIGINT)
        assert running.wait(timeout=30) == 0
    finally:
        running.kill()
        running.communicate()
