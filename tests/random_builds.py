"""Random builds: invented, varied, physically sensible, made directly of the records; every number is invented.

The same seed and the same wishes give the same build. Nothing here imports the solver; limits are set from the
second opinion of the tests, so that a feasible setting usually exists without asking the code under test.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from quietcool.entry.build import (
    PUMP,
    ROOM,
    AirPath,
    Build,
    Core,
    FanGroup,
    FanRow,
    Limits,
    Loop,
    LoopElement,
    Parallel,
    Source,
    StackElement,
    State,
    Tube,
)
from tests.random_parts import (
    between,
    chance,
    coolant,
    fan,
    opening,
    pump,
    radiator,
    room_and_positions,
    screen,
    sources,
    speed_range,
)
from tests.second_opinion.whole import Opinion, second_opinion

HOTTEST_SENSIBLE = 338.15  # of coolant or enclosure air at brisk speeds [K]
ENCLOSURE_NAMES = ("tower", "lower bay", "side bay")


@dataclass
class Wishes:
    """What a random build is asked to be; None leaves it to chance."""

    groups: int | None = None
    enclosures: int | None = None
    radiators: int | None = None
    states: int = 1
    saddle: bool = False  # exactly one path has a saddle fan, alone in its group
    may_stop: bool | None = None
    parallel: bool | None = None
    difficulty: float | None = None  # 0 easy ... 1 hard


@dataclass
class Draft:
    """A build on its way: paths whose fan rows still carry provisional group names."""

    rng: Generator
    wishes: Wishes

    def __post_init__(self) -> None:
        """Draw the frame size, the enclosures and the number of radiators."""
        rng, wishes = self.rng, self.wishes
        self.size = 0.12 if chance(rng, 0.6) else 0.14
        drawn = int(rng.choice([0, 1, 2, 3], p=[0.05, 0.57, 0.32, 0.06]))
        self.enclosures = ENCLOSURE_NAMES[: drawn if wishes.enclosures is None else wishes.enclosures]
        self.radiator_count = int(rng.integers(1, 4)) if wishes.radiators is None else wishes.radiators
        self.paths: list[AirPath] = []
        self.row_count = 0

    def row(self, count: int) -> FanRow:
        """Make a fan row with a provisional group of its own."""
        self.row_count += 1
        return FanRow(f"row {self.row_count}", count, gap=float(self.rng.choice([0.0, 0.0, 0.012, 0.03])))

    def radiator_stack(self, index: int) -> tuple[StackElement, ...]:
        """Filter, push and pull rows, radiator, guard: each by chance, at least one row."""
        rng = self.rng
        part = radiator(rng, f"radiator {index}", self.size)
        layout = rng.choice(["push", "pull", "push-pull"], p=[0.35, 0.3, 0.35])
        stack: list[StackElement] = []
        if chance(rng, 0.4):
            stack.append(screen(rng, f"filter {index}", "filter", part.face_area))
        if layout != "pull":
            stack.append(self.row(part.fan_sections))
        if layout == "push" and chance(rng, 0.2):
            stack.append(screen(rng, f"inner guard {index}", "guard", part.face_area))
        stack.append(Core(part, dust=between(rng, 1.0, 1.6)))
        if layout != "push":
            stack.append(self.row(part.fan_sections))
        if chance(rng, 0.4):
            style: Literal["grille", "guard"] = "guard" if chance(rng, 0.5) else "grille"
            stack.append(screen(rng, f"cover {index}", style, part.face_area))
        return tuple(stack)

    def ends(self) -> tuple[str, str]:
        """Two different nodes for a radiator path; room and room on an open bench."""
        rng = self.rng
        if not self.enclosures:
            return ROOM, ROOM
        inner = str(rng.choice(self.enclosures))
        if len(self.enclosures) > 1 and chance(rng, 0.15):
            return inner, str(rng.choice([name for name in self.enclosures if name != inner]))
        return (ROOM, inner) if chance(rng, 0.55) else (inner, ROOM)

    def add(self, name: str, source: str, target: str, stack: tuple[StackElement, ...]) -> None:
        """Add a path."""
        self.paths.append(AirPath(name, source, target, stack, series_efficiency=between(self.rng, 0.85, 1.0)))

    def lay_paths(self) -> None:
        """Radiators first, then what every enclosure needs to breathe, then fans without a radiator."""
        rng = self.rng
        for index in range(1, self.radiator_count + 1):
            self.add(f"path {index}", *self.ends(), self.radiator_stack(index))
        for index, enclosure in enumerate(self.enclosures, start=1):
            self.add(f"slots {index}", enclosure, ROOM, (opening(rng, 0.004, 0.03),))
            if index > 1:
                self.add(f"pass {index}", self.enclosures[0], enclosure, (opening(rng, 0.006, 0.03),))
            if chance(rng, 0.5):
                self.add(f"leaks {index}", ROOM, enclosure, (opening(rng, 0.001, 0.008),))
        while self.needs_fans():
            self.add_fan_path()

    def needs_fans(self) -> bool:
        """Whether the wished groups need another row, or chance wants one."""
        fanned = sum(1 for path in self.paths if path.core is None and path.fan_rows)
        if self.wishes.groups is not None and self.row_count < self.wishes.groups:
            return True
        if self.wishes.saddle and fanned == 0:
            return True
        return bool(self.enclosures) and fanned < 2 and chance(self.rng, 0.35)

    def add_fan_path(self) -> None:
        """Fans without a radiator, into or out of an enclosure (on the bench: a spot fan)."""
        rng = self.rng
        count = int(rng.integers(1, 4))
        stack: list[StackElement] = [self.row(count)]
        cover = screen(rng, f"fan cover {self.row_count}", "grille", count * self.size**2)
        stack.insert(int(rng.integers(0, 2)), cover)
        inner = str(rng.choice(self.enclosures)) if self.enclosures else ROOM
        source, target = (inner, ROOM) if chance(rng, 0.7) else (ROOM, inner)
        self.add(f"fans {self.row_count}", source, target, tuple(stack))

    def grouping(self) -> dict[str, int]:
        """Number of the group of every row; with a saddle, group 0 holds one row that is alone in its path."""
        rng = self.rng
        rows = [row.group for path in self.paths for row in path.fan_rows]
        lone: list[str] = []
        if self.wishes.saddle:
            single = [path.fan_rows[0].group for path in self.paths if len(path.fan_rows) == 1]
            lone = [str(rng.choice(single))]
            rows.remove(lone[0])
        most = min(len(rows), 5)
        wished = None if self.wishes.groups is None else self.wishes.groups - len(lone)
        count = (int(rng.integers(1, most + 1)) if rows else 0) if wished is None else min(wished, len(rows))
        order = [str(name) for name in rng.permutation(rows)] if rows else []
        numbers = {name: len(lone) + (i if i < count else int(rng.integers(0, count))) for i, name in enumerate(order)}
        return numbers | dict.fromkeys(lone, 0)

    def grouped_paths(self, numbers: dict[str, int]) -> tuple[AirPath, ...]:
        """Replace the provisional groups."""

        def named(element: StackElement) -> StackElement:
            return (
                replace(element, group=f"group {numbers[element.group] + 1}")
                if isinstance(element, FanRow)
                else element
            )

        return tuple(replace(path, stack=tuple(named(element) for element in path.stack)) for path in self.paths)


def arrange(rng: Generator, items: list[str], probability: float, depth: int = 0) -> tuple[LoopElement, ...]:
    """Items one after another, some of them gathered into parallel branches, nested by chance."""
    if len(items) < 2 or depth > 2 or not chance(rng, probability):
        return tuple(items)
    first = int(rng.integers(0, len(items) - 1))
    last = int(rng.integers(first + 2, len(items) + 1))
    cut = int(rng.integers(first + 1, last))
    branches = (
        arrange(rng, items[first:cut], probability, depth + 1),
        arrange(rng, items[cut:last], probability, depth + 1),
    )
    return (*items[:first], Parallel(branches), *items[last:])


def state(rng: Generator, name: str, build: Build, difficulty: float | None) -> State:
    """Make a workload scaled to the radiators: easy about 20 W a fan section, hard about 130 W."""
    sections = sum(path.core.radiator.fan_sections for path in build.air_paths if path.core is not None)
    hard = between(rng, 0.0, 1.0) if difficulty is None else difficulty
    total = sections * (20.0 + 110.0 * hard) * between(rng, 0.85, 1.15)
    parts = rng.dirichlet([4.0] * len(build.sources))
    air = {name: between(rng, 5.0, 90.0) for name in build.enclosures if chance(rng, 0.8)}
    return State(
        name=name,
        heat={source.name: float(total * part) for source, part in zip(build.sources, parts, strict=True)},
        air_heat=air,
        room_temp=float(build.room.temp) + (between(rng, -1.0, 3.0) if chance(rng, 0.3) else 0.0),
    )


def brisk_opinions(build: Build) -> list[Opinion] | None:
    """Second opinion on every state at brisk speeds; None where the rig would be no rig (air that only circles)."""
    brisk = [0.75 * speeds.highest + 0.25 * speeds.lowest for speeds in build.speed_ranges]
    opinions = []
    for each in build.states:
        opinion = second_opinion(build, each, brisk, most_rounds=30)
        if opinion.temps is None or opinion.hottest_coolant > HOTTEST_SENSIBLE:
            return None
        if any(temp > HOTTEST_SENSIBLE for temp in opinion.temps.enclosure.values()):
            return None
        opinions.append(opinion)
    return opinions


def with_limits(rng: Generator, build: Build, opinions: list[Opinion]) -> Build:
    """Limits a little above what brisk speeds reach in every state, by the second opinion."""

    def limited(source: Source) -> Source:
        points = []
        for point in source.points:
            reached = max(opinion.source_points[source.name, point.name] for opinion in opinions)
            limit = reached + between(rng, 0.5, 7.0) if chance(rng, 0.8) else None
            points.append(replace(point, limit=limit))
        return replace(source, points=tuple(points))

    states = []
    for each, opinion in zip(build.states, opinions, strict=True):
        assert opinion.temps is not None
        enclosure = {
            name: temp + between(rng, 1.0, 6.0) for name, temp in opinion.temps.enclosure.items() if chance(rng, 0.5)
        }
        limits = Limits(coolant=opinion.hottest_coolant + between(rng, 0.5, 6.0), enclosure_air=enclosure)
        states.append(replace(each, limits=limits))
    flow = min(opinion.coolant_flow for opinion in opinions) * between(rng, 0.4, 0.8)
    loop = replace(build.loop, min_flow=flow if chance(rng, 0.4) else 0.0)
    places = [build.positions[0]]
    for place in build.positions[1:]:
        loud = max(opinion.level[place.name] for opinion in opinions)
        places.append(replace(place, limit=loud + between(rng, 0.5, 6.0)))
    return replace(
        build, sources=tuple(limited(source) for source in build.sources), states=tuple(states), loop=loop,
        positions=tuple(places),
    )  # fmt: skip


def random_build(
    seed: int,
    groups: int | None = None,
    enclosures: int | None = None,
    radiators: int | None = None,
    *,
    states: int = 1,
    saddle: bool = False,
    may_stop: bool | None = None,
    parallel: bool | None = None,
    difficulty: float | None = None,
    limits: bool = True,
) -> Build:
    """Make a random build; what is None is left to chance, `limits=False` leaves it without limits.

    Builds whose air only circles, so that even brisk speeds cook them, are drawn again. Fewer `groups` than wished
    come out only where there are fewer fan rows; rows are added when needed.
    """
    wishes = Wishes(groups, enclosures, radiators, states, saddle, may_stop, parallel, difficulty)
    for attempt in range(100):
        rng = np.random.default_rng([seed, attempt, 20240])
        build = drawn_build(rng, wishes, f"random build {seed} (invented)")
        opinions = brisk_opinions(build)
        if opinions is not None:
            return with_limits(rng, build, opinions) if limits else build
    raise ValueError(f"no sensible build in 100 draws for seed {seed} and {wishes}")


def drawn_build(rng: Generator, wishes: Wishes, title: str) -> Build:
    """Draw one build, sensible or not, without limits."""
    draft = Draft(rng, wishes)
    draft.lay_paths()
    numbers = draft.grouping()
    fans = []
    for number in sorted(set(numbers.values())):
        part = fan(rng, f"fan {number + 1}", draft.size, saddle=wishes.saddle and number == 0)
        fans.append(FanGroup(f"group {number + 1}", part, speed_range(rng, part.curve.speed, wishes.may_stop)))
    parts = sources(rng)
    room, positions = room_and_positions(rng)
    build = Build(
        title=title,
        room=room,
        enclosures=draft.enclosures,
        fan_groups=tuple(fans),
        air_paths=draft.grouped_paths(numbers),
        sources=parts,
        loop=ring(rng, wishes, draft, parts),
        positions=positions,
        states=(),
    )
    names = ["render", "edit", "idle"][: wishes.states]
    return replace(build, states=tuple(state(rng, name, build, wishes.difficulty) for name in names))


def ring(rng: Generator, wishes: Wishes, draft: Draft, parts: tuple[Source, ...]) -> Loop:
    """Make the coolant ring: pump first, then sources and radiators in any order, some in branches."""
    items = [source.name for source in parts] + [path.name for path in draft.paths if path.core is not None]
    probability = {None: 0.45, True: 1.0, False: 0.0}[wishes.parallel]
    machine, pump_speeds = pump(rng)
    nodes = [*draft.enclosures, ROOM]
    return Loop(
        coolant=coolant(rng),
        volume=between(rng, 1e-3, 3e-3),
        pump=machine,
        pump_speeds=pump_speeds,
        order=(PUMP, *arrange(rng, [str(item) for item in rng.permutation(items)], probability)),
        tube=Tube(
            bore=float(rng.choice([0.008, 0.010, 0.013])),
            length=between(rng, 1.5, 5.0),
            loss_coefficient=between(rng, 2.0, 14.0),
        ),
        pump_enclosure=nodes[0] if chance(rng, 0.8) else str(rng.choice(nodes)),
    )


def random_speeds(build: Build, rng: Generator, n: int, *, stopped: float = 0.0) -> NDArray[np.float64]:
    """`n` settings in the order of `build.group_names` (pump last), shape (n, groups + 1) [rev/s].

    Between lowest and highest, not on steps; every fan group stands still with probability `stopped`, but never all.
    """
    lowest = np.array([speeds.lowest for speeds in build.speed_ranges])
    highest = np.array([speeds.highest for speeds in build.speed_ranges])
    speeds = rng.uniform(lowest, highest, size=(n, len(lowest)))
    still = rng.random((n, len(lowest))) < stopped
    still[:, -1] = False
    still[np.arange(n), rng.integers(0, len(lowest) - 1, size=n)] = False
    return np.where(still, 0.0, speeds)
