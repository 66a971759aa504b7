"""The certificate's checker: recomputes what closed every box of a search, and that the boxes leave nothing out.

No search, and no code of the search. It walks down the recorded tree from a root of its own. A box is cut where the
record says; every piece is looked at, so nothing can be missing. In each box it narrows ranges by balances of its own
(a rule drops only what no setting quieter than the claim can use), then takes the recorded prices and adds up the
Lagrangian: a lower bound on the noise energy of every setting in the box for any prices whatever. A box without
recorded cuts must come to nothing, or its bound must reach the claim.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.checker.case import Box, Case
from quietcool.decide.checker.lagrangian import Seen, least_energy
from quietcool.decide.checker.rules import Rules

Floats = NDArray[np.float64]

ROUNDS = 2  # of the rules on one set of tables
ROOT_LOOKS = 4
LAST_LOOKS = 8  # at a box that ends the tree, before it counts as open


class Recorded(NamedTuple):
    """What a certificate says of one search."""

    trims: tuple[tuple[int, tuple[float, ...]], ...]  # coordinate, inner values
    cuts: dict[int, tuple[int, tuple[float, ...], tuple[int, ...]]]  # by box: coordinate, inner values, children
    prices: dict[int, tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]]  # price, flows, conductances


def check_tree(
    case: Case, recorded: Recorded, goal: float, tell: Callable[[int], None] = lambda count: None
) -> Iterator[str]:
    """Walk the tree; one sentence for every box that could hold a setting quieter than the goal.

    Parameters
    ----------
    case : Case
        The state.
    recorded : Recorded
        Cuts and prices.
    goal : float
        Noise energy of the claim; infinite if it says that nothing keeps the limits. [-]
    tell : callable
        Told the number of boxes now and then.
    """
    box: Box | None = case.root()
    for _ in range(ROOT_LOOKS):
        box = _looked(case, box, goal)
    for coordinate, values in recorded.trims:
        pieces = [] if box is None else [_looked(case, piece, goal) for piece in _pieces(case, box, coordinate, values)]
        box = _together([piece for piece in pieces if piece is not None])
    waiting = [] if box is None else [(0, box, recorded.prices.get(0), 0.0)]
    count = 0
    while waiting:
        number, box, inherited, least = waiting.pop()  # prices and bound of the parent hold for its pieces
        count += 1
        if count % 50 == 0:
            tell(count)
        prices, cut = recorded.prices.get(number, inherited), recorded.cuts.get(number)
        for _ in range(1 if cut else LAST_LOOKS):
            box, bound = _bounded(case, box, goal, prices)
            if box is None:
                break
            least = max(least, bound)
        if box is None or least >= goal:
            continue
        if cut is None:
            short = 10.0 * np.log10(goal / least) if least > 0.0 and np.isfinite(goal) else np.inf
            yield f"box {number} is open: its bound lies {short:.4f} dB below the claim"
            continue
        coordinate, values, children = cut
        for child, piece in zip(children, _pieces(case, box, coordinate, values), strict=True):
            if piece is not None:
                waiting.append((child, piece, prices, least))
    tell(count)


def _bounded(
    case: Case, box: Box, goal: float, prices: tuple[tuple[float, ...], ...] | None
) -> tuple[Box | None, float]:
    """Narrow a box and bound it; None if it can hold nothing below the goal, else without the options that cannot."""
    seen = look(case, box, goal)
    if seen is None:
        return None, np.inf
    if prices is None:
        return seen.box, 0.0
    bound, forced = least_energy(case, seen, *prices)
    allowed = tuple(a & ~(f >= goal) for a, f in zip(seen.box.allowed, forced, strict=True))
    if bound >= goal or not all(a.any() for a in allowed):
        return None, bound
    return seen.box._replace(allowed=allowed), bound


def _looked(case: Case, box: Box | None, goal: float) -> Box | None:
    seen = None if box is None else look(case, box, goal)
    return None if seen is None else seen.box


def _pieces(case: Case, box: Box, coordinate: int, values: tuple[float, ...]) -> list[Box | None]:
    """Cut a box at inner values; together the pieces are the box, whatever the values. None for an empty piece."""
    n, nodes = len(case.enclosures), len(case.ring.nodes)
    edges = [-np.inf, *sorted(values), np.inf]
    found: list[Box | None] = []
    for low, high in zip(edges, edges[1:], strict=False):
        if coordinate == 2 * n + nodes:
            first = box.pump[0] if low == -np.inf else max(box.pump[0], int(low) + 1)
            last = box.pump[1] if high == np.inf else min(box.pump[1], int(high))
            found.append(box._replace(pump=(first, last)) if first <= last else None)
            continue
        name, row = [*(("pressure", i) for i in range(n)), *(("air", i) for i in range(n)),
                     *(("coolant", i) for i in range(nodes))][coordinate]  # fmt: skip
        spans = getattr(box, name).copy()
        spans[row] = max(spans[row, 0], low), min(spans[row, 1], high)
        found.append(box._replace(**{name: spans}) if spans[row, 0] <= spans[row, 1] else None)
    return found


def _together(boxes: list[Box]) -> Box | None:
    """The smallest box that holds all of them."""
    if not boxes:
        return None

    def around(arrays: list[Floats]) -> Floats:
        return np.stack([np.min([a[:, 0] for a in arrays], axis=0), np.max([a[:, 1] for a in arrays], axis=0)], axis=-1)

    return Box(
        around([box.pressure for box in boxes]),
        around([box.air for box in boxes]),
        around([box.coolant for box in boxes]),
        (min(box.pump[0] for box in boxes), max(box.pump[1] for box in boxes)),
        tuple(np.any(each, axis=0) for each in zip(*(box.allowed for box in boxes), strict=True)),
        tuple(around(list(each)) for each in zip(*(box.flow for box in boxes), strict=True)),
        tuple(around(list(each)) for each in zip(*(box.conductance for box in boxes), strict=True)),
    )


def look(case: Case, box: Box, goal: float) -> Seen | None:
    """Tables of a box, then the rules; None if it can hold no setting below the goal."""
    water = case.water(box)
    coolant = box.coolant.copy()
    coolant[:, 1] = np.minimum(coolant[:, 1], water.ceiling)
    box = box._replace(coolant=coolant, air=box.air.copy())
    if np.any(coolant[:, 0] > coolant[:, 1]):
        return None
    allowed, tables = [a.copy() for a in box.allowed], []
    for path in range(len(case.paths)):
        cluster, of = case.cluster_of(path), case.of_cluster[path]
        wanted = np.zeros(len(case.options[path]), dtype=np.bool_)
        wanted[of[allowed[cluster]]] = True
        table = case.table(box, path, wanted, water)
        allowed[cluster] &= table.possible[of]
        tables.append(table)
        if not allowed[cluster].any():
            return None
    known = [
        tuple(np.where(t.possible[:, None], new, old) for t, old, new in zip(tables, olds, news, strict=True))
        for olds, news in ((box.flow, [t.flow for t in tables]), (box.conductance, [t.conductance for t in tables]))
    ]
    rules = Rules(case, box._replace(allowed=tuple(allowed), flow=known[0], conductance=known[1]), water, tables)
    for _ in range(ROUNDS):
        if not rules.run(goal):
            return None
    energy = [np.where(a, e, np.inf) for a, e in zip(allowed, rules.energy(), strict=True)]
    return Seen(rules.box, water, tables, energy)
