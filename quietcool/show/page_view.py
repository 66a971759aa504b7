"""The live page as HTML: what can be set, with its ranges, and places for what is read."""

from __future__ import annotations

from typing import Any, NamedTuple

from quietcool.entry.build import Build, SpeedRange
from quietcool.show.console import rpm
from quietcool.show.page_answers import layouts_offered
from quietcool.show.pages import LIBRARY, ink_pairs, json_script, style, templates
from quietcool.units import in_unit


class Slider(NamedTuple):
    """What sets the speed of one group."""

    key: str  # for element ids: names may hold spaces
    name: str
    what: str  # "4 x fan-b-120x30"
    lowest: str
    highest: str
    step: str
    start: str
    may_stop: bool
    stopped: bool
    avoid: str  # in words
    bands: tuple[tuple[str, str], ...]  # left and width of each band to avoid [percent]


def page_html(build: Build) -> str:
    """Return the page of a build; every name in it is escaped by the template."""
    offered = {path: list(layouts) for path, layouts in layouts_offered(build).items()}
    return templates().get_template("page.html").render(
        title=build.title,
        style=style(),
        library=LIBRARY,
        inks=ink_pairs(),
        states=[state.name for state in build.states],
        sliders=sliders(build),
        layouts=[(f"layout{n}", path, names) for n, (path, names) in enumerate(offered.items())],
        paths=[path.name for path in build.air_paths if path.fan_rows],
        position=build.positions[0].name if build.positions else "",
        rig=json_script(_for_script(build)),
    )  # fmt: skip


def sliders(build: Build) -> list[Slider]:
    """Return a slider for every group, the pump last."""
    counts = {name: 0 for name in build.group_names}
    for path in build.air_paths:
        for row in path.fan_rows:
            counts[row.group] += row.count
    parts = {group.name: f"{counts[group.name]} x {group.fan.name}" for group in build.fan_groups}
    parts["pump"] = build.loop.pump.name
    return [
        _slider(f"speed{n}", name, parts[name], ranges)
        for n, (name, ranges) in enumerate(zip(build.group_names, build.speed_ranges, strict=True))
    ]


def _slider(key: str, name: str, what: str, ranges: SpeedRange) -> Slider:
    start = ranges.highest if ranges.present is None else ranges.present
    turning = start if start > 0.0 else ranges.lowest
    span = ranges.highest - ranges.lowest or 1.0
    bands = tuple(
        (f"{100.0 * (low - ranges.lowest) / span:.2f}", f"{100.0 * max(high - low, 0.0) / span:.2f}")
        for low, high in ranges.avoid
    )
    said = ", ".join(f"{rpm(in_unit(a, 'rpm'))} to {rpm(in_unit(b, 'rpm'))}" for a, b in ranges.avoid)
    lowest, highest, step = (rpm(in_unit(v, "rpm")) for v in (ranges.lowest, ranges.highest, ranges.step))
    return Slider(
        key, name, what, lowest, highest, step, rpm(in_unit(turning, "rpm")), ranges.may_stop, start == 0.0, said, bands
    )


def _for_script(build: Build) -> dict[str, Any]:
    """What the script needs: names by element id, and the room of each state."""
    return {
        "fingerprint": next(iter(build.inputs.values()), ""),
        "rooms": {state.name: round(in_unit(float(state.room_temp), "degC"), 2) for state in build.states},
        "sliders": {slider.key: slider.name for slider in sliders(build)},
        "layouts": {f"layout{n}": path for n, path in enumerate(layouts_offered(build))},
    }
