"""The JSON form of the shop sums; `workshop_schemas.py` publishes what it holds."""

from __future__ import annotations

from collections.abc import Sequence

from quietcool.entry.build import Build
from quietcool.prove.commissioning import STEPS, Step, next_step
from quietcool.prove.leak_test import LeakSetup, LeakTest
from quietcool.prove.shop import ShopSheet
from quietcool.prove.supply import SupplyNeed
from quietcool.show.json_answers import FORMAT, Answer, envelope, number
from quietcool.solve.fit import Fit, Screws
from quietcool.solve.wiring import Output


def shop_answer(build: Build, sheet: ShopSheet, done: Sequence[str], test: LeakTest | None = None) -> Answer:
    """Return the answer of `shop`."""
    following = next_step(done)
    return {
        "format": FORMAT,
        "title": build.title,
        "kept": not sheet.broken,
        "broken": list(sheet.broken),
        "cautions": list(sheet.cautions),
        "stacks": {fit.path: _stack(fit) for fit in sheet.fits},
        "outputs": [_output(output) for output in sheet.outputs],
        "outputs_short": sheet.outputs_short,
        "supply": _supply(sheet.supply),
        "coolant": {
            "parts_l": {name: _optional(volume, "L") for name, volume in sheet.filling.parts},
            "known_l": number(sheet.filling.known, "L"),
            "volume_l": number(sheet.filling.entered, "L"),
        },
        "air_test": _setup(sheet.leak),
        "air_test_result": None if test is None else _test(test),
        "steps": [_step(step, done) for step in STEPS],
        "next_step": None if following is None else following.name,
        **envelope(build),
    }


def _step(step: Step, done: Sequence[str]) -> Answer:
    return {
        "name": step.name,
        "done": step.name in done,
        "time": step.time,
        "task": step.task,
        "caution": step.caution,
    }


def _optional(value: float | None, unit: str | None = None) -> float | None:
    return None if value is None else number(value, unit)


def _stack(fit: Fit) -> Answer:
    return {
        "layout": fit.layout,
        "depth_mm": number(fit.depth, "mm"),
        "without_depth": list(fit.unknown),
        "space_mm": _optional(fit.space, "mm"),
        "margin_mm": _optional(fit.margin, "mm"),
        "length_mm": _optional(fit.length, "mm"),
        "length_margin_mm": _optional(fit.length_margin, "mm"),
        "screws": [_screws(screws) for screws in fit.screws],
    }


def _screws(screws: Screws) -> Answer:
    return {
        "group": screws.group,
        "radiator": screws.radiator,
        "count": screws.count,
        "length_mm": _optional(screws.length, "mm"),
        "longest_mm": _optional(screws.longest, "mm"),
        "thread": screws.thread,
        "thread_margin_mm": _optional(screws.margin, "mm"),
    }


def _output(output: Output) -> Answer:
    return {
        "name": output.name,
        "wiring": output.wiring,
        "groups": {draw.group: draw.count for draw in output.draws},
        "running_a": _optional(output.running),
        "start_a": _optional(output.start),
        "estimated": any(draw.estimated for draw in output.draws),
        "limit_a": _optional(output.limit),
        "limit_is_custom": output.customary,
        "load": output.load,
        "start_above_limit": output.start_above,
    }


def _supply(need: SupplyNeed) -> Answer:
    mains = need.mains
    return {
        "power_w": dict(need.powers),
        "heaviest_state": need.state,
        "quiet_rating_min_w": need.quiet_ratings[0],
        "quiet_rating_max_w": need.quiet_ratings[1],
        "rating_w": _optional(need.rating),
        "load": need.load,
        "peak_w": _optional(need.peak),
        "mains_current_a": None if mains is None else number(mains.current),
        "mains_continuous_limit_a": None if mains is None else _optional(mains.continuous_limit),
    }


def _setup(setup: LeakSetup) -> Answer:
    weakest = setup.weakest
    return {
        "volume_l": number(setup.volume, "L"),
        "pressure_bar": number(setup.pressure, "bar"),
        "ceiling_bar": number(setup.ceiling, "bar"),
        "weakest_part": None if weakest is None else weakest[0],
        "weakest_max_bar": None if weakest is None else number(weakest[1], "bar"),
        "without_rating": list(setup.unrated),
        "change_mbar_per_k": number(setup.per_kelvin, "mbar"),
    }


def _test(test: LeakTest) -> Answer:
    return {
        "verdict": test.verdict,
        "reason": test.reason,
        "drop_mbar": number(test.drop, "mbar"),
        "warming_k": number(test.warming),
        "corrected_drop_mbar": number(test.corrected_drop, "mbar"),
        "error_mbar": number(test.error, "mbar"),
        "allowed_mbar": number(test.allowed, "mbar"),
        "duration_s": number(test.duration),
        "leak_rate_pa_m3_per_s": number(test.rate),
        "leak_rate_cm3_per_min": number(6e7 * test.air_flow),
        "barometer_read": test.barometer_read,
    }
