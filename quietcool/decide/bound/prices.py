"""Where prices come from: the box they are first raised in, and the imbalances that count alike."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.boxes import Boxes, root_box
from quietcool.decide.bound.frame import Frame
from quietcool.decide.bound.relaxation import price_count
from quietcool.decide.incumbent import Incumbent, grid_speeds
from quietcool.solve.loop import station_names
from quietcool.solve.operating_point import solve_operating_point

Floats = NDArray[np.float64]


def price_scales(frame: Frame) -> Floats:
    """Imbalances of mass [kg/s] and heat [W] that count alike when prices are stepped, (prices,)."""
    n, segments = frame.enclosures, len(frame.ring.segments)
    watts = sum(float(w) for w in frame.state.heat.values()) + 1.0
    flow = 0.2 * max(options.flow_scale for options in frame.paths)
    return np.concatenate([np.full(n, flow), np.full(n, 0.2 * watts), np.full(segments, 0.25 * watts)])


def box_round(frame: Frame, best: Incumbent, width: float) -> Boxes:
    """One box of a width [Pa, K] round where a setting rests."""
    build = frame.build
    speeds = grid_speeds(frame.question, best.steps[None])[0]
    point = solve_operating_point(build, frame.state, speeds)
    root = root_box(frame, price_count(frame))
    names = station_names(build.loop.order)
    coolant = root.coolant_temp.copy()
    for path, node in frame.ring.radiator_node.items():
        inlet = point.station_temp_in[names.index(build.air_paths[path].name)]
        coolant[0, node] = inlet - width / 2.0, inlet + width / 2.0

    def around(values: Floats) -> Floats:
        return np.stack([values - width / 2.0, values + width / 2.0], axis=-1)[None]

    return replace(
        root,
        pressure=around(point.enclosure_pressure),
        air_temp=around(point.enclosure_temp),
        coolant_temp=coolant,
        pump=np.full((1, 2), best.steps[-1]),
    )
