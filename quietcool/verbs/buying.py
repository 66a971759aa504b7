"""The verb that buys: which radiator, fans and layout for each place of a rig."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from quietcool.verbs.comparisons import OneState
from quietcool.verbs.decisions import alone, chosen_whole
from quietcool.verbs.options import AsJson, At, BuildFile, Seconds
from quietcool.verbs.telling import tell_json, tell_parts

if TYPE_CHECKING:
    from quietcool.decide.choose.search import Choice
    from quietcool.decide.choose.workers import Workers
    from quietcool.entry.build import Build
    from quietcool.entry.catalogue_records import Catalogue

INTERRUPTED = 130
MOST_WORKERS = 256

CatalogueFile = Annotated[
    str, typer.Argument(metavar="CATALOGUE", help="Catalogue (TOML): places, parts, budget.", show_default=False)
]
WorkerCount = Annotated[int, typer.Option("--workers", metavar="N", help="Processes of this machine.")]
Scheduler = Annotated[
    str | None,
    typer.Option("--scheduler", metavar="ADDRESS", help="Work on the Dask cluster with this scheduler instead "
                 "(needs the extra cluster)."),
]  # fmt: skip


def choose(
    build: BuildFile,
    catalogue: CatalogueFile,
    state: OneState = None,
    at: At = None,
    seconds: Seconds = 120.0,
    workers: WorkerCount = 1,
    scheduler: Scheduler = None,
    json: AsJson = False,
) -> int:
    """Say what to buy: radiator, fans and layout for each place.

    The quietest combination within budget, space and outputs, a bound on all that were not solved, and runners-up.
    """
    from quietcool.entry.buildfile import read_build
    from quietcool.entry.catalogue import read_catalogue
    from quietcool.show import choice as told

    rig = read_build(build)
    shelf = read_catalogue(catalogue, rig)
    answer = found_choice(rig, shelf, state, at, seconds, workers, scheduler)
    code = INTERRUPTED if answer.interrupted else told.choice_verdict(answer)
    if json:
        return tell_json(told.choice_answer(rig, shelf, answer), code)
    return tell_parts([*told.choice_sentences(shelf, answer), *told.choice_tables(shelf, answer)], code)


def found_choice(
    rig: Build,
    shelf: Catalogue,
    state: str | None,
    at: str | None,
    seconds: float,
    workers: int,
    scheduler: str | None,
) -> Choice:
    """Ask what to buy, with progress on stderr."""
    from quietcool.entry.choices import asked_for, chosen_position, chosen_seconds, chosen_states
    from quietcool.show.progress import ProgressLine

    names, position, limit, count = asked_for(
        lambda: chosen_states(rig, None if state is None else [state]),
        lambda: chosen_position(rig, at),
        lambda: chosen_seconds(seconds),
        lambda: chosen_whole("--workers", workers, 1, MOST_WORKERS),
    )
    if scheduler is not None:
        alone("--scheduler", workers=workers != 1)
    from quietcool.decide.choose.search import find_choice

    with workers_of(count, scheduler) as crew, ProgressLine(sys.stderr) as progress:
        asked = None if state is None else names[0]
        return find_choice(rig, shelf, asked, position=position, seconds=limit, workers=crew, progress=progress)


def workers_of(count: int, scheduler: str | None) -> Workers:
    """Return who works: a cluster, processes, or this one."""
    from quietcool.decide.choose.workers import Cluster, Here, Processes

    if scheduler is not None:
        return Cluster(scheduler)
    return Processes(count) if count > 1 else Here()
