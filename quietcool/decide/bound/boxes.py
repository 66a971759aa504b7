"""Boxes of what couples the groups: ranges of pressures, air and coolant temperatures and pump step; allowed steps."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.frame import HOTTEST, Frame
from quietcool.physics import air
from quietcool.solve.airflow import machine_curve

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

FARTHEST = 20.0  # no path carries more, in parts of the greatest free delivery of a row [-]


@dataclass(frozen=True)
class Boxes:
    """Many boxes; the first axis of every array counts them."""

    pressure: Floats  # of every enclosure, (boxes, enclosures, 2) [Pa]
    air_temp: Floats  # of every enclosure, (boxes, enclosures, 2) [K]
    coolant_temp: Floats  # of every node of the ring, (boxes, nodes, 2) [K]
    pump: NDArray[np.intp]  # first and last pump step, (boxes, 2)
    allowed: tuple[Flags, ...]  # options of every cluster, each (boxes, options)
    flow: tuple[Floats, ...]  # range at every option of every path, each (boxes, options, 2) [kg/s]
    conductance: tuple[Floats, ...]  # likewise, 0 without a radiator [W/K]
    price: Floats  # multipliers to start from, (boxes, prices)
    bound: Floats  # noise energy that no setting in the box undercuts, (boxes,) [-]
    depth: NDArray[np.intp]  # (boxes,)
    number: NDArray[np.intp]  # of the box in the search's log, (boxes,)
    level: int = 0  # of the frame that its options belong to

    @property
    def count(self) -> int:
        """Number of boxes."""
        return self.bound.size

    def take(self, picked: NDArray[np.intp] | NDArray[np.bool_]) -> Boxes:
        """The picked boxes."""
        return Boxes(
            pressure=self.pressure[picked],
            air_temp=self.air_temp[picked],
            coolant_temp=self.coolant_temp[picked],
            pump=self.pump[picked],
            allowed=tuple(allowed[picked] for allowed in self.allowed),
            flow=tuple(flow[picked] for flow in self.flow),
            conductance=tuple(conductance[picked] for conductance in self.conductance),
            price=self.price[picked],
            bound=self.bound[picked],
            depth=self.depth[picked],
            number=self.number[picked],
            level=self.level,
        )


def join(parts: list[Boxes]) -> Boxes:
    """All boxes of several batches of one level."""
    return Boxes(
        pressure=np.concatenate([part.pressure for part in parts]),
        air_temp=np.concatenate([part.air_temp for part in parts]),
        coolant_temp=np.concatenate([part.coolant_temp for part in parts]),
        pump=np.concatenate([part.pump for part in parts]),
        allowed=tuple(np.concatenate(same) for same in zip(*(part.allowed for part in parts), strict=True)),
        flow=tuple(np.concatenate(same) for same in zip(*(part.flow for part in parts), strict=True)),
        conductance=tuple(np.concatenate(same) for same in zip(*(part.conductance for part in parts), strict=True)),
        price=np.concatenate([part.price for part in parts]),
        bound=np.concatenate([part.bound for part in parts]),
        depth=np.concatenate([part.depth for part in parts]),
        number=np.concatenate([part.number for part in parts]),
        level=parts[0].level,
    )


def refined(boxes: Boxes, coarse: Frame, fine: Frame) -> Boxes:
    """The same boxes at the next finer level: a finer option is open, and its ranges known, as its block was."""
    holding = [big.holding(small) for big, small in zip(coarse.clusters, fine.clusters, strict=True)]
    holding_own = []
    for number, big, small in zip(coarse.cluster_of, coarse.paths, fine.paths, strict=True):
        own = np.zeros(small.power.size, dtype=np.intp)
        own[small.option_of_cluster] = big.option_of_cluster[holding[number]]
        holding_own.append(own)
    return replace(
        boxes,
        allowed=tuple(allowed[:, held] for allowed, held in zip(boxes.allowed, holding, strict=True)),
        flow=tuple(flow[:, own] for flow, own in zip(boxes.flow, holding_own, strict=True)),
        conductance=tuple(value[:, own] for value, own in zip(boxes.conductance, holding_own, strict=True)),
        level=boxes.level + 1,
    )


class Narrow(NamedTuple):
    """Boxes with the options only that one of them allows."""

    frame: Frame
    boxes: Boxes
    kept: list[NDArray[np.intp]]  # options of every cluster
    own: list[NDArray[np.intp]]  # options of every path


def narrowed(frame: Frame, boxes: Boxes) -> Narrow:
    """Leave out options that none of the boxes allows."""
    kept = [np.flatnonzero(np.any(allowed, axis=0)) for allowed in boxes.allowed]
    narrow, own = frame.narrowed(kept)
    small = replace(
        boxes,
        allowed=tuple(allowed[:, mine] for allowed, mine in zip(boxes.allowed, kept, strict=True)),
        flow=tuple(flow[:, mine] for flow, mine in zip(boxes.flow, own, strict=True)),
        conductance=tuple(value[:, mine] for value, mine in zip(boxes.conductance, own, strict=True)),
    )
    return Narrow(narrow, small, kept, own)


def widened(boxes: Boxes, narrow: Narrow, frame: Frame) -> Boxes:
    """Boxes of a narrow frame with all options of the whole one again; those left out stay struck."""
    allowed = tuple(np.zeros((boxes.count, cluster.count), dtype=np.bool_) for cluster in frame.clusters)
    flow = tuple(np.zeros((boxes.count, path.power.size, 2)) for path in frame.paths)
    conductance = tuple(np.zeros_like(one) for one in flow)
    for full, small, kept in zip(allowed, boxes.allowed, narrow.kept, strict=True):
        full[:, kept] = small
    for all_full, all_small in ((flow, boxes.flow), (conductance, boxes.conductance)):
        for wide, value, own in zip(all_full, all_small, narrow.own, strict=True):
            wide[:, own] = value
    return replace(boxes, allowed=allowed, flow=flow, conductance=conductance)


def hull(boxes: Boxes) -> Boxes:
    """The smallest box that holds all boxes."""

    def around(spans: Floats) -> Floats:
        return np.stack([spans[..., 0].min(axis=0), spans[..., 1].max(axis=0)], axis=-1)[None]

    return Boxes(
        pressure=around(boxes.pressure),
        air_temp=around(boxes.air_temp),
        coolant_temp=around(boxes.coolant_temp),
        pump=np.array([[boxes.pump[:, 0].min(), boxes.pump[:, 1].max()]]),
        allowed=tuple(np.any(a, axis=0, keepdims=True) for a in boxes.allowed),
        flow=tuple(around(f) for f in boxes.flow),
        conductance=tuple(around(c) for c in boxes.conductance),
        price=boxes.price[:1],
        bound=boxes.bound.min(keepdims=True),
        depth=boxes.depth[:1],
        number=boxes.number[:1],
        level=boxes.level,
    )


def root_box(frame: Frame, price_count: int) -> Boxes:
    """One box that holds every setting worth considering."""
    strongest = [
        machine_curve(frame.build.fan_groups[row.fan_group].fan.curve).shutoff_pressure
        * float(frame.build.fan_groups[row.fan_group].fan.curve.pressure_scale)
        * (row.fastest.max() / frame.build.fan_groups[row.fan_group].fan.curve.speed) ** 2
        for options in frame.paths
        for row in options.rows
    ]
    reach = 1.5 * sum(strongest) + 1.0  # more than all fans in series can build up, at any density met
    enclosures, nodes = frame.enclosures, len(frame.ring.nodes)
    pressure = np.tile([-reach, reach], (1, enclosures, 1))
    hottest = np.minimum(frame.enclosure_limit, HOTTEST)
    air_temp = np.stack([np.full(enclosures, frame.room_temp), hottest], axis=-1)[None]
    coolant = np.tile([frame.room_temp, frame.coolant_limit], (1, nodes, 1))
    flow = tuple(np.tile([-FARTHEST, FARTHEST], (1, o.power.size, 1)) * o.flow_scale for o in frame.paths)
    # A radiator moves no more than the air that passes it can carry.
    most = [FARTHEST * o.flow_scale * air.SPECIFIC_HEAT if o.path.core else 0.0 for o in frame.paths]
    conductance = tuple(np.tile([0.0, g], (1, o.power.size, 1)) for o, g in zip(frame.paths, most, strict=True))
    return Boxes(
        pressure=pressure,
        air_temp=air_temp,
        coolant_temp=coolant,
        pump=np.array([[0, frame.pump_energy.size - 1]]),
        allowed=tuple(np.ones((1, c.count), dtype=np.bool_) for c in frame.clusters),
        flow=flow,
        conductance=conductance,
        price=np.zeros((1, price_count)),
        bound=np.zeros(1),
        depth=np.zeros(1, dtype=np.intp),
        number=np.zeros(1, dtype=np.intp),
    )
