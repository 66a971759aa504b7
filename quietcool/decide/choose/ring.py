"""The coolant of every combination of radiators at every pump step: what it carries at most, and what it asks for."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.boxes import Boxes, root_box
from quietcool.decide.bound.frame import Frame
from quietcool.decide.bound.ranges import RingRanges, ring_ranges
from quietcool.decide.bound.relaxation import price_count
from quietcool.entry.build import Build
from quietcool.solve.loop import MAIN

Floats = NDArray[np.float64]


class Coolant(NamedTuple):
    """One set of radiators at every pump step; all (steps,)."""

    flow: Floats  # most coolant through any radiator [m3/s]
    least_flow: Floats  # [m3/s]
    capacity: Floats  # most capacity rate of the main stream [W/K]
    least_capacity: Floats  # [W/K]
    hottest: Floats  # most that the coolant before the first radiator may be over the room [K]
    heat: Floats  # that the radiators must carry [W]
    energy: Floats  # least noise energy of pump and fixed sources; inf where a limit is broken [-]

    @property
    def asked(self) -> Floats:
        """Drop that the radiators must bring about together, see `drop`; inf where none can [W/K]."""
        with np.errstate(divide="ignore", invalid="ignore"):
            part = self.heat / (self.capacity * self.hottest)
            return np.where((self.hottest > 0.0) & (part < 1.0), drop(self.heat / self.hottest, self.capacity), np.inf)


def drop(conductance: Floats, capacity: Floats | float) -> Floats:
    """What a radiator does to coolant, in a form that adds up along the ring [W/K].

    F = -C ln(1 - G / C): radiators that breathe the same air carry the heat Q at an inlet x over it when
    sum F >= -C ln(1 - Q / (C x))
    """
    found: Floats = -capacity * np.log1p(-np.minimum(conductance / capacity, 1.0 - 1e-12))
    return found


def coolant_of(frame: Frame) -> Coolant:
    """Flows, capacity rates, heat and limits of a rig at every pump step."""
    steps = np.arange(frame.pump_energy.size)
    boxes = _boxes(frame, steps)
    ring: RingRanges = ring_ranges(frame, boxes)
    flow = ring.flow[MAIN][:, 1]
    heat = sum((ring.heat[i][:, 0] for i, s in enumerate(frame.ring.segments) if s.whole), np.zeros(steps.size))
    kept = flow >= frame.build.loop.min_flow
    row = row_of(frame.build)
    names = [path.name for path in frame.build.air_paths]
    ceiling = ring.ceiling[frame.ring.radiator_node[names.index(row[0])]] if row else ring.ceiling.max(axis=0)
    return Coolant(
        flow,
        ring.flow[MAIN][:, 0],
        ring.capacity[0][:, 1],
        ring.capacity[0][:, 0],
        ceiling - frame.room_temp,
        heat,
        np.where(kept, frame.pump_energy, np.inf),
    )


def _boxes(frame: Frame, steps: NDArray[np.intp]) -> Boxes:
    root = root_box(frame, price_count(frame))
    boxes = root.take(np.zeros(steps.size, dtype=np.intp))
    return replace(boxes, pump=np.stack([steps, steps], axis=-1))


def row_of(build: Build) -> tuple[str, ...]:
    """Paths whose radiators the coolant meets one after the other, the hottest first; empty where they do not stand so.

    >>> from quietcool.entry.buildfile import read_build
    >>> from quietcool.entry.demos import demo_path
    >>> row_of(read_build(demo_path("sample_room")))
    ('front intake', 'bottom intake')
    """
    cooled = {path.name for path in build.air_paths if path.core is not None}
    order = build.loop.order
    starts = [i for i, element in enumerate(order) if element in cooled and order[i - 1] not in cooled]
    if len(starts) != 1:
        return ()
    turned = (*order[starts[0] :], *order[: starts[0]])
    row = tuple(str(element) for element in turned[: len(cooled)])
    return row if set(row) == cooled else ()
