"""Boxes that a search has not closed yet, and which of them it looks at next."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.boxes import Boxes, join

BEST_FIRST_EVERY = 4  # every so many chunks the lowest bounds go first, else the deepest boxes


class OpenBoxes:
    """Batches of open boxes."""

    def __init__(self, batches: list[Boxes]) -> None:
        self.batches = [boxes for boxes in batches if boxes.count]

    def __bool__(self) -> bool:
        """Whether any box is open."""
        return bool(self.batches)

    def add(self, batches: list[Boxes]) -> None:
        """Put boxes back, or new ones in."""
        self.batches += [boxes for boxes in batches if boxes.count]

    def least(self) -> float:
        """The lowest bound of any open box; inf if none is open."""
        return min((float(boxes.bound.min()) for boxes in self.batches), default=np.inf)

    def deepest(self) -> Boxes | None:
        """The deepest box, of those the one with the lowest bound; None if none is open."""
        if not self.batches:
            return None
        best = min(self.batches, key=lambda boxes: (-int(boxes.depth.max()), float(boxes.bound.min())))
        order = np.lexsort((best.bound, -best.depth))
        return best.take(order[:1])

    def take(self, chunk_number: int, sizes: list[int]) -> Boxes:
        """Take out a chunk of one level, `sizes[level]` boxes at most: the deepest, or those with the lowest bound."""
        keys = [self._key(boxes, chunk_number) for boxes in self.batches]
        first = min(range(len(keys)), key=lambda i: float(keys[i].min()))
        level = self.batches[first].level
        mine = [i for i, boxes in enumerate(self.batches) if boxes.level == level]
        owner = np.concatenate([np.full(keys[i].size, i) for i in mine])
        place = np.concatenate([np.arange(keys[i].size) for i in mine])
        chosen = np.argsort(np.concatenate([keys[i] for i in mine]), kind="stable")[: sizes[level]]
        taken, left = [], []
        for i, boxes in enumerate(self.batches):
            out = np.sort(place[chosen][owner[chosen] == i]) if boxes.level == level else np.zeros(0, dtype=np.intp)
            if out.size == 0:
                left.append(boxes)
                continue
            taken.append(boxes.take(out))
            if out.size < boxes.count:
                left.append(boxes.take(np.setdiff1d(np.arange(boxes.count), out, assume_unique=True)))
        self.batches = left
        return join(taken)

    @staticmethod
    def _key(boxes: Boxes, chunk_number: int) -> NDArray[np.float64]:
        return boxes.bound if chunk_number % BEST_FIRST_EVERY == 0 else -boxes.depth.astype(np.float64)
