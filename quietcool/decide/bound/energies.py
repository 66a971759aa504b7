"""Noise energies of settings and of blocks of settings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from quietcool.physics.sound import LOAD_ADDER_ONSET

Floats = NDArray[np.float64]


def energy_of(level: Floats) -> Floats:
    """Noise energy of a level over the unit's [-]."""
    return 10.0 ** (np.asarray(level) / 10.0)


def over_blocks(choose: np.ufunc, values: Floats, blocks: NDArray[np.intp]) -> Floats:
    """Least or greatest of values (..., steps) over blocks (options, 2) of steps, (..., options)."""
    found = values[..., blocks[:, 0]]
    for ahead in range(1, int(np.max(blocks[:, 1] - blocks[:, 0], initial=0)) + 1):
        found = choose(found, values[..., np.minimum(blocks[:, 0] + ahead, blocks[:, 1])])
    return np.asarray(found)


def load_factor(adder: float, share: Floats) -> Floats:
    """Factor on noise energy of a load adder at a load share."""
    return 10.0 ** (adder * np.clip((LOAD_ADDER_ONSET - share) / LOAD_ADDER_ONSET, 0.0, 1.0) / 10.0)
