"""What the workshop asks of a build, in SI: room for stacks, vessels of the loop, controller and power supply.

`build.py` offers every name of this module. Nothing here changes what a solve gives.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Wiring = Literal["splitter", "hub"]


@dataclass(frozen=True)
class Vessel:
    """What a part of the loop holds and bears."""

    volume: float | None = None  # coolant inside [m3]
    max_pressure: float | None = None  # gauge pressure that its maker allows [Pa]


@dataclass(frozen=True)
class Frame:
    """Frame of a radiator: where screws go, and how long it is with its end tanks."""

    length: float | None = None  # overall [m]
    thread: str | None = None  # "M3", "6-32"
    thread_depth: float | None = None  # usable by a screw before it meets a tube [m]


@dataclass(frozen=True)
class Space:
    """Room that a place in the case leaves for a stack."""

    depth: float | None = None  # [m]
    length: float | None = None  # along the radiator [m]
    clearance: float | None = None  # to keep free in depth [m]


@dataclass(frozen=True)
class Channel:
    """One output of a controller."""

    name: str
    limit: float | None = None  # by the manual [A]
    wiring: Wiring = "splitter"  # a hub takes its power from the supply
    hub_limit: float | None = None  # of all outputs of the hub together [A]


@dataclass(frozen=True)
class Controller:
    """What drives the fans."""

    channel_count: int | None = None
    channel_limit: float | None = None  # of a channel that is not named in `channels`, by the manual [A]
    channels: tuple[Channel, ...] = ()


@dataclass(frozen=True)
class Supply:
    """Power supply and the mains circuit that feeds it."""

    rating: float  # [W]
    efficiency: float | None = None  # [-]
    mains_voltage: float | None = None  # [V]
    circuit_current: float | None = None  # rating of the circuit's breaker [A]
    other_load: float = 0.0  # of other things on that circuit [W]
