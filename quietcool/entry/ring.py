"""Sense of the coolant ring: every station once, the pump on the main line, every branch with a way through."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from quietcool.entry.build import PUMP, Plate, Radiator
from quietcool.entry.elements import RadiatorElement
from quietcool.entry.mistakes import Complaint, nearest
from quietcool.entry.parts import Shelf
from quietcool.entry.positions import Path
from quietcool.entry.tables import AirPathTable, LoopTable, ParallelTable, SourceTable
from quietcool.entry.view import View
from quietcool.units import shown

ORDER: Path = ("loop", "order")


@dataclass
class _Ring:
    """What the order of the loop may name, and where it names it."""

    sources: dict[str, str]  # plate by source
    radiators: dict[str, str]  # radiator by path
    bare: set[str]  # valid paths without a radiator
    named: set[str]  # sources and paths, those with mistakes included
    shelf: Shelf
    places: dict[str, list[Path]] = field(default_factory=dict)


def check_ring(loop: LoopTable, view: View, shelf: Shelf) -> Iterator[Complaint]:
    """Yield everything that makes no sense in the order of the loop."""
    sources = {source.name: source.plate for _, source in view.items("source", SourceTable)}
    radiators = {
        path.name: element.radiator
        for _, path in view.items("air_path", AirPathTable)
        for element in path.stack
        if isinstance(element, RadiatorElement)
    }
    bare = {path.name for _, path in view.items("air_path", AirPathTable)} - set(radiators)
    ring = _Ring(sources, radiators, bare, {*view.names("source"), *view.names("air_path")}, shelf)
    yield from _both(view, ring)
    yield from _line(loop.order, ORDER, ring, main=True)
    yield from _once(ring)
    yield from _missing(view, ring)


def _both(view: View, ring: _Ring) -> Iterator[Complaint]:
    for i, source in view.items("source", SourceTable):
        if source.name in ring.radiators:
            found = f"{shown(source.name)}, an air path with a radiator too"
            yield Complaint(("source", i, "name"), "a name that is clear in the order of the loop", found, "rename one")


def _line(order: Sequence[str | ParallelTable], base: Path, ring: _Ring, *, main: bool) -> Iterator[Complaint]:
    """Walk the stations of one line, note where each is named, and complain about what is none."""
    for i, element in enumerate(order):
        path = (*base, i)
        if isinstance(element, ParallelTable):
            yield from _branches(element, (*path, "parallel"), ring)
            continue
        ring.places.setdefault(element, []).append(path)
        if element == PUMP:
            if not main:
                advice = "put it into the order itself, outside all branches"
                yield Complaint(path, "the pump on the main line", "it in a branch", advice)
        elif element not in ring.sources and (element in ring.bare or element not in ring.named):
            yield _stranger(path, element, ring)


def _stranger(path: Path, name: str, ring: _Ring) -> Complaint:
    if name in ring.bare:
        found, advice = f"{shown(name)}, a path without one", "name a path with a radiator, or leave it out"
        return Complaint(path, "the path of a radiator", found, advice)
    known = [PUMP, *ring.sources, *ring.radiators]
    required = '"pump", a source, or an air path with a radiator'
    return Complaint(path, required, shown(name), nearest(name, known, "name a station"))


def _branches(element: ParallelTable, base: Path, ring: _Ring) -> Iterator[Complaint]:
    if len(element.parallel) < 2:
        found = "one" if element.parallel else "none"
        yield Complaint(base, "at least two branches", found, "write the stations of one branch into the order itself")
    for k, branch in enumerate(element.parallel):
        if not branch:
            yield Complaint((*base, k), "at least one station in every branch", "none", "fill or remove the branch")
        elif _is_free(branch, ring):
            found, advice = "a = b = 0 in all of it", "give the coolant side of its parts a resistance"
            yield Complaint((*base, k), "a branch that resists the flow", found, advice)
        yield from _line(branch, (*base, k), ring, main=False)


def _is_free(branch: Sequence[str | ParallelTable], ring: _Ring) -> bool:
    """Tell whether nothing in a branch resists: then its flow has no answer."""
    for element in branch:
        if isinstance(element, ParallelTable):
            return False  # judged on its own
        part = ring.shelf.parts.get(ring.sources.get(element, ring.radiators.get(element, "")))
        if not isinstance(part, Plate | Radiator) or part.coolant_a != 0.0 or part.coolant_b != 0.0:
            return False
    return True


def _once(ring: _Ring) -> Iterator[Complaint]:
    for name, places in ring.places.items():
        for path in places[1:]:
            what = "the pump" if name == PUMP else f"{shown(name)}"
            yield Complaint(path, "every station once in the ring", f"{what} again", "leave one of them out")
    if PUMP not in ring.places:
        yield Complaint(ORDER, 'one "pump"', "none", 'add "pump" to the order')


def _missing(view: View, ring: _Ring) -> Iterator[Complaint]:
    for i, source in view.items("source", SourceTable):
        if source.name not in ring.places:
            advice = f"add {shown(source.name)} to the order of the loop"
            yield Complaint(("source", i), "a place in the ring", "none", advice)
    for i, path in view.items("air_path", AirPathTable):
        if path.name in ring.radiators and path.name not in ring.places:
            advice = f"add {shown(path.name)} to the order of the loop, or take its radiator out"
            yield Complaint(("air_path", i), "a place of its radiator in the ring", "none", advice)
    if view.complete("air_path") and not ring.radiators:
        found, advice = "none in any path", "put a radiator into the stack of an air path"
        yield Complaint(ORDER, "a radiator to give the heat to air", found, advice)
