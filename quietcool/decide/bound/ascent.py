"""Raising the bound of many boxes: deflected subgradient steps on the prices of the balances."""

from __future__ import annotations

import time

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.relaxation import Evaluation, Reference, Relaxation

Floats = NDArray[np.float64]

DEFLECTION = 1.5
STEP_PART = 0.5
AIM = 1.002  # the ascent aims a little above the goal
UNBOUNDED_GOAL = 1e3  # energy to aim at where nothing sets a goal [-]
REFERENCE_WEIGHT = 0.3


def ascend(
    relaxation: Relaxation, start: Floats, steps: int, goals: Floats, scales: Floats, end: float = np.inf
) -> tuple[Floats, Evaluation]:
    """Raise the bound of every box towards its goal.

    Parameters
    ----------
    relaxation : Relaxation
        The boxes.
    start : ndarray, (boxes, prices)
        Prices to start from.
    steps : int
        Of the ascent.
    goals : ndarray, (boxes,)
        Noise energy at which a box is closed. [-]
    scales : ndarray, (prices,)
        Imbalances that count alike: the prices are stepped in units of 1 over them.
    end : float
        When to stop, by the monotonic clock. [s]

    Returns
    -------
    tuple
        The best prices of every box, (boxes, prices), and what they give.
    """
    price = start * scales
    reference = first_reference(relaxation)
    now = best = relaxation.evaluate(start, reference)
    best_price, direction = price, np.zeros_like(price)
    goals = np.where(np.isfinite(goals), goals, UNBOUNDED_GOAL)
    for _ in range(steps):
        if np.all(best.bound >= goals) or time.monotonic() > end:
            break
        reference = _moved(reference, now)
        slope = now.slope / scales
        square = (direction * direction).sum(axis=1)
        along = (slope * direction).sum(axis=1)
        deflect = np.maximum(0.0, -DEFLECTION * along / np.where(square > 0.0, square, 1.0))
        direction = slope + deflect[:, None] * direction
        length = (direction * direction).sum(axis=1)
        step = STEP_PART * np.maximum(AIM * goals - now.bound, 0.0) / np.where(length > 0.0, length, 1.0)
        price = price + np.where(best.bound < goals, step, 0.0)[:, None] * direction
        now = relaxation.evaluate(price / scales, reference)
        better = now.bound > best.bound
        best_price = np.where(better[:, None], price, best_price)
        best = merge(best, now, better)
    return best_price / scales, best


def first_reference(relaxation: Relaxation) -> Reference:
    """Middle of the ranges at the option of least noise."""
    flow, conductance = [], []
    for arrays, number in zip(relaxation.path_arrays, relaxation.frame.cluster_of, strict=True):
        chosen = arrays.at(np.argmin(relaxation.energy[number], axis=1))
        flow.append(chosen.flow[:, 0].mean(axis=1))
        conductance.append(chosen.conductance[:, 0].mean(axis=1))
    return Reference(np.stack(flow, axis=-1), np.stack(conductance, axis=-1))


def merge(old: Evaluation, new: Evaluation, better: NDArray[np.bool_]) -> Evaluation:
    """Take over the evaluation of every box where it is better; option bounds are kept at their best."""
    return Evaluation(
        bound=np.where(better, new.bound, old.bound),
        slope=np.where(better[:, None], new.slope, old.slope),
        choice=tuple(np.where(better, n, o) for n, o in zip(new.choice, old.choice, strict=True)),
        option_bound=tuple(np.maximum(n, o) for n, o in zip(new.option_bound, old.option_bound, strict=True)),
        picked=new.picked,
        loss=np.where(better[:, None], new.loss, old.loss),
        price=np.where(better[:, None], new.price, old.price),
        reference=Reference(
            *(np.where(better[:, None], n, o) for n, o in zip(new.reference, old.reference, strict=True))
        ),
    )


def _moved(reference: Reference, seen: Evaluation) -> Reference:
    """Running mean of what the minimisers do."""
    flow = np.stack([one.flow for one in seen.picked], axis=-1)
    conductance = np.stack([one.conductance for one in seen.picked], axis=-1)
    w = REFERENCE_WEIGHT
    return Reference((1.0 - w) * reference.flow + w * flow, (1.0 - w) * reference.conductance + w * conductance)
