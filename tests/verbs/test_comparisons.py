"""The verbs that compare, from outside: words in, answers and exit codes out."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest

import quietcool.decide.layouts
import quietcool.decide.tradeoff
from quietcool.entry.demos import demo_path
from quietcool.show.schemas import schema_of
from tests.show.invented_comparisons import ZERO, curve, layouts

BOOTH = str(demo_path("booth_wall"))


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """Let the searches answer at once, and note what they were asked."""
    noted: list[Any] = []

    def answering(answer: Any) -> Any:
        def find(rig: Any, *names: Any, progress: Any, **options: Any) -> Any:
            noted.append((names, options))
            return answer

        return find

    monkeypatch.setattr(quietcool.decide.tradeoff, "find_tradeoff", answering(curve()))
    monkeypatch.setattr(quietcool.decide.layouts, "find_layouts", answering(layouts(ZERO, ZERO)))
    return noted


def test_tradeoff_asks_for_what_was_said(say: Any, asked: list[Any]) -> None:
    said = say("tradeoff", BOOTH, "--state", "take", "--axis", "gpu 1 core", "--points", "12", "--at",
               "booth microphone", "--seconds", "5")  # fmt: skip
    assert (said.code, said.err) == (0, "")
    assert asked == [(("take",), {"axis": "gpu 1 core", "position": "booth microphone", "points": 12, "seconds": 5.0})]
    assert said.out.startswith("render: from 40.0 degC to 50.0 degC of coolant ")


def test_layouts_asks_for_what_was_said(say: Any, asked: list[Any]) -> None:
    said = say("layouts", BOOTH, "--path", "top exhaust")
    assert (said.code, said.err) == (0, "")
    assert asked == [
        (
            ("top exhaust",),
            {"state": "render", "axis": "coolant", "position": None, "seconds": 60.0, "catalogue": None, "air": False},
        )
    ]
    assert said.out.startswith("side intake (radiator-p-480x60), push now. Is a second fan row worth it? No")


@pytest.mark.parametrize("verb", ["tradeoff", "layouts"])
def test_json_and_csv(say: Any, asked: list[Any], verb: str) -> None:
    parsed = json.loads(say(verb, BOOTH, "--json").out)
    jsonschema.Draft202012Validator(schema_of(verb)).validate(parsed)
    assert say(verb, BOOTH, "--csv").out.splitlines()[0].split(",")[0] in ("limit_c", "air_path")
    assert len(asked) == 2


def test_every_mistake_is_told_at_once(say: Any, asked: list[Any]) -> None:
    said = say("tradeoff", BOOTH, "--state", "rendr", "--axis", "coolnt", "--points", "1", "--seconds", "-1", "--json",
               "--csv")  # fmt: skip
    assert (said.code, said.out, asked) == (2, "", [])
    for culprit in ("rendr", "coolnt", "--points", "--seconds", "--json --csv"):
        assert culprit in said.err
    said = say("layouts", BOOTH, "--path", "rear slots", "--at", "roof")
    assert said.code == 2
    assert "rear slots" in said.err
    assert "roof" in said.err


def test_a_curve_without_points_is_exit_code_3(say: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    nothing = replace(curve(), points=(), knee=None, present=None)
    monkeypatch.setattr(quietcool.decide.tradeoff, "find_tradeoff", lambda *_, **__: nothing)
    assert say("tradeoff", BOOTH).code == 3


@pytest.mark.slow
def test_a_real_answer_on_both_verbs(say: Any, tmp_path: Path) -> None:
    demo = demo_path("sample_room").parent
    text = (demo / "build.toml").read_text().replace("step_rpm = 20", "step_rpm = 100")
    (tmp_path / "build.toml").write_text(text)
    (tmp_path / "parts").mkdir()
    for sheet in (demo / "parts").iterdir():
        (tmp_path / "parts" / sheet.name).write_text(sheet.read_text())
    file = str(tmp_path / "build.toml")
    curve_said = say("tradeoff", file, "--points", "4", "--seconds", "2", "--json")
    assert curve_said.code == 0
    parsed = json.loads(curve_said.out)
    jsonschema.Draft202012Validator(schema_of("tradeoff")).validate(parsed)
    assert parsed["state"] == "bounce"
    said = say("layouts", file, "--path", "bottom intake", "--seconds", "0", "--json")
    assert said.code == 0
    jsonschema.Draft202012Validator(schema_of("layouts")).validate(json.loads(said.out))
