"""What sounds, where it sounds and who listens, in SI: the acoustic records of a build.

`build.py` offers every name of this module. Levels are in dB and say of what; octave values are nine, 31.5 Hz to
8 kHz, unless they say otherwise. A field of type ``Number`` is a float or an array of case axes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, TypeAlias

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Number: TypeAlias = float | NDArray[np.float64]

ROOM = "room"
NOWHERE = -math.inf  # a level of nothing [dB]

Octaves: TypeAlias = tuple[float, ...]


@dataclass(frozen=True)
class Sound:
    """Sound power of one fan or pump over speed: one number that rises with `exponent`, or octaves that slide too."""

    power_level: Number  # A-weighted sound power level at `speed`, without the floor [dB(A) re 1 pW]
    speed: float  # [rev/s]
    exponent: Number  # k of k lg(N/N_ref), of the A-weighted level, or of the total where there are bands [dB]
    floor_power_level: Number = NOWHERE  # level that stays at any speed but zero [dB(A) re 1 pW]
    load_adder_scale: Number = 1.0  # multiplies the load adder [-]
    bands: Octaves | None = None  # sound power at `speed`, unweighted, eight from 63 Hz or nine [dB re 1 pW]
    tone_increment: Number = 7.0  # what the first tone adds to the octave that it lies in [dB]


@dataclass(frozen=True)
class NoiseSource:
    """A source of noise that no speed changes: a power supply, a drive, coil whine."""

    name: str
    power_level: Number  # A-weighted sound power level [dB(A) re 1 pW]
    bands: Octaves | None = None  # sound power, unweighted, eight from 63 Hz or nine [dB re 1 pW]
    tone: float | None = None  # the source is a tone of this frequency [Hz]
    states: tuple[str, ...] | None = None  # in which it sounds; None for all


@dataclass(frozen=True)
class Room:
    """The air that the rig breathes and the room that it sounds in."""

    temp: Number  # [K]
    altitude: Number = 0.0  # [m]
    volume: float | None = None  # [m3]
    surface: float | None = None  # [m2]
    mean_absorption: float | Octaves | None = None  # one number, or octaves, eight from 63 Hz or nine [-]


@dataclass(frozen=True)
class OtherRoom:
    """Another room, in which one may listen."""

    name: str
    surface: float  # [m2]
    mean_absorption: float | Octaves  # one number, or octaves, eight from 63 Hz or nine [-]
    volume: float | None = None  # [m3]


@dataclass(frozen=True)
class Door:
    """A door, window or wall between two rooms."""

    name: str
    between: tuple[str, str]  # names of rooms; "room" is the rig's
    area: float  # [m2]
    sound_reduction: float | Octaves  # one number, or octaves, eight from 63 Hz or nine [dB]


@dataclass(frozen=True)
class Delivery:
    """What a client asks of a track, and how loud speech is at the microphone."""

    noise_floor: float  # highest noise floor on the track [dB re full scale]
    speech_on_track: float  # level of speech on the track [dB re full scale]
    speech_at_microphone: float  # level of that speech at the microphone [dB re 20 uPa]
    margin: float = 0.0  # [dB]
    states: tuple[str, ...] | None = None  # in which it is held; None for all


@dataclass(frozen=True)
class Position:
    """A place where the rig is heard."""

    name: str
    distance: Number  # from the rig; in another room: from the rig to the door that leads there [m]
    directivity: Number = 1.0  # [-]
    field: Literal["room", "distance"] = "distance"
    partition: Number | Octaves = 0.0  # one number, or octaves, eight from 63 Hz or nine [dB]
    background: float | None = None  # [dB(A)]
    self_noise: float | None = None  # [dB(A)]
    limit: float | None = None  # on the rig's share [dB(A)]
    room: str = ROOM  # where it is: the rig's room or another one
    background_bands: Octaves | None = None  # unweighted, eight from 63 Hz or nine [dB]
    limit_nc: float | None = None  # on the rig's share [NC]
    limit_nr: float | None = None  # on the rig's share [NR]
    inaudible: bool = False  # the rig's share is held 10 dB under the louder of room and microphone
    delivery: Delivery | None = None


@dataclass(frozen=True)
class Limits:
    """Limits of one state besides those of the sensing points."""

    coolant: float | None = None  # hottest station of the ring [K]
    enclosure_air: Mapping[str, float] = field(default_factory=dict)  # by enclosure [K]
    position: Mapping[str, float] = field(default_factory=dict)  # by position, replaces its own [dB(A)]
    position_nc: Mapping[str, float] = field(default_factory=dict)  # by position, replaces its own [NC]
    position_nr: Mapping[str, float] = field(default_factory=dict)  # by position, replaces its own [NR]
    inaudible: tuple[str, ...] = ()  # positions, besides those that are so in every state


@dataclass(frozen=True)
class Installation:
    """Changes to the table of what a place in a stack adds to a fan's sound, for a calibrated rig."""

    used: bool = True  # False: no place adds anything
    broadband: Mapping[str, float] = field(default_factory=dict)  # by term of the table, instead of its number [dB]
    tones: Mapping[str, float] = field(default_factory=dict)  # by term of the table, instead of its number [dB]
