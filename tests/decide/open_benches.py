"""One radiator on an open bench, invented: no enclosure, so that only the core decides what a second row is worth."""

from __future__ import annotations

from quietcool.entry.build import (
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
    Plate,
    Position,
    Pump,
    Radiator,
    Room,
    SensingPoint,
    Sound,
    Source,
    SpeedRange,
    State,
    Tube,
)

SILENT_PUMP = Sound(power_level=-40.0, speed=40.0, exponent=50.0)


def bench(a: float, b: float, *, lowest: float, highest: float, watts: float, step: float = 0.1) -> Build:
    """Make a bench with a core of pressure drop a V + b V^2 and three fans in push; speeds in rev/s."""
    radiator = Radiator("core", 0.36, 0.12, 3, a, b, 60.0, 1.0, 0.45, 400.0, 6e-5, 0.33, 1e7, 1e11, 0.0)
    sound = Sound(power_level=34.0, speed=25.0, exponent=55.0, floor_power_level=-60.0)
    curve = Curve((0.0, 0.005, 0.01, 0.015, 0.02, 0.026), (22.0, 20.0, 17.0, 12.5, 7.0, 0.0), 25.0, 1.2)
    pump = Pump("pump", Curve((0.0, 1e-4, 2e-4), (3e4, 2.5e4, 0.0), 60.0, 1000.0), Electric(), SILENT_PUMP)
    return Build(
        "open bench (invented)",
        Room(temp=295.15),
        (),
        (FanGroup("fans", Fan("fan", 0.12, curve, sound, depth=0.025), SpeedRange(lowest, highest, step)),),
        (AirPath("side", ROOM, ROOM, (FanRow("fans", 3), Core(radiator))),),
        (Source("cpu", Plate("plate", 0.02, 0.02, 0.5, 1e7, 1e11), (SensingPoint("core", 0.05),)),),
        Loop(Coolant("water"), 1e-3, pump, SpeedRange(40.0, 40.0, 1.0), ("pump", "cpu", "side"), Tube(0.01, 1.0)),
        (Position("desk", 1.0),),
        (State("work", {"cpu": watts}, {}, 295.15, Limits(coolant=330.0)),),
    )
