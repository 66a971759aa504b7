"""Which source matters where: contributions, what removal would gain, what decides a rating, how the room answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from quietcool.entry.build import ROOM
from quietcool.physics import bands, criteria, rooms, sound, zwicker
from quietcool.solve.transfers import nine_octaves, surface_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from quietcool.entry.build import Build, Position
    from quietcool.solve.spectra import SpectrumState

    Levels: TypeAlias = NDArray[np.float64]

HALF = 10.0 * np.log10(2.0)  # of a source's energy [dB]
SCHROEDER_BANDS = slice(2, 4)  # 125 and 250 Hz: the reverberation that goes into the Schroeder frequency


@dataclass(frozen=True)
class SourceShare:
    """One source at one position."""

    source: str
    level: float  # -inf where silent [dB(A)]
    share: float  # of the rig's energy, A-weighted [-]
    gain_removed: float  # by which the rig's level falls without it; inf where nothing else sounds [dB]
    gain_halved: float  # by which it falls with half of the source's energy [dB]


@dataclass(frozen=True)
class Rating:
    """A spectrum by a criterion, with what decides it."""

    criterion: str  # "nc" or "nr"
    rating: float  # -inf below the lowest curve [-]
    frequency: float  # nominal mid-band of the deciding octave; NaN for an NC by speech interference [Hz]
    source: str | None  # that is loudest in that octave, or in those of speech; None where nothing sounds


@dataclass(frozen=True)
class RoomFacts:
    """How the room of the rig answers at one position, by octave 31.5 Hz to 8 kHz."""

    absorption_area: Levels  # (9,) [m2]
    critical_distance: Levels  # (9,) where the direct field is as strong as the reverberant one [m]
    reverberation: Levels  # (9,) by Sabine; NaN without a volume [s]
    schroeder: float  # below it single modes rule; NaN without a volume [Hz]


def loudness(octave_levels: Levels, field: str) -> float:
    """Loudness of octaves, their energy taken as even over the hertz of each, by ISO 532-1 [sone].

    Tones are not in it beyond what they add to their octaves, and nothing above the octave of 8 kHz.
    """
    middle = 1000.0 * 10.0 ** (0.1 * np.arange(-16.0, 12.0))  # thirds 25 Hz to 12.5 kHz
    thirds = bands.noise_between(octave_levels, middle * 10.0**-0.05, middle * 10.0**0.05)
    return float(zwicker.loudness_of_thirds(thirds, "diffuse" if field == ROOM else "free"))


def rank_sources(spectra: SpectrumState, position: int) -> tuple[SourceShare, ...]:
    """Sources of one case at one position, the loudest first.

    Parameters
    ----------
    spectra : SpectrumState
        One case.
    position : int
        Which position.

    Returns
    -------
    tuple of SourceShare
    """
    levels = spectra.contribution_levels[:, position]
    energy = 10.0 ** (levels / 10.0)
    whole = energy.sum()
    found = []
    for name, level, part in zip(spectra.sources, levels.tolist(), energy.tolist(), strict=True):
        rest = whole - part if len(energy) > 1 else 0.0
        share = part / whole if whole > 0.0 else 0.0
        removed = float(10.0 * np.log10(whole / rest)) if rest > 0.0 else (np.inf if part > 0.0 else 0.0)
        found.append(SourceShare(name, level, share, removed, float(-10.0 * np.log10(1.0 - 0.5 * share))))
    return tuple(sorted(found, key=lambda one: -one.level))


def rate(spectra: SpectrumState, position: int) -> tuple[Rating, ...]:
    """NC (by the rule of the standard) and NR of the rig's share of one case at one position, and what decides them."""
    rig, parts = spectra.rig[position], spectra.contributions[:, position]
    found = []
    for name, rule in (("nc", criteria.nc_rating), ("nr", criteria.nr_rating)):
        rating, frequency = rule(rig)
        if np.isnan(frequency):
            heard = sound.sum_levels(parts[:, criteria.SPEECH_BANDS])
        else:
            heard = parts[:, int(np.argmin(np.abs(criteria.BANDS - frequency)))]
        source = spectra.sources[int(np.argmax(heard))] if np.max(heard, initial=-np.inf) > -np.inf else None
        found.append(Rating(name, float(rating), float(frequency), source))
    return tuple(found)


def room_facts(build: Build, position: Position) -> RoomFacts | None:
    """How the rig's room answers at a position; None where its absorption or its size is not known."""
    room = build.room
    if room.mean_absorption is None or (room.surface is None and room.volume is None) or position.field != ROOM:
        return None
    surface = float(surface_of(room))
    absorption = np.broadcast_to(nine_octaves(room.mean_absorption), (9,))
    area = surface * absorption
    critical = rooms.critical_distance(float(position.directivity), rooms.room_constant(surface, absorption))
    if room.volume is None:
        return RoomFacts(area, critical, np.full(9, np.nan), np.nan)
    times = rooms.reverberation_time_sabine(room.volume, area)
    schroeder = float(rooms.schroeder_frequency(times[SCHROEDER_BANDS].mean(), room.volume))
    return RoomFacts(area, critical, times, schroeder)
