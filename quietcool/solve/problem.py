"""A batch of cases posed: what does not change while their properties are refreshed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.build import Build, State
from quietcool.physics import air
from quietcool.physics.pumps import electrical_power
from quietcool.solve.airflow import Row, RowBank, bank_of, fan_rows
from quietcool.solve.cases import take_cases
from quietcool.solve.loop import Branches, ring_branches

Floats = NDArray[np.float64]
Columns = NDArray[np.intp]


@dataclass(frozen=True)
class Problem:
    """What does not change while the properties of some cases are refreshed."""

    build: Build
    state: State
    varied: bool  # build or state hold arrays
    speeds: Floats  # (groups + 1, cases) [rev/s]
    rows: tuple[Row, ...]
    bank: RowBank | None  # the same rows side by side
    branches: Branches
    pump_power: Floats  # electrical, (cases,) [W]
    room_temp: Floats  # (cases,) [K]
    ambient_pressure: Floats  # (cases,) [Pa]


def pose(
    build: Build, state: State, speeds: Floats, varied: slice | Columns | None, picked: slice | Columns
) -> Problem:
    """Pose the picked columns of cases; `varied` picks them in build and state too, where those hold arrays."""
    if varied is not None:
        build, state = take_cases(build, varied), take_cases(state, varied)
    speeds = np.ascontiguousarray(speeds[:, picked])
    cases = speeds.shape[1]
    electric = build.loop.pump.electric
    rows = fan_rows(build, speeds)
    return Problem(
        build=build,
        state=state,
        varied=varied is not None,
        speeds=speeds,
        rows=rows,
        bank=bank_of(rows),
        branches=ring_branches(build.loop.order),
        pump_power=electrical_power(electric.power, speeds[-1], electric.speed),
        room_temp=np.broadcast_to(np.asarray(state.room_temp, dtype=np.float64), (cases,)),
        ambient_pressure=np.broadcast_to(air.isa_pressure(build.room.altitude), (cases,)),
    )
