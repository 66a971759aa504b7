"""A question to the optimizer: which position, which states, and the answer to one batch of speeds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.limits import SCALES, limits, margins
from quietcool.entry.build import Build, State
from quietcool.physics import criteria
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point
from quietcool.solve.spectra import rig_spectrum

Floats = NDArray[np.float64]
Quantity = Literal["dba", "nc", "nr"]


@dataclass
class Tally:
    """How many operating points were solved for an answer."""

    cases: int = 0


@dataclass(frozen=True)
class Question:
    """One setting for some states, heard at one position. Zero slack: a limit is kept when its margin is at least 0."""

    build: Build
    states: tuple[State, ...]
    position: int
    tally: Tally = field(default_factory=Tally, compare=False)
    quantity: Quantity = "dba"  # what is to be least there: the level in dB(A), or the rig's rating by tangency
    band: int | None = None  # instead: the level of this octave, 0 for 31.5 Hz; the bound of a rating asks for it

    @cached_property
    def grids(self) -> tuple[Floats, ...]:
        """Admissible speeds of every group, the pump last [rev/s]."""
        return tuple(np.array(speeds.admissible()) for speeds in self.build.speed_ranges)

    @property
    def limit_names(self) -> tuple[tuple[str, str], ...]:
        """State and limit of every column of the margins."""
        return tuple((state.name, limit.name) for state in self.states for limit in limits(self.build, state))

    @property
    def limit_units(self) -> tuple[str, ...]:
        """Unit of every column of the margins before scaling."""
        return tuple(limit.unit for state in self.states for limit in limits(self.build, state))

    def ask(
        self, speeds: Floats, *, heat_change: Mapping[tuple[str, str], Floats] | None = None
    ) -> tuple[Floats, Floats]:
        """Level and margins at given speeds.

        Parameters
        ----------
        speeds : ndarray, (cases, groups + 1)
            [rev/s]
        heat_change : mapping, optional
            Watts added to a source in a state, by (state, source), each (cases,). [W]

        Returns
        -------
        level : ndarray, (cases,)
            Worst over the states; inf where a case has no answer. [dB(A), rating, or dB of one octave]
        margins : ndarray, (cases, limits of all states)
            In parts of `SCALES`; -inf where a quantity has no steady value. [-]
        """
        self.tally.cases += speeds.shape[0] * len(self.states)
        level = np.full(speeds.shape[0], -np.inf)
        columns = []
        for state in self.states:
            changed = _with_heat(state, heat_change or {})
            point = solve_operating_point(self.build, changed, speeds)
            heard = self._heard(changed, point)
            level = np.maximum(level, np.where(np.isnan(heard), np.inf, heard))
            scale = np.array([SCALES[limit.unit] for limit in limits(self.build, state)])
            kept = margins(self.build, changed, point) / scale
            columns.append(np.where(np.isnan(kept) | ~point.converged[:, None], -np.inf, kept))
        return level, np.concatenate(columns, axis=1)

    def _heard(self, state: State, point: OperatingPoint) -> Floats:
        """What is to be least, of a batch of solved cases."""
        if self.quantity == "dba" and self.band is None:
            return point.level[:, self.position]
        octaves = rig_spectrum(self.build, point.speeds, point.load_share, state)[:, self.position]
        if self.band is not None or self.quantity == "dba":
            heard: Floats = octaves[:, self.band]
            return heard
        return criteria.tangency_index(octaves, self.quantity).rating


def _with_heat(state: State, change: Mapping[tuple[str, str], Floats]) -> State:
    mine = {source: watts for (name, source), watts in change.items() if name == state.name}
    if not mine:
        return state
    heat = {source: watts + mine.get(source, 0.0) for source, watts in state.heat.items()}
    return replace(state, heat=heat)
