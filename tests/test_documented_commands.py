"""Every command of README.md and DEVELOPERS.md is one: parsed by the parser that it is for, quick ones are run.

Answers that the README prints are what a command printed: the files in `reports/` hold all of it, and slow tests ask
again.
"""

from __future__ import annotations

import argparse
import importlib
import inspect
import re
import shlex
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import typer

from quietcool import cli
from quietcool.entry.demos import demo_path

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
REPORTS = {path.name: " ".join(path.read_text(encoding="utf-8").split()) for path in (ROOT / "reports").glob("*.txt")}
COMMAND = re.compile(r"`quietcool ([^`]+)`")
COMMANDS = sorted(set(COMMAND.findall(README + DEVELOPERS)))
MODULE = re.compile(r"python -m (tests[\w.]*)((?: --?[\w-]+(?: [\w.]+)?)*)`")
BOOTH = demo_path("booth_wall")
PLACES = {
    "BUILD": str(BOOTH), "CATALOGUE": str(demo_path("sample_room").with_name("catalogue.toml")), "FILE": "answer.file",
    "FILE.html": "answer.html", "ADDRESS": "tcp://127.0.0.1:1", "VERB": "solve",
}  # fmt: skip
QUICK = ("check", "schema", "solve", "shop", "diagnose", "sound", "--help")


def words_of(command: str) -> list[str]:
    """Words of a command of the documents, with places for its capitals."""
    return [PLACES.get(word, word) for word in shlex.split(command)]


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_of_the_documents_is_understood(command: str) -> None:
    """Nothing is run: a context is made, as before a verb is called."""
    words = words_of(command)
    group: Any = typer.main.get_command(cli.app)
    if words == ["--help"]:
        return
    verb = group.commands[words[0]]
    context = verb.make_context(words[0], words[1:], parent=group.make_context("quietcool", [words[0]]))
    assert not context.args
    for path in (word for word in words if word.endswith(".toml")):
        assert (ROOT / path).is_file()


@pytest.mark.parametrize("command", [command for command in COMMANDS if command.split()[0] in QUICK])
def test_a_quick_command_of_the_documents_answers(
    command: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)
    assert cli.run(words_of(command)) in (0, 3)
    said = capsys.readouterr()
    assert said.out
    assert said.err == ""


def test_a_command_that_is_none_is_seen() -> None:
    with pytest.raises(KeyError):
        test_a_command_of_the_documents_is_understood("chek BUILD")
    with pytest.raises(Exception, match="sped"):
        test_a_command_of_the_documents_is_understood("solve BUILD --sped 3")


class Parsed(BaseException):
    """The options were understood."""


@pytest.mark.parametrize(("module", "options"), sorted(set(MODULE.findall(DEVELOPERS))))
def test_a_profile_of_the_documents_takes_its_options(
    module: str, options: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    name = module if (ROOT / module.replace(".", "/")).with_suffix(".py").exists() else f"{module}.__main__"
    try:
        main: Callable[[], object] = importlib.import_module(name).main
    except ImportError as error:
        pytest.skip(f"an extra is missing: {error.name}")
    if "parse_args" not in inspect.getsource(main):
        assert not options  # it takes none, and would only run
        return
    real = argparse.ArgumentParser.parse_args

    def parsing(parser: argparse.ArgumentParser, *_: Any) -> argparse.Namespace:
        real(parser, shlex.split(options))
        raise Parsed

    monkeypatch.setattr(argparse.ArgumentParser, "parse_args", parsing)
    with pytest.raises(Parsed):
        main()


def test_tools_of_the_documents_are_installed_by_the_extra() -> None:
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["optional-dependencies"]
    listed = {re.split(r"[ \[]", line)[0] for name in ("test", "dev") for line in extras[name]}
    used = {word for word in re.findall(r"`\.venv/bin/(?:python -m )?(\w+)", DEVELOPERS) if word != "tests"}
    assert used
    assert used <= listed
    for script in re.findall(r"`(\.ci/\w+)`", DEVELOPERS):
        assert (ROOT / script).stat().st_mode & 0o111, script


# --- answers ---------------------------------------------------------------------------------------------------------


def quotes() -> list[tuple[str, str]]:
    """Each quoted answer of the README on one line, and the command before it."""
    blocks = re.split(r"\n\n", README)
    found = []
    for before, block in zip(blocks, blocks[1:], strict=False):
        if block.startswith("> "):
            found.append((COMMAND.findall(before)[-1], " ".join(block.replace("> ", " ").split())))
    return found


def core_of(quote: str) -> str:
    """What of a quote was printed word for word: a capital that began a line and a stop that ended it left off."""
    return quote[1:].rstrip(".")


@pytest.mark.parametrize(("command", "quote"), quotes(), ids=[command.split()[0] for command, _ in quotes()])
def test_a_quoted_answer_is_in_the_report_of_its_command(command: str, quote: str) -> None:
    verb, build = command.split()[:2]
    report = REPORTS[f"{Path(build).parent.name}_{verb}.txt"]
    assert core_of(quote) in report


@pytest.mark.slow
@pytest.mark.parametrize(("command", "quote"), quotes(), ids=[command.split()[0] for command, _ in quotes()])
def test_a_quoted_answer_is_what_is_printed_now(
    command: str, quote: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Bounds are what a machine reaches in the time: 600 s here, where most need ten."""
    monkeypatch.chdir(ROOT)
    verb = command.split()[0]
    patience = [] if verb == "tradeoff" else ["--seconds", "600"]
    assert cli.run([*words_of(command), *patience]) in (0, 3)
    assert core_of(quote) in " ".join(capsys.readouterr().out.split())


def claims() -> list[tuple[str, str]]:
    """Sentences with numbers that the README tells of a report in its own words, and the report."""
    told = {"layouts BUILD": "layouts", "levers data_demo/booth_wall/build.toml --state render": "levers"}
    found = []
    for command, verb in told.items():
        part = README.split(f"`quietcool {command}`", 1)[1].split("\n**", 1)[0]
        for line in re.findall(r"^- .*(?:\n  .*)*|^\|.*\d.*\|$", part, re.MULTILINE):
            rig = "sample_room" if line.startswith("- Small rig") else "booth_wall"
            found.append((f"{rig}_{verb}.txt", " ".join(line.split())))
    return found


@pytest.mark.parametrize(("report", "claim"), claims())
def test_numbers_that_the_readme_tells_stand_in_the_report(report: str, claim: str) -> None:
    """Every number with a digit after the point, and every interval with both ends."""
    text = REPORTS[report]
    intervals = re.findall(r"\((-?\d+\.\d) to (-?\d+\.\d)\)", claim)
    for low, high in intervals:
        assert re.search(rf"(?<![\d.]){re.escape(low)} (to|-) {re.escape(high)}(?![\d.])", text), (low, high)
    for number in re.findall(r"-?\d+\.\d", claim):
        assert re.search(rf"(?<![\d.]){re.escape(number.lstrip('-'))}", text), number


def test_there_are_claims_to_check() -> None:
    assert len(quotes()) >= 3
    assert len(claims()) >= 4
    assert len(COMMANDS) > 20
