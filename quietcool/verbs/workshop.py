"""The verbs of the workshop: the sums before and while a rig is built, and the diagnosis of one that runs hot."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from quietcool.verbs.options import AsJson, BuildFile, Speeds, complete_state
from quietcool.verbs.telling import tell_json, tell_parts

if TYPE_CHECKING:
    from quietcool.entry.build import Build, State
    from quietcool.prove.diagnosis import Measured
    from quietcool.prove.leak_test import LeakTest
    from quietcool.solve.operating_point import OperatingPoint

READING = '"0.5 bar, 22 degC, 1013 hPa"'


def complete_step(incomplete: str) -> list[str]:
    """Offer the steps from a dry loop to a running rig."""
    from quietcool.prove.commissioning import STEPS

    return [step.name for step in STEPS if step.name.startswith(incomplete)]


def shop(
    build: BuildFile,
    leak_start: Annotated[
        str | None, typer.Option(metavar="READING", help=f"Air test, first reading: gauge, air, barometer: {READING}.")
    ] = None,
    leak_end: Annotated[str | None, typer.Option(metavar="READING", help="Air test, second reading.")] = None,
    leak_minutes: Annotated[str, typer.Option(metavar="N", help="Minutes between the two readings.")] = "30",
    leak_settled: Annotated[
        str | None, typer.Option(metavar="N", help="Minutes from pumping up to the first reading.")
    ] = None,
    gauge_error: Annotated[str, typer.Option(metavar="MBAR", help="Error of one reading of the gauge.")] = "1",
    done: Annotated[
        list[str] | None,
        typer.Option(metavar="STEP", help="A step that is done: what comes next? May be given again.",
                     autocompletion=complete_step),
    ] = None,
    json: AsJson = False,
) -> int:  # fmt: skip
    """Shop sums: depths, screws, outputs, supply, coolant, air test.

    With two readings it judges an air test, with steps that are done it says what comes next.
    """
    from quietcool.entry.buildfile import read_build
    from quietcool.prove.commissioning import checked_steps
    from quietcool.prove.shop import shop_sheet
    from quietcool.show import workshop, workshop_json

    rig, steps = read_build(build), checked_steps(done or [])
    test = air_test(rig, leak_start, leak_end, (leak_minutes, leak_settled, gauge_error), steps)
    sheet = shop_sheet(rig)
    parts, code = workshop.shop_parts(rig, sheet, steps, test)
    if json:
        return tell_json(workshop_json.shop_answer(rig, sheet, steps, test), code)
    return tell_parts(parts, code)


def air_test(
    rig: Build, start: str | None, end: str | None, times: tuple[str, str | None, str], done: Sequence[str]
) -> LeakTest | None:
    """Judge the two readings of an air test; None where there are none."""
    if start is None and end is None:
        return None
    from quietcool.entry.choices import asked_for
    from quietcool.entry.readings import MINUTES, READING_ERROR, both_readings, chosen_air, chosen_number
    from quietcool.prove.commissioning import refuse_air_on_coolant
    from quietcool.prove.leak_test import judge_leak_test

    both_readings(start, end)
    refuse_air_on_coolant(done)
    minutes, settled, error = times
    first, second, watched, before, gauge = asked_for(
        lambda: chosen_air("--leak-start", start or ""),
        lambda: chosen_air("--leak-end", end or ""),
        lambda: 60.0 * chosen_number("--leak-minutes", minutes, MINUTES),
        lambda: None if settled is None else 60.0 * chosen_number("--leak-settled", settled, MINUTES),
        lambda: chosen_number("--gauge-error", error, READING_ERROR),
    )
    return judge_leak_test(rig, first, second, duration=watched, settled=before, gauge_error=gauge)


def predicted(rig: Build, state: State, measured: Measured, speed: Sequence[str] | None) -> OperatingPoint | None:
    """Solve the rig in the measured room at these speeds, or the present ones; None where they are not known."""
    from quietcool.entry.choices import chosen_speeds
    from quietcool.prove.diagnosis import measured_state
    from quietcool.solve.operating_point import solve_operating_point

    if not speed and any(speeds.present is None for speeds in rig.speed_ranges):
        return None
    return solve_operating_point(rig, measured_state(state, measured), chosen_speeds(rig, speed))


def diagnose(
    build: BuildFile,
    state: Annotated[
        str | None,
        typer.Option(metavar="STATE", help="State of work; the first if not given.", autocompletion=complete_state),
    ] = None,
    coolant: Annotated[str, typer.Option(metavar="TEMP", help="Measured coolant, degC or with a unit.")] = "",
    room: Annotated[str, typer.Option(metavar="TEMP", help="Measured air that the rig breathes.")] = "",
    temp: Annotated[
        list[str] | None,
        typer.Option(metavar="POINT=TEMP", help='Measured sensing point: "gpu 1 core=71". May be given again.'),
    ] = None,
    watts: Annotated[
        list[str] | None,
        typer.Option(metavar="SOURCE=W", help="Measured watts of a source; those of the state if not given."),
    ] = None,
    speed: Speeds = None,
    sensor: Annotated[
        Literal["hot", "cold"], typer.Option(help="Where the coolant is read: before the radiators, or behind them.")
    ] = "hot",
    sensor_error: Annotated[str, typer.Option(metavar="K", help="Error of one sensor against another.")] = "0.5",
    json: AsJson = False,
) -> int:
    """Say which half runs hot: chip to coolant, or coolant to room.

    Each rise is held to the model at these speeds, or to what is common where speeds are not known.
    """
    from quietcool.entry.buildfile import read_build
    from quietcool.entry.readings import chosen_measured
    from quietcool.prove.diagnosis import Measured
    from quietcool.prove.diagnosis import diagnose as diagnosed
    from quietcool.show import diagnosis

    rig = read_build(build)
    typed = (coolant, room, sensor_error)
    work, warm, cool, points, heat, error = chosen_measured(rig, state, typed, temp, watts)
    measured = Measured(warm, cool, points, heat, error, sensor)
    found = diagnosed(rig, work, measured, predicted(rig, work, measured, speed))
    code = diagnosis.diagnosis_verdict(found)
    if json:
        return tell_json(diagnosis.diagnosis_answer(rig, work, found), code)
    return tell_parts(diagnosis.diagnosis_parts(found, work, measured), code)
