"""The verbs of the workshop from outside: sentences first, strict JSON, exit codes that hold."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from quietcool.entry.demos import demo_names, demo_path
from quietcool.show.schemas import schema_of
from tests.saying import Said

BOOTH = str(demo_path("booth_wall"))
FILLED = ("--done", "dry fit", "--done", "air test", "--done", "fill")
START = ("--leak-start", "0.5 bar, 22 degC, 1013 hPa")


def parsed(said: Said, verb: str) -> Any:
    def refuse(token: str) -> float:
        raise AssertionError(f"{token} is no JSON")

    instance = json.loads(said.out, parse_constant=refuse)
    jsonschema.Draft202012Validator(schema_of(verb)).validate(instance)
    return instance


@pytest.fixture
def spoiled(tmp_path: Path) -> Any:
    """The booth with one text replaced by another."""

    def spoil(old: str, new: str) -> str:
        shutil.copytree(Path(BOOTH).parent, tmp_path / "rig", dirs_exist_ok=True)
        file = tmp_path / "rig" / "build.toml"
        text = file.read_text()
        assert old in text
        file.write_text(text.replace(old, new))
        return str(file)

    return spoil


# --- shop ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", demo_names())
def test_the_shop_sums_of_a_demo(say: Any, name: str) -> None:
    said = say("shop", str(demo_path(name)))
    assert (said.code, said.err) == (0, "")
    assert "every stack fits" in said.out.splitlines()[0]
    assert max(len(line) for line in said.out.splitlines()[1:]) <= 80
    assert parsed(say("shop", str(demo_path(name)), "--json"), "shop")["kept"] is True


def test_the_json_holds_what_the_hand_gives(say: Any) -> None:
    """By hand: 4 + 30 + 60 + 5 mm; 4 x 0.2 A and 4 x 0.45 A; 1195 W in render; the weakest part bears 0.8 bar."""
    found = parsed(say("shop", BOOTH, "--json"), "shop")
    assert found["stacks"]["side intake"]["depth_mm"] == pytest.approx(99.0)
    assert found["stacks"]["side intake"]["screws"][0]["length_mm"] == pytest.approx(35.0)
    assert found["stacks"]["side intake"]["screws"][0]["count"] == 16
    assert (found["outputs"][0]["running_a"], found["outputs"][0]["start_a"]) == (
        pytest.approx(0.8),
        pytest.approx(1.8),
    )
    assert found["supply"]["power_w"]["render"] == pytest.approx(1194.8)
    assert (found["air_test"]["pressure_bar"], found["air_test"]["weakest_max_bar"]) == (0.5, 0.8)
    assert (found["air_test_result"], found["next_step"]) == (None, "dry fit")


def test_a_stack_that_does_not_fit_is_exit_code_3(say: Any, spoiled: Any) -> None:
    file = spoiled("space_depth_mm = 130", "space_depth_mm = 95")
    said = say("shop", file)
    assert said.code == 3
    assert "1 thing cannot stay: side intake: the stack is 4 mm deeper than its place." in said.out.splitlines()[0]
    assert "Cautions" in said.out  # everything is still printed
    in_json = say("shop", file, "--json")
    assert in_json.code == 3
    assert parsed(in_json, "shop")["kept"] is False


@pytest.mark.parametrize(
    ("end", "code", "verdict"),
    [
        # Ideal gas: at half a bar and 22 degC the gauge falls by 5.1 mbar for a kelvin of cooling.
        ("0.4949 bar, 21 degC, 1013 hPa", 0, "no leak seen"),
        ("0.4949 bar, 22 degC, 1013 hPa", 3, "not proven"),
        ("0.4800 bar, 22 degC, 1013 hPa", 3, "leak"),
        ("0.5050 bar, 22 degC, 1008 hPa", 0, "no leak seen"),
    ],
)
def test_an_air_test(say: Any, end: str, code: int, verdict: str) -> None:
    words = ("shop", BOOTH, *START, "--leak-end", end, "--leak-settled", "10")
    said = say(*words)
    assert (said.code, said.err) == (code, "")
    assert said.out.lower().startswith(f"{verdict}: the gauge")
    in_json = say(*words, "--json")
    assert in_json.code == code
    assert parsed(in_json, "shop")["air_test_result"]["verdict"] == verdict


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("--leak-start", "0.9 bar, 22 degC", "--leak-end", "0.5 bar, 22 degC"), "radiator-r-360x30, the weakest part"),
        (START, "--leak-end: needs both readings"),
        ((*START, "--leak-end", "0.5 bar, 22 degC"), "the barometer at the start and at the end"),
        ((*START, "--leak-end", "0.5 bar, 22 degC, 1013 hPa", "--leak-minutes", "0"), "some minutes"),
        ((*START, "--leak-end", "half a bar, 22"), "--leak-end"),
        ((*START, "--leak-end", "0.5, 22, 1013", "--gauge-error", "nan"), "--gauge-error"),
        (("--done", "fill"), '"dry fit" before "fill"'),
        (("--done", "bled"), "a step of the list"),
        ((*FILLED, *START, "--leak-end", "0.5, 22, 1013"), "a dry loop"),
    ],
)
def test_what_is_unsafe_or_wrong_is_refused_with_its_reason(say: Any, words: tuple[str, ...], part: str) -> None:
    said = say("shop", BOOTH, *words)
    assert (said.code, said.out) == (2, "")
    assert part in said.err


def test_what_comes_next(say: Any) -> None:
    said = say("shop", BOOTH, "--done", "dry fit")
    assert said.code == 0
    assert said.out.startswith("Next: air test (")
    assert "goggles" in said.out.splitlines()[0]
    found = parsed(say("shop", BOOTH, "--done", "dry fit", "--json"), "shop")
    assert [step["done"] for step in found["steps"]][:2] == [True, False]
    everything = [word for step in found["steps"] for word in ("--done", step["name"])]
    assert say("shop", BOOTH, *everything).out.startswith("Every step is done.")


# --- diagnose --------------------------------------------------------------------------------------------------------


def test_a_hot_chip_over_cool_water_is_the_block(say: Any, spoiled: Any) -> None:
    """Common practice, no source: a processor lies 25 to 45 K over its coolant; the yardstick without speeds."""
    file = spoiled("rpm = 1100\n", "")
    words = ("diagnose", file, "--state", "render", "--coolant", "33", "--room", "23", "--temp", "cpu=83")
    said = say(*words)
    assert (said.code, said.err) == (0, "")
    assert said.out.startswith("Block side: cpu core over coolant 50.0 K")
    assert max(len(line) for line in said.out.splitlines()[1:]) <= 80
    found = parsed(say(*words, "--json"), "diagnose")
    assert (found["half"], found["chips"][0]["basis"], found["chips"][0]["predicted_k"]) == (
        "block side",
        "common",
        None,
    )


def test_with_speeds_the_model_is_the_yardstick(say: Any) -> None:
    """What `solve` gives in a state is sound, whatever the words are that it is typed in."""
    solved = parsed(say("solve", BOOTH, "--state", "transcode", "--json"), "solve")
    coolant, core = solved["loop"]["temp_max_c"], solved["sources"]["cpu"]["core"]["temp_c"]
    words = ("diagnose", BOOTH, "--state", "transcode", "--room", "23", "--coolant", f"{coolant} degC")
    found = parsed(say(*words, "--temp", f"cpu core={core}", "--json"), "diagnose")
    assert found["half"] == "neither side"
    assert found["chips"][0]["rise_k"] == pytest.approx(found["chips"][0]["predicted_k"])
    slower = parsed(say(*words, "--speed", "pump=1800", "--json"), "diagnose")
    assert slower["coolant"]["predicted_k"] != found["coolant"]["predicted_k"]


def test_a_chip_beyond_its_limit_is_exit_code_3(say: Any) -> None:
    words = ("diagnose", BOOTH, "--state", "transcode", "--coolant", "31", "--room", "23", "--temp", "cpu=90")
    said = say(*words)
    assert said.code == 3
    assert said.out.splitlines()[0].endswith("STOP: above its limit: cpu core.")
    assert parsed(say(*words, "--json"), "diagnose")["beyond_limit"] == ["cpu core"]


def test_noise_is_called_not_proven(say: Any, spoiled: Any) -> None:
    file = spoiled("rpm = 1100\n", "")
    said = say("diagnose", file, "--coolant", "38.3", "--room", "23")
    assert said.out.startswith("Not proven: coolant over room 15.3 K")
    assert "Zero the sensors" in said.out


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        ((), ["--coolant: needs a measured temperature", "--room: needs a measured temperature"]),
        (("--coolant", "35", "--room", "23", "--temp", "cpuu=3"), ["did you mean"]),
        (("--coolant", "35", "--room", "23", "--state", "rendr"), ['did you mean "render"']),
        (("--coolant", "35", "--room", "23", "--speed", "sid=3"), ['did you mean "side"']),
        (("--coolant", "35 bar", "--room", "23"), ["--coolant"]),
        (("--coolant", "35", "--room", "23", "--sensor", "warm"), ["warm"]),
        (("--coolant", "35", "--room", "23", "--sensor-error", "0"), ["--sensor-error"]),
    ],
)
def test_wrong_words_of_a_diagnosis(say: Any, words: tuple[str, ...], parts: list[str]) -> None:
    said = say("diagnose", BOOTH, *words)
    assert (said.code, said.out) == (2, "")
    for part in parts:
        assert part in said.err


def test_hostile_words_reach_no_terminal(say: Any) -> None:
    hostile = "\x1b[31m[bold]x[/]\u202e\x07"
    printed = ""
    for words in (
        ("shop", BOOTH, "--done", hostile),
        ("shop", BOOTH, "--leak-start", hostile, "--leak-end", hostile),
        ("shop", BOOTH, "--leak-start", f"{hostile}, {hostile}", "--leak-end", f"1, {hostile}"),
        ("diagnose", BOOTH, "--coolant", hostile, "--room", hostile, "--temp", f"{hostile}=1", "--watts", hostile),
    ):
        said = say(*words)
        assert said.code == 2
        printed += said.out + said.err
    assert not {character for character in printed if not character.isprintable()} - {"\n"}
