"""From room to room: what comes through a door or wall of a stated loss."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Values: TypeAlias = NDArray[np.float64]


def level_change_through_partition(
    sound_reduction: ArrayLike, partition_area: ArrayLike, absorption_area: ArrayLike
) -> Values:
    """Level in the room behind a partition over the level before it.

    L_2 - L_1 = -R + 10 lg(S / A_2)

    Parameters
    ----------
    sound_reduction : array_like
        Sound reduction index R of the door or wall. [dB]
    partition_area : array_like
        Its area S, above 0. [m2]
    absorption_area : array_like
        Equivalent absorption area A_2 of the room behind it, above 0. [m2]

    Returns
    -------
    ndarray
        Level difference. [dB]

    Notes
    -----
    Diffuse fields on both sides; not within a metre or so of the door, and not below the Schroeder frequency.
    What goes by other ways than this partition is left out.

    References
    ----------
    .. [1] ISO 16283-1:2014, 3.13 (R' = D + 10 lg(S / A)); Bies, Hansen & Howard, "Engineering Noise Control",
       5th ed., CRC Press, 2018, chapter on partitions.

    Examples
    --------
    A door of 2 m2 and 30 dB into a room with 8 m2 of absorption.

    >>> round(float(level_change_through_partition(30.0, 2.0, 8.0)), 4)
    -36.0206
    """
    spread = np.asarray(partition_area, float) / np.asarray(absorption_area, float)
    change: Values = 10.0 * np.log10(spread) - np.asarray(sound_reduction, float)
    return change
