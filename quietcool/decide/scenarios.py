"""What if: hot rooms, dust, a dead fan, the pump at its slowest, no filter, a door ajar; and what would still hold."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.dead_fan import DEAD, Death, with_dead_fan
from quietcool.decide.incumbent import find_incumbent, grid_speeds
from quietcool.decide.levers import hottest
from quietcool.decide.question import Question
from quietcool.decide.quietest import Progress
from quietcool.decide.uncertainty import Uncertainty, draw, find_uncertainty
from quietcool.entry.build import ROOM, AirPath, Build, Core, Position, Screen, State
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point

Floats: TypeAlias = NDArray[np.float64]

DRAWS = 200
LEAST_PARTITION = 0.0  # a door ajar keeps off nothing or something, it never adds [dB]


@dataclass(frozen=True)
class Altered:
    """A rig in one scenario, with the groups that its setting leaves open."""

    name: str
    build: Build
    state: State
    pump_speed: float | None = None  # the pump stands at this speed; None where it is free [rev/s]


@dataclass(frozen=True)
class Holding:
    """The quietest setting found that keeps all limits in a scenario, or the least violated one."""

    speeds: Floats  # in the order of the rig's own groups [rev/s]
    level: float  # [dB(A)]
    holds: bool


@dataclass(frozen=True)
class Outcome:
    """What a scenario does at the setting at hand, and what would hold in it."""

    scenario: Altered
    point: OperatingPoint  # at the setting at hand
    known: Uncertainty | None  # how sure that is; None without an answer
    holding: Holding


@dataclass(frozen=True)
class Scenarios:
    """All scenarios of a rig in one state, in a fixed order."""

    state: str
    position: str
    speeds: Floats  # the setting at hand [rev/s]
    outcomes: tuple[Outcome, ...]
    draws: int
    seed: int


def find_scenarios(
    build: Build,
    state: str | None = None,
    speeds: Sequence[float] | None = None,
    *,
    position: str | None = None,
    draws: int = DRAWS,
    seed: int = 0,
    progress: Callable[[Progress], None] | None = None,
) -> Scenarios:
    """Solve every scenario at one setting, and search a setting that holds in each.

    Parameters
    ----------
    build : Build
        The rig; `what_if` holds temperatures, dust and what a door ajar lets through.
    state : str, optional
        The workload; that with the most heat in the coolant if not given.
    speeds : sequence of float, optional
        The setting at hand; the quietest one of the rig as it is if not given. [rev/s]
    position : str, optional
        Where it is heard; the first one if not given.
    draws : int
        Draws of the tolerances for the chance that limits are kept; 0 for none. [-]
    seed : int
        [-]
    progress : callable, optional
        Told now and then how far the answer is.

    Returns
    -------
    Scenarios
        Settings that hold are searched, not proven.
    """
    load = hottest(build) if state is None else build.state(state)
    where = 0 if position is None else [place.name for place in build.positions].index(position)
    plain = Altered("as it is", build, load)
    at_hand = _held(plain, where).speeds if speeds is None else np.asarray(speeds, dtype=np.float64)
    outcomes = []
    listed = list(scenarios_of(build, load))
    for i, one in enumerate(listed):
        if progress is not None:
            progress(Progress(f"scenario {one.name}", i / len(listed), np.nan, -np.inf))
        outcomes.append(_outcome(one, at_hand, where, draws, seed))
    return Scenarios(load.name, build.positions[where].name, at_hand, tuple(outcomes), draws, seed)


def scenarios_of(build: Build, state: State) -> Iterator[Altered]:
    """Every scenario that makes sense for a rig in one state, as it is first."""
    asked = build.what_if
    yield Altered("as it is", build, state)
    for temp in asked.room_temps:
        warm = replace(state, room_temp=temp)
        yield Altered(f"room {temp - 273.15:.0f} degC", build, warm)
        yield Altered(f"room {temp - 273.15:.0f} degC, dusty", dusty(build, asked.dust), warm)
    for path in build.air_paths:
        for index, row in enumerate(path.fan_rows):
            yield from _deaths(build, state, path, index, row.group)
    yield Altered("pump at its slowest", build, state, min(build.loop.pump_speeds.admissible()))
    if any(_is_filter(element) for path in build.air_paths for element in path.stack):
        yield Altered("filters removed", without_filters(build), state)
    if any(_closed(position) for position in build.positions):
        yield Altered("door ajar", with_door_ajar(build, asked.door_ajar), state)


def worst_day(build: Build) -> Build:
    """Return the rig on its worst day: every state in the hottest room of its scenarios, with dust."""
    hottest_room = max(build.what_if.room_temps)
    states = tuple(replace(state, room_temp=np.maximum(state.room_temp, hottest_room).item()) for state in build.states)
    return replace(dusty(build, build.what_if.dust), states=states)


def dusty(build: Build, dust: float) -> Build:
    """Return the rig with so many times the viscous resistance in every core and screen."""
    paths = tuple(
        replace(
            path,
            stack=tuple(replace(e, dust=e.dust * dust) if isinstance(e, Core | Screen) else e for e in path.stack),
        )
        for path in build.air_paths
    )
    return replace(build, air_paths=paths)


def without_filters(build: Build) -> Build:
    """Return the rig without its filters; grilles and guards stay."""
    paths = tuple(
        replace(path, stack=tuple(e for e in path.stack if not _is_filter(e)) or path.stack) for path in build.air_paths
    )
    return replace(build, air_paths=paths)


def with_door_ajar(build: Build, loss: float) -> Build:
    """Return the rig heard through doors that keep off so much less [dB]."""

    def less(kept_off: Any) -> Any:
        if isinstance(kept_off, tuple):
            return tuple(max(level - loss, LEAST_PARTITION) for level in kept_off)
        return float(np.maximum(np.asarray(kept_off, float) - loss, LEAST_PARTITION))

    positions = tuple(replace(p, partition=less(p.partition)) for p in build.positions)
    doors = tuple(replace(door, sound_reduction=less(door.sound_reduction)) for door in build.doors)
    return replace(build, positions=positions, doors=doors)


def _closed(position: Position) -> bool:
    return position.room != ROOM or bool(np.any(np.asarray(position.partition, float) > 0.0))


def _is_filter(element: object) -> bool:
    return isinstance(element, Screen) and element.resistance.style == "filter"


def _deaths(build: Build, state: State, path: AirPath, index: int, group: str) -> Iterator[Altered]:
    counts = {row.count for row in path.fan_rows}
    if len(counts) > 1 or min(counts) < 2:
        return
    row = f" (row {index + 1})" if len(path.fan_rows) > 1 else ""
    kinds: tuple[Death, ...] = ("free-wheeling", "blocked")
    for death in kinds:
        broken = with_dead_fan(build, path.name, index, death)
        yield Altered(f"one fan of {path.name}{row} dead, {death}", broken, state)


def _outcome(scenario: Altered, at_hand: Floats, where: int, draws: int, seed: int) -> Outcome:
    speeds = _speeds(scenario, at_hand)
    point = solve_operating_point(scenario.build, scenario.state, speeds)
    known = None
    if draws > 0 and point.converged:
        states = tuple(scenario.state if s.name == scenario.state.name else s for s in scenario.build.states)
        whole = replace(scenario.build, states=states)
        known = find_uncertainty(whole, scenario.state.name, speeds, draw(whole, count=draws, seed=seed))
    return Outcome(scenario, point, known, _held(scenario, where))


def _speeds(scenario: Altered, at_hand: Floats) -> Floats:
    """The setting at hand in the scenario's groups: a dead fan stands still, a pump that is fixed has its speed."""
    pump = at_hand[-1] if scenario.pump_speed is None else scenario.pump_speed
    dead = [0.0] * (len(scenario.build.group_names) - len(at_hand))
    return np.array([*at_hand[:-1], *dead, pump])


def _held(scenario: Altered, where: int) -> Holding:
    build = scenario.build
    if scenario.pump_speed is not None:
        only = replace(build.loop.pump_speeds, lowest=scenario.pump_speed, highest=scenario.pump_speed)
        build = replace(build, loop=replace(build.loop, pump_speeds=only))
    question = Question(build, (scenario.state,), where)
    best = find_incumbent(question).best
    speeds = grid_speeds(question, best.steps[None])[0]
    own = np.array([name != DEAD for name in build.group_names])
    return Holding(speeds[own], best.level, best.worst_margin >= 0.0)
