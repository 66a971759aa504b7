"""From what a recording must keep to what may be heard at its microphone."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Levels: TypeAlias = NDArray[np.float64]

DB_PER_E_FOLD = 10.0 / np.log(10.0)  # a factor e in energy [dB]
INAUDIBLE_BELOW_FLOOR = 10.0  # a source this far under the louder floor adds 0.4 dB to it [dB]; common practice


def delivery_limit(
    noise_floor: ArrayLike, speech_on_track: ArrayLike, speech_at_microphone: ArrayLike, margin: ArrayLike = 0.0
) -> Levels:
    """Highest level of everything heard at a microphone that keeps a delivery specification.

    L_max = L_speech - (S - F) - m

    Parameters
    ----------
    noise_floor : array_like
        Highest noise floor that is accepted, F; negative. [dB re full scale]
    speech_on_track : array_like
        Level of speech on the track S, measured as F is. [dB re full scale]
    speech_at_microphone : array_like
        Level of that speech at the microphone, L_speech. [dB re 20 uPa]
    margin : array_like
        m: what compression and equalising will lift the floor by, and what should be left over. [dB]

    Returns
    -------
    ndarray
        Limit, room and microphone included; A-weighted if the specification's noise floor is read so. [dB re 20 uPa]

    References
    ----------
    .. [1] By definition: the gain of the chain is S - L_speech, the same for speech and noise; no source needed.

    Examples
    --------
    Speech of 72 dB at -20 dB on the track, a floor of -60 dB, 8 dB to spare.

    >>> float(delivery_limit(-60.0, -20.0, 72.0, 8.0))
    24.0
    """
    room_for_noise = np.asarray(speech_on_track, float) - np.asarray(noise_floor, float)
    limit: Levels = np.asarray(speech_at_microphone, float) - room_for_noise - np.asarray(margin, float)
    return limit


def share_under_limit(limit: ArrayLike, floor: ArrayLike) -> Levels:
    """What a source may add to a floor so that both together keep a limit.

    L = 10 lg( 10^(L_limit / 10) - 10^(L_floor / 10) )

    Parameters
    ----------
    limit : array_like
        Limit on everything heard. [dB]
    floor : array_like
        Level without the source: room and microphone together; -inf for none. [dB]

    Returns
    -------
    ndarray
        Limit on the source alone; -inf where the floor alone is at the limit or above it. [dB]

    References
    ----------
    .. [1] Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., CRC Press, 2018, chapter 1.

    Examples
    --------
    >>> round(float(share_under_limit(24.0, 20.0)), 4)
    21.7952
    >>> float(share_under_limit(20.0, 24.0))
    -inf
    """
    room_left = np.asarray(limit, float) - np.asarray(floor, float)
    fits = room_left > 0.0
    part = -np.expm1(-np.where(fits, room_left, 1.0) / DB_PER_E_FOLD)
    return np.where(fits, np.asarray(limit, float) + DB_PER_E_FOLD * np.log(part), -np.inf)[()]


def inaudible_limit(background: ArrayLike, self_noise: ArrayLike) -> Levels:
    """Level below which a source is not noticed on a track.

    L_max = max(L_room, L_microphone) - 10 dB

    Parameters
    ----------
    background : array_like
        Level of the room without the source; -inf for none. [dB(A)]
    self_noise : array_like
        Self noise of the microphone; -inf for none. [dB(A)]

    Returns
    -------
    ndarray
        Limit on the source. [dB(A)]

    Notes
    -----
    Common practice, no source: 10 dB under a floor adds 0.41 dB to it. A tone may still stick out.

    Examples
    --------
    >>> float(inaudible_limit(18.0, 12.0))
    8.0
    """
    limit: Levels = np.maximum(np.asarray(background, float), np.asarray(self_noise, float)) - INAUDIBLE_BELOW_FLOOR
    return limit
