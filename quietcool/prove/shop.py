"""The shop sums of a build: what to measure, buy, wire and fill, with the cautions that belong to each.

Manuals of the parts, local codes and licensed practice come first; everything here is an estimate beside them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from quietcool.entry.build import Build
from quietcool.prove.filling import Filling, filling
from quietcool.prove.leak_test import LeakSetup, leak_setup
from quietcool.prove.supply import CONTINUOUS_SHARE, PEAK_SHARE, SupplyNeed, supply_need
from quietcool.solve.fit import Fit, Screws, stack_fits
from quietcool.solve.wiring import CUSTOMARY_LIMIT, Output, channels_short, outputs
from quietcool.units import in_unit


@dataclass(frozen=True)
class ShopSheet:
    """Everything that the workshop asks of a build."""

    fits: tuple[Fit, ...]
    outputs: tuple[Output, ...]
    outputs_short: int  # how many are used beyond those that the controller has
    supply: SupplyNeed
    filling: Filling
    leak: LeakSetup
    broken: tuple[str, ...]  # what does not fit, is overloaded or meets a tube: one sentence each
    cautions: tuple[str, ...]  # what to look at before it is done: one sentence each


def shop_sheet(build: Build) -> ShopSheet:
    """Return the shop sums of a build."""
    fits, wired, short = stack_fits(build), outputs(build), channels_short(build)
    need, content, leak = supply_need(build), filling(build), leak_setup(build)
    broken = (*_does_not_fit(fits), *_overloaded(wired, short), *_too_much(need))
    cautions = (
        *_screw_cautions(fits),
        *_wiring_cautions(wired),
        *_supply_cautions(need),
        *_filling_cautions(content),
        *_leak_cautions(leak),
    )
    return ShopSheet(fits, wired, short, need, content, leak, broken, cautions)


def _mm(length: float) -> str:
    return f"{in_unit(length, 'mm'):.3g} mm"


def _does_not_fit(fits: tuple[Fit, ...]) -> Iterator[str]:
    for fit in (fit for fit in fits if not fit.kept):
        if fit.margin is not None and fit.margin < -1e-9:
            yield f"{fit.path}: the stack is {_mm(-fit.margin)} deeper than its place"
        if fit.length_margin is not None and fit.length_margin < -1e-9:
            yield f"{fit.path}: the radiator with its end tanks is {_mm(-fit.length_margin)} longer than its place"
        for screws in fit.screws:
            if screws.margin is not None and screws.margin < -1e-9 and screws.longest is not None:
                yield (
                    f"{fit.path}: the usual screw meets a tube of {screws.radiator}; "
                    f"none longer than {_mm(screws.longest)}"
                )


def _overloaded(wired: tuple[Output, ...], short: int) -> Iterator[str]:
    for output in wired:
        if output.load == "over" and output.running is not None and output.limit is not None:
            yield f"output {output.name}: {output.running:.2f} A on a limit of {output.limit:.2f} A"
    if short:
        yield f"the controller has {short} output{'s' * (short > 1)} fewer than are used"


def _too_much(need: SupplyNeed) -> Iterator[str]:
    if need.load == "over" and need.rating is not None:
        yield f"{need.state} takes {need.power:.0f} W from a supply of {need.rating:.0f} W"
    if need.mains is not None and not need.mains.kept and need.mains.continuous_limit is not None:
        yield (
            f"{need.state} takes {need.mains.current:.1f} A for hours from a circuit that bears "
            f"{need.mains.continuous_limit:.1f} A for hours"
        )


def _screw_cautions(fits: tuple[Fit, ...]) -> Iterator[str]:
    for fit in (fit for fit in fits if fit.unknown):
        yield f"{fit.path}: {', '.join(fit.unknown)} without a depth: the stack is deeper than the table says"
    all_screws = [screws for fit in fits for screws in fit.screws]
    if all_screws:
        yield "Measure every screw: too long pierces a tube. Gaskets, washers and filter frames change the length"
    for screws in _unmeasured(all_screws):
        yield f"{screws.radiator}: no thread_depth_mm on its sheet; usable thread is often only 5 to 6 mm deep: measure"


def _unmeasured(all_screws: list[Screws]) -> list[Screws]:
    return list({screws.radiator: screws for screws in all_screws if screws.thread_depth is None}.values())


def _wiring_cautions(wired: tuple[Output, ...]) -> Iterator[str]:
    for output in wired:
        yield from _output_cautions(output)
    if any(output.customary and output.draws for output in wired):
        yield f"Limits of {CUSTOMARY_LIMIT:.1f} A are custom: the manual of the controller comes first"
    if any(draw.count > 1 for output in wired for draw in output.draws):
        yield "One speed signal comes back from each output: a dead fan among its followers stays unseen"


def _output_cautions(output: Output) -> Iterator[str]:
    named = f"output {output.name}"
    if output.name is None:
        groups = ", ".join(draw.group for draw in output.draws)
        yield f"{groups}: no channel in the build file, so nothing is known of the load of its output"
        return
    if output.load == "above 80 %":
        yield f"{named}: above 80 % of its limit; split it, or use a hub that the supply feeds"
    if output.start_above and output.start is not None and output.limit is not None:
        yield (
            f"{named}: everything starting at once draws {output.start:.2f} A on a limit of {output.limit:.2f} A: "
            "split it, or use a hub that the supply feeds, unless the manual allows it"
        )
    if output.load == "unknown" and output.draws:
        yield f"{named}: no limit or no current is known; look it up before wiring"
    if len(output.draws) > 1:
        groups = ", ".join(draw.group for draw in output.draws)
        yield f"{named}: {groups} cannot have speeds of their own on one output"


def _supply_cautions(need: SupplyNeed) -> Iterator[str]:
    low, high = need.quiet_ratings
    if need.load == "audible" and need.share is not None:
        yield (
            f"Power supply at {100.0 * need.share:.0f} % of its rating in {need.state}: expect to hear its fan; "
            f"{low:.0f} to {high:.0f} W keep it slow"
        )
    if need.peak_share is not None and need.peak_share > PEAK_SHARE:
        yield (
            f"Peaks of a moment reach {100.0 * need.peak_share:.0f} % of the supply's rating; "
            f"beyond {100.0 * PEAK_SHARE:.0f} % it may switch off"
        )
    if need.mains is not None and need.mains.continuous_limit is not None:
        yield (
            f"A circuit is held to {100.0 * CONTINUOUS_SHARE:.0f} % of its breaker for hours (NFPA 70, 210.20); "
            "local code comes first"
        )
    yield "Mains wiring, circuits and earthing: follow the local code and call a licensed electrician"
    yield "Unplug before opening; never bridge a supply while parts hang on it"


def _filling_cautions(content: Filling) -> Iterator[str]:
    if content.disagrees:
        yield (
            f"volume_l says {in_unit(content.entered, 'L'):.2f} L, the parts hold "
            f"{in_unit(content.known, 'L'):.2f} L: correct one of them"
        )


def _leak_cautions(leak: LeakSetup) -> Iterator[str]:
    yield (
        f"Air test: dry loop at {in_unit(leak.pressure, 'bar'):.2g} bar, never above "
        f"{in_unit(leak.ceiling, 'bar'):.2g} bar, no unregulated compressor, goggles on; never on a filled loop"
    )
    if leak.unrated:
        yield f"No pressure rating is known of {', '.join(leak.unrated)}: ask the maker before the air test"
