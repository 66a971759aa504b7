"""What a position is like without the rig, and what it asks of the rig: floors, limits in dB(A), criteria by octave."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from quietcool.physics import criteria, recording, sound
from quietcool.solve.sources import with_lowest

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from quietcool.entry.build import Build, Position, State

    Levels: TypeAlias = NDArray[np.float64]

ROOM_SLOPE = -5.0  # of a room's background from octave to octave [dB]: the RC curves of ANSI/ASA S12.2-2019, Annex D
WHITE_SLOPE = 3.0  # of white noise, ten lg of the octave ratio 10^0.3 [dB]; that microphones are white: common practice


def _shape(slope: float) -> Levels:
    """Nine octaves with a slope from each to the next, over their A-weighted level [dB]."""
    levels = slope * np.arange(9.0)
    shape: Levels = levels - sound.a_weighted_level(levels)
    shape.flags.writeable = False
    return shape


ROOM_SHAPE = _shape(ROOM_SLOPE)  # of a background that is given in dB(A) only [dB]
MICROPHONE_SHAPE = _shape(WHITE_SLOPE)  # of the self noise of a microphone [dB]


@dataclass(frozen=True)
class CriterionLimit:
    """A limit on the rig's share at one position that is no plain sum of energies."""

    position: int
    criterion: Literal["nc", "nr"]
    value: float  # highest rating [NC or NR]


def background_bands(position: Position) -> Levels:
    """Room background of a position by octave, as given or as a spectrum that falls by 5 dB an octave, (9,) [dB]."""
    if position.background_bands is not None:
        return with_lowest(position.background_bands)
    level = -np.inf if position.background is None else position.background
    return level + ROOM_SHAPE


def microphone_bands(position: Position) -> Levels:
    """Self noise of the microphone at a position by octave, as white noise, (9,) [dB]."""
    return (-np.inf if position.self_noise is None else position.self_noise) + MICROPHONE_SHAPE


def floor_bands(build: Build) -> Levels:
    """Background and self noise of every position together, by octave, (n_positions, 9) [dB]."""
    floors = [
        sound.sum_levels(np.array([background_bands(position), microphone_bands(position)]), axis=0)
        for position in build.positions
    ]
    return np.array(floors, float).reshape(len(build.positions), 9)


def background_level(position: Position) -> float:
    """Room background of a position, -inf where none is given [dB(A)]."""
    if position.background_bands is not None:
        return float(sound.a_weighted_level(position.background_bands))
    return -np.inf if position.background is None else position.background


def position_floors(build: Build) -> Levels:
    """Level at every position with the rig switched off.

    Parameters
    ----------
    build : Build
        Holds the positions.

    Returns
    -------
    ndarray, (n_positions,)
        Energy sum of background and self-noise, -inf where neither is given. [dB(A)]
    """
    floors = []
    for position in build.positions:
        levels = [background_level(position), -np.inf if position.self_noise is None else position.self_noise]
        floors.append(sound.sum_levels([level for level in levels if level > -np.inf]))
    return np.array(floors, float)


def delivery_limits(position: Position) -> tuple[float, float] | None:
    """What a position's delivery specification allows: for everything heard, and for the rig's share [dB(A)]."""
    spec = position.delivery
    if spec is None:
        return None
    heard = float(
        recording.delivery_limit(spec.noise_floor, spec.speech_on_track, spec.speech_at_microphone, spec.margin)
    )
    floors = [background_level(position), -np.inf if position.self_noise is None else position.self_noise]
    return heard, float(recording.share_under_limit(heard, sound.sum_levels(floors)))


def level_limits(position: Position, state: State | None = None) -> dict[str, float]:
    """Every limit in dB(A) on the rig's share at a position, by what asks for it.

    Parameters
    ----------
    position : Position
        With its own limits.
    state : State, optional
        Its limit by position goes before the position's own; it may ask for an inaudible rig, and a delivery may be
        held in some states only.

    Returns
    -------
    dict
        "limit", "inaudible" and "delivery", as far as they are asked for. [dB(A)]
    """
    found: dict[str, float] = {}
    own = position.limit if state is None else state.limits.position.get(position.name, position.limit)
    if own is not None:
        found["limit"] = own
    if position.inaudible or (state is not None and position.name in state.limits.inaudible):
        microphone = -np.inf if position.self_noise is None else position.self_noise
        found["inaudible"] = float(recording.inaudible_limit(background_level(position), microphone))
    spec, allowed = position.delivery, delivery_limits(position)
    if spec is not None and allowed is not None and (spec.states is None or state is None or state.name in spec.states):
        found["delivery"] = allowed[1]
    return found


def position_limits(build: Build, state: State | None = None) -> Levels:
    """Limit on the rig's share at every position: the lowest of those in dB(A).

    Parameters
    ----------
    build : Build
        Holds the positions with their own limits.
    state : State, optional
        Its limits by position go before the positions' own.

    Returns
    -------
    ndarray, (n_positions,)
        Limits, inf where there is none. [dB(A)]
    """
    limits = [min(level_limits(position, state).values(), default=np.inf) for position in build.positions]
    return np.array(limits, float)


def criterion_limits(build: Build, state: State | None = None) -> tuple[CriterionLimit, ...]:
    """Every limit by NC or NR on the rig's share.

    Parameters
    ----------
    build : Build
        Holds the positions with their own limits.
    state : State, optional
        Its limits by position go before the positions' own.

    Returns
    -------
    tuple of CriterionLimit
        Position by position, NC before NR.
    """
    found = []
    for index, position in enumerate(build.positions):
        nc = {} if state is None else state.limits.position_nc
        nr = {} if state is None else state.limits.position_nr
        for kind, value in (
            ("nc", nc.get(position.name, position.limit_nc)),
            ("nr", nr.get(position.name, position.limit_nr)),
        ):
            if value is not None:
                found.append(CriterionLimit(index, "nc" if kind == "nc" else "nr", value))
    return tuple(found)


def criterion_margin(limit: CriterionLimit, octave_levels: ArrayLike) -> Levels:
    """What every octave may rise before a rating is passed.

    Parameters
    ----------
    limit : CriterionLimit
        The criterion and its highest rating.
    octave_levels : array_like, (..., 9)
        The rig's share at the position, without weighting. [dB]

    Returns
    -------
    ndarray, (...)
        Margin, positive when kept. [dB]
    """
    margin = criteria.nc_margin if limit.criterion == "nc" else criteria.nr_margin
    return margin(octave_levels, limit.value)
