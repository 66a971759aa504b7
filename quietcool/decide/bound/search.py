"""Branch and bound over boxes of what couples the groups: a lower bound for every setting on the step grid."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.ascent import ascend, first_reference, merge
from quietcool.decide.bound.boxes import Boxes, hull, join, narrowed, refined, root_box, widened
from quietcool.decide.bound.frame import Frame, make_frames
from quietcool.decide.bound.leaves import combinations, leaf_settings
from quietcool.decide.bound.log import SearchLog
from quietcool.decide.bound.open_boxes import OpenBoxes
from quietcool.decide.bound.prices import box_round, price_scales
from quietcool.decide.bound.propagation import Examined, examine, least_energies, pick
from quietcool.decide.bound.relaxation import Evaluation, Relaxation, price_count
from quietcool.decide.bound.statement import first_prices
from quietcool.decide.incumbent import Incumbent, best_of, descend_on_grid, is_new
from quietcool.decide.question import Question

Floats = NDArray[np.float64]

TOLERANCE = 0.099  # a proof to within this is enough: a hair inside what is called proven [dB]
CHUNK = 256  # boxes looked at together, fewer where groups share a path and have many options:
LEAST_CHUNK, MOST_PAIRS = 16, 1_000_000  # pairs of box and option
ASCENTS, ASCENTS_PUMP_RANGE = 12, 2  # steps of the prices for a box with one pump step; with more
FIRST_ASCENTS = 120  # for the prices to start from
FIRST_VISITS = 4
FIRST_WIDTH = 1.0  # of the box round the incumbent that they are raised in [Pa, K]
MOST_STATED = 1_000  # options of a box whose linear program is worth writing down
POOL_FROM, POOL_EVERY, POOL = 20, 12, 8  # chunks after which prices of linear programs are added; kept at most
PUMP_FIRST = 2.0  # weight of the pump's range when the range to split is chosen: it spoils every conductance
SMALLEST_WIDTH = 1e-5  # of a range that is still split [Pa, K]
SLICES, SHAVINGS = 24, 3  # of every pressure at the root; times over
FINER_AT = 0.5  # of the greatest cost of a width: blocks of steps that cost as much are refined instead of a split
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
        log = None if logs is None else logs.setdefault(state.name, SearchLog())
        proofs.append(BoxSearch(question, state.name, best, time.monotonic() + left, report, log).run())
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
        prices: Sequence[Floats] = (),
    ) -> None:
        self.question, self.best, self.end, self.report, self.log = question, best, end, report, log
        self.last_number = 0  # of the boxes in the log
        self.unit = best.level if best.worst_margin >= 0.0 else 0.0
        self.frames = make_frames(question, question.build.state(state), self.unit)
        self.frame = self.frames[-1]
        self.box_count = 0
        self.seen_settings: set[bytes] = set()
        self.solve_leaves = log is None  # a certificate holds prices only
        self.scales = price_scales(self.frame)
        options = [sum(cluster.count for cluster in frame.clusters) for frame in self.frames]
        self.chunks = [max(LEAST_CHUNK, min(CHUNK, MOST_PAIRS // count)) for count in options]
        self.pool = list(prices) or [self.first_prices(best)]

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

    def work_off(self, first: list[Boxes]) -> tuple[list[Boxes], bool]:
        """Visit boxes until none is left or time is over; return those left open, and whether Ctrl-C came."""
        chunk_number, queue = 0, OpenBoxes(first, self.frames)
        in_hand: list[Boxes] = []
        a_box = 0.0  # time that one took [s]
        try:
            while queue:
                start = time.monotonic()
                if start > self.end:
                    return queue.batches, False
                within = int((self.end - start) / a_box) + 1 if a_box else CHUNK  # a last chunk is cut to the time left
                in_hand = [queue.take(chunk_number, [min(size, within) for size in self.chunks])]
                queue.add(self._visit(in_hand[0]))
                a_box = (time.monotonic() - start) / in_hand[0].count
                in_hand = []
                chunk_number += 1
                if chunk_number >= POOL_FROM and chunk_number % POOL_EVERY == 0 and len(self.pool) < POOL:
                    self._enlarge_pool(queue)
                if chunk_number % 8 == 1 and queue:
                    self.report(self.best.level, self.level(min(queue.least(), self.goal)))
        except KeyboardInterrupt:
            return queue.batches + in_hand, True
        return [], False

    def _enlarge_pool(self, queue: OpenBoxes) -> None:
        """Add the best prices of one of the oldest open boxes, by the linear program: the ascent alone crawls there."""
        if (oldest := queue.deepest()) is None:
            return
        narrow = narrowed(self.frames[oldest.level], oldest)
        if sum(kept.size for kept in narrow.kept) > MOST_STATED:  # to write it down takes minutes and gigabytes
            return
        seen = examine(narrow.frame, narrow.boxes, self.goals(narrow.boxes))
        if seen.boxes.count == 0 or time.monotonic() > self.end:
            return
        if (prices := first_prices(narrow.frame, seen, seconds=self.end - time.monotonic())) is not None:
            self.pool.append(prices)

    def _new_numbers(self, count: int) -> NDArray[np.intp]:
        """Numbers for boxes that are about to be made."""
        first = self.last_number + 1
        self.last_number += count
        return np.arange(first, first + count, dtype=np.intp)

    def first_boxes(self) -> list[Boxes]:
        """Slices of every enclosure pressure: only in a slice is the flow through an enclosure known at all."""
        frame = self.frames[0]
        quietest = float(frame.pump_energy.min()) + sum(float(own.min()) for own in least_energies(frame))
        boxes = replace(root_box(frame, price_count(frame)), price=self.pool[0][None], bound=np.array([quietest]))
        for sweep in range(SHAVINGS):
            for node in range(frame.enclosures):
                if time.monotonic() > self.end:
                    return [boxes]
                boxes = self._slice_pressure(boxes, node, trim=sweep < SHAVINGS - 1)
                if boxes.count == 0:
                    return []
                if sweep < SHAVINGS - 1:
                    boxes = hull(boxes)
        for _ in range(FIRST_VISITS):
            if boxes.count and time.monotonic() < self.end:
                boxes = examine(frame, boxes, self.goals(boxes), from_afar=True).boxes
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
        return examine(self.frames[0], slices, self.goals(slices), from_afar=True).boxes

    def _visit(self, boxes: Boxes) -> list[Boxes]:
        """Examine boxes, bound them, try what they point to; refine or split what stays open."""
        self.box_count += boxes.count
        boxes = boxes.take(boxes.bound < self.goals(boxes))
        if boxes.count == 0:
            return []
        whole = self.frames[boxes.level]
        narrow = narrowed(whole, boxes)
        found = self._bounded(narrow.frame, narrow.boxes)
        if found is None:
            return []
        kept, loss = found
        finer = np.zeros(kept.count, dtype=np.bool_)
        if boxes.level < len(self.frames) - 1:
            finer = loss[:, -1] >= FINER_AT * loss[:, :-1].max(axis=1)
        wide = widened(kept, narrow, whole)
        parts = []
        if np.any(finer):
            up = wide.take(finer)
            parts.append(refined(replace(up, depth=up.depth + 1), whole, self.frames[boxes.level + 1]))
        if not np.all(finer):
            parts.append(self._split(wide.take(~finer), loss[~finer]))
        return parts

    def _bounded(self, frame: Frame, boxes: Boxes) -> tuple[Boxes, Floats] | None:
        """Boxes that stay open and what their widths cost; None if all close."""
        from_afar = bool(boxes.depth.min() <= AFAR_DEPTH)
        seen = examine(frame, boxes, self.goals(boxes), from_afar=from_afar)
        if seen.boxes.count == 0:
            return None
        seen, price, first = self._start_ascent(frame, seen)
        if seen.boxes.count == 0:
            return None
        single = bool(np.all(seen.boxes.pump[:, 0] == seen.boxes.pump[:, 1]))
        price, evaluation = self._ascend(frame, seen, price, ASCENTS if single else ASCENTS_PUMP_RANGE)
        evaluation = merge(first, evaluation, evaluation.bound >= first.bound)
        if self.log is not None:
            self.log.bound(seen.boxes.number, evaluation.price, evaluation.reference)
        self._try_choices(frame, evaluation, seen)
        goals = self.goals(seen.boxes)
        bound = np.maximum(seen.boxes.bound, evaluation.bound)
        allowed = tuple(
            a & (value < goals[:, None]) for a, value in zip(seen.boxes.allowed, evaluation.option_bound, strict=True)
        )
        open_boxes = (bound < goals) & np.all([np.any(a, axis=1) for a in allowed], axis=0)
        kept = replace(seen.boxes, bound=bound, price=price, allowed=allowed)
        if self.solve_leaves and frame.exact:
            open_boxes[self._solve_leaves(frame, kept, seen.energy, np.flatnonzero(open_boxes))] = False
        if not np.any(open_boxes):
            return None
        kept, seen, best = kept.take(open_boxes), pick(seen, np.flatnonzero(open_boxes)), evaluation.take(open_boxes)
        return kept, Relaxation(frame, seen).evaluate(best.price, best.reference, weigh=True).loss

    def _solve_leaves(
        self, frame: Frame, boxes: Boxes, energy: tuple[Floats, ...], places: NDArray[np.intp]
    ) -> list[int]:
        """Solve all settings of boxes that have few left, and return which boxes these are: nothing is left in them."""
        few = combinations(boxes)
        goals, solved, settings = self.goals(boxes), [], []
        for place in places[np.argsort(few[places], kind="stable")]:
            listed = leaf_settings(frame, boxes, energy, int(place), float(goals[place]))
            if listed is not None:
                solved.append(int(place))
                settings.append(listed)
        if settings:
            self._solve(np.concatenate(settings))
        return solved

    def _ascend(self, frame: Frame, seen: Examined, price: Floats, steps: int) -> tuple[Floats, Evaluation]:
        return ascend(Relaxation(frame, seen), price, steps, self.goals(seen.boxes), self.scales)

    def _start_ascent(self, frame: Frame, seen: Examined) -> tuple[Examined, Floats, Evaluation]:
        """Bound boxes at the better of their parents' and the pool's prices; only those that stay open go on."""
        relaxation = Relaxation(frame, seen)
        reference = first_reference(relaxation)
        best, price = relaxation.evaluate(seen.boxes.price, reference), seen.boxes.price
        for prices in self.pool:
            found = relaxation.evaluate(np.broadcast_to(prices, price.shape), reference)
            better = found.bound > best.bound
            best, price = merge(best, found, better), np.where(better[:, None], prices, price)
        if self.log is not None:
            self.log.bound(seen.boxes.number, best.price, best.reference)
        still_open = np.flatnonzero(best.bound < self.goals(seen.boxes))
        return pick(seen, still_open), price[still_open], best.take(still_open)

    def first_prices(self, best: Incumbent) -> Floats:
        """Prices to start from: raised at length in a small box round a setting."""
        count = price_count(self.frame)
        if best.worst_margin < 0.0:
            return np.zeros(count)
        box = box_round(self.frame, best, FIRST_WIDTH)
        for _ in range(FIRST_VISITS):
            seen = examine(self.frame, box, np.inf, from_afar=True)
            if seen.boxes.count == 0:
                return np.zeros(count)
            box = seen.boxes
        goal = np.array([10.0 ** ((best.level - TOLERANCE - self.unit) / 10.0)])
        nothing = np.zeros((1, count))
        prices, _ = ascend(Relaxation(self.frame, seen), nothing, FIRST_ASCENTS, goal, self.scales, self.end)
        return prices.reshape(count)

    def _try_choices(self, frame: Frame, evaluation: Evaluation, seen: Examined) -> None:
        """Solve the settings that the boxes point to; a quieter feasible one becomes the incumbent."""
        pump = seen.boxes.pump[:, 0]
        steps = np.zeros((seen.boxes.count, len(self.question.grids)), dtype=np.intp)
        steps[:, -1] = pump
        for cluster, choice in zip(frame.clusters, evaluation.choice, strict=True):
            for place, group in enumerate(cluster.groups):
                steps[:, group] = cluster.steps[choice, place]
        quieter = self._least_energy(evaluation, seen) < self._incumbent_energy()
        self._solve(steps[quieter])

    def _solve(self, steps: NDArray[np.intp]) -> None:
        """Solve settings that were not solved before; a quieter feasible one becomes the incumbent."""
        fresh = [row for row in np.ascontiguousarray(steps) if is_new(row, self.seen_settings)]
        if not fresh:
            return
        found = best_of(self.question, np.array(fresh))
        feasible_before = self.best.worst_margin >= 0.0
        if found.worst_margin >= 0.0 and (not feasible_before or found.level < self.best.level):
            self.best = descend_on_grid(self.question, [found])

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
        scaled = np.where(splittable, loss[:, :-2] + 1e-12 * width, -np.inf)
        coordinate = np.argmax(scaled, axis=1)
        ranged = (boxes.pump[:, 0] < boxes.pump[:, 1]) & (PUMP_FIRST * loss[:, -2] >= scaled.max(axis=1))
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
