"""The command line: words in, an answer on stdout, an exit code out.

0 answered, every limit kept; 2 wrong use or input; 3 answered, but a limit is broken or none can be kept;
4 not converged; 130 interrupted, the best so far is printed; 1 unexpected failure.

A verb reads, makes one library call, formats and tells. Everything heavy is imported inside a verb, so that
`quietcool --help` loads no numerical library.
"""

from __future__ import annotations

import errno
import signal
import sys
import threading
import traceback
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from types import FrameType
from typing import TYPE_CHECKING, Annotated

import typer

from quietcool.errors import InputError, QuietcoolError
from quietcool.show.versions import own_version
from quietcool.units import clean
from quietcool.verbs import buying, comparisons, decisions, proof, showing, workshop
from quietcool.verbs.options import AsJson, At, BuildFile, Draws, Seconds, Seed, Speeds, States
from quietcool.verbs.telling import hush, tell, tell_json, tell_parts

if TYPE_CHECKING:
    from quietcool.decide.bound.log import SearchLog
    from quietcool.decide.quietest import Quietest
    from quietcool.entry.build import Build
    from quietcool.show.console import Part

DEBUG = "--debug"
FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO}
INTERRUPTED = 130
DEFAULT_DEMO = "booth_wall"
LONGEST_SENTENCE = 4000

app = typer.Typer(
    name="quietcool",
    help="Quietest fan and pump speeds for liquid-cooled workstations.",
    no_args_is_help=True,
    rich_markup_mode=None,  # the plain help loads faster, and brackets stay brackets
    pretty_exceptions_enable=False,
)


def _complete_subject(incomplete: str) -> Iterator[str]:
    from quietcool.show.schemas import SUBJECTS

    yield from (subject for subject in SUBJECTS if subject.startswith(incomplete))


def _complete_demo(incomplete: str) -> Iterator[str]:
    from quietcool.entry.demos import demo_names

    yield from (name for name in demo_names() if name.startswith(incomplete))


def _print_version(asked: bool) -> None:
    if asked:
        tell(f"quietcool {own_version()}\n", 0)
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool, typer.Option("--version", help="Print the version.", callback=_print_version, is_eager=True)
    ] = False,
    debug: Annotated[
        bool, typer.Option(DEBUG, help="Show where an unexpected failure came from, with any verb.")
    ] = False,
) -> None:
    """Declare the options of every verb; `run` takes `--debug` from wherever it stands."""


@app.command()
def check(build: BuildFile, json: AsJson = False) -> int:
    """Read a build: its mistakes, or what is worth knowing.

    Every mistake of the build file and of its part sheets is told with its place and what to do.
    """
    from quietcool.entry.buildfile import check_build, read_build
    from quietcool.show import json_answers, tables, wording

    try:
        rig = read_build(build)
    except InputError as error:
        if json:
            tell(json_answers.dumps(json_answers.refused_answer(error.mistakes)) + "\n", error.exit_code)
        raise
    findings = check_build(rig)
    if json:
        return tell_json(json_answers.check_answer(rig, findings), 0)
    return tell_parts([wording.check_sentence(rig, findings), *tables.check_tables(rig, findings)], 0)


@app.command()
def solve(
    build: BuildFile,
    state: States = None,
    speed: Speeds = None,
    draws: Draws = decisions.DRAWS,
    seed: Seed = 0,
    rank: Annotated[bool, typer.Option("--rank", help="Rank what to measure first.")] = False,
    json: AsJson = False,
) -> int:
    """Solve a build at given speeds.

    Flows, temperatures and levels in every state asked for, which limits they keep, and how sure that is.
    """
    from quietcool.entry.buildfile import read_build
    from quietcool.entry.choices import asked_for, chosen_speeds, chosen_states
    from quietcool.show import json_answers, tables, uncertainty, wording
    from quietcool.solve.operating_point import solve_operating_point

    rig = read_build(build)
    names, speeds = asked_for(lambda: chosen_states(rig, state), lambda: chosen_speeds(rig, speed))
    points = {name: solve_operating_point(rig, rig.state(name), speeds) for name in names}
    sure, code = decisions.how_sure(rig, points, draws, seed, rank=rank), wording.verdict(rig, points)
    if json:
        return tell_json(uncertainty.with_uncertainty(rig, json_answers.solve_answer(rig, points), sure), code)
    said = [wording.solve_sentence(rig, name, point) for name, point in points.items()]
    said += uncertainty.sure_sentences(rig, sure)
    return tell_parts([*said, *tables.solve_tables(rig, points), *uncertainty.sure_tables(rig, sure)], code)


@app.command()
def quietest(
    build: BuildFile,
    state: States = None,
    one_setting: Annotated[bool, typer.Option("--one-setting", help="One setting for all states.")] = False,
    at: At = None,
    minimise: Annotated[
        str, typer.Option("--minimise", metavar="QUANTITY", help="dba, nc or nr: what is to be least there.")
    ] = "dba",
    seconds: Seconds = 60.0,
    certificate: proof.Certificate = None,
    confidence: decisions.Confidence = None,
    worst_day: decisions.WorstDay = False,
    draws: Draws = decisions.DRAWS,
    seed: Seed = 0,
    json: AsJson = False,
) -> int:
    """Find the quietest speeds that keep every limit.

    Each state gets its own setting. The answer says what limits it, and how much quieter any other setting could be.
    """
    from quietcool.entry.buildfile import read_build

    rig = decisions.on_day(read_build(build), worst_day)
    if confidence is not None:
        decisions.alone("--confidence", minimise=minimise != "dba", certificate=certificate is not None)
        return decisions.robust(rig, state, one_setting, at, seconds, confidence, draws, seed, json)
    logs = proof.logs_for(certificate, minimise, build, rig)
    answer = found_quietest(rig, state, one_setting, at, seconds, minimise, logs)
    code = decisions.tell_quietest(rig, answer, decisions.how_sure(rig, answer.points, draws, seed), json)
    proof.certify(certificate, rig, answer, logs)  # last: a full disk takes no answer away
    return code


@app.command()
def sound(build: BuildFile, state: States = None, at: At = None, speed: Speeds = None, json: AsJson = False) -> int:
    """Say what is heard of a build at given speeds.

    Octaves, sources by what they matter, NC and NR, tones and beats, what the room does, and which limits are kept.
    """
    from quietcool.entry.buildfile import read_build
    from quietcool.entry.choices import asked_for, chosen_position, chosen_speeds, chosen_states
    from quietcool.show import sound_answer, sound_tables
    from quietcool.solve.operating_point import solve_operating_point

    rig = read_build(build)
    names, speeds, position = asked_for(
        lambda: chosen_states(rig, state), lambda: chosen_speeds(rig, speed), lambda: chosen_position(rig, at)
    )
    points = {name: solve_operating_point(rig, rig.state(name), speeds) for name in names}
    heard = sound_answer.hear_states(rig, points, position)
    code = sound_answer.sound_verdict(points, heard)
    if json:
        return tell_json(sound_answer.sound_answer(rig, points, heard), code)
    return tell_parts(sound_tables.sound_parts(rig, points, heard), code)


@app.command()
def schema(
    verb: Annotated[
        str, typer.Argument(metavar="VERB", help="A verb, or build, catalogue, fan, radiator, plate, pump, resistance.",
                            autocompletion=_complete_subject)
    ],
    json: AsJson = False,
) -> int:  # fmt: skip
    """Print the JSON Schema of an answer or of a file."""
    from quietcool.entry.choices import chosen_among
    from quietcool.show.json_answers import dumps
    from quietcool.show.schemas import SUBJECTS, schema_of

    chosen_among("schema", "a verb or a kind of file", verb, SUBJECTS)
    return tell(dumps(schema_of(verb)) + "\n", 0)


@app.command()
def demo(
    name: Annotated[
        str, typer.Argument(metavar="NAME", help="Which demo.", autocompletion=_complete_demo)
    ] = DEFAULT_DEMO,
    seconds: Seconds = 60.0,
    json: AsJson = False,
) -> int:
    """Find and explain the answer for an invented rig."""
    from quietcool.entry.buildfile import read_build
    from quietcool.show import demo as story
    from quietcool.show import tables, wording

    rig = read_build(demo_file(name))
    answer = found_quietest(rig, None, False, None, seconds)
    code = wording.quietest_verdict(rig, answer)
    if json:
        return tell_json(story.demo_answer(name, rig, answer), code)
    said: list[Part] = [*wording.quietest_sentences(rig, answer), "", *story.explanation(rig, answer)]
    return tell_parts(said + tables.quietest_tables(rig, answer), code)


app.command()(comparisons.tradeoff)
app.command()(comparisons.layouts)
app.command()(proof.verify)
app.command()(buying.choose)
app.command()(decisions.levers)
app.command()(decisions.scenarios)
app.command()(workshop.shop)
app.command()(workshop.diagnose)
app.command()(showing.report)
app.command()(showing.page)


def found_quietest(
    rig: Build,
    states: Sequence[str] | None,
    one_setting: bool,
    at: str | None,
    seconds: float,
    minimise: str = "dba",
    logs: dict[str, SearchLog] | None = None,
) -> Quietest:
    """Ask for the quietest setting, with progress on stderr."""
    from quietcool.entry.choices import (
        asked_for,
        chosen_position,
        chosen_quantity,
        chosen_seconds,
        chosen_states,
    )
    from quietcool.show.progress import ProgressLine

    names, position, time, least = asked_for(
        lambda: chosen_states(rig, states),
        lambda: chosen_position(rig, at),
        lambda: chosen_seconds(seconds),
        lambda: chosen_quantity(minimise),
    )
    from quietcool.decide.quietest import find_quietest

    with ProgressLine(sys.stderr) as progress:
        return find_quietest(
            rig,
            names,
            one_setting=one_setting,
            position=position,
            seconds=time,
            minimise=least,
            progress=progress,
            logs=logs,
        )


def demo_file(name: str) -> str:
    """Return the build file of a demo; spaces and dashes stand for underscores."""
    from quietcool.entry.choices import chosen_among
    from quietcool.entry.demos import demo_names, demo_path

    folder = name.strip().lower().replace(" ", "_").replace("-", "_")
    return str(demo_path(chosen_among("demo", "the name of a demo", folder, demo_names())))


def complain(text: str) -> None:
    """Print to stderr, without what a terminal would obey."""
    lines = [clean(line, LONGEST_SENTENCE) for line in text.splitlines()]
    with suppress(OSError, AttributeError):  # a closed stderr hears nothing
        sys.stderr.write("".join(f"{line}\n" for line in lines))


@contextmanager
def termination_as_interrupt() -> Iterator[None]:
    """Treat a polite request to end like Ctrl-C: the best so far is printed."""

    def interrupt(number: int, frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, interrupt)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def run(words: Sequence[str]) -> int:
    """Run the words after `quietcool` and return the exit code."""
    debug = DEBUG in words
    try:
        with termination_as_interrupt():
            code = typer.main.get_command(app).main(
                [word for word in words if word != DEBUG], prog_name="quietcool", standalone_mode=False
            )
    except QuietcoolError as error:
        complain(str(error))
        return error.exit_code
    except (KeyboardInterrupt, typer.Abort):
        code = INTERRUPTED
    except Exception as error:
        return wrong_use_or_failure(error, debug)
    if code == INTERRUPTED:
        complain("quietcool: interrupted.")
    return int(code or 0)


def wrong_use_or_failure(error: Exception, debug: bool) -> int:
    """Say what is wrong with the words, or that quietcool failed and how to report it."""
    if isinstance(error, OSError) and error.errno in FULL:  # of stdout: files say it themselves
        hush()
        complain(f"quietcool: needs a place for its answer; found {error.strerror}; make room, or write elsewhere.")
        return InputError.exit_code
    message = getattr(error, "format_message", None)  # what every error of use has, in every version of typer
    if message is not None:
        said = str(message())
        complain(said if said.startswith("Usage") else f"quietcool: {said}")  # without a verb it is the whole help
        return 2
    if debug:
        complain("".join(traceback.format_exception(error)))
    complain(
        f"quietcool: unexpected failure ({type(error).__name__}: {error}); please report it with your build folder and "
        f"what the same command prints with {DEBUG}."
    )
    return 1
