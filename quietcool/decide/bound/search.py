"""Branch and bound over boxes of what couples the groups: a lower bound for every setting on the step grid."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.ascent import ascend, first_reference, merge
from quietcool.decide.bound.boxes import Boxes, hull, join, root_box
from quietcool.decide.bound.frame import Frame, TooManyOptions, make_frame
from quietcool.decide.bound.log import SearchLog
from quietcool.decide.bound.propagation import Examined, examine, pick
from quietcool.decide.bound.relaxation import Evaluation, Relaxation, price_count
from quietcool.decide.incumbent import Incumbent, best_of, descend_on_grid, grid_speeds
from quietcool.decide.question import Question
from quietcool.solve.loop import station_names
from quietcool.solve.operating_point import solve_operating_point

Floats = NDArray[np.float64]

TOLERANCE = 0.099  # a proof to within this is enough: a hair inside what is called proven [dB]
CHUNK = 256  # boxes looked at together, fewer where groups share a path and have many options:
LEAST_CHUNK, MOST_PAIRS = 16, 100_000  # pairs of box and option
BEST_FIRST_EVERY = 4  # every so many chunks the lowest bounds go first, else the deepest boxes
ASCENTS = 12  # steps of the prices for a box with one pump step
ASCENTS_PUMP_RANGE = 2
FIRST_ASCENTS = 120  # for the prices to start from
FIRST_VISITS = 4
FIRST_WIDTH = 1.0  # of the box round the incumbent that they are raised in [Pa, K]
PUMP_FIRST = 2.0  # weight of the pump's range when the range to split is chosen: it spoils every conductance
SMALLEST_WIDTH = 1e-5  # of a range that is still split [Pa, K]
SLICES = 24  # of every range at the root
SHAVINGS = 3
AFAR_DEPTH = 3  # boxes up to this depth get their flow ranges from afar


class Proof(NamedTuple):
    """What a bound search has shown."""

    lower_bound: float  # no feasible setting is quieter; inf if none exists [dB(A)]
    best: Incumbent  # the incumbent, or a quieter one found on the way
    boxes: int
    closed: bool  # no box was left open
    interrupted: bool


def prove(
    question: Question,
    best: Incumbent,
    seconds: float,
    report: Callable[[float, float], None] = lambda level, bound: None,
    logs: dict[str, SearchLog] | None = None,
) -> Proof:
    """Bound the level of every setting of a question from below.

    With several states the greatest of the bounds of single states holds: a setting must keep the limits in each.

    Parameters
    ----------
    question : Question
        What was asked.
    best : Incumbent
        Best setting known; its level sets the goal if it is feasible.
    seconds : float
        Time for the search. [s]
    report : callable
        Told the level and the bound now and then. [dB(A)]
    logs : dict, optional
        Filled with the log of each state's search, for a certificate.

    Returns
    -------
    Proof
    """
    end = time.monotonic() + seconds
    proofs = []
    for i, state in enumerate(question.states):
        left = (end - time.monotonic()) / (len(question.states) - i)
        try:
            log = None if logs is None else logs.setdefault(state.name, SearchLog())
            search = BoxSearch(question, state.name, best, time.monotonic() + left, report, log)
        except TooManyOptions:
            proofs.append(Proof(-np.inf, best, 0, False, False))
            continue
        proofs.append(search.run())
        best = proofs[-1].best
    return Proof(
        max(proof.lower_bound for proof in proofs),
        best,
        sum(proof.boxes for proof in proofs),
        any(proof.closed for proof in proofs),
        any(proof.interrupted for proof in proofs),
    )


class BoxSearch:
    """One branch and bound."""

    def __init__(
        self,
        question: Question,
        state: str,
        best: Incumbent,
        end: float,
        report: Callable[[float, float], None],
        log: SearchLog | None = None,
    ) -> None:
        self.question, self.best, self.end, self.report, self.log = question, best, end, report, log
        self.last_number = 0  # of the boxes in the log
        self.unit = best.level if best.worst_margin >= 0.0 else 0.0
        self.frame: Frame = make_frame(question, question.build.state(state), self.unit)
        self.box_count = 0
        self.seen_settings: set[bytes] = set()
        self.scales = self._price_scales()
        options = sum(len(cluster.steps) for cluster in self.frame.clusters)
        self.chunk = max(LEAST_CHUNK, min(CHUNK, MOST_PAIRS // options))
        self.pool = np.zeros(price_count(self.frame))
        self.pool = self._first_prices()

    @property
    def goal(self) -> float:
        """Noise energy below which a setting would be quieter than the incumbent by more than the tolerance."""
        if self.best.worst_margin < 0.0:
            return np.inf
        return float(10.0 ** ((self.best.level - TOLERANCE - self.unit) / 10.0))

    def level(self, energy: float) -> float:
        """Level of a noise energy [dB(A)]."""
        return float(self.unit + 10.0 * np.log10(energy)) if energy > 0.0 else -np.inf

    def goals(self, boxes: Boxes) -> Floats:
        """Noise energy at which each box is closed, (boxes,) [-]."""
        return np.full(boxes.count, self.goal)

    def run(self) -> Proof:
        """Split boxes until none is open, or time is over."""
        rest, interrupted = self.work_off(self.first_boxes())
        energy = min((float(boxes.bound.min()) for boxes in rest), default=np.inf)
        least = min(energy, self.goal)
        bound = self.level(least) if np.isfinite(least) else np.inf
        if self.log is not None:
            self.log.end(self.unit, bound)
        return Proof(bound, self.best, self.box_count, not rest, interrupted)

    def work_off(self, queue: list[Boxes]) -> tuple[list[Boxes], bool]:
        """Visit boxes until none is left or time is over; return those left open, and whether Ctrl-C came."""
        chunk_number = 0
        in_hand: Boxes | None = None
        try:
            while queue:
                queue, in_hand = self._next(queue, chunk_number)
                if time.monotonic() > self.end:
                    return [*queue, in_hand], False
                children = self._visit(in_hand)
                in_hand = None
                if children is not None:
                    queue.append(children)
                chunk_number += 1
                if chunk_number % 8 == 0 and queue:
                    least = min(float(boxes.bound.min()) for boxes in queue)
                    self.report(self.best.level, self.level(min(least, self.goal)))
        except KeyboardInterrupt:
            return queue + ([in_hand] if in_hand is not None else []), True
        return [], False

    def _new_numbers(self, count: int) -> NDArray[np.intp]:
        """Numbers for boxes that are about to be made."""
        first = self.last_number + 1
        self.last_number += count
        return np.arange(first, first + count, dtype=np.intp)

    def first_boxes(self) -> list[Boxes]:
        """Slices of every enclosure pressure: only in a slice is the flow through an enclosure known at all."""
        boxes = root_box(self.frame, price_count(self.frame))
        boxes = replace(boxes, price=self.pool[None])
        for sweep in range(SHAVINGS):
            for node in range(self.frame.enclosures):
                if time.monotonic() > self.end:
                    return [boxes]
                boxes = self._slice_pressure(boxes, node, trim=sweep < SHAVINGS - 1)
                if boxes.count == 0:
                    return []
                if sweep < SHAVINGS - 1:
                    boxes = hull(boxes)
        for _ in range(FIRST_VISITS):
            if boxes.count and time.monotonic() < self.end:
                boxes = examine(self.frame, boxes, self.goals(boxes), from_afar=True).boxes
        self.box_count += boxes.count
        return [boxes] if boxes.count else []

    def _slice_pressure(self, boxes: Boxes, node: int, *, trim: bool) -> Boxes:
        """Cut every box into slices of one pressure, drop those that can hold nothing; `trim` if hulled afterwards."""
        low, high = boxes.pressure[:, node].T
        edges = np.linspace(low, high, SLICES + 1, axis=-1)
        spans = np.repeat(boxes.pressure, SLICES, axis=0)
        spans[:, node] = np.stack([edges[:, :-1], edges[:, 1:]], axis=-1).reshape(-1, 2)
        slices = replace(boxes.take(np.repeat(np.arange(boxes.count), SLICES)), pressure=spans)
        if not trim:
            slices = replace(slices, number=self._new_numbers(slices.count))
        if self.log is not None and trim:
            self.log.trim(node, edges[0, 1:-1])
        elif self.log is not None:
            self.log.split(
                boxes.number, np.full(boxes.count, node), edges[:, 1:-1], slices.number.reshape(boxes.count, SLICES)
            )
        self.box_count += slices.count
        return examine(self.frame, slices, self.goals(slices), from_afar=True).boxes

    def _next(self, queue: list[Boxes], number: int) -> tuple[list[Boxes], Boxes]:
        """Take a chunk of boxes off the queue: the deepest, now and then those with the lowest bound."""
        boxes = join(queue)
        key = boxes.bound if number % BEST_FIRST_EVERY == 0 else -boxes.depth.astype(np.float64)
        order = np.argsort(key, kind="stable")
        rest = [boxes.take(order[self.chunk :])] if boxes.count > self.chunk else []
        return rest, boxes.take(order[: self.chunk])

    def _visit(self, boxes: Boxes) -> Boxes | None:
        """Examine boxes, bound them, try what they point to, and split what stays open."""
        self.box_count += boxes.count
        boxes = boxes.take(boxes.bound < self.goals(boxes))
        if boxes.count == 0:
            return None
        from_afar = bool(boxes.depth.min() <= AFAR_DEPTH)
        seen = examine(self.frame, boxes, self.goals(boxes), from_afar=from_afar)
        if seen.boxes.count == 0:
            return None
        seen, price, first = self._start_ascent(seen)
        if seen.boxes.count == 0:
            return None
        single = bool(np.all(seen.boxes.pump[:, 0] == seen.boxes.pump[:, 1]))
        price, evaluation = self._ascend(seen, price, ASCENTS if single else ASCENTS_PUMP_RANGE)
        evaluation = merge(first, evaluation, evaluation.bound >= first.bound)
        if self.log is not None:
            self.log.bound(seen.boxes.number, evaluation.price, evaluation.reference)
        self._try_choices(evaluation, seen)
        goals = self.goals(seen.boxes)
        bound = np.maximum(seen.boxes.bound, evaluation.bound)
        allowed = tuple(
            a & (value < goals[:, None]) for a, value in zip(seen.boxes.allowed, evaluation.option_bound, strict=True)
        )
        open_boxes = (bound < goals) & np.all([np.any(a, axis=1) for a in allowed], axis=0)
        kept = replace(seen.boxes, bound=bound, price=price, allowed=allowed).take(open_boxes)
        return None if kept.count == 0 else self._split(kept, evaluation.loss[open_boxes])

    def _ascend(self, seen: Examined, price: Floats, steps: int) -> tuple[Floats, Evaluation]:
        return ascend(Relaxation(self.frame, seen), price, steps, self.goals(seen.boxes), self.scales)

    def _start_ascent(self, seen: Examined) -> tuple[Examined, Floats, Evaluation]:
        """Bound boxes at the better of their parents' and the pool's prices; only those that stay open go on."""
        relaxation = Relaxation(self.frame, seen)
        reference = first_reference(relaxation)
        parent = relaxation.evaluate(seen.boxes.price, reference)
        pool = relaxation.evaluate(np.broadcast_to(self.pool, seen.boxes.price.shape), reference)
        better = pool.bound > parent.bound
        best = merge(parent, pool, better)
        price = np.where(better[:, None], self.pool, seen.boxes.price)
        if self.log is not None:
            self.log.bound(seen.boxes.number, best.price, best.reference)
        still_open = np.flatnonzero(best.bound < self.goals(seen.boxes))
        return pick(seen, still_open), price[still_open], best.take(still_open)

    def _price_scales(self) -> Floats:
        n, segments = self.frame.enclosures, len(self.frame.ring.segments)
        watts = sum(float(w) for w in self.frame.state.heat.values()) + 1.0
        flow = 0.2 * max(options.flow_scale for options in self.frame.paths)
        return np.concatenate([np.full(n, flow), np.full(n, 0.2 * watts), np.full(segments, 0.25 * watts)])

    def _first_prices(self) -> Floats:
        """Prices to start from: raised at length in a small box round the incumbent."""
        count = price_count(self.frame)
        if self.best.worst_margin < 0.0:
            return np.zeros(count)
        box = self._box_round_incumbent()
        for _ in range(FIRST_VISITS):
            seen = examine(self.frame, box, np.inf, from_afar=True)
            if seen.boxes.count == 0:
                return np.zeros(count)
            box = seen.boxes
        prices, _ = self._ascend(seen, np.zeros((1, count)), FIRST_ASCENTS)
        return prices.reshape(count)

    def _box_round_incumbent(self) -> Boxes:
        frame, build = self.frame, self.question.build
        speeds = grid_speeds(self.question, self.best.steps[None])[0]
        point = solve_operating_point(build, frame.state, speeds)
        root = root_box(frame, price_count(frame))
        names = station_names(build.loop.order)
        coolant = root.coolant_temp.copy()
        for path, node in frame.ring.radiator_node.items():
            inlet = point.station_temp_in[names.index(build.air_paths[path].name)]
            coolant[0, node] = inlet - FIRST_WIDTH / 2.0, inlet + FIRST_WIDTH / 2.0

        def around(values: Floats) -> Floats:
            return np.stack([values - FIRST_WIDTH / 2.0, values + FIRST_WIDTH / 2.0], axis=-1)[None]

        return replace(
            root,
            pressure=around(point.enclosure_pressure),
            air_temp=around(point.enclosure_temp),
            coolant_temp=coolant,
            pump=np.full((1, 2), self.best.steps[-1]),
        )

    def _try_choices(self, evaluation: Evaluation, seen: Examined) -> None:
        """Solve the settings that the boxes point to; a quieter feasible one becomes the incumbent."""
        pump = seen.boxes.pump[:, 0]
        steps = np.zeros((seen.boxes.count, len(self.question.grids)), dtype=np.intp)
        steps[:, -1] = pump
        for cluster, choice in zip(self.frame.clusters, evaluation.choice, strict=True):
            for place, group in enumerate(cluster.groups):
                steps[:, group] = cluster.steps[choice, place]
        quieter = self._least_energy(evaluation, seen) < self._incumbent_energy()
        fresh = [row for row in np.unique(steps[quieter], axis=0) if row.tobytes() not in self.seen_settings]
        if not fresh:
            return
        self.seen_settings.update(row.tobytes() for row in fresh)
        found = best_of(self.question, np.array(fresh))
        feasible_before = self.best.worst_margin >= 0.0
        if found.worst_margin >= 0.0 and (not feasible_before or found.level < self.best.level):
            self.best = descend_on_grid(self.question, found)

    def _incumbent_energy(self) -> float:
        return float(10.0 ** ((self.best.level - self.unit) / 10.0)) if self.best.worst_margin >= 0.0 else np.inf

    def _least_energy(self, evaluation: Evaluation, seen: Examined) -> Floats:
        """Noise energy that the chosen options have at least, (boxes,)."""
        rows = np.arange(seen.boxes.count)
        least: Floats = self.frame.pump_energy[seen.boxes.pump[:, 0]] + np.sum(
            [energy[rows, choice] for energy, choice in zip(seen.energy, evaluation.choice, strict=True)], axis=0
        )
        return least

    def _split(self, boxes: Boxes, loss: Floats) -> Boxes:
        """Halve every box: its pump range first, else the coordinate whose width costs the bound most."""
        n = self.frame.enclosures
        spans = np.concatenate([boxes.pressure, boxes.air_temp, boxes.coolant_temp], axis=1)
        width = spans[..., 1] - spans[..., 0]
        splittable = width > SMALLEST_WIDTH
        scaled = np.where(splittable, loss[:, :-1] + 1e-12 * width, -np.inf)
        coordinate = np.argmax(scaled, axis=1)
        ranged = (boxes.pump[:, 0] < boxes.pump[:, 1]) & (PUMP_FIRST * loss[:, -1] >= scaled.max(axis=1))
        rows = np.arange(boxes.count)
        middle = spans[rows, coordinate].mean(axis=1)
        numbers = self._new_numbers(2 * boxes.count).reshape(2, boxes.count)
        if self.log is not None:
            cut = np.where(ranged, (boxes.pump[:, 0] + boxes.pump[:, 1]) // 2, middle)
            self.log.split(boxes.number, np.where(ranged, spans.shape[1], coordinate), cut[:, None], numbers.T)
        children = []
        for side in (0, 1):
            new_spans, pump = spans.copy(), boxes.pump.copy()
            split = ~ranged
            new_spans[rows[split], coordinate[split], 1 - side] = middle[split]
            half = (pump[:, 0] + pump[:, 1]) // 2
            if side == 0:
                pump[ranged, 1] = half[ranged]
            else:
                pump[ranged, 0] = half[ranged] + 1
            children.append(
                replace(
                    boxes,
                    pressure=new_spans[:, :n],
                    air_temp=new_spans[:, n : 2 * n],
                    coolant_temp=new_spans[:, 2 * n :],
                    pump=pump,
                    depth=boxes.depth + 1,
                    number=numbers[side],
                )
            )
        return join(children)
