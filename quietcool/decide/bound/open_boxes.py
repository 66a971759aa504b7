"""Boxes that a search has not closed yet, and which of them it looks at next."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.boxes import Boxes, Narrow, join, narrowed, widened
from quietcool.decide.bound.frame import Frame

BEST_FIRST_EVERY = 4  # every so many chunks the lowest bounds go first, else the deepest boxes
FEW_OPTIONS = 2_000  # of all clusters: kept as they are
PIECE = 64  # boxes kept together without the options that none of them allows


class OpenBoxes:
    """Open boxes of one search, kept small: those of a shared stack know ten thousands of options and allow few."""

    def __init__(self, batches: list[Boxes], frames: tuple[Frame, ...]) -> None:
        self.frames = frames
        self.kept: list[Narrow] = []
        self.add(batches)

    def __bool__(self) -> bool:
        """Whether any box is open."""
        return bool(self.kept)

    @property
    def batches(self) -> list[Boxes]:
        """All open boxes, without the options that no box of a batch allows."""
        return [one.boxes for one in self.kept]

    def add(self, batches: list[Boxes]) -> None:
        """Put boxes back, or new ones in."""
        for boxes in batches:
            frame = self.frames[boxes.level]
            if sum(cluster.count for cluster in frame.clusters) <= FEW_OPTIONS:
                self.kept += [Narrow(frame, boxes, [], [])] if boxes.count else []
                continue
            for first in range(0, boxes.count, PIECE):
                piece = np.arange(first, min(first + PIECE, boxes.count))
                self.kept.append(narrowed(frame, boxes.take(piece)))

    def least(self) -> float:
        """The lowest bound of any open box; inf if none is open."""
        return min((float(one.boxes.bound.min()) for one in self.kept), default=np.inf)

    def deepest(self) -> Boxes | None:
        """The deepest box, of those the one with the lowest bound; None if none is open."""
        if not self.kept:
            return None
        best = min(self.kept, key=lambda one: (-int(one.boxes.depth.max()), float(one.boxes.bound.min())))
        order = np.lexsort((best.boxes.bound, -best.boxes.depth))
        return self._whole(best, order[:1])

    def take(self, chunk_number: int, sizes: list[int]) -> Boxes:
        """Take out a chunk of one level, `sizes[level]` boxes at most: the deepest, or those with the lowest bound."""
        keys = [self._key(one.boxes, chunk_number) for one in self.kept]
        first = min(range(len(keys)), key=lambda i: float(keys[i].min()))
        level = self.kept[first].boxes.level
        mine = [i for i, one in enumerate(self.kept) if one.boxes.level == level]
        owner = np.concatenate([np.full(keys[i].size, i) for i in mine])
        place = np.concatenate([np.arange(keys[i].size) for i in mine])
        chosen = np.argsort(np.concatenate([keys[i] for i in mine]), kind="stable")[: sizes[level]]
        taken, left = [], []
        owners = set(owner[chosen].tolist())
        for i, one in enumerate(self.kept):
            if i not in owners:
                left.append(one)
                continue
            out = np.sort(place[chosen][owner[chosen] == i])
            taken.append(self._whole(one, out))
            if out.size < one.boxes.count:
                rest = np.setdiff1d(np.arange(one.boxes.count), out, assume_unique=True)
                left.append(one._replace(boxes=one.boxes.take(rest)))
        self.kept = left
        return join(taken)

    def _whole(self, one: Narrow, picked: NDArray[np.intp]) -> Boxes:
        """Picked boxes with all options of their level."""
        boxes = one.boxes.take(picked)
        return widened(boxes, one, self.frames[boxes.level]) if one.kept else boxes

    @staticmethod
    def _key(boxes: Boxes, chunk_number: int) -> NDArray[np.float64]:
        return boxes.bound if chunk_number % BEST_FIRST_EVERY == 0 else -boxes.depth.astype(np.float64)
