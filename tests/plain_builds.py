"""Plain builds, invented: small enough for closed forms and for limits."""

from __future__ import annotations

from dataclasses import replace

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
    Loop,
    Opening,
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

SILENT = Sound(power_level=30.0, speed=20.0, exponent=55.0)
FREE_FLOW, SHUTOFF = 0.04, 30.0  # of the straight fan curve [m3/s], [Pa]


def straight_fan() -> Fan:
    return Fan("straight", 0.12, Curve((0.0, FREE_FLOW), (SHUTOFF, 0.0), 20.0, 1.2), SILENT, Electric())


def plain_build(opening: Opening) -> Build:
    """Make one fan that blows out of an enclosure fed by an opening; one radiator behind walls of resistance."""
    radiator = Radiator("core", 0.12, 0.12, 1, 6.0, 1.0, 30.0, 1.0, 0.5, 100.0, 1e-4, 0.5, 1e7, 1e12)
    plate = Plate("plate", 0.02, 0.02, 0.5, 1e7, 1e12)
    pump = Pump("pump", Curve((0.0, 2e-4), (4e4, 0.0), 60.0, 1000.0), Electric(), SILENT)
    ring = Loop(
        Coolant("water"), 1e-3, pump, SpeedRange(20.0, 60.0, 1.0), ("pump", "cpu", "side"), Tube(0.01, 1.0, 5.0)
    )
    paths = (
        AirPath("out", "box", ROOM, (FanRow("fans", 1),)),
        AirPath("in", ROOM, "box", (opening,)),
        AirPath("side", ROOM, ROOM, (FanRow("fans", 1), Core(radiator))),
    )
    return Build(
        "closed form (invented)",
        Room(temp=293.15),
        ("box",),
        (FanGroup("fans", straight_fan(), SpeedRange(5.0, 20.0, 1.0)),),
        paths,
        (Source("cpu", plate, (SensingPoint("core", 0.1),)),),
        ring,
        (Position("here", 1.0),),
        (State("idle", {"cpu": 100.0}, {}, 293.15),),
    )


def pressurised_saddle() -> Build:
    """Make an enclosure that a strong fan pressurises against a weak one with a saddle (groups "weak", "strong")."""
    dipped = Curve((0.0, 0.004, 0.008, 0.012, 0.017, 0.021, 0.026, 0.03), (30, 24, 17, 19, 21, 17, 9, 0), 20.0, 1.2)
    saddle = Fan("saddle", 0.12, dipped, SILENT)
    strong = Fan("strong", 0.12, Curve((0.0, 0.2), (200.0, 0.0), 20.0, 1.2), SILENT)
    build = plain_build(Opening(0.012, 2.0))
    ranges = SpeedRange(5.0, 20.0, 1.0)
    paths = (
        AirPath("weak", ROOM, "box", (FanRow("weak", 1),)),
        AirPath("strong", ROOM, "box", (FanRow("strong", 1),)),
        replace(build.air_paths[1], source="box", target=ROOM),
        replace(build.air_paths[2], stack=(FanRow("strong", 1), *build.air_paths[2].stack[1:])),
    )
    return replace(
        build,
        fan_groups=(FanGroup("weak", saddle, ranges), FanGroup("strong", strong, ranges)),
        air_paths=paths,
    )
