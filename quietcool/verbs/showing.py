"""The verbs that show: a report to hand over, and a live page."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from quietcool.verbs.options import AsJson, At, BuildFile, Seconds, States
from quietcool.verbs.telling import tell_json, tell_parts

if TYPE_CHECKING:
    from quietcool.entry.build import Build
    from quietcool.show.dossier import Dossier

Folder = Path | None


def report(
    build: BuildFile,
    output: Annotated[Path, typer.Option("--output", "-o", metavar="FILE", help="Where to write it (HTML).")],
    state: States = None,
    one_setting: Annotated[bool, typer.Option("--one-setting", help="One setting for all states.")] = False,
    at: At = None,
    seconds: Seconds = 60.0,
    layouts: Annotated[
        bool, typer.Option("--layouts", help="Compare the layouts of every radiator too; takes minutes.")
    ] = False,
    csv: Annotated[Folder, typer.Option("--csv", metavar="FOLDER", help="Write every table there too.")] = None,
    images: Annotated[Folder, typer.Option("--images", metavar="FOLDER", help="Write every picture there too.")] = None,
    json: AsJson = False,
) -> int:
    """Write a report to hand over: one HTML file that needs no network.

    The quietest setting of each state with its intervals, pictures and tables, and a one-page sheet to print first.
    """
    from quietcool.entry.buildfile import read_build
    from quietcool.entry.writing import refuse_places
    from quietcool.show import report_files, wording

    rig = read_build(build)
    refuse_places(output, [folder for folder in (csv, images) if folder], Path(build), rig)
    dossier = found_dossier(rig, state, one_setting, at, seconds, layouts)
    written = report_files.write_report(dossier, output, csv, images)
    code = wording.quietest_verdict(rig, dossier.answer)
    if json:
        return tell_json(report_files.report_answer(rig, written), code)
    said = wording.quietest_sentences(rig, dossier.answer)
    return tell_parts([*said, report_files.report_sentence(written)], code)


def found_dossier(
    rig: Build, states: list[str] | None, one_setting: bool, at: str | None, seconds: float, layouts: bool
) -> Dossier:
    """Ask for everything a report tells, with progress on stderr."""
    from quietcool.entry.choices import asked_for, chosen_position, chosen_seconds, chosen_states
    from quietcool.show.progress import ProgressLine

    names, position, time = asked_for(
        lambda: chosen_states(rig, states), lambda: chosen_position(rig, at), lambda: chosen_seconds(seconds)
    )
    from quietcool.decide.quietest import find_quietest
    from quietcool.show.dossier import gather

    with ProgressLine(sys.stderr) as progress:
        answer = find_quietest(rig, names, one_setting=one_setting, position=position, seconds=time, progress=progress)
        return gather(rig, answer, layouts=layouts, progress=progress)


def page(
    build: BuildFile,
    port: Annotated[int, typer.Option("--port", metavar="N", help="Port on this machine; 0 for any that is free.")] = 0,
) -> int:
    """Open a live page on this machine: move speeds and see what follows.

    It prints its address; open that in a browser. Ctrl-C ends it.
    """
    from quietcool.entry.buildfile import read_build
    from quietcool.errors import InputError, Mistake
    from quietcool.show.page import serve

    rig = read_build(build)
    try:
        serve(rig, Path(build), port, lambda address: show_address(rig, address))
    except (OSError, OverflowError) as error:
        found = getattr(error, "strerror", None) or str(error)
        raise InputError([Mistake("--port", None, None, "", "a free port", found, "write 0")]) from None
    except KeyboardInterrupt:  # the usual end
        pass
    return 0


def show_address(rig: Build, address: str) -> None:
    """Tell where the page is."""
    tell_parts([f"{rig.title}: open {address} in a browser on this machine; Ctrl-C ends the page."], 0)
