"""Random parts for random builds: invented, physically sensible, every number invented."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.random import Generator

from quietcool.entry.build import (
    NOWHERE,
    Coolant,
    Curve,
    Electric,
    Fan,
    Opening,
    Plate,
    Position,
    Pump,
    Radiator,
    Resistance,
    Room,
    Screen,
    SensingPoint,
    Sound,
    Source,
    SpeedRange,
)

LITRE_PER_MINUTE = 1e-3 / 60.0  # [m3/s]
RPM = 1.0 / 60.0  # [rev/s]


def chance(rng: Generator, probability: float) -> bool:
    """Whether something of this probability happens."""
    return bool(rng.random() < probability)


def between(rng: Generator, low: float, high: float) -> float:
    """Return a plain float between two bounds."""
    return float(rng.uniform(low, high))


def fan_curve(rng: Generator, size: float, speed: float, saddle: bool) -> Curve:
    """Curve of an axial fan: free flow ~ size^3 N, shut-off pressure ~ size^2 N^2, with a varied shape."""
    free_flow = 0.0356 * (size / 0.12) ** 3 * (speed / 33.3) * between(rng, 0.75, 1.2)
    shutoff = 42.0 * (size / 0.12) ** 2 * (speed / 33.3) ** 2 * between(rng, 0.7, 1.5)
    if saddle:
        share = np.array([0.0, 0.14, 0.29, 0.43, 0.57, 0.71, 0.86, 1.0])
        dip = between(rng, 0.0, 0.1)
        height = np.array([1.0, 0.8 - dip, 0.57 - dip, 0.64, 0.70, 0.57, 0.30, 0.0])
    elif chance(rng, 0.2):
        share = np.linspace(0.0, 1.0, 11)
        height = np.sqrt(1.0 - share**2)
    else:
        share = np.linspace(0.0, 1.0, int(rng.integers(2, 10)))
        height = 1.0 - share ** between(rng, 1.1, 2.3)
        if len(share) > 3 and chance(rng, 0.3):  # a sheet that ends above zero
            share, height = share[:-1], height[:-1]
    return Curve(
        flow=tuple(float(q) for q in share * free_flow),
        pressure=tuple(float(p) for p in height * shutoff),
        speed=speed,
        density=1.2 if chance(rng, 0.8) else 1.18,
        flow_scale=between(rng, 0.95, 1.05),
        pressure_scale=between(rng, 0.92, 1.08),
    )


def fan(rng: Generator, name: str, size: float, saddle: bool = False) -> Fan:
    """Make a fan of a given frame size."""
    speed = between(rng, 1200.0, 2600.0) * RPM
    tip = (size / 0.12) ** 2 * speed / 33.3
    return Fan(
        name=name,
        size=size,
        curve=fan_curve(rng, size, speed, saddle),
        sound=Sound(
            power_level=42.0 + 50.0 * math.log10(tip) + between(rng, -3.0, 3.0),
            speed=speed,
            exponent=between(rng, 50.0, 58.0),
            floor_power_level=NOWHERE if chance(rng, 0.3) else between(rng, 12.0, 19.0),
            load_adder_scale=between(rng, 0.5, 1.2),
        ),
        electric=Electric(power=2.4 * tip**3 * between(rng, 0.6, 1.5), speed=speed),
        blade_count=int(rng.integers(7, 12)),
    )


def radiator(rng: Generator, name: str, size: float) -> Radiator:
    """Make a radiator of one to four fan sections."""
    sections = int(rng.integers(1, 5))
    return Radiator(
        name=name,
        face_length=size * sections,
        face_height=size,
        fan_sections=sections,
        a=between(rng, 3.0, 16.0),
        b=between(rng, 0.5, 3.0),
        ua_air=between(rng, 26.0, 52.0) * sections * (size / 0.12) ** 2,
        ua_air_velocity=between(rng, 0.8, 2.0),
        ua_air_exponent=between(rng, 0.3, 0.65),
        ua_coolant=between(rng, 70.0, 220.0) * sections,
        ua_coolant_flow=between(rng, 3.0, 6.0) * LITRE_PER_MINUTE,
        ua_coolant_exponent=between(rng, 0.1, 0.8),
        coolant_a=between(rng, 60.0, 400.0) / LITRE_PER_MINUTE,
        coolant_b=between(rng, 20.0, 150.0) / LITRE_PER_MINUTE**2,
        passive_conductance=between(rng, 0.4, 1.0),
    )


def screen(rng: Generator, name: str, style: Literal["filter", "grille", "guard"], area: float) -> Screen:
    """Make a filter, grille or guard about as large as what it covers."""
    fine = style == "filter"
    return Screen(
        Resistance(
            name=name,
            style=style,
            a=between(rng, 2.0, 9.0) if fine else 0.0,
            b=between(rng, 0.3, 2.0),
            noise_adder=between(rng, 1.0, 4.0),
        ),
        area=area * between(rng, 0.8, 1.5),
        dust=between(rng, 1.0, 1.8) if fine else 1.0,
    )


def opening(rng: Generator, smallest: float, largest: float) -> Opening:
    """Make a bare opening with an area between two bounds [m2]."""
    return Opening(area=between(rng, smallest, largest), loss_coefficient=between(rng, 1.5, 3.0))


def pump(rng: Generator) -> tuple[Pump, SpeedRange]:
    """Make a pump and its speeds."""
    speed = between(rng, 3600.0, 4800.0) * RPM
    share = np.linspace(0.0, 1.0, int(rng.integers(3, 8)))
    flow = share * between(rng, 9.0, 17.0) * LITRE_PER_MINUTE
    rise = between(rng, 22e3, 55e3) * (1.0 - share ** between(rng, 1.3, 2.2))
    part = Pump(
        name="pump",
        curve=Curve(
            tuple(float(q) for q in flow), tuple(float(p) for p in rise), speed, density=between(rng, 990.0, 1000.0)
        ),
        electric=Electric(power=between(rng, 6.0, 20.0), speed=speed),
        sound=Sound(between(rng, 30.0, 38.0), speed, exponent=50.0, floor_power_level=between(rng, 8.0, 15.0)),
        coolant_share=between(rng, 0.7, 1.0),
        mounting_adder=between(rng, 0.0, 3.0),
    )
    return part, speed_range(rng, speed, may_stop=False, avoid_share=0.2)


def sources(rng: Generator) -> tuple[Source, ...]:
    """One processor and up to two cards."""
    made = []
    for name in ["cpu", "gpu 1", "gpu 2"][: int(rng.integers(1, 4))]:
        card = name != "cpu"
        plate = Plate(
            name=f"plate of {name}",
            r0=between(rng, 0.008, 0.03),
            c=between(rng, 0.01, 0.04),
            n=between(rng, 0.3, 0.8),
            coolant_a=between(rng, 100.0, 900.0) / LITRE_PER_MINUTE,
            coolant_b=between(rng, 60.0, 700.0) / LITRE_PER_MINUTE**2,
        )
        core = SensingPoint("core", between(rng, 0.02, 0.05) if card else between(rng, 0.08, 0.2))
        hot_spot = SensingPoint("hot spot", between(rng, 0.03, 0.08), share=between(rng, 0.5, 1.0))
        made.append(Source(name, plate, (core, hot_spot) if card else (core,)))
    return tuple(made)


def coolant(rng: Generator) -> Coolant:
    """Water or a glycol mixture."""
    kind = rng.choice(["water", "ethylene_glycol", "propylene_glycol"], p=[0.5, 0.25, 0.25])
    if kind == "water":
        return Coolant("water")
    return Coolant("ethylene_glycol" if kind == "ethylene_glycol" else "propylene_glycol", between(rng, 0.05, 0.5))


def speed_range(rng: Generator, full: float, may_stop: bool | None, avoid_share: float = 0.3) -> SpeedRange:
    """Speeds from a quarter to all of a full speed, in steps of 20 rpm, sometimes with a band to avoid."""
    step = 20.0 * RPM
    lowest = round(full * between(rng, 0.2, 0.35) / step) * step
    highest = lowest + math.floor((full - lowest) / step) * step
    avoid: tuple[tuple[float, float], ...] = ()
    if chance(rng, avoid_share):
        start = between(rng, lowest + 5.0 * step, highest - 8.0 * step)
        avoid = ((start, start + between(rng, 1.0, 5.0) * step),)
    stops = chance(rng, 0.3) if may_stop is None else may_stop
    return SpeedRange(lowest, highest, step, avoid, may_stop=stops)


def room_and_positions(rng: Generator) -> tuple[Room, tuple[Position, ...]]:
    """A room, the microphone, and by chance a second place."""
    room = Room(
        temp=293.15 + between(rng, -3.0, 9.0),
        altitude=0.0 if chance(rng, 0.3) else between(rng, 0.0, 2500.0),
        volume=between(rng, 18.0, 60.0),
        surface=between(rng, 50.0, 100.0) if chance(rng, 0.5) else None,
        mean_absorption=between(rng, 0.1, 0.45),
    )
    places = [
        Position(
            "microphone",
            distance=between(rng, 0.8, 3.0),
            directivity=float(rng.choice([1.0, 2.0, 4.0])),
            field="room" if chance(rng, 0.7) else "distance",
            partition=0.0 if chance(rng, 0.7) else between(rng, 5.0, 25.0),
            background=between(rng, 12.0, 24.0) if chance(rng, 0.6) else None,
            self_noise=between(rng, 5.0, 15.0) if chance(rng, 0.5) else None,
        )
    ]
    if chance(rng, 0.5):
        places.append(Position("chair", distance=between(rng, 0.5, 2.0), directivity=2.0, field="distance"))
    return room, tuple(places)
