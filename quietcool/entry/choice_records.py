"""What decisions ask of a build, in SI: the scenarios it must live through, and what may be bought for it.

`build.py` offers every name of this module. Nothing here changes what a solve gives.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from quietcool.entry.build import Entered, Fan, Radiator

Side = Literal["push", "pull", "push-pull"]

COMMON_ROOMS = (295.15, 299.15, 303.15, 307.15)  # 22, 26, 30 and 34 degC: from a cool day to a hot one [K]


@dataclass(frozen=True)
class WhatIf:
    """Scenarios of a rig. The numbers that stand here are common practice without a source."""

    room_temps: tuple[float, ...] = COMMON_ROOMS  # [K]
    dust: float = 1.3  # multiplies the viscous resistance of cores and screens [-]
    door_ajar: float = 16.0  # what a partition keeps off less with its door ajar [dB]


@dataclass(frozen=True)
class Place:
    """A place for a radiator with its fans, and what may be bought for it."""

    path: str  # air path
    radiators: tuple[Radiator, ...]
    fans: tuple[Fan, ...]
    layouts: tuple[Side, ...] = ("push", "pull", "push-pull")


@dataclass(frozen=True)
class Catalogue:
    """What may be bought for a rig, and the rules."""

    places: tuple[Place, ...]
    title: str = ""
    file: str = "catalogue"  # as the user typed it
    budget: float | None = None  # for all radiators and fans of the places, in the money of the sheets' prices
    most_fan_models: int = 2  # different ones in all places together
    inputs: Mapping[str, str] = field(default_factory=dict)  # SHA-256 of every file read, by relative path
    ledger: tuple[Entered, ...] = ()  # every number of the sheets
