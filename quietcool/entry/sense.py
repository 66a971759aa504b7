"""Physical sense of a build file: names that mean something, air that has a way out, speeds that can be set.

Each check takes what is valid and yields complaints. The ring has its own module.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TypeAlias

from quietcool.entry.build import PUMP, ROOM
from quietcool.entry.elements import FansElement, RadiatorElement, ResistanceElement
from quietcool.entry.mistakes import Complaint, nearest
from quietcool.entry.parts import Shelf
from quietcool.entry.positions import Path
from quietcool.entry.sense_of_sound import check_sound
from quietcool.entry.sense_of_workshop import check_workshop
from quietcool.entry.speeds import admissible_count, band_complaint
from quietcool.entry.tables import (
    AirPathTable,
    FanGroupTable,
    LoopTable,
    SourceTable,
    StateTable,
)
from quietcool.entry.view import LISTS, View
from quietcool.units import shown

Complaints: TypeAlias = Iterator[Complaint]


def check_sense(view: View, shelf: Shelf) -> Complaints:
    """Yield everything that makes no sense, apart from the ring."""
    yield from _names(view)
    yield from _groups(view, shelf)
    yield from _paths(view, shelf)
    yield from _ways_out(view)
    yield from _sources(view, shelf)
    yield from check_sound(view)
    yield from check_workshop(view)
    yield from _states(view)


def unknown(path: Path, name: str, known: Iterable[str], what: str, otherwise: str = "add it") -> Complaint:
    """Return the complaint about a name that nothing bears."""
    return Complaint(path, f"the name of {what}", shown(name), nearest(name, known, otherwise))


def part(path: Path, name: str, kind: str, shelf: Shelf) -> Complaints:
    """Yield a complaint where no sheet of that kind has the name."""
    known = shelf.kinds.get(name)
    if known == kind or (known is None and (name in shelf.unclear or not shelf.complete)):
        return
    if known is not None:
        yield Complaint(path, f"the name of a {kind} sheet", f"{shown(name)}, a {known}", f"name a {kind}")
        return
    advice = "add its sheet to a folder of parts (folders inside it are not searched)"
    yield unknown(path, name, shelf.names(kind), f"a {kind} sheet", advice)


def duplicates(names: Iterable[tuple[Path, str]], what: str) -> Complaints:
    """Yield a complaint for every name that was used before."""
    seen: set[str] = set()
    for path, name in names:
        if name in seen:
            yield Complaint(path, f"a name of its own among {what}", f"{shown(name)} again", "rename one of them")
        seen.add(name)


def _names(view: View) -> Complaints:
    reserved = {"enclosure": {ROOM, PUMP}, "source": {ROOM, PUMP, "air", "note"}}
    for key in LISTS:
        rows = view.tree.get(key, [])
        named = [
            ((key, i, "name"), row["name"])
            for i, row in enumerate(rows if isinstance(rows, list) else [])
            if isinstance(row, dict) and isinstance(row.get("name"), str)
        ]
        yield from duplicates(named, f"the {key} tables")
        for path, name in named:
            if name in reserved.get(key, {ROOM, PUMP}):
                words = " and ".join(f'"{word}"' for word in sorted(reserved.get(key, {ROOM, PUMP})))
                yield Complaint(path, f"a name other than {words}, which mean something else", shown(name), "rename it")


def speeds(
    base: Path, prefix: str, lowest: float, highest: float, step: float, bands: list[tuple[float, float]]
) -> Complaints:
    """Yield complaints about a range of speeds, all in rpm."""
    if lowest > highest:
        required = f"a lowest speed of at most {prefix}max_rpm"
        found = f"{lowest:g} rpm above {highest:g} rpm"
        yield Complaint((*base, f"{prefix}min_rpm"), required, found, "swap or correct the two")
        return
    wrong = band_complaint(bands)
    if wrong is not None:
        found, index = wrong
        path = (*base, f"{prefix}avoid_rpm", index)
        yield Complaint(path, "a band from its lower to its upper speed", found, "swap the two numbers")
    elif not admissible_count(lowest, highest, step, bands):
        found = "none outside the bands to avoid"
        yield Complaint((*base, f"{prefix}avoid_rpm"), "at least one speed that may be set", found, "narrow the bands")


def _groups(view: View, shelf: Shelf) -> Complaints:
    used = {
        element.fans for _, path in view.items("air_path", AirPathTable) for element in path.stack
        if isinstance(element, FansElement)
    }  # fmt: skip
    for i, group in view.items("fan_group", FanGroupTable):
        base: Path = ("fan_group", i)
        yield from part((*base, "fan"), group.fan, "fan", shelf)
        bands = [(low.number, high.number) for low, high in group.avoid_rpm]
        yield from speeds(base, "", group.min_rpm.number, group.max_rpm.number, group.step_rpm.number, bands)
        if view.complete("air_path") and group.name not in used:
            found, advice = "no path that uses it", "put its fans into a stack or remove the group"
            yield Complaint(base, "a place in the stack of an air path", found, advice)


def _paths(view: View, shelf: Shelf) -> Complaints:
    nodes = [ROOM, *view.names("enclosure")]
    groups = view.names("fan_group")
    for i, path in view.items("air_path", AirPathTable):
        base: Path = ("air_path", i)
        for key, node in (("from", path.source), ("to", path.target)):
            if node not in nodes:
                yield unknown((*base, key), node, nodes, 'an enclosure, or "room"')
        if path.source == path.target != ROOM:
            required, advice = "another node than the one it comes from", 'name "room" or another enclosure'
            yield Complaint((*base, "to"), required, shown(path.target), advice)
        cores = 0
        for j, element in enumerate(path.stack):
            here = (*base, "stack", j)
            if isinstance(element, FansElement) and element.fans not in groups:
                yield unknown((*here, "fans"), element.fans, groups, "a fan group")
            elif isinstance(element, ResistanceElement):
                yield from part((*here, "resistance"), element.resistance, "resistance", shelf)
            elif isinstance(element, RadiatorElement):
                yield from part((*here, "radiator"), element.radiator, "radiator", shelf)
                cores += 1
                if cores == 2:
                    found, advice = "a second one", "give each radiator a path of its own"
                    yield Complaint((*here, "radiator"), "at most one radiator in a stack", found, advice)


def _ways_out(view: View) -> Complaints:
    """Every enclosure must keep a way to the room when any one path is closed: air that enters must leave."""
    if not view.complete("air_path", "enclosure"):
        return
    edges = [(path.source, path.target) for _, path in view.items("air_path", AirPathTable)]
    names = view.names("enclosure")
    if not all(node in (ROOM, *names) for edge in edges for node in edge):
        return
    cut_off = set(names) - _reached(edges)
    for k in range(len(edges)):
        cut_off |= set(names) - _reached(edges[:k] + edges[k + 1 :])
    for i, name in enumerate(names):
        if name in cut_off:
            ways = sum(name in edge for edge in edges)
            required = "two ways for air to and from the room, a way in and a way out"
            found = "fewer than two" if ways else "no path at all"
            advice = "add the opening through which its air leaves, such as slots in the case"
            yield Complaint(("enclosure", i), required, found, advice)


def _reached(edges: list[tuple[str, str]]) -> set[str]:
    """Return the nodes that air can reach from the room, whichever way it runs."""
    neighbours: dict[str, list[str]] = {}
    for a, b in edges:
        neighbours.setdefault(a, []).append(b)
        neighbours.setdefault(b, []).append(a)
    reached, ahead = {ROOM}, [ROOM]
    while ahead:
        for node in neighbours.get(ahead.pop(), []):
            if node not in reached:
                reached.add(node)
                ahead.append(node)
    return reached


def _sources(view: View, shelf: Shelf) -> Complaints:
    heats = [state.heat_w.by_source for _, state in view.items("state", StateTable)]
    heated = {name for heat in heats for name, watts in heat.items() if watts.value > 0.0}
    for i, source in view.items("source", SourceTable):
        yield from part(("source", i, "plate"), source.plate, "plate", shelf)
        yield from duplicates(
            [(("source", i, "points", j, "name"), point.name) for j, point in enumerate(source.points)], "the points"
        )
        if view.complete("state") and source.name not in heated:
            found, advice = "none", f"add {shown(source.name)} to heat_w of a state, or remove the source"
            yield Complaint(("source", i), "a state that heats it", found, advice)


def _states(view: View) -> Complaints:
    sources, enclosures, positions = (view.names(key) for key in ("source", "enclosure", "position"))
    for i, state in view.items("state", StateTable):
        heat: Path = ("state", i, "heat_w")
        for name in state.heat_w.by_source:
            if name not in sources:
                yield unknown((*heat, name), name, [*sources, "air"], "a heat source", "add the source")
        yield from _by_name((*heat, "air"), state.heat_w.air, enclosures, "an enclosure")
        limits: Path = ("state", i, "limits")
        yield from _by_name((*limits, "enclosure_air_c"), state.limits.enclosure_air_c, enclosures, "an enclosure")
        yield from _by_name((*limits, "position_dba"), state.limits.position_dba, positions, "a position")


def _by_name(path: Path, entered: object, known: list[str], what: str) -> Complaints:
    if isinstance(entered, dict):
        for name in entered:
            if name not in known:
                yield unknown((*path, name), name, known, what)
    elif entered is not None and not known:
        yield Complaint(path, f"{what} to hold it", "none in this build", "remove it, or add an [[enclosure]]")


def check_pump(loop: LoopTable, view: View, shelf: Shelf) -> Complaints:
    """Yield complaints about the pump and the speeds it may have."""
    yield from part(("loop", "pump"), loop.pump, "pump", shelf)
    nodes = [ROOM, *view.names("enclosure")]
    if loop.pump_enclosure is not None and loop.pump_enclosure not in nodes:
        yield unknown(("loop", "pump_enclosure"), loop.pump_enclosure, nodes, 'an enclosure, or "room"')
    bands = [(low.number, high.number) for low, high in loop.pump_avoid_rpm]
    step = loop.pump_step_rpm.number
    yield from speeds(("loop",), "pump_", loop.pump_min_rpm.number, loop.pump_max_rpm.number, step, bands)
