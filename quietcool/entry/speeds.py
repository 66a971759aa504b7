"""Speeds that a controller can set, counted without listing them."""

from __future__ import annotations

import math
from collections.abc import Sequence

Bands = Sequence[tuple[float, float]]

_SLACK = 1e-9  # of a step: a band that ends on a speed includes it


def band_complaint(bands: Bands) -> tuple[str, int] | None:
    """Return what is wrong with the first band that ends below its start, and its number."""
    for i, (low, high) in enumerate(bands):
        if low > high:
            return f"from {low:g} to {high:g} rpm", i
    return None


def admissible_count(lowest: float, highest: float, step: float, avoid: Bands) -> int:
    r"""Count the speeds lowest, lowest + step, ... up to highest that lie in no band.

    Parameters
    ----------
    lowest, highest, step : float
        Range and step. [any unit of speed]
    avoid : sequence of pairs
        Closed bands. [same unit]

    Returns
    -------
    int
        Number of speeds, 0 where the bands leave none.

    References
    ----------
    .. [1] Counting: all speeds of the grid less those of the merged bands.

    Examples
    --------
    >>> admissible_count(500.0, 600.0, 20.0, [(510.0, 560.0), (550.0, 580.0)])
    2
    """
    count = math.floor((highest - lowest) / step + _SLACK) + 1
    reached = 0  # number of the first speed not yet in a band
    for low, high in sorted(avoid):
        first = max(math.ceil((low - lowest) / step - _SLACK), reached)
        last = min(math.floor((high - lowest) / step + _SLACK), math.floor((highest - lowest) / step + _SLACK))
        if last >= first:
            count -= last - first + 1
            reached = last + 1
    return count
