"""What one can do to a rig besides setting speeds: one altered build for each thing, nothing solved here."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from quietcool.decide.axes import axis_named, limited_to
from quietcool.decide.further_variants import with_opening
from quietcool.decide.variants import layouts_of, radiator_paths
from quietcool.entry.build import ROOM, AirPath, Build, Screen, State

Kind = Literal["unit", "change"]

WATTS = 10.0  # of the lever "10 W less" [W]
CAP_SHARE = 0.8  # of the lever "held to 80 %" [-]
LEAST_CAPPED = 100.0  # sources below are not worth a cap [W]
DOOR = 25.0  # what a closed door keeps off; common practice, no source: 20 to 30 [dB]


@dataclass(frozen=True)
class Alteration:
    """A build and a state in which one thing is different."""

    name: str
    kind: Kind  # a "unit" is a slope (10 W, 1 K, 1 m), a "change" is something that one does or leaves
    build: Build
    state: State

    @property
    def whole(self) -> Build:
        """The build with the altered state in place of its own."""
        states = tuple(self.state if state.name == self.state.name else state for state in self.build.states)
        return replace(self.build, states=states)


def alterations_of(build: Build, state: State, axis: str, position: int) -> tuple[Alteration, ...]:
    """Every lever of a rig in one state.

    Parameters
    ----------
    build, state : Build, State
        As they are.
    axis : str
        Temperature whose limit counts, see `axes.axes_of`.
    position : int
        Where the rig is heard.
    """
    return (
        *_less_heat(build, state),
        *_limits_and_room(build, state, axis, position),
        *_further_and_doors(build, state, position),
        *_other_air(build, state),
        *_fewer_screens(build, state),
        *_second_rows(build, state),
    )


def _less_heat(build: Build, state: State) -> Iterator[Alteration]:
    hot = {name: float(np.max(watts)) for name, watts in state.heat.items()}
    for name, watts in hot.items():
        if watts >= WATTS:
            yield Alteration(f"10 W less from {name}", "unit", build, _with_heat(state, name, watts - WATTS))
    for name, watts in hot.items():
        if watts >= LEAST_CAPPED:
            less = CAP_SHARE * watts
            yield Alteration(f"{name} held to {less:.0f} W (80 %)", "change", build, _with_heat(state, name, less))
    if sum(watts >= LEAST_CAPPED for watts in hot.values()) > 1:
        capped = state
        for name, watts in hot.items():
            if watts >= LEAST_CAPPED:
                capped = _with_heat(capped, name, CAP_SHARE * watts)
        yield Alteration(f"every source of {LEAST_CAPPED:.0f} W or more held to 80 %", "change", build, capped)


def _with_heat(state: State, source: str, watts: float) -> State:
    return replace(state, heat={**state.heat, source: watts})


def _limits_and_room(build: Build, state: State, axis: str, position: int) -> Iterator[Alteration]:
    along = axis_named(build, state, axis)
    if along.value is not None:
        own = state.limits.position
        looser, freer = limited_to(build, state, along, along.value + 1.0, position)
        freer = replace(freer, limits=replace(freer.limits, position=own))  # its level limit stays as it is
        yield Alteration(f"limit of {along.limit} 1 K higher", "unit", looser, freer)
    cooler = replace(state, room_temp=state.room_temp - 1.0)
    yield Alteration("room 1 K cooler", "unit", build, cooler)


def _further_and_doors(build: Build, state: State, position: int) -> Iterator[Alteration]:
    place = build.positions[position]

    def moved(other: object) -> Build:
        places = tuple(other if i == position else one for i, one in enumerate(build.positions))
        return replace(build, positions=places)  # type: ignore[arg-type]  # a position for a position

    further = replace(place, distance=place.distance + 1.0)
    yield Alteration(f"{place.name} 1 m further away", "unit", moved(further), state)
    if np.any(np.asarray(place.partition, float) > 0.0):
        yield Alteration(f"no partition before {place.name}", "change", moved(replace(place, partition=0.0)), state)
    elif place.room == ROOM:
        closed = replace(place, partition=DOOR)
        yield Alteration(f"a closed door ({DOOR:.0f} dB) before {place.name}", "change", moved(closed), state)


def _other_air(build: Build, state: State) -> Iterator[Alteration]:
    """Room air for radiators that breathe enclosure air, and more openings."""
    for number, path in enumerate(build.air_paths):
        if path.core is not None and path.source != ROOM:
            yield Alteration(
                f"room air for {path.name}", "change", _with_path(build, number, replace(path, source=ROOM)), state
            )
    for enclosure in build.enclosures:
        opened = with_opening(build, enclosure)
        if opened is not None:
            yield Alteration(f"100 cm2 more opening in {enclosure}", "change", opened, state)


def _fewer_screens(build: Build, state: State) -> Iterator[Alteration]:
    for number, path in enumerate(build.air_paths):
        bare = tuple(element for element in path.stack if not isinstance(element, Screen))
        if bare and len(bare) < len(path.stack):
            screens = ", ".join(e.resistance.name for e in path.stack if isinstance(e, Screen))
            open_path = _with_path(build, number, replace(path, stack=bare))
            yield Alteration(f"{path.name} without {screens}", "change", open_path, state)


def _second_rows(build: Build, state: State) -> Iterator[Alteration]:
    """A second row of the same fans at the same speed, on the other side of the core."""
    for name in radiator_paths(build):
        for variant in layouts_of(build, name):
            if variant.layout == "push-pull, one speed" and not variant.present:
                yield Alteration(f"second fan row on {name}", "change", variant.build, state)


def _with_path(build: Build, number: int, path: AirPath) -> Build:
    return replace(build, air_paths=tuple(path if i == number else one for i, one in enumerate(build.air_paths)))
