"""Everything that is heard of one solved state, position by position: the one call behind the sound answer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from quietcool.solve.beats import BaredTones, Beat, BeatBand, bared_tones, beat_bands, find_beats
from quietcool.solve.listening import criterion_limits, criterion_margin, delivery_limits, floor_bands, level_limits
from quietcool.solve.ranking import Rating, RoomFacts, SourceShare, loudness, rank_sources, rate, room_facts
from quietcool.solve.spectra import SpectrumState, predict_spectra
from quietcool.solve.tones import ToneState, predict_tones

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy as np
    from numpy.typing import NDArray

    from quietcool.entry.build import Build, Position, State
    from quietcool.solve.operating_point import OperatingPoint


@dataclass(frozen=True)
class Asked:
    """A limit at a position, and how far it is kept."""

    what: str  # "limit", "inaudible", "delivery", "nc" or "nr"
    value: float  # on the rig's share [dB(A), NC or NR]
    margin: float  # positive when kept; of NC and NR: what every octave may rise [dB]


@dataclass(frozen=True)
class HeardAt:
    """What is heard at one position."""

    place: int  # of the position in the build
    position: Position
    level: float  # the rig's share [dB(A)]
    total: float  # with background and self noise [dB(A)]
    floor: NDArray[np.float64]  # background and self noise by octave, (9,) [dB]
    loudness: float  # of the rig's share [sone]
    total_loudness: float  # with background and self noise [sone]
    limits: tuple[Asked, ...]
    delivery: tuple[float, float] | None  # what the specification allows: everything heard, the rig's share [dB(A)]
    sources: tuple[SourceShare, ...]
    ratings: tuple[Rating, ...]
    room: RoomFacts | None
    beats: tuple[Beat, ...]
    beat_bands: tuple[BeatBand, ...]
    bared: tuple[BaredTones, ...]


@dataclass(frozen=True)
class Heard:
    """What is heard of one solved state."""

    spectra: SpectrumState
    tones: ToneState
    positions: tuple[HeardAt, ...]


def listen(build: Build, state: State, point: OperatingPoint, positions: Sequence[int] | None = None) -> Heard:
    """Return everything that is heard of one solved state.

    Parameters
    ----------
    build, state : Build, State
        What the point was solved for; without case axes.
    point : OperatingPoint
        One case that has converged.
    positions : sequence of int, optional
        Which positions; all if not given.

    Returns
    -------
    Heard
    """
    spectra = predict_spectra(build, point.speeds, point.load_share, state)
    tones = predict_tones(build, point.speeds, point.load_share, state)
    floors = floor_bands(build)
    places = range(len(build.positions)) if positions is None else positions
    found = []
    for place in places:
        position = build.positions[place]
        found.append(
            HeardAt(
                place=place,
                position=position,
                level=float(point.level[place]),
                total=float(point.total[place]),
                floor=floors[place],
                loudness=loudness(spectra.rig[place], position.field),
                total_loudness=loudness(spectra.total[place], position.field),
                limits=asked_at(build, state, place, float(point.level[place]), spectra.rig[place]),
                delivery=delivery_limits(position),
                sources=rank_sources(spectra, place),
                ratings=rate(spectra, place),
                room=room_facts(build, position),
                beats=find_beats(build, tones, place),
                beat_bands=beat_bands(build, tones, point.speeds, place),
                bared=bared_tones(build, point, place, state),
            )
        )
    return Heard(spectra, tones, tuple(found))


def asked_at(build: Build, state: State, place: int, level: float, octaves: NDArray[np.float64]) -> tuple[Asked, ...]:
    """Every limit at one position with its margin, those in dB(A) first."""
    plain: Mapping[str, float] = level_limits(build.positions[place], state)
    found = [Asked(what, value, value - level) for what, value in plain.items()]
    for limit in criterion_limits(build, state):
        if limit.position == place:
            found.append(Asked(limit.criterion, limit.value, float(criterion_margin(limit, octaves))))
    return tuple(found)
