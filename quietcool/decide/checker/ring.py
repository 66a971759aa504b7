"""The coolant ring as the checker sees it: nodes where something cools, balances between them, places of stations."""

from __future__ import annotations

from typing import NamedTuple

from quietcool.entry.build import Build, LoopElement, Parallel

Chain = tuple[LoopElement, ...]
Names = tuple[str, ...]


class Balance(NamedTuple):
    """C (T_source - T_target) + heat of the stations - heat of the radiators = 0."""

    source: int  # node
    target: int  # node
    stream: Names  # stations whose flows together make up C
    stations: Names
    radiators: Names
    main: bool  # all main balances together are the whole ring


class Place(NamedTuple):
    """A station's inlet: the node's temperature, plus heats over flows met since it, less heats still to be met."""

    node: int
    plus: tuple[tuple[Names, Names], ...]  # (stream, stations)
    less: tuple[tuple[Names, Names], ...]


class Ring:
    """The ring, cut where it is cooled."""

    def __init__(self, build: Build) -> None:
        self.radiators = {path.name for path in build.air_paths if path.core is not None}
        self.nodes: list[str] = []  # a station at each node
        self.node_of: dict[str, int] = {}  # by radiator
        self.balances: list[Balance] = []
        self.places: dict[str, Place] = {}
        order = build.loop.order
        first = next(i for i, element in enumerate(order) if self.cools(element))
        order = order[first:] + order[:first]
        self.stations = _names(order)
        marks = [i for i, element in enumerate(order) if self.cools(element)] + [len(order)]
        tops = [self._node(order[mark]) for mark in marks[:-1]]
        for rank, (mark, end) in enumerate(zip(marks, marks[1:], strict=False)):
            target, here, after = tops[(rank + 1) % len(tops)], order[mark], order[mark + 1 : end]
            self._enter(here, tops[rank])
            inside = _names((here,))
            stations = tuple(name for name in inside + _names(after) if name not in self.radiators)
            given = tuple(name for name in inside if name in self.radiators)
            self.balances.append(Balance(tops[rank], target, self.main, stations, given, True))
            for place, element in enumerate(after):
                self._note((element,), target, (), ((self.main, _names(after[place:])),))

    main: Names = ("pump",)

    def cools(self, element: LoopElement) -> bool:
        """Whether there is a radiator in an element."""
        return bool(self.radiators.intersection(_names((element,))))

    def _node(self, element: LoopElement) -> int:
        self.nodes.append(_names((element,))[0])
        return len(self.nodes) - 1

    def _enter(self, element: LoopElement, node: int) -> None:
        """Walk what cools, from its inlet on."""
        if not isinstance(element, Parallel):
            self.node_of[element] = node
            return
        for branch in element.branches:
            at = node
            met: Names = ()
            given: Names = ()
            for part in branch:
                if self.cools(part):
                    inlet = self._node(part)
                    self.balances.append(Balance(at, inlet, _stream(branch), met, given, False))
                    self._enter(part, inlet)
                    inside = _names((part,))
                    at, met = inlet, tuple(name for name in inside if name not in self.radiators)
                    given = tuple(name for name in inside if name in self.radiators)
                    continue
                if not given:
                    self._note((part,), at, ((_stream(branch), met),) if met else (), ())
                met = (*met, *_names((part,)))

    def _note(
        self, chain: Chain, node: int, plus: tuple[tuple[Names, Names], ...], less: tuple[tuple[Names, Names], ...]
    ) -> None:
        """Note the places of the stations of a chain that nothing cools."""
        met: Names = ()
        for element in chain:
            here = (*plus, (_stream(chain), met)) if met else plus
            if isinstance(element, Parallel):
                for branch in element.branches:
                    self._note(branch, node, here, less)
            else:
                self.places[element] = Place(node, here, less)
            met = (*met, *_names((element,)))


def _names(chain: Chain) -> Names:
    found: list[str] = []
    for element in chain:
        if isinstance(element, Parallel):
            found += [name for branch in element.branches for name in _names(branch)]
        else:
            found.append(element)
    return tuple(found)


def _stream(chain: Chain) -> Names:
    """Stations whose flows together are the flow of a chain."""
    single = next((element for element in chain if isinstance(element, str)), None)
    if single is not None:
        return (single,)
    section = next(element for element in chain if isinstance(element, Parallel))
    return tuple(name for branch in section.branches for name in _stream(branch))
