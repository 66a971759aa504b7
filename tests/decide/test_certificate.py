"""Certificates hold when they are whole, and fall when anything in them is changed.

The claim is checked by a checker that shares no code with the search; here a search that is right must be confirmed,
and every kind of tampering that weakens a proof must be refuted, also where the forger makes the hash right again.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from quietcool.decide.bound.frame import make_frames
from quietcool.decide.bound.log import SearchLog
from quietcool.decide.certificate import write_certificate
from quietcool.decide.checker.verify import Verdict, verify_certificate
from quietcool.decide.question import Question
from quietcool.decide.quietest import Progress, Quietest, find_quietest
from quietcool.entry.build import Build, SpeedRange
from quietcool.errors import InputError
from tests.random_builds import random_build

Lines = list[dict[str, Any]]


def coarse(build: Build, steps: int = 8) -> Build:
    """The same rig on fewer steps, so that a proof is short."""

    def fewer(speeds: SpeedRange) -> SpeedRange:
        return replace(speeds, step=max(speeds.step, (speeds.highest - speeds.lowest) / steps))

    groups = tuple(replace(group, speeds=fewer(group.speeds)) for group in build.fan_groups)
    loop = replace(build.loop, pump_speeds=fewer(build.loop.pump_speeds))
    return replace(build, fan_groups=groups, loop=loop, inputs={"build.toml": "0" * 64})


BUILD = coarse(random_build(0))


@pytest.fixture(scope="module")
def answer() -> tuple[Quietest, dict[str, SearchLog]]:
    logs: dict[str, SearchLog] = {}
    found = find_quietest(BUILD, seconds=30.0, logs=logs)
    assert found.status == "proven"
    return found, logs


@pytest.fixture
def file(tmp_path: Path, answer: tuple[Quietest, dict[str, SearchLog]]) -> Path:
    path = tmp_path / "proof.jsonl"
    write_certificate(path, BUILD, *answer, made_by="0.0.0")
    return path


def changed(file: Path, change: Callable[[Lines], object]) -> Path:
    """Change the lines and make the hash right again."""
    lines: Lines = [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()[:-1]]
    change(lines)
    text = "".join(json.dumps(line, sort_keys=True) + "\n" for line in lines)
    text += json.dumps({"sha256": hashlib.sha256(text.encode()).hexdigest()}) + "\n"
    file.write_text(text, encoding="utf-8")
    return file


def boxes(lines: Lines) -> Lines:
    return [line for line in lines if "box" in line]


def refuted(verdict: Verdict) -> bool:
    return not verdict.proven and bool(verdict.objections)


@pytest.mark.slow
def test_a_true_proof_is_confirmed(file: Path, answer: tuple[Quietest, dict[str, SearchLog]]) -> None:
    verdict = verify_certificate(file, BUILD)

    assert verdict.objections == ()
    assert verdict.proven
    assert f"{answer[0].level:.3f} dB(A)" in verdict.claims[0]
    assert verdict.boxes > 10


@pytest.mark.slow
def test_the_same_answer_gives_the_same_bytes(
    file: Path, answer: tuple[Quietest, dict[str, SearchLog]], tmp_path: Path
) -> None:
    again: dict[str, SearchLog] = {}
    found = find_quietest(BUILD, seconds=30.0, logs=again)
    write_certificate(tmp_path / "again.jsonl", BUILD, found, again, made_by="0.0.0")

    assert (tmp_path / "again.jsonl").read_bytes() == file.read_bytes()


def test_a_changed_byte_is_refuted_by_the_hash(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    place = text.index('"prices":[[') + len('"prices":[[')
    digit = next(i for i in range(place, len(text)) if text[i].isdigit())
    file.write_text(text[:digit] + ("7" if text[digit] != "7" else "3") + text[digit + 1 :], encoding="utf-8")

    assert refuted(verify_certificate(file, BUILD))


@pytest.mark.slow
def test_other_prices_prove_nothing(file: Path) -> None:
    def change(lines: Lines) -> None:
        for line in boxes(lines):
            if "prices" in line:
                line["prices"][0] = [-value for value in line["prices"][0]]

    assert refuted(verify_certificate(changed(file, change), BUILD))


def test_a_dropped_box_is_missed(file: Path) -> None:
    def change(lines: Lines) -> None:
        lines.remove(boxes(lines)[-1])

    verdict = verify_certificate(changed(file, change), BUILD)

    assert refuted(verdict)
    assert "missing" in verdict.objections[0]


def test_a_dropped_cut_leaves_its_box_open(file: Path) -> None:
    def change(lines: Lines) -> None:
        cut = next(line for line in boxes(lines) if line["box"] == 0)
        for line in boxes(lines):
            if line is not cut:
                lines.remove(line)
        cut.pop("cut")

    assert refuted(verify_certificate(changed(file, change), BUILD))


def test_a_cut_that_names_a_box_twice_is_refuted(file: Path) -> None:
    def change(lines: Lines) -> None:
        cut = next(line for line in boxes(lines) if "cut" in line)
        cut["cut"][2][1] = cut["cut"][2][0]

    assert refuted(verify_certificate(changed(file, change), BUILD))


@pytest.mark.parametrize("away", [0.05, -0.05])
def test_a_level_that_the_setting_does_not_have_is_refuted(file: Path, away: float) -> None:
    def change(lines: Lines) -> None:
        lines[1]["setting"]["level_dba"] += away

    verdict = verify_certificate(changed(file, change), BUILD)

    assert refuted(verdict)
    assert "comes to" in verdict.objections[0]


@pytest.mark.slow
def test_a_higher_bound_is_refuted(file: Path, answer: tuple[Quietest, dict[str, SearchLog]]) -> None:
    # Above the level: no prices whatever can prove that.
    def change(lines: Lines) -> None:
        for line in lines:
            for part in ("setting", "search"):
                if part in line:
                    line[part]["lower_bound_dba"] = answer[0].level + 0.01

    verdict = verify_certificate(changed(file, change), BUILD)

    assert refuted(verdict)
    assert any("open" in sentence for sentence in verdict.objections)


def test_a_bound_that_no_search_claims_is_refuted(file: Path) -> None:
    def change(lines: Lines) -> None:
        lines[1]["setting"]["lower_bound_dba"] += 0.01

    assert refuted(verify_certificate(changed(file, change), BUILD))


@pytest.mark.slow
def test_a_claim_of_infeasibility_is_refuted_by_the_tree(file: Path) -> None:
    def change(lines: Lines) -> None:
        for line in lines:
            for part in ("setting", "search"):
                if part in line:
                    line[part]["claim"] = "no setting keeps the limits"
                    line[part].pop("lower_bound_dba")

    assert refuted(verify_certificate(changed(file, change), BUILD))


def test_other_speeds_are_refuted(file: Path) -> None:
    def change(lines: Lines) -> None:
        name = next(iter(lines[1]["setting"]["speeds_rpm"]))
        lines[1]["setting"]["speeds_rpm"][name] += 1.0

    assert refuted(verify_certificate(changed(file, change), BUILD))


@pytest.mark.parametrize("unit", [1e6, -1e6, 500.0])
def test_units_in_which_everything_vanishes_are_refuted(file: Path, unit: float) -> None:
    def change(lines: Lines) -> None:
        for line in lines:
            if "search" in line:
                line["search"]["unit_dba"] = unit

    assert refuted(verify_certificate(changed(file, change), BUILD))


@pytest.mark.parametrize("price", [1e14, 1e300, -1e300])
def test_prices_beyond_all_sense_prove_nothing(file: Path, price: float) -> None:
    def change(lines: Lines) -> None:
        for line in boxes(lines):
            if "prices" in line:
                line["prices"] = [[price] * len(part) for part in line["prices"]]

    assert refuted(verify_certificate(changed(file, change), BUILD))


def test_another_build_is_refuted(file: Path) -> None:
    assert refuted(verify_certificate(file, replace(BUILD, inputs={"build.toml": "1" * 64})))
    assert refuted(verify_certificate(file, replace(BUILD, inputs={"other.toml": "0" * 64})))


def test_a_harder_build_under_the_same_hash_is_refuted(file: Path) -> None:
    # Half the heat: quieter settings exist than the certificate of the hotter rig allows.
    state = replace(BUILD.states[0], heat={name: 0.4 * watts for name, watts in BUILD.states[0].heat.items()})

    assert refuted(verify_certificate(file, replace(BUILD, states=(state,))))


@pytest.mark.parametrize(
    "text", ["", "no certificate", "{}", '{"kind": "quietcool certificate", "format": 99}', "[" * 100_000, "\x00\xff"]
)
def test_what_is_no_certificate_is_wrong_input(tmp_path: Path, text: str) -> None:
    file = tmp_path / "other.txt"
    file.write_text(text, encoding="utf-8")

    with pytest.raises(InputError):
        verify_certificate(file, BUILD)
    with pytest.raises(InputError):
        verify_certificate(tmp_path / "nowhere", BUILD)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda line: line.update(box=-1),
        lambda line: line.update(box=1.5),
        lambda line: line.update(box=True),
        lambda line: line.update(cut=[0, [0.1], [1]]),
        lambda line: line.update(cut="all"),
        lambda line: line.update(prices=[[1], [2]]),
        lambda line: line.update(prices=[["1"], [2], [3]]),
        lambda line: line.update(prices=[[], [], []]),
        lambda line: line.update(cut=[10**6, [0.1], [1, 2]]),
    ],
)
def test_garbled_boxes_are_refuted(file: Path, spoil: Callable[[dict[str, Any]], object]) -> None:
    assert refuted(verify_certificate(changed(file, lambda lines: spoil(boxes(lines)[0])), BUILD))


@pytest.mark.slow
def test_a_search_that_ran_out_of_time_is_confirmed_as_far_as_it_came(tmp_path: Path) -> None:
    build = replace(random_build(3), inputs={})
    logs: dict[str, SearchLog] = {}
    found = find_quietest(build, seconds=3.0, logs=logs)
    write_certificate(tmp_path / "part.jsonl", build, found, logs, made_by="0.0.0")
    verdict = verify_certificate(tmp_path / "part.jsonl", build)

    assert verdict.objections == ()


@pytest.mark.slow
def test_that_nothing_keeps_the_limits_can_be_certified(tmp_path: Path) -> None:
    limits = replace(BUILD.states[0].limits, coolant=float(BUILD.states[0].room_temp) + 0.5)
    build = replace(BUILD, states=(replace(BUILD.states[0], limits=limits),))
    logs: dict[str, SearchLog] = {}
    found = find_quietest(build, seconds=30.0, logs=logs)
    assert found.settings[0].infeasibility_proven
    write_certificate(tmp_path / "none.jsonl", build, found, logs, made_by="0.0.0")
    verdict = verify_certificate(tmp_path / "none.jsonl", build)

    assert verdict.proven
    assert "no setting keeps the limits" in verdict.claims[0]


def test_lines_can_be_read_by_people(file: Path) -> None:
    lines = [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]

    assert lines[0]["kind"] == "quietcool certificate"
    assert lines[0]["inputs"] == dict(BUILD.inputs)
    assert lines[1]["setting"]["claim"] == "no setting is quieter than lower_bound_dba"
    assert set(lines[-1]) == {"sha256"}


def test_a_search_by_blocks_of_steps_is_confirmed_too(tmp_path: Path) -> None:
    """The checker looks at single settings only, whatever blocks the search has closed a box with."""
    rig = random_build(0, groups=3, enclosures=1)
    build = coarse(rig, 17)
    question = Question(build, build.states[:1], 0)
    assert len(make_frames(question, build.states[0], 30.0)) > 1

    logs: dict[str, SearchLog] = {}
    found = find_quietest(build, seconds=60.0, logs=logs)
    write_certificate(tmp_path / "proof.jsonl", build, found, logs, made_by="0.0.0")
    verdict = verify_certificate(tmp_path / "proof.jsonl", build)
    assert found.status == "proven"
    assert verdict.proven, verdict.objections


def test_a_search_that_was_interrupted_before_it_had_a_bound_claims_nothing(tmp_path: Path) -> None:
    """Its log is open: no level that stands for energy 1, no bound. Both are no numbers, which JSON does not know."""

    def interrupt(progress: Progress) -> None:
        if progress.what.startswith("proving"):
            raise KeyboardInterrupt

    logs: dict[str, SearchLog] = {}
    found = find_quietest(BUILD, seconds=30.0, progress=interrupt, logs=logs)
    logs[BUILD.states[0].name] = SearchLog()
    write_certificate(tmp_path / "cut.jsonl", BUILD, found, logs, made_by="0.0.0")
    verdict = verify_certificate(tmp_path / "cut.jsonl", BUILD)

    assert verdict.objections == ()
    assert all(claim.endswith("without a bound") for claim in verdict.claims)
