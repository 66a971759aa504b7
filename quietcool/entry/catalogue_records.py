"""What may be bought for a rig, and the rules of buying, in SI."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from quietcool.entry.build import Entered, Fan, Radiator

Side = Literal["push", "pull", "push-pull"]


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
