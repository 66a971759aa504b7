"""What decisions ask of a build, in SI: the scenarios it must live through.

`build.py` offers every name of this module. Nothing here changes what a solve gives.
"""

from __future__ import annotations

from dataclasses import dataclass

COMMON_ROOMS = (295.15, 299.15, 303.15, 307.15)  # 22, 26, 30 and 34 degC: from a cool day to a hot one [K]


@dataclass(frozen=True)
class WhatIf:
    """Scenarios of a rig. The numbers that stand here are common practice without a source."""

    room_temps: tuple[float, ...] = COMMON_ROOMS  # [K]
    dust: float = 1.3  # multiplies the viscous resistance of cores and screens [-]
    door_ajar: float = 16.0  # what a partition keeps off less with its door ajar [dB]
