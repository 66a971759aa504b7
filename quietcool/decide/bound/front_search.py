"""One branch and bound for a whole curve of level against a limited temperature.

A setting whose limited temperature is T helps the curve only if it is quieter than the curve's point at the tightest
limit that still admits T. In a box T is at least the lower end of what the box leaves open, so a box is closed as soon
as its bound reaches the point at the first limit above that end: tight boxes are held to the loud end of the curve,
loose ones to the quiet end, and every box serves all points at once.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.boxes import Boxes
from quietcool.decide.bound.frame import Frame
from quietcool.decide.bound.prices import box_round
from quietcool.decide.bound.propagation import Examined
from quietcool.decide.bound.ranges import reach_range, ring_ranges
from quietcool.decide.bound.relaxation import Evaluation
from quietcool.decide.bound.search import TOLERANCE, BoxSearch
from quietcool.decide.incumbent import Incumbent
from quietcool.decide.question import Question

Floats = NDArray[np.float64]

MOST_SLICES, LEAST_SLICE = 60, 1e-3  # of one box at the start; their width [K]
SLACK = 1e-6  # a box's lower end may lose this to rounding [K]


@dataclass(frozen=True)
class Limited:
    """Which temperature the curve limits: the coolant (no index), a source's point, or an enclosure's air."""

    source: int = -1
    point: int = -1
    enclosure: int = -1


class FrontProof(NamedTuple):
    """What one search has shown of a whole curve."""

    lower_bounds: Floats  # no setting that keeps a limit is quieter; -inf where nothing is known, (points,) [dB(A)]
    boxes: int
    interrupted: bool
    prices: tuple[Floats, ...]  # that it began with and added: for another search of the same curve


def prove_front(
    question: Question,
    limited: Limited,
    limits: Floats,
    levels: Floats,
    starts: Sequence[Incumbent],
    seconds: float,
    report: Callable[[float, float], None] = lambda level, bound: None,
    solve: Callable[[NDArray[np.intp]], object] | None = None,
    prices: Sequence[Floats] = (),
) -> FrontProof:
    """Bound every point of a curve from below by one search.

    Parameters
    ----------
    question : Question
        With one state, whose limit on the axis is the loosest of `limits` and whose other limits are the curve's.
    limited : Limited
        The axis.
    limits : ndarray, (points,)
        Rising. [K]
    levels : ndarray, (points,)
        Of the quietest settings known under each limit; never rising. [dB(A)]
    starts : sequence of Incumbent
        Settings along the curve, for the first prices; the middle one first.
    seconds : float
        Time for the search. [s]
    report : callable
        Told the level of the first start and the least bound of any box that is still open, now and then. [dB(A)]
    solve : callable, optional
        Takes settings (settings, groups + 1) that may be quieter than the curve. With it boxes with few settings are
        closed by handing these over: a bound then holds as far as it lies below every one of them that keeps the limit.
    prices : sequence of ndarray, (prices,)
        Of an earlier search of the same curve; raised at the starts where there are none.

    Returns
    -------
    FrontProof
    """
    search = _FrontSearch(question, limited, limits, levels, starts, time.monotonic() + seconds, report, solve, prices)
    rest, interrupted = search.work_off(search.first_boxes())
    return FrontProof(search.bounds(rest), search.box_count, interrupted, tuple(search.pool))


class _FrontSearch(BoxSearch):
    """A search whose boxes are closed by the point of the curve that they can still help."""

    def __init__(
        self,
        question: Question,
        limited: Limited,
        limits: Floats,
        levels: Floats,
        starts: Sequence[Incumbent],
        end: float,
        report: Callable[[float, float], None],
        solve: Callable[[NDArray[np.intp]], object] | None,
        prices: Sequence[Floats],
    ) -> None:
        self.limited, self.limits, self.levels = limited, limits, levels
        super().__init__(question, question.states[0].name, starts[0], end, report, prices=prices)
        if not prices:
            self.pool += [self.first_prices(start) for start in starts[1:]]
        self.solve_leaves, self.hand_over = solve is not None, solve
        self.energies = 10.0 ** ((levels - TOLERANCE - self.unit) / 10.0)
        self.node = self._node_of_axis(starts[0])

    def _node_of_axis(self, start: Incumbent) -> int:
        """The node of the ring that the axis follows: that of its source, else the warmest."""
        if self.limited.source >= 0:
            name = self.frame.build.sources[self.limited.source].name
            reach = next((r for r in self.frame.ring.reaches if r.station == name), None)
            if reach is not None:
                return reach.node
        return int(np.argmax(box_round(self.frame, start, 0.0).coolant_temp[0, :, 0]))

    def first_boxes(self) -> list[Boxes]:
        """Slices of what the axis follows, about as narrow as the curve's points lie apart.

        A box wider than that is held to the loud end of all points that it spans, and nothing quiet reaches that.
        """
        width = max(float(np.ptp(self.limits)) / max(self.limits.size - 1, 1), LEAST_SLICE)
        return [self._sliced(boxes, width) for boxes in super().first_boxes()]

    def _sliced(self, boxes: Boxes, width: float) -> Boxes:
        by_air = self.limited.enclosure >= 0
        place = self.limited.enclosure if by_air else self.node
        spans = (boxes.air_temp if by_air else boxes.coolant_temp)[:, place]
        pieces = np.clip(np.ceil(np.ptp(spans, axis=1) / width), 1, MOST_SLICES).astype(np.intp)
        owner = np.repeat(np.arange(boxes.count), pieces)
        number = np.arange(owner.size) - np.repeat(np.cumsum(pieces) - pieces, pieces)
        edges = [spans[owner, 0] + (number + side) / pieces[owner] * np.ptp(spans, axis=1)[owner] for side in (0, 1)]
        slices = boxes.take(owner)
        (slices.air_temp if by_air else slices.coolant_temp)[:, place] = np.stack(edges, axis=-1)
        return slices

    def goals(self, boxes: Boxes) -> Floats:
        """Energy of the curve's point at the first limit that the coolest setting of each box keeps; 0 beyond all."""
        place = np.searchsorted(self.limits, self._lowest(boxes) - SLACK)
        return np.append(self.energies, 0.0)[place]

    def _lowest(self, boxes: Boxes) -> Floats:
        """Lower end of the limited temperature over every box, (boxes,) [K]."""
        if self.limited.enclosure >= 0:
            air: Floats = boxes.air_temp[:, self.limited.enclosure, 0]
            return air
        if self.limited.source < 0:
            hottest: Floats = boxes.coolant_temp[..., 0].max(axis=1)
            return hottest
        return self._lowest_point(boxes)

    def _lowest_point(self, boxes: Boxes) -> Floats:
        """Lower end of a sensing point: its source's coolant inlet and the least resistance that the flow allows."""
        source = self.frame.build.sources[self.limited.source]
        reach = next((r for r in self.frame.ring.reaches if r.station == source.name), None)
        if reach is None:
            return np.full(boxes.count, -np.inf)
        ring = ring_ranges(self.frame, boxes)
        point, plate = source.points[self.limited.point], source.plate
        watts = float(self.frame.state.heat.get(source.name, 0.0))
        flow = ring.flow[self.frame.ring.branches.branch_of(source.name)][:, 1]
        resistance = point.share * point.resistance + plate.r0 + plate.c * (flow / plate.reference_flow) ** -plate.n
        inlet = reach_range(self.frame, boxes, reach, ring.capacity)[:, 0]
        temp: Floats = inlet + watts * resistance
        return temp

    def _try_choices(self, frame: Frame, evaluation: Evaluation, seen: Examined) -> None:
        """Leave the settings of the curve to who asked for its bounds."""

    def _solve(self, steps: NDArray[np.intp]) -> None:
        """Hand over settings: whether they help the curve is for who asked."""
        if self.hand_over is not None:
            self.hand_over(steps)

    def bounds(self, rest: list[Boxes]) -> Floats:
        """Bound of every point: its own goal, unless a box that is left open and may keep its limit lies lower."""
        energy = self.energies.copy()
        for boxes in rest:
            lowest = self._lowest(boxes) - SLACK
            for place, limit in enumerate(self.limits):
                concerned = lowest <= limit
                if np.any(concerned):
                    energy[place] = min(energy[place], float(boxes.bound[concerned].min()))
        bound = self.unit + 10.0 * np.log10(np.maximum(energy, 1e-300))
        return np.where(energy > 0.0, bound, -np.inf)
