"""Builds whose noise can be worked out by hand: no heat, straight fans, every number invented."""

from __future__ import annotations

from typing import Any

from quietcool.entry.build import (
    PUMP,
    ROOM,
    AirPath,
    Build,
    Coolant,
    Core,
    Curve,
    Electric,
    Fan,
    FanGroup,
    FanRow,
    Limits,
    Loop,
    Position,
    Pump,
    Radiator,
    Room,
    Sound,
    SpeedRange,
    StackElement,
    State,
    Tube,
)

RPM = 1.0 / 60.0
SPECTRUM = (38.0, 42.0, 45.0, 44.0, 41.0, 36.0, 29.0, 21.0)  # 63 Hz to 8 kHz
SURFACE, ABSORPTION = 59.0, 21.3 / 59.0
CORE = Core(Radiator("core", 0.36, 0.12, 3, 10.0, 5.0, 20.0, 1.0, 0.6, 60.0, 1e-5, 0.5, 1e8, 1e13))


def fan(sound: Sound, blades: int | None = 7) -> Fan:
    curve = Curve(flow=(0.0, 0.03), pressure=(30.0, 0.0), speed=1500 * RPM, density=1.2)
    return Fan("fan", 0.12, curve, sound, blade_count=blades)


def one_number(level: float = 33.0, **more: Any) -> Sound:
    return Sound(level, 1500 * RPM, 55.0, **more)


def octaves(levels: tuple[float, ...] = SPECTRUM, **more: Any) -> Sound:
    from quietcool.physics.sound import a_weighted_level

    return Sound(float(a_weighted_level(levels)), 1500 * RPM, 50.0, bands=levels, **more)


def path(*stack: StackElement, name: str = "path") -> AirPath:
    return AirPath(name, ROOM, "tower", stack)


def row(count: int = 1, gap: float = 0.0, group: str = "side") -> FanRow:
    return FanRow(group, count, gap)


def sounding(
    *paths: AirPath,
    fans: dict[str, Fan] | None = None,
    pump: Sound | None = None,
    positions: tuple[Position, ...] = (Position("ear", 0.8, 2.0, "room", background=18.0, self_noise=12.0),),
    room: Room | None = None,
    limits: Limits | None = None,
    mounting: float = 0.0,
    vanes: int | None = None,
    **more: Any,
) -> Build:
    """Make a rig with the given paths; one fan group "side" if no fans are given."""
    speeds = SpeedRange(300 * RPM, 2000 * RPM, 20 * RPM)
    curve = Curve((0.0, 2e-4), (3e4, 0.0), 3000 * RPM, 1000.0)
    level = pump or Sound(28.0, 3000 * RPM, 50.0, tone_increment=3.0)
    groups = fans or {"side": fan(one_number())}
    return Build(
        title="invented",
        room=room or Room(temp=295.0, volume=30.0, surface=SURFACE, mean_absorption=ABSORPTION),
        enclosures=("tower",),
        fan_groups=tuple(FanGroup(name, one, speeds) for name, one in groups.items()),
        air_paths=paths,
        sources=(),
        loop=Loop(
            Coolant("water"),
            2e-3,
            Pump("pump", curve, Electric(), level, mounting_adder=mounting, vane_count=vanes),
            speeds,
            (PUMP,),
            Tube(bore=0.01, length=3.0),
        ),
        positions=positions,
        states=(State("render", {}, {}, 295.0, limits or Limits()), State("take", {}, {}, 295.0)),
        **more,
    )
