"""What the bound takes for granted of a build, looked up on the build at hand; where it fails, ranges are widened."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.build import Radiator
from quietcool.solve.heat import forced_conductance

Floats = NDArray[np.float64]

AIR_FLOWS = 60  # sampled from far below any use to beyond free delivery, evenly over the logarithm
LEAST_SHARE = 1e-4  # of the flow scale
MOST_SHARE = 4.0
NOISE = 1e-12  # relative drops up to this are rounding [-]
SAFETY = 2.0  # between the samples a drop may be larger than at them
MOST = 0.999


def conductance_slack(radiator: Radiator, flow_scale: float, coolant_flow: Floats, capacity: Floats) -> float:
    """Part by which forced conductance falls somewhere though a flow rises; 0 where it only rises.

    A longer or faster exchanger of one kind never moves less, so a sensible sheet gives 0; exponents fitted to poor
    points need not.

    Parameters
    ----------
    radiator : Radiator
        Of the path.
    flow_scale : float
        Greatest air flow of any path about. [kg/s]
    coolant_flow : ndarray, (steps, temperatures)
        Through the radiator's branch. [m3/s]
    capacity : ndarray, (steps, temperatures)
        Its capacity rate. [W/K]

    Returns
    -------
    float
        Relative to the greatest at any lower flow: low ends of conductance times (1 - slack) and high ends over it hold
        what lies between. [-]
    """
    sizes = flow_scale * np.geomspace(LEAST_SHARE, MOST_SHARE, AIR_FLOWS)
    order = np.argsort(coolant_flow.max(axis=1), kind="stable")  # a faster pump moves more, but nothing rests on it
    conductance = forced_conductance(radiator, sizes[:, None, None], coolant_flow[order][None], capacity[order][None])
    drops = []
    for axis in (0, 1):
        highest = np.maximum.accumulate(conductance, axis=axis)
        drops.append(float(np.max((highest - conductance) / np.where(highest > 0.0, highest, 1.0))))
    drop = max(drops)
    return min(SAFETY * drop, MOST) if drop > NOISE else 0.0
