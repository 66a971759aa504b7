"""What a search did, enough for somebody else to check it: where boxes were cut, and the prices that bounded them.

Ranges and struck options are not kept: a checker has to find its own, and must not believe those of the search.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Numbers = NDArray[np.intp]


class Cut(NamedTuple):
    """A box cut along one coordinate; one child more than there are values."""

    coordinate: int  # pressures of the enclosures, their airs, nodes of the ring, the pump
    values: tuple[float, ...]  # for the pump: last step of the first child
    children: tuple[int, ...]


class Prices(NamedTuple):
    """What bounded a box."""

    price: tuple[float, ...]  # of mass by enclosure, heat by enclosure, heat by segment of the ring
    flow: tuple[float, ...]  # references by path [kg/s]
    conductance: tuple[float, ...]  # [W/K]


@dataclass
class SearchLog:
    """Record of the search of one state; box 0 is the root."""

    unit: float = math.nan  # level of energy 1 [dB(A)]
    lower_bound: float = math.nan  # what the search came to; inf if nothing keeps the limits [dB(A)]
    trims: list[tuple[int, tuple[float, ...]]] = field(default_factory=list)
    cuts: dict[int, Cut] = field(default_factory=dict)
    prices: dict[int, Prices] = field(default_factory=dict)

    def trim(self, coordinate: int, cuts: Floats) -> None:
        """The root was cut at inner values (k,), and what was left of it put together again."""
        self.trims.append((coordinate, tuple(float(value) for value in cuts)))

    def split(self, parents: Numbers, coordinates: Numbers, cuts: Floats, children: Numbers) -> None:
        """Boxes (m,) were cut along coordinates (m,) at values (m, k) into children (m, k + 1)."""
        for parent, coordinate, values, born in zip(parents, coordinates, cuts, children, strict=True):
            self.cuts[int(parent)] = Cut(int(coordinate), tuple(map(float, values)), tuple(map(int, born)))

    def bound(self, numbers: Numbers, price: Floats, reference: Sequence[Floats]) -> None:
        """Boxes (m,) were bounded at prices (m, prices) with references of flow and conductance, (m, paths) each."""
        for number, one, flow, conductance in zip(numbers, price, *reference, strict=True):
            self.prices[int(number)] = Prices(
                tuple(map(float, one)), tuple(map(float, flow)), tuple(map(float, conductance))
            )

    def end(self, unit: float, lower_bound: float) -> None:
        """The search came to a bound."""
        self.unit, self.lower_bound = float(unit), float(lower_bound)
