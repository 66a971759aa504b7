"""The command line from outside: words in, an answer on stdout, complaints on stderr, an exit code that holds."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest

import quietcool.decide.quietest
from quietcool import cli
from quietcool.entry.build import Build
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_names, demo_path
from quietcool.errors import RefutedBound
from quietcool.show.schemas import SUBJECTS, VERBS, schema_of
from tests.saying import Said
from tests.show.invented_answers import answer, infeasible, searcher, setting

ROOT = Path(__file__).parents[1]
BOOTH = str(demo_path("booth_wall"))
DEMO = read_build(BOOTH)
DESK = "desk microphone"
RPM = (1100.0, 1100.0, 1100.0, 3600.0)
TRANSCODE = ("--state", "transcode")  # keeps every limit at the present speeds
RENDER = ("--state", "render")  # breaks one there


@pytest.fixture
def found(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Let the optimizer find what a test says."""

    def put(outcome: Any, told: list[Any] | None = None) -> None:
        monkeypatch.setattr(quietcool.decide.quietest, "find_quietest", searcher(outcome, told=told))

    return put


def process(*words: str, **how: Any) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "quietcool", *words],
        cwd=ROOT,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        **how,
    )


def parsed(said: Said, verb: str) -> Any:
    """Parse stdout as strict JSON and hold it to the published schema."""

    def refuse(token: str) -> float:
        raise AssertionError(f"{token} is no JSON")

    instance = json.loads(said.out, parse_constant=refuse)
    jsonschema.Draft202012Validator(schema_of(verb)).validate(instance)
    return instance


# --- answers and exit codes ------------------------------------------------------------------------------------------


def test_a_check_answers_with_a_sentence_first(say: Any) -> None:
    said = say("check", BOOTH)
    assert (said.code, said.err) == (0, "")
    assert said.out.startswith("Booth wall: no mistakes in 10 files; 1 enclosure, 4 air paths, 3 radiators,")
    assert parsed(say("check", BOOTH, "--json"), "check")["title"] == "Booth wall"


@pytest.mark.parametrize(("state", "code", "end"), [(TRANSCODE, 0, "every limit is kept."), (RENDER, 3, " K.")])
def test_solve_says_whether_limits_are_kept(say: Any, state: tuple[str, str], code: int, end: str) -> None:
    said = say("solve", BOOTH, *state)
    assert (said.code, said.err) == (code, "")
    sentence = said.out.splitlines()[0]
    assert sentence.startswith(f"{state[1]} at side 1100 rpm, bottom 1100 rpm, top 1100 rpm, pump 3600 rpm: ")
    assert sentence.endswith(end)
    tables = said.out.partition("\n\n")[2]  # behind the sentences, one line each
    assert max(len(line) for line in tables.splitlines()) <= 80
    in_json = say("solve", BOOTH, *state, "--json")
    assert in_json.code == code
    assert (min(limit["margin"] for limit in parsed(in_json, "solve")["limits"]) >= 0.0) == (code == 0)


def test_solve_takes_speeds_and_all_states(say: Any) -> None:
    instance = parsed(say("solve", BOOTH, "--speed", "pump=2400", "--speed", "top=0", "--json"), "solve")
    assert list(instance["operating_points"]) == [state.name for state in DEMO.states]
    assert instance["operating_points"]["take"]["groups"]["pump"] == {"speed_rpm": 2400.0}
    assert instance["operating_points"]["take"]["groups"]["top"] == {"speed_rpm": 0.0}


def test_an_unsolved_state_is_exit_code_4_and_names_its_branch(say: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("quietcool.solve.operating_point.MAX_REFRESHES", 1)  # too few for anything to come to rest
    said = say("solve", BOOTH, *TRANSCODE)
    assert said.code == 4
    assert re.search(r'did not converge: the largest imbalance of the air network is in air path "[a-z ]+"', said.out)
    in_json = say("solve", BOOTH, *TRANSCODE, "--json")
    assert in_json.code == 4
    assert parsed(in_json, "solve")["converged"] is False


def test_quietest_answers(say: Any, found: Any) -> None:
    told: list[Any] = []
    found(answer(setting(DEMO, ("take",), RPM), position="booth microphone"), told)
    words = ("quietest", BOOTH, "--state", "take", "--at", "booth microphone", "--one-setting", "--seconds", "5")
    said = say(*words)
    assert said.err == ""
    asked = {"one_setting": True, "position": "booth microphone", "seconds": 5.0, "minimise": "dba"}
    assert told == [(["take"], told[0][1] | asked)]
    assert said.out.startswith("take: side 1100 rpm, bottom 1100 rpm, top 1100 rpm, pump 3600 rpm: ")
    assert parsed(say(*words, "--json"), "quietest")["objective"]["position"] == "booth microphone"


@pytest.mark.parametrize("flag", [(), ("--json",)])
def test_exit_codes_of_quietest(say: Any, found: Any, flag: tuple[str, ...]) -> None:
    kept = setting(DEMO, ("transcode",), RPM)
    for outcome, code in (
        (answer(kept, position=DESK), 0),
        (answer(kept, infeasible(DEMO, "render", RPM, proven=True), position=DESK), 3),
        (answer(kept, position=DESK, interrupted=True), 130),
        (KeyboardInterrupt(), 130),
        (RefutedBound("a bound lies above a level"), 3),
        (ZeroDivisionError("inside"), 1),
    ):
        found(outcome)
        said = say("quietest", BOOTH, *flag)
        assert said.code == code
        assert bool(said.err) == (code == 130 or isinstance(outcome, Exception))
        if not isinstance(outcome, BaseException) and flag:
            parsed(said, "quietest")


def test_an_interrupted_search_prints_the_best_so_far(say: Any, found: Any) -> None:
    found(answer(setting(DEMO, ("transcode",), RPM), position=DESK, interrupted=True))
    said = say("quietest", BOOTH, *TRANSCODE)
    assert said.out.startswith("Interrupted: what follows is the best so far.\ntranscode: side 1100 rpm")
    assert said.err == "quietcool: interrupted.\n"


def test_a_polite_request_to_end_is_an_interruption(say: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def find(build: Build, *_: Any, **__: Any) -> Any:
        try:
            os.kill(os.getpid(), signal.SIGTERM)
            signal.pause()
        except KeyboardInterrupt:
            return answer(setting(build, ("transcode",), RPM), position=DESK, interrupted=True)

    before = signal.getsignal(signal.SIGTERM)
    monkeypatch.setattr(quietcool.decide.quietest, "find_quietest", find)
    said = say("quietest", BOOTH, *TRANSCODE)
    assert said.code == 130
    assert "best so far" in said.out
    assert signal.getsignal(signal.SIGTERM) is before


@pytest.mark.parametrize("name", ["booth_wall", "booth-wall", "Booth wall"])
def test_the_demo_explains_its_answer_and_says_that_it_is_invented(say: Any, found: Any, name: str) -> None:
    found(answer(setting(DEMO, ("transcode",), RPM), position=DESK))
    said = say("demo", name)
    assert said.code == 0
    assert said.out.startswith("transcode: side 1100 rpm")
    assert "Everything about this rig and its parts is invented" in said.out
    assert parsed(say("demo", name, "--json"), "demo")["invented"] is True


@pytest.mark.slow
@pytest.mark.parametrize("name", demo_names())
def test_a_demo_from_end_to_end(say: Any, name: str) -> None:
    said = say("quietest", str(demo_path(name)), "--state", "idle", "--seconds", "1", "--json")
    assert said.code == 0
    instance = parsed(said, "quietest")
    assert instance["status"] in {"proven", "best_found"}
    # What was printed is what solving the printed speeds gives, in a process of its own.
    speeds = [f"--speed={group}={row['speed_rpm']}" for group, row in instance["settings"][0]["groups"].items()]
    again = parsed(say("solve", str(demo_path(name)), "--state", "idle", *speeds, "--json"), "solve")
    assert again["positions"][instance["objective"]["position"]]["level_dba"] == pytest.approx(instance["level_dba"])
    assert min(limit["margin"] for limit in again["limits"]) >= 0.0


@pytest.mark.parametrize("subject", SUBJECTS)
def test_schemas_are_printed(say: Any, subject: str) -> None:
    said = say("schema", subject)
    assert (said.code, said.err) == (0, "")
    assert json.loads(said.out) == schema_of(subject)
    assert say("schema", subject, "--json") == said


def test_every_verb_has_a_schema_and_json(say: Any) -> None:
    registered = {command.callback.__name__ for command in cli.app.registered_commands if command.callback}
    assert set(VERBS) == registered - {"page"}  # it serves pages until it is stopped, and answers nothing
    for verb in VERBS:
        assert "--json" in say(verb, "--help").out


# --- wrong use -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (("nonsense",), "nonsense"),
        (("solve",), "BUILD"),
        (("solve", BOOTH, "--sped", "1"), "--speed"),
        (("quietest", BOOTH, "--seconds", "soon"), "--seconds"),
        (("quietest", BOOTH, "--seconds", "nan"), "--seconds"),
        (("quietest", BOOTH, "--seconds", "-1"), "--seconds"),
        (("check", "attic/build.toml"), "attic/build.toml"),
        (("check", str(ROOT / "data_demo")), "folder"),
        (("solve", BOOTH, "--state", "rendr"), 'did you mean "render"'),
        (("quietest", BOOTH, "--state", "rendr"), 'did you mean "render"'),
        (("quietest", BOOTH, "--at", "desk microphon"), 'did you mean "desk microphone"'),
        (("solve", BOOTH, "--speed", "sid=1000"), 'did you mean "side"'),
        (("solve", BOOTH, "--speed", "side=-5"), "-5"),
        (("solve", BOOTH, "--speed", "side=nan"), "nan"),
        (("demo", "booth_wal"), 'did you mean "booth_wall"'),
        (("schema", "solv"), 'did you mean "solve"'),
    ],
)
def test_wrong_use_is_one_sentence_and_exit_code_2(say: Any, words: tuple[str, ...], part: str) -> None:
    said = say(*words)
    assert (said.code, said.out) == (2, "")
    assert part in said.err
    assert said.err.count("\n") == 1


def test_without_a_verb_it_shows_the_help_and_fails(say: Any) -> None:
    said = say()
    assert said.code == 2
    assert "quietest" in said.err


def test_all_mistakes_of_the_words_are_told_together(say: Any) -> None:
    said = say("solve", BOOTH, "--state", "x", "--speed", "side=fast", "--speed", "fast")
    assert said.code == 2
    assert said.err.count("\n") == 3


@pytest.fixture
def spoiled(tmp_path: Path) -> Any:
    """A demo with one text replaced by another."""

    def spoil(old: str, new: str) -> str:
        shutil.copytree(Path(BOOTH).parent, tmp_path / "rig", dirs_exist_ok=True)
        file = tmp_path / "rig" / "build.toml"
        text = file.read_text()
        assert old in text
        file.write_text(text.replace(old, new))
        return str(file)

    return spoil


def test_mistakes_of_a_file_come_with_their_place(say: Any, spoiled: Any) -> None:
    file = spoiled("altitude_m = 150", "altitud_m = 150")
    for verb in ("check", "solve", "quietest"):
        said = say(verb, file)
        assert (said.code, said.out) == (2, "")
        assert re.search(r"build\.toml:9:1: .*altitud_m.*altitude_m", said.err)
    refused = parsed(say("check", file, "--json"), "check")
    assert (refused["valid"], refused["mistakes"][0]["line"]) == (False, 9)


def test_hostile_titles_and_words_reach_no_terminal(say: Any, spoiled: Any) -> None:
    file = spoiled('title = "Booth wall"', 'title = "[red]x[/red] \\u001b[2J\\u202e:boom:"')
    said = say("check", file)
    printed = said.out + said.err
    for verb in ("check", "solve", "schema", "demo", "\x1b[2J"):
        wrong = say(verb, "\x1b[31m[bold]x[/]\u202e\x07")
        assert wrong.code == 2
        printed += wrong.out + wrong.err
    option = say("solve", BOOTH, "--state", "[/]\x1b[2J", "--speed", "\x1b[2J=1", "--speed", "side=\x1b[2J")
    assert option.code == 2
    printed += option.err
    assert not {character for character in printed if not character.isprintable()} - {"\n"}
    assert said.code == 2 or "[red]x[/red]" in said.out
    assert "[bold]x[/]" in printed


# --- failures, pipes, start ------------------------------------------------------------------------------------------


def test_an_unexpected_failure_is_one_sentence_and_how_to_report_it(say: Any, found: Any) -> None:
    found(ZeroDivisionError("inside"))
    said = say("quietest", BOOTH)
    assert said.code == 1
    assert said.err.count("\n") == 1
    assert "ZeroDivisionError: inside" in said.err
    assert "report" in said.err
    assert "Traceback" not in said.err


@pytest.mark.parametrize("words", [("--debug", "quietest", BOOTH), ("quietest", BOOTH, "--debug")])
def test_debug_shows_where_it_failed(say: Any, found: Any, words: tuple[str, ...]) -> None:
    found(ZeroDivisionError("inside"))
    assert "Traceback" in say(*words).err


def test_a_reader_that_goes_away_is_no_failure() -> None:
    run = process("schema", "solve")
    assert run.stdout is not None
    assert run.stderr is not None
    run.stdout.close()
    complaint = run.stderr.read()
    run.stderr.close()
    assert (run.wait(60), complaint) == (0, "")


def test_a_pipe_that_knows_ascii_only_gets_ascii() -> None:
    run = process("check", BOOTH, env={**os.environ, "PYTHONIOENCODING": "ascii"})
    out, complaint = run.communicate(timeout=60)
    assert (run.returncode, complaint) == (0, "")
    assert out.isascii()


def test_the_same_command_gives_the_same_text(say: Any) -> None:
    assert say("solve", BOOTH, "--json") == say("solve", BOOTH, "--json")


@pytest.mark.parametrize("words", [("--help",), ("--version",), ("quietest", "--help"), ("nonsense",)])
def test_help_loads_nothing_slow(words: tuple[str, ...]) -> None:
    run = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "quietcool", *words],
        cwd=ROOT, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    loaded = {line.rpartition("|")[2].strip().split(".")[0] for line in run.stderr.splitlines() if "|" in line}
    assert "typer" in loaded
    assert not loaded & {"numpy", "scipy", "pandas", "cvxpy", "plotly", "rich", "jsonschema"}
    if words[0] in {"--help", "--version"}:  # the words of a verb are read by typer, in newer versions with pydantic
        assert "pydantic" not in loaded


def test_solving_loads_no_optimizer_and_no_plots() -> None:
    run = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "quietcool", "solve", BOOTH, *TRANSCODE],
        cwd=ROOT, capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    loaded = {line.rpartition("|")[2].strip().split(".")[0] for line in run.stderr.splitlines() if "|" in line}
    assert "numpy" in loaded
    assert not loaded & {"pandas", "cvxpy", "plotly"}


@pytest.mark.parametrize(
    ("line", "offers"),
    [
        (f"quietcool solve {BOOTH} --state re", ["render", "render capped"]),
        ("quietcool demo sam", ["sample_room"]),
        ("quietcool schema qu", ["quietest"]),
        ("quietcool solve nowhere.toml --state re", []),
    ],
)
def test_shells_complete_names(line: str, offers: list[str]) -> None:
    asked = {"_QUIETCOOL_COMPLETE": "complete_bash", "COMP_WORDS": line, "COMP_CWORD": str(line.count(" "))}
    run = process(env={**os.environ, **asked})
    out, _ = run.communicate(timeout=60)
    assert out.split("\n") == [*offers, ""] or (not offers and not out.strip())


def test_a_verb_is_a_skin() -> None:
    """House rule: the body of a verb has at most 15 lines; reading, one library call, formatting, telling."""
    import ast
    import inspect
    import textwrap

    for command in cli.app.registered_commands:
        assert command.callback is not None
        (function,) = ast.parse(textwrap.dedent(inspect.getsource(command.callback))).body
        assert isinstance(function, ast.FunctionDef)
        body = function.body[1:]
        assert body[-1].end_lineno is not None
        assert body[-1].end_lineno - body[0].lineno + 1 <= 15, function.name
