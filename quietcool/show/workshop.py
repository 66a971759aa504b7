"""Shop sums for people: the sentence first, then tables, cautions where they are needed."""

from __future__ import annotations

from collections.abc import Sequence

from quietcool.entry.build import Build
from quietcool.prove.commissioning import STEPS, Step, next_step
from quietcool.prove.filling import Filling
from quietcool.prove.leak_test import ALLOWED_DROP, LeakSetup, LeakTest
from quietcool.prove.shop import ShopSheet
from quietcool.prove.supply import SupplyNeed
from quietcool.show.console import NOTHING, Part, listing, number, table
from quietcool.show.wording import BROKEN, KEPT, counted
from quietcool.solve.fit import Fit
from quietcool.solve.wiring import Output
from quietcool.units import in_unit

ATLEAST = "> "  # before a depth that leaves something out
ESTIMATED = "~"  # before a current that the sheet does not give


def shop_verdict(sheet: ShopSheet) -> int:
    """Return the exit code of the shop sums."""
    return BROKEN if sheet.broken else KEPT


def leak_verdict(test: LeakTest) -> int:
    """Return the exit code of an air test: what is not proven is not passed."""
    return KEPT if test.verdict == "no leak seen" else BROKEN


def shop_parts(build: Build, sheet: ShopSheet, done: Sequence[str], test: LeakTest | None) -> tuple[list[Part], int]:
    """Return what was asked for with its exit code: an air test, what comes next, or else all sums."""
    if test is not None:
        return [leak_sentence(test), *leak_tables(test, sheet.leak)], leak_verdict(test)
    if done:
        return [steps_sentence(next_step(done)), steps_table(done)], KEPT
    return [shop_sentence(build, sheet), *shop_tables(sheet)], shop_verdict(sheet)


def shop_sentence(build: Build, sheet: ShopSheet) -> str:
    """Return the shop sums in one sentence."""
    if sheet.broken:
        return f"{build.title}: {counted(len(sheet.broken), 'thing')} cannot stay: {'; '.join(sheet.broken)}."
    screws = sum(screws.count for fit in sheet.fits for screws in fit.screws)
    used = counted(sum(output.name is not None and len(output.draws) > 0 for output in sheet.outputs), "output")
    open_ones = sum(fit.margin is None or len(fit.unknown) > 0 for fit in sheet.fits)
    fits = (
        f"nothing known is too deep ({counted(open_ones, 'stack')} not fully known)"
        if open_ones
        else "every stack fits"
    )
    return (
        f"{build.title}: {fits}, {counted(screws, 'screw')} into radiators, {used} in use, "
        f"{sheet.supply.power:.0f} W behind the supply in {sheet.supply.state}, "
        f"{in_unit(sheet.filling.entered, 'L'):.2g} L of coolant, air test at "
        f"{in_unit(sheet.leak.pressure, 'bar'):.2g} bar; {counted(len(sheet.cautions), 'caution')} below."
    )


def shop_tables(sheet: ShopSheet) -> list[Part]:
    """Return everything about the shop sums."""
    parts: list[Part] = [stacks_table(sheet.fits)]
    parts += [screws_table(sheet.fits)] if any(fit.screws for fit in sheet.fits) else []
    parts += [outputs_table(sheet.outputs)] if sheet.outputs else []
    parts += [supply_table(sheet.supply), filling_table(sheet.filling), leak_setup_table(sheet.leak)]
    return [*parts, listing("Cautions; manuals of the parts come first", sheet.cautions)]


def _mm(length: float | None) -> str:
    return NOTHING if length is None else number(in_unit(length, "mm"), 1)


def stacks_table(fits: Sequence[Fit]) -> Part:
    """Return depth and length of every stack with what is left in its place."""
    rows = [
        [
            fit.path,
            fit.layout,
            (ATLEAST if fit.unknown else "") + _mm(fit.depth),
            _mm(fit.space),
            _mm(fit.margin),
            _mm(fit.length),
            _mm(fit.length_margin),
        ]
        for fit in fits
    ]
    columns = ["path", "layout", ">depth, mm", ">space, mm", ">left, mm", ">length, mm", ">left, mm"]
    return table("Stacks, with the depth to keep free", columns, rows)


def screws_table(fits: Sequence[Fit]) -> Part:
    """Return the screws of every fan row on its radiator."""
    rows = [
        [
            screws.path,
            screws.group,
            str(screws.count),
            _mm(screws.length),
            screws.thread or NOTHING,
            _mm(screws.engagement),
            _mm(screws.thread_depth),
            _mm(screws.longest),
        ]
        for fit in fits
        for screws in fit.screws
    ]
    columns = ["path", "group", ">screws", ">mm long", "thread", ">in thread", ">thread mm", ">mm at most"]
    return table("Screws into the radiators", columns, rows)


def outputs_table(outputs: Sequence[Output]) -> Part:
    """Return what every output of the controller has to give."""
    rows = []
    for output in outputs:
        mark = ESTIMATED if any(draw.estimated for draw in output.draws) else ""
        carried = ", ".join(f"{draw.group} ({draw.count})" for draw in output.draws) or "nothing"
        known = output.running is not None and output.limit is not None
        share = 100.0 * (output.running or 0.0) / output.limit if known and output.limit else None
        rows.append(
            [
                output.name or "none named",
                carried,
                mark + number(output.running, 2) if output.running is not None else NOTHING,
                mark + number(output.start, 2) if output.start is not None else NOTHING,
                number(output.limit, 2),
                number(share, 0),
                output.load if output.draws else "spare",
                output.wiring,
            ]
        )
    columns = ["output", "carries", ">A", ">A at start", ">limit, A", ">%", "load", "wiring"]
    return table(f"Outputs ({ESTIMATED} where a current is estimated)", columns, rows)


def supply_table(need: SupplyNeed) -> Part:
    """Return the power of every state, and what it asks of supply and circuit."""
    low, high = need.quiet_ratings
    rows = [[f"behind the supply in {name}", number(power, 0), "W"] for name, power in need.powers]
    rows.append([f"ratings at which its own fan stays slow in {need.state}", f"{low:.0f} to {high:.0f}", "W"])
    if need.rating is not None and need.share is not None:
        rows.append(["rating of the supply", number(need.rating, 0), "W"])
        rows.append([f"load in {need.state}", number(100.0 * need.share, 0), "%"])
    if need.peak is not None:
        rows.append(["peak of a moment", number(need.peak, 0), "W"])
    if need.mains is not None:
        rows.append(["current from the mains", number(need.mains.current, 1), "A"])
        rows.append(["that the circuit bears for hours", number(need.mains.continuous_limit, 1), "A"])
    return table("Power supply, fans and pump at their fastest", ["", ">value", "unit"], rows)


def filling_table(content: Filling) -> Part:
    """Return what every part of the loop holds."""
    rows = [[name, NOTHING if volume is None else number(in_unit(volume, "L"), 2)] for name, volume in content.parts]
    rows.append(["all that is known", number(in_unit(content.known, "L"), 2)])
    rows.append(["volume_l of the build file", number(in_unit(content.entered, "L"), 2)])
    return table("Coolant", ["part", ">L"], rows)


def leak_setup_table(setup: LeakSetup) -> Part:
    """Return how the loop may be tested with air."""
    weakest = "not known" if setup.weakest is None else setup.weakest[0]
    rating = NOTHING if setup.weakest is None else number(in_unit(setup.weakest[1], "bar"), 2)
    rows = [
        ["pump up to", number(in_unit(setup.pressure, "bar"), 2), "bar"],
        ["never above", number(in_unit(setup.ceiling, "bar"), 2), "bar"],
        [f"rating of the weakest part ({weakest})", rating, "bar"],
        ["volume of air", number(in_unit(setup.volume, "L"), 2), "L"],
        ["settle before the first reading", "10", "min"],
        ["watch before the second reading", "15 to 30", "min"],
        ["the gauge moves for 1 K by", number(in_unit(setup.per_kelvin, "mbar"), 1), "mbar"],
        ["passes if the corrected drop stays within", number(in_unit(ALLOWED_DROP, "mbar"), 0), "mbar"],
    ]
    return table("Air test of the dry loop", ["", ">value", "unit"], rows)


def leak_sentence(test: LeakTest) -> str:
    """Return what an air test says in one sentence."""
    drop, corrected = in_unit(test.drop, "mbar"), in_unit(test.corrected_drop, "mbar")
    gauge = f"the gauge {'lost' if drop >= 0.0 else 'gained'} {number(abs(drop), 1)} mbar"
    air = f"the air {'cooled' if test.warming <= 0.0 else 'warmed'} by {number(abs(test.warming), 1)} K"
    return (
        f"{test.verdict[:1].upper()}{test.verdict[1:]}: {gauge} while {air}; corrected, the loop lost "
        f"{number(corrected, 1)} mbar (give or take {number(in_unit(test.error, 'mbar'), 1)}) in "
        f"{test.duration / 60.0:.3g} min, and {number(in_unit(test.allowed, 'mbar'), 0)} are allowed; {test.reason}."
    )


def leak_tables(test: LeakTest, setup: LeakSetup) -> list[Part]:
    """Return the numbers of an air test, and what to think of before believing them."""
    rows = [
        ["fall of the gauge", number(in_unit(test.drop, "mbar"), 2), "mbar"],
        ["warming", number(test.warming, 2), "K"],
        ["corrected drop", number(in_unit(test.corrected_drop, "mbar"), 2), "mbar"],
        ["its error", number(in_unit(test.error, "mbar"), 2), "mbar"],
        ["leak rate", f"{test.rate:.2e}", "Pa m3/s"],
        ["leak rate as air at 1 atm", number(6e7 * test.air_flow, 2), "cm3/min"],
    ]
    return [
        table("Air test", ["", ">value", "unit"], rows),
        leak_setup_table(setup),
        listing("Cautions", leak_cautions(test)),
    ]


def leak_cautions(test: LeakTest) -> list[str]:
    """Return what to think of before believing an air test."""
    said = ["Soft tube creeps and expands: the rate is an indication, and only a settled loop says anything"]
    if not test.barometer_read:
        said.append("The barometer was not read: 1 hPa an hour is allowed for weather; read it to be surer")
    said.append("Air leaks through paths that hold coolant, and a wet test follows in any case")
    if test.verdict != "no leak seen":
        said.append("Let the air out before touching a fitting; then halve the loop, and test each half")
    return said


def steps_sentence(step: Step | None) -> str:
    """Return what comes next in one sentence."""
    if step is None:
        return "Every step is done."
    return f"Next: {step.name} ({step.time}). {step.task} {step.caution}"


def steps_table(done: Sequence[str]) -> Part:
    """Return all steps in their order."""
    rows = [[str(i), step.name, "done" if step.name in done else "", step.time] for i, step in enumerate(STEPS, 1)]
    return table("Steps, in the order that keeps coolant off live parts", [">", "step", "", "time"], rows)
