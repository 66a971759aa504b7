"""The demo's answer explained in a few plain sentences."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from quietcool.entry.build import Build
from quietcool.show.console import margin, number
from quietcool.show.json_answers import quietest_answer, read_margin, state_margins
from quietcool.show.wording import counted, level_words, missed_words, speeds_words
from quietcool.solve.operating_point import solve_operating_point

if TYPE_CHECKING:
    from quietcool.decide.quietest import Quietest, Setting
    from quietcool.decide.worth import Binding


def demo_answer(name: str, build: Build, answer: Quietest) -> dict[str, Any]:
    """Return the answer of `demo`: that of `quietest` with its explanation."""
    return {"demo": name, "invented": True, "explanation": explanation(build, answer)} | quietest_answer(build, answer)


def explanation(build: Build, answer: Quietest) -> list[str]:
    """Return what was asked, what came out, why it is not quieter, and that all of it is invented."""
    loudest = max(answer.settings, key=lambda s: -math.inf if math.isnan(s.level) else s.level)
    return [
        asked_sentence(build, answer),
        *present_sentence(build, answer),
        *([] if math.isnan(loudest.level) else reasons(loudest, several=len(answer.settings) > 1)),
        "Everything about this rig and its parts is invented; write your own build file in the same form, and "
        "measure before you trust a prediction.",
    ]


def asked_sentence(build: Build, answer: Quietest) -> str:
    """Return what the rig is and what was asked."""
    fans = sum(row.count for path in build.air_paths for row in path.fan_rows)
    hottest = max(sum(float(watts) for watts in state.heat.values()) for state in build.states)
    return (
        f'"{build.title}" cools up to {hottest:.0f} W with {counted(fans, "fan")} in '
        f"{counted(len(build.fan_groups), 'group')} and a pump; asked for is the least noise at the {answer.position} "
        f"in {counted(len(build.states), 'state')} of work, with every temperature, flow and level inside its limit."
    )


def present_sentence(build: Build, answer: Quietest) -> list[str]:
    """Return what the present speeds make, in the setting's state where that differs most; nothing without them."""
    speeds = [speeds.present for speeds in build.speed_ranges]
    known = [speed for speed in speeds if speed is not None]
    if len(known) < len(speeds):
        return []
    heard = [position.name for position in build.positions].index(answer.position)
    compared = []
    for setting in answer.settings:
        for name, point in setting.points.items():
            present = solve_operating_point(build, build.state(name), known)
            gain = float(present.level[heard] - point.level[heard])
            missed = [m for m in state_margins(build, build.state(name), present) if (m[1][0] or 0.0) < 0.0]
            compared.append((gain, name, float(present.level[heard]), missed))
    gain, name, level, _ = max(compared, key=lambda row: row[0])
    said = f"At its present speeds ({speeds_words(build, known)}) it makes {level_words(level)} in {name}"
    broken = [f"{missed_words(missed)} in {state}" for _, state, _, missed in compared if missed]
    more = f"; and they break limits: {'; '.join(broken)}" if broken else ""
    return [f"{said}, {number(gain, 1)} dB more than it has to{more}."]


def reasons(setting: Setting, *, several: bool) -> list[str]:
    """Return why the setting is not quieter."""
    which = f"The loudest state is {' and '.join(setting.states)}. " if several else ""
    limits = [b for b in setting.binding if b.worth_db_per_10_w is None]
    heats = [b for b in setting.binding if b.worth_db_per_10_w is not None]
    said = [f"{which}{limit_reason(limits[0])}"] if limits else [which.strip()] if which else []
    if heats:
        heat = heats[0]
        said.append(f"10 W less {heat.limit} in {heat.state} would save {number(heat.worth_db_per_10_w, 2)} dB.")
    if math.isfinite(setting.lower_bound):
        said.append(
            f"The bound of {number(setting.lower_bound, 2)} dB(A) holds for every admissible setting: at most "
            f"{number(setting.gap, 2)} dB could still be gained there."
        )
    return said


def limit_reason(binding: Binding) -> str:
    """Return what a binding limit means."""
    value, unit = read_margin(binding.margin, binding.unit)
    said = f"What holds it there is the limit on {binding.limit} in {binding.state} ({margin(value)} {unit} left)"
    if binding.worth_db_per_k is None:
        return f"{said}."
    return f"{said}: one kelvin more would save {number(binding.worth_db_per_k, 2)} dB."
