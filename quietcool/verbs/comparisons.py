"""The verbs that compare: what a kelvin costs, and which layout of a radiator is worth it."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from quietcool.verbs.options import AsJson, At, BuildFile, Seconds, complete_state
from quietcool.verbs.telling import tell, tell_json, tell_parts

if TYPE_CHECKING:
    from quietcool.decide.layouts import Layouts
    from quietcool.decide.tradeoff import Tradeoff
    from quietcool.entry.build import Build
    from quietcool.entry.catalogue_records import Catalogue

OneState = Annotated[
    str | None,
    typer.Option("--state", metavar="STATE", help="State of work; that with the most heat if not given.",
                 autocompletion=complete_state),
]  # fmt: skip
Along = Annotated[
    str,
    typer.Option("--axis", metavar="TEMPERATURE",
                 help='Which temperature: "coolant", "coolant over room", "SOURCE POINT" or "ENCLOSURE air".'),
]  # fmt: skip
AsCsv = Annotated[bool, typer.Option("--csv", help="Answer as comma-separated values.")]


def tradeoff(
    build: BuildFile,
    state: OneState = None,
    axis: Along = "coolant",
    points: Annotated[int, typer.Option("--points", metavar="N", help="Limits along the curve, 2 to 200.")] = 40,
    at: At = None,
    seconds: Seconds = 60.0,
    json: AsJson = False,
    csv: AsCsv = False,
) -> int:
    """Show what a kelvin costs: level against one temperature.

    Each point is the quietest setting under one limit of that temperature, with a bound; the knee is marked.
    """
    from quietcool.entry.buildfile import read_build
    from quietcool.show import tradeoff_answer as shown

    rig = read_build(build)
    answer = found_tradeoff(rig, state, axis, points, at, seconds, (json, csv))
    code = shown.tradeoff_verdict(answer)
    if json:
        return tell_json(shown.tradeoff_answer(rig, answer), code)
    if csv:
        return tell(shown.tradeoff_csv(rig, answer), code)
    return tell_parts([*shown.tradeoff_sentences(rig, answer), *shown.tradeoff_tables(rig, answer)], code)


def layouts(
    build: BuildFile,
    path: Annotated[
        str | None, typer.Option("--path", metavar="PATH", help="Air path of the radiator; every one if not given.")
    ] = None,
    state: OneState = None,
    axis: Along = "coolant",
    at: At = None,
    seconds: Seconds = 60.0,
    catalogue: Annotated[
        str | None, typer.Option("--catalogue", metavar="FILE", help="Compare its fans and cores too, one at a time.")
    ] = None,
    air: Annotated[bool, typer.Option("--air", help="Compare room air, and vents opened or closed, too.")] = False,
    json: AsJson = False,
    csv: AsCsv = False,
) -> int:
    """Say whether a second fan row is worth it.

    Every layout of a radiator, each with the whole rig at its own optimum, at equal noise and at equal temperature.
    """
    from quietcool.entry.buildfile import read_build
    from quietcool.entry.catalogue import read_catalogue
    from quietcool.show import layouts_answer as shown

    rig = read_build(build)
    shelf = None if catalogue is None else read_catalogue(catalogue, rig)
    answer = found_layouts(rig, path, state, axis, at, seconds, (json, csv), shelf, air)
    code = shown.layouts_verdict(answer)
    if json:
        return tell_json(shown.layouts_answer(rig, answer), code)
    if csv:
        return tell(shown.layouts_csv(answer), code)
    return tell_parts([*shown.layouts_sentences(answer), *shown.layouts_tables(answer)], code)


def found_tradeoff(
    rig: Build,
    state: str | None,
    axis: str,
    points: int,
    at: str | None,
    seconds: float,
    form: tuple[bool, bool],
) -> Tradeoff:
    """Ask for a curve, with progress on stderr."""
    from quietcool.entry.choices import asked_for, chosen_number_of_points, chosen_one_form, chosen_seconds
    from quietcool.show.progress import ProgressLine

    (name, position, along), time, count, _ = asked_for(
        lambda: chosen_place(rig, state, axis, at),
        lambda: chosen_seconds(seconds),
        lambda: chosen_number_of_points(points),
        lambda: chosen_one_form(*form),
    )
    from quietcool.decide.tradeoff import find_tradeoff

    with ProgressLine(sys.stderr) as progress:
        return find_tradeoff(rig, name, axis=along, position=position, points=count, seconds=time, progress=progress)


def found_layouts(
    rig: Build,
    path: str | None,
    state: str | None,
    axis: str,
    at: str | None,
    seconds: float,
    form: tuple[bool, bool],
    catalogue: Catalogue | None = None,
    air: bool = False,
) -> Layouts:
    """Ask for the layouts, with progress on stderr."""
    from quietcool.decide.variants import radiator_paths
    from quietcool.entry.choices import asked_for, chosen_one_form, chosen_path, chosen_seconds
    from quietcool.show.progress import ProgressLine

    (name, position, along), time, chosen, _ = asked_for(
        lambda: chosen_place(rig, state, axis, at),
        lambda: chosen_seconds(seconds),
        lambda: chosen_path(path, radiator_paths(rig)),
        lambda: chosen_one_form(*form),
    )
    from quietcool.decide.layouts import find_layouts

    with ProgressLine(sys.stderr) as progress:
        return find_layouts(
            rig, chosen, state=name, axis=along, position=position, seconds=time, progress=progress,
            catalogue=catalogue, air=air,
        )  # fmt: skip


def chosen_place(rig: Build, state: str | None, axis: str, at: str | None) -> tuple[str, str | None, str]:
    """Return state, position and axis, all mistakes together."""
    from quietcool.decide.axes import axes_of
    from quietcool.decide.tradeoff import hottest_state
    from quietcool.entry.choices import asked_for, chosen_among, chosen_position, chosen_states

    names = [one.name for one in axes_of(rig, rig.states[0])]
    states, position, along = asked_for(
        lambda: chosen_states(rig, [hottest_state(rig).name if state is None else state]),
        lambda: chosen_position(rig, at),
        lambda: chosen_among("--axis", "a temperature of the build", axis, names),
    )
    return states[0], position, along
