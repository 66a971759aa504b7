"""The verb that buys, in this process: its words, its exit codes, its mistakes."""

from __future__ import annotations

import json

import pytest

from quietcool import cli
from quietcool.entry.demos import demo_path

BUILD = str(demo_path("sample_room"))
CATALOGUE = str(demo_path("sample_room").parent / "catalogue.toml")


def test_without_time_the_answer_is_the_best_so_far(capsys: pytest.CaptureFixture[str]) -> None:
    code = cli.run(["choose", BUILD, CATALOGUE, "--state", "bounce", "--seconds", "0", "--json"])
    answer = json.loads(capsys.readouterr().out)
    assert code == 0
    assert answer["allowed"] == 58
    assert answer["solved"] < answer["allowed"]
    assert answer["best"]["price"] <= 330.0
    assert "catalogue.toml" in answer["inputs_sha256"]
    assert "build.toml" in answer["inputs_sha256"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([BUILD, BUILD], "a key that is known here"),
        ([BUILD, CATALOGUE, "--workers", "0"], "--workers: needs a whole number from 1 to 256; found 0"),
        ([BUILD, CATALOGUE, "--workers", "2", "--scheduler", "tcp://x:1"], "--scheduler: needs no other kind"),
        ([BUILD, CATALOGUE, "--state", "bounces"], "bounce"),
    ],
)
def test_wrong_words_are_told(words: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["choose", *words]) == 2
    assert said in capsys.readouterr().err
