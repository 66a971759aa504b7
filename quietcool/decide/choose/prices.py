"""The Lagrangian of a slice: what every option is worth at given prices, and prices that make the bound high.

In a slice of coolant, enclosure pressure and air temperature any setting that keeps the limits satisfies

1. The radiators bring about the drop that the heat asks for: sum F >= F_asked (see `ring.drop`). Where one radiator
   breathes enclosure air, its coolant is colder by what the radiators before it have done: `before` of F.
2. As much air enters the enclosure as leaves it: sum m = 0.
3. What radiators blow into it, and the heat of its air, leaves with the air that enters: Q + W - (heat that goes
   elsewhere) <= sum m+ c_p (T - T_room).

For any prices a, b >= 0 of 1, c of 2 and d >= 0 of 3 the noise energy is at least a sum over the places of the least
value of each, plus terms of the coolant: so a catalogue is bounded by adding tables, and it holds for any prices.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.choose.places import Cells, Working
from quietcool.decide.choose.ring import drop
from quietcool.physics import air
from quietcool.physics.network import REFERENCE

Floats = NDArray[np.float64]

BEFORE = 9  # slices of what radiators before the one in enclosure air have done
PRICES = 4  # before, asked, air, warmth


class CoolantSlice(NamedTuple):
    """Coolant between two capacity rates."""

    flow: float  # most [m3/s]
    low: float  # capacity rate [W/K]
    high: float
    hottest: float  # most over the room before the first radiator [K]
    asked: float  # least drop that any radiators in the slice must bring about [W/K]
    row: bool  # the radiators stand one after the other


@dataclass(frozen=True)
class Terms:
    """One place in one slice of coolant; (options, cells, steps), `drops` and `leaving` with one axis before.

    The drop of what stands before the radiator in enclosure air has the price `before`, all others have `asked`.
    """

    role: str  # "before", "inside" (the one in enclosure air) or "after"
    energy: Floats
    drops: Floats  # F at most; for "inside" at the ends of the slices of `before`
    begins: Floats  # of these slices, (slices,) or (1,) of 0 [W/K]
    ends: Floats
    entering: Floats  # range, last axis of 2 [kg/s]
    leaving: Floats  # heat that goes elsewhere at most, by slices of `before` too [W]
    carried: Floats  # heat that the entering air may take along at most [W]

    def worth(self, prices: Floats) -> Floats:
        """Least value over the steps at prices (4, cells): (options, cells)."""
        before, asked, flow, warmth = prices[:, None, :, None]
        moved = np.where(flow >= 0.0, flow * self.entering[..., 0], flow * self.entering[..., 1])
        base = self.energy + moved - warmth * self.carried
        price = before if self.role == "before" else asked
        best = np.full(base.shape[:-1], np.inf)
        for done, end, drops, leaving in zip(self.begins, self.ends, self.drops, self.leaving, strict=True):
            least = (base - price * drops - warmth * leaving).min(axis=-1, initial=np.inf)
            if self.role == "inside":
                gain = (before - asked)[..., 0]
                least = least + np.where(gain >= 0.0, gain * done, gain * end)
            best = np.minimum(best, least)
        return best

    def at(self, option: NDArray[np.intp]) -> Terms:
        """Some options of their own in every cell, (some, cells)."""
        cells = np.arange(option.shape[-1])
        return Terms(
            self.role, self.energy[option, cells], self.drops[:, option, cells], self.begins, self.ends,
            self.entering[option, cells], self.leaving[:, option, cells], self.carried[option, cells],
        )  # fmt: skip

    def take(self, cells: NDArray[np.intp]) -> Terms:
        """The picked cells."""
        return Terms(
            self.role, self.energy[:, cells], self.drops[:, :, cells], self.begins, self.ends, self.entering[:, cells],
            self.leaving[:, :, cells], self.carried[:, cells],
        )  # fmt: skip


def terms_of(options: Sequence[Sequence[Working]], role: str, cells: Cells, coolant: CoolantSlice) -> Terms:
    """Terms of one place (each option one path), or of paths that nobody chooses (one option, several paths)."""
    edges = np.linspace(0.0, max(coolant.asked, 1e-9), BEFORE + 1) if role == "inside" else np.zeros(2)
    begins, ends = edges[:-1], edges[1:]
    parts = [[_path_terms(one, cells, coolant, begins) for one in option] for option in options]
    summed = [[np.asarray(sum(column)) for column in zip(*option, strict=True)] for option in parts]
    longest = max(option[0].shape[-1] for option in summed)

    def stacked(k: int, missing: float, steps: int) -> Floats:
        """Options side by side; steps that one lacks are impossible."""
        rows = []
        for option in summed:
            pad = [(0, 0)] * option[k].ndim
            pad[steps] = (0, longest - option[0].shape[-1])
            rows.append(np.pad(option[k], pad, constant_values=missing))
        return np.stack(rows, axis=1 if k in (1, 3) else 0)

    return Terms(role, stacked(0, np.inf, -1), stacked(1, 0.0, -1), begins, ends, stacked(2, 0.0, -2),
                 stacked(3, 0.0, -1), stacked(4, 0.0, -1))  # fmt: skip


def _path_terms(one: Working, cells: Cells, coolant: CoolantSlice, begins: Floats) -> tuple[Floats, ...]:
    """Energy, drops, entering, leaving and carried of one path."""
    entering = one.entering
    carried = np.maximum(entering[..., 1], 0.0) * air.SPECIFIC_HEAT * cells.temp[:, 1:]
    most = np.maximum(one.conductance(coolant.flow, coolant.high), one.passive)
    backwards = one.flow[..., 0] < 0.0
    colder = np.where(backwards | (one.breathes == REFERENCE), 0.0, cells.temp[:, :1])
    inlets = coolant.hottest * np.exp(-begins / coolant.high)[:, None, None]
    under = most * np.maximum(1.0 - colder / inlets, 0.0)
    drops = drop(under, coolant.low) if coolant.row else under
    away = one.blows == REFERENCE
    goes = one.flow[..., 1] >= 0.0 if away else backwards
    leaving = np.where(goes, under * inlets, 0.0)
    if one.breathes == REFERENCE and not away:  # what passes by itself, where forced flows move less, goes to the room
        least = one.sure_conductance(cells.coolant_flow, cells.capacity)
        leaving = np.maximum(leaving, np.maximum(one.passive - least, 0.0) * inlets)
    return one.energy, drops, entering, leaving, carried
