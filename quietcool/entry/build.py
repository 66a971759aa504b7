"""A build in SI units: what the rest of the house works on.

Frozen records, one a thing of the trade. Speeds are rev/s, temperatures K, levels dB(A) (and say of
what), everything else bare SI. A field of type ``Number`` is a float or an array whose axes are *case
axes*: all arrays of one build, and the leading axes of the speeds it is solved at, broadcast together.
Reading and checking files is `buildfile.py`; nothing here computes.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, TypeAlias

from quietcool.entry.acoustic_records import NOWHERE as NOWHERE
from quietcool.entry.acoustic_records import ROOM as ROOM
from quietcool.entry.acoustic_records import Delivery as Delivery
from quietcool.entry.acoustic_records import Door as Door
from quietcool.entry.acoustic_records import Installation as Installation
from quietcool.entry.acoustic_records import Limits as Limits
from quietcool.entry.acoustic_records import NoiseSource as NoiseSource
from quietcool.entry.acoustic_records import OtherRoom as OtherRoom
from quietcool.entry.acoustic_records import Position as Position
from quietcool.entry.acoustic_records import Room as Room
from quietcool.entry.acoustic_records import Sound as Sound
from quietcool.entry.choice_records import WhatIf as WhatIf
from quietcool.entry.workshop_records import Channel as Channel
from quietcool.entry.workshop_records import Controller as Controller
from quietcool.entry.workshop_records import Frame as Frame
from quietcool.entry.workshop_records import Space as Space
from quietcool.entry.workshop_records import Supply as Supply
from quietcool.entry.workshop_records import Vessel as Vessel

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Number: TypeAlias = float | NDArray[np.float64]

PUMP = "pump"


@dataclass(frozen=True)
class Entered:
    """One number as it was printed and as it is used."""

    place: str  # "fan-b-120x30: curve.max_flow_cfm", "build: room.temp_c"
    printed: str  # number and unit as written in the file
    value: float  # the converted number
    unit: str  # unit of `value`
    origin: str  # "measured", "datasheet", "estimate", "invented", "entered" or "default"
    tolerance: float | None  # fraction, or dB where `tolerance_unit` is "dB"; None where none applies
    tolerance_unit: str = ""  # "relative" or "dB"


@dataclass(frozen=True)
class Curve:
    """Pressure rise over flow of a fan or pump at one speed."""

    flow: tuple[float, ...]  # rising from 0 [m3/s]
    pressure: tuple[float, ...]  # static pressure rise at `flow` [Pa]
    speed: float  # speed of the curve [rev/s]
    density: float  # density of the curve [kg/m3]
    flow_scale: Number = 1.0  # multiplies the flows of the curve [-]
    pressure_scale: Number = 1.0  # multiplies its pressures [-]
    estimated: bool = False  # True for the quarter ellipse through two numbers


@dataclass(frozen=True)
class Electric:
    """Electrical side of a fan or pump."""

    power: Number = 0.0  # at `speed` [W]
    speed: float = 1.0  # [rev/s]
    current: float | None = None  # running, at `speed` [A]
    start_current: float | None = None  # [A]


@dataclass(frozen=True)
class Fan:
    """A fan by its sheet."""

    name: str
    size: float  # side of the frame [m]
    curve: Curve
    sound: Sound
    electric: Electric = field(default_factory=Electric)
    depth: float | None = None  # [m]
    blade_count: int | None = None
    price: float | None = None


@dataclass(frozen=True)
class Resistance:
    """A filter, grille or guard: pressure drop a V (mu/mu_20) + b V^2 (rho/1.2) on face velocity V."""

    name: str
    style: Literal["filter", "grille", "guard"]
    a: Number  # [Pa s/m]
    b: Number  # [Pa s2/m2]
    noise_adder: Number = 3.0  # when directly before the first fan row [dB]
    depth: float | None = None  # [m]


@dataclass(frozen=True)
class Radiator:
    """A radiator by its sheet."""

    name: str
    face_length: float  # [m]
    face_height: float  # [m]
    fan_sections: int
    a: Number  # air side, viscous [Pa s/m]
    b: Number  # air side, inertial [Pa s2/m2]
    ua_air: Number  # air-side conductance at `ua_air_velocity` and 1.2 kg/m3 [W/K]
    ua_air_velocity: float  # [m/s]
    ua_air_exponent: Number  # [-]
    ua_coolant: Number  # coolant-side conductance at `ua_coolant_flow` [W/K]
    ua_coolant_flow: float  # [m3/s]
    ua_coolant_exponent: Number  # [-]
    coolant_a: Number  # [Pa s/m3]
    coolant_b: Number  # [Pa s2/m6]
    passive_conductance: Number = 0.7  # per fan section, fans at rest [W/K]
    depth: float | None = None  # [m]
    price: float | None = None
    vessel: Vessel = field(default_factory=Vessel)
    frame: Frame = field(default_factory=Frame)

    @property
    def face_area(self) -> float:
        """Face area [m2]."""
        return self.face_length * self.face_height


@dataclass(frozen=True)
class Plate:
    """A cold plate: resistance r0 + c (q / reference_flow)^-n to its coolant inlet."""

    name: str
    r0: Number  # [K/W]
    c: Number  # at `reference_flow` [K/W]
    n: Number  # [-]
    coolant_a: Number  # [Pa s/m3]
    coolant_b: Number  # [Pa s2/m6]
    reference_flow: float = 1e-3 / 60.0  # 1 L/min [m3/s]
    vessel: Vessel = field(default_factory=Vessel)


@dataclass(frozen=True)
class Pump:
    """A pump by its sheet."""

    name: str
    curve: Curve
    electric: Electric
    sound: Sound
    coolant_share: Number = 0.9  # share of the electrical power that heats the coolant [-]
    mounting_adder: Number = 0.0  # [dB]
    vane_count: int | None = None
    vessel: Vessel = field(default_factory=Vessel)


@dataclass(frozen=True)
class FanRow:
    """Fans side by side in a stack."""

    group: str
    count: int
    gap: float = 0.0  # to the neighbouring core [m]


@dataclass(frozen=True)
class Core:
    """A radiator in a stack."""

    radiator: Radiator
    dust: Number = 1.0  # multiplies the viscous coefficient [-]


@dataclass(frozen=True)
class Screen:
    """A filter, grille or guard in a stack."""

    resistance: Resistance
    area: float  # [m2]
    dust: Number = 1.0  # multiplies the viscous coefficient [-]


@dataclass(frozen=True)
class Opening:
    """A bare opening in a stack."""

    area: Number  # [m2]
    loss_coefficient: Number  # on the velocity in `area` [-]


StackElement: TypeAlias = FanRow | Core | Screen | Opening


@dataclass(frozen=True)
class AirPath:
    """A stack of elements that air passes from one node to another."""

    name: str
    source: str  # node the stack starts from: "room" or an enclosure
    target: str  # node it ends in
    stack: tuple[StackElement, ...]
    series_efficiency: Number = 0.925
    space: Space = field(default_factory=Space)

    @functools.cached_property
    def fan_rows(self) -> tuple[FanRow, ...]:
        """Fan rows in the order of the stack."""
        return tuple(element for element in self.stack if isinstance(element, FanRow))

    @functools.cached_property
    def core(self) -> Core | None:
        """The radiator of the stack, if there is one."""
        return next((element for element in self.stack if isinstance(element, Core)), None)

    @property
    def layout(self) -> str:
        """What the order of the stack makes of it: push, pull, push-pull, fans only, passive or opening."""
        kinds = [type(e) for e in self.stack if isinstance(e, FanRow | Core)]
        if Core not in kinds:
            return "fans only" if kinds else "opening"
        before = FanRow in kinds[: kinds.index(Core)]
        after = FanRow in kinds[kinds.index(Core) :]
        return {
            (True, False): "push",
            (False, True): "pull",
            (True, True): "push-pull",
            (False, False): "passive",
        }[before, after]


@dataclass(frozen=True)
class SpeedRange:
    """Speeds a controller can set."""

    lowest: float  # [rev/s]
    highest: float  # [rev/s]
    step: float  # [rev/s]
    avoid: tuple[tuple[float, float], ...] = ()  # closed bands [rev/s]
    may_stop: bool = False
    present: float | None = None  # [rev/s]

    def admissible(self) -> tuple[float, ...]:
        """Every speed that may be set, rising; 0 first where the group may stop [rev/s]."""
        slack = 1e-9 * self.step
        count = int(math.floor((self.highest - self.lowest) / self.step + 1e-9)) + 1
        speeds = [self.lowest + i * self.step for i in range(count)]
        allowed = [s for s in speeds if not any(lo - slack <= s <= hi + slack for lo, hi in self.avoid)]
        return (0.0, *allowed) if self.may_stop and 0.0 not in allowed else tuple(allowed)


@dataclass(frozen=True)
class FanGroup:
    """Fans that share one speed."""

    name: str
    fan: Fan
    speeds: SpeedRange
    channel: str | None = None
    speed_spread: float = 0.01  # by which the speeds of its fans differ, fastest to slowest [-]


@dataclass(frozen=True)
class SensingPoint:
    """A place in a source whose temperature is read."""

    name: str
    resistance: Number  # from the plate to this place [K/W]
    limit: float | None = None  # [K]
    share: Number = 1.0  # share of the source's heat that passes `resistance` [-]


@dataclass(frozen=True)
class Source:
    """A heat source on the loop."""

    name: str
    plate: Plate
    points: tuple[SensingPoint, ...]
    kind: Literal["cpu", "gpu"] | None = None
    peak: float | None = None  # electrical power drawn for a moment [W]


@dataclass(frozen=True)
class Parallel:
    """Branches of the loop side by side; each a series of elements, nested branches allowed."""

    branches: tuple[tuple[LoopElement, ...], ...]


LoopElement: TypeAlias = str | Parallel  # "pump", a source's name, a path's name (its radiator), or branches


@dataclass(frozen=True)
class Coolant:
    """What runs in the loop."""

    kind: Literal["water", "ethylene_glycol", "propylene_glycol"]
    mass_fraction: float = 0.0  # of glycol [-]


@dataclass(frozen=True)
class Tube:
    """All tube and fittings of the ring, in series with the pump."""

    bore: float  # [m]
    length: Number  # [m]
    loss_coefficient: Number = 0.0  # sum over the fittings, on the velocity in the bore [-]


@dataclass(frozen=True)
class Loop:
    """The coolant ring."""

    coolant: Coolant
    volume: float  # [m3]
    pump: Pump
    pump_speeds: SpeedRange
    order: tuple[LoopElement, ...]
    tube: Tube
    pump_enclosure: str = ROOM  # node that the rest of the pump's power warms
    min_flow: float = 0.0  # [m3/s]
    pump_channel: str | None = None
    vessel: Vessel = field(default_factory=Vessel)  # the reservoir; the weakest of tube, fittings and reservoir


@dataclass(frozen=True)
class State:
    """A workload."""

    name: str
    heat: Mapping[str, Number]  # into the coolant, by source [W]
    air_heat: Mapping[str, Number]  # into enclosure air, by enclosure [W]
    room_temp: Number  # [K]
    limits: Limits = field(default_factory=Limits)


@dataclass(frozen=True)
class Build:
    """A whole rig in its room."""

    title: str
    room: Room
    enclosures: tuple[str, ...]
    fan_groups: tuple[FanGroup, ...]
    air_paths: tuple[AirPath, ...]
    sources: tuple[Source, ...]
    loop: Loop
    positions: tuple[Position, ...]
    states: tuple[State, ...]
    ledger: tuple[Entered, ...] = ()  # every number with its print, origin and tolerance
    inputs: Mapping[str, str] = field(default_factory=dict)  # SHA-256 of every file read, by relative path
    noise_sources: tuple[NoiseSource, ...] = ()
    other_rooms: tuple[OtherRoom, ...] = ()
    doors: tuple[Door, ...] = ()
    installation: Installation = field(default_factory=Installation)
    controller: Controller | None = None
    supply: Supply | None = None
    what_if: WhatIf = field(default_factory=WhatIf)

    @property
    def group_names(self) -> tuple[str, ...]:
        """Names along the last axis of a speed array: the fan groups, then "pump"."""
        return (*(group.name for group in self.fan_groups), PUMP)

    @property
    def speed_ranges(self) -> tuple[SpeedRange, ...]:
        """Speed ranges in the order of `group_names`."""
        return (*(group.speeds for group in self.fan_groups), self.loop.pump_speeds)

    def state(self, name: str) -> State:
        """Return the state of that name; KeyError if there is none."""
        return {state.name: state for state in self.states}[name]
