"""The relaxation of one box as a linear program in cvxpy: what the Lagrangian of `relaxation.py` is the dual of.

One weight for every option of a path and every corner of its ranges (direction, flow, conductance, temperatures at its
ends, warming by fans). A setting in the box is one way to spread the weights: rows say that one option of each cluster
is picked, that every enclosure's mass and heat balance and every segment's heat balance closes, and that copies of a
temperature agree. With the picks as whole numbers the program is tighter, and slower. Temperatures over the room's.
"""

from __future__ import annotations

import itertools
import warnings
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.bound.frame import Frame
from quietcool.decide.bound.propagation import Examined
from quietcool.decide.bound.relaxation import Relaxation
from quietcool.decide.hush import hushed
from quietcool.physics import air
from quietcool.physics.network import REFERENCE

if TYPE_CHECKING:
    import cvxpy as cp

Floats = NDArray[np.float64]

SECONDS = 20.0  # for one program


class Solution(NamedTuple):
    """What the program came to."""

    status: str  # as cvxpy has it
    value: float  # noise energy that no setting in the box undercuts; inf if there is none, -inf if not solved [-]
    price: Floats | None  # of the balances, in the order of the Lagrangian; None without multipliers, (prices,)
    copies: Floats | None  # of each path's copies of its source's and target's temperature, (paths, 2)
    flow: Floats | None  # mean of the corners by their weights, (paths,) [kg/s]
    conductance: Floats | None  # (paths,) [W/K]


class Corners(NamedTuple):
    """Corners of one path at all open options, each array (columns,)."""

    option: NDArray[np.intp]  # of the path
    flow: Floats  # signed [kg/s]
    conductance: Floats  # [W/K]
    source: Floats  # copy of the source's temperature [K]
    target: Floats  # [K]
    coolant: Floats  # coolant inlet [K]
    brought_source: Floats  # heat brought to the source node [W]
    brought_target: Floats  # [W]
    taken: Floats  # from the ring [W]


def state_relaxation(frame: Frame, seen: Examined, box: int = 0, *, whole: bool = False) -> Statement:
    """State the relaxation of one box.

    Parameters
    ----------
    frame : Frame
        The state. Of a block of steps the least fan power is taken: the prices serve, the value is then no bound.
    seen : Examined
        Boxes with their ranges.
    box : int
        Which of them.
    whole : bool
        Options as whole numbers: the mixed-integer program.

    Returns
    -------
    Statement
    """
    return Statement(Relaxation(frame, seen), box, whole=whole)


def first_prices(frame: Frame, seen: Examined, box: int = 0, seconds: float = SECONDS) -> Floats | None:
    """Best multipliers of one box by the linear program; None where it is empty or was not solved in time.

    Returns
    -------
    ndarray, (prices,)
        Of mass and heat of every enclosure and of heat in every segment of the ring.
    """
    return state_relaxation(frame, seen, box).solve(min(seconds, SECONDS)).price


class Statement:
    """The program of one box."""

    def __init__(self, relaxation: Relaxation, box: int, *, whole: bool) -> None:
        import cvxpy as cp

        self.frame, self.relaxation, self.box, self.whole = relaxation.frame, relaxation, box, whole
        frame, n = self.frame, self.frame.enclosures
        self.flow_scale = max(options.flow_scale for options in frame.paths)
        self.heat_scale = 1.0 + float(np.abs(relaxation.seen.ring.heat[:, box]).max())
        energy = [cost[box] for cost in relaxation.energy]
        self.picks = [cp.Variable(cost.size, nonneg=True, boolean=whole) for cost in energy]
        self.rows: list[cp.Constraint] = [pick.sum() == 1 for pick in self.picks]
        struck = [cost == np.inf for cost in energy]
        self.rows += [pick[out] == 0 for pick, out in zip(self.picks, struck, strict=True) if out.any()]
        self.air = cp.Variable(n) if n else None
        if n:
            low, high = relaxation.air_over[box].T
            self.rows += [self.air >= low, self.air <= high]
        self.corners = [self._corners(path) for path in range(len(frame.paths))]
        self.weights = [cp.Variable(corners.flow.size, nonneg=True) for corners in self.corners]
        self._link_options()
        self.copy_rows = self._link_copies()
        self.mass_rows = [self._mass(node) for node in range(n)]
        self.heat_rows = [self._heat(node) for node in range(n)]
        self.segment_rows = self._segments()
        rows = [*self.copy_rows.values(), *self.mass_rows, *self.heat_rows, *self.segment_rows]
        cost = sum(np.where(e < np.inf, e, 0.0) @ pick for e, pick in zip(energy, self.picks, strict=True))
        steps = relaxation.seen.boxes.pump[box]
        self.constant = float(frame.pump_energy[steps[0] : steps[1] + 1].min())
        self.problem = cp.Problem(cp.Minimize(cost), [*self.rows, *rows])

    def _corners(self, path: int) -> Corners:
        """Every corner of a path's ranges at its open options."""
        relaxation, options, box = self.relaxation, self.frame.paths[path], self.box
        cluster = next(c for c, members in enumerate(self.frame.clusters) if path in members.paths)
        columns = options.option_of_cluster[relaxation.columns[cluster]]
        arrays = relaxation.path_arrays[path]
        node = self.frame.ring.radiator_node.get(path)
        temps = [self._ends(options.source), self._ends(options.target)]
        coolant = (0.0,) if node is None else _distinct(relaxation.coolant_over[box, node])
        passive = relaxation.seen.paths[path].passive
        found: list[tuple[float, ...]] = []
        for own in np.unique(columns):
            k = int(np.flatnonzero(columns == own)[0])
            flow, power = arrays.flow[box, k], float(arrays.power[box, k, 0])
            conducts = _distinct([*arrays.conductance[box, k], np.clip(passive, *arrays.conductance[box, k])])
            for forward, m in _directed(flow):
                rises = _distinct((arrays.rise_forward if forward else arrays.rise_reverse)[box, k])
                rises = rises if node is not None else (0.0,)
                for g, t_s, t_t, u, rise in itertools.product(conducts, *temps, coolant, rises):
                    up, down = (t_s, t_t) if forward else (t_t, t_s)
                    forced, spare = g * (u - up - rise), max(passive - g, 0.0) * (u - t_s)
                    brought = m * air.SPECIFIC_HEAT * (up - down) + power + forced
                    to_source, to_target = (spare, brought) if forward else (brought + spare, 0.0)
                    signed = m if forward else -m
                    found.append((own, signed, g, t_s, t_t, u, to_source, to_target, forced + spare))
        table = np.array(found)
        return Corners(table[:, 0].astype(np.intp), *table[:, 1:].T)

    def _ends(self, node: int) -> tuple[float, ...]:
        return (0.0,) if node == REFERENCE else _distinct(self.relaxation.air_over[self.box, node])

    def _link_options(self) -> None:
        """The corners of an option weigh together what the option weighs."""
        for cluster, members in enumerate(self.frame.clusters):
            for path in members.paths:
                own = self.frame.paths[path].option_of_cluster[self.relaxation.columns[cluster]]
                corners, weight = self.corners[path], self.weights[path]
                for option in np.unique(own):
                    picked = self.picks[cluster][np.flatnonzero(own == option)]
                    self.rows.append(weight[np.flatnonzero(corners.option == option)].sum() == picked.sum())

    def _link_copies(self) -> dict[tuple[int, int], cp.Constraint]:
        """A path's copy of an enclosure's temperature is the enclosure's temperature."""
        rows = {}
        for path, options in enumerate(self.frame.paths):
            for end, node in enumerate((options.source, options.target)):
                if node != REFERENCE and self.air is not None:
                    copy = (self.corners[path].source, self.corners[path].target)[end] @ self.weights[path]
                    rows[path, end] = copy - self.air[node] == 0
        return rows

    def _mass(self, node: int) -> cp.Constraint:
        """What flows into an enclosure flows out of it."""
        total: Any = 0.0
        for path, options in enumerate(self.frame.paths):
            sign = (options.target == node) - (options.source == node)
            if sign:
                total = total + (sign * self.corners[path].flow / self.flow_scale) @ self.weights[path]
        row: cp.Constraint = total == 0
        return row

    def _heat(self, node: int) -> cp.Constraint:
        """What an enclosure's air is given is carried away."""
        frame = self.frame
        put_in = np.full(2, frame.air_heat[node])
        if frame.build.loop.pump_enclosure == frame.build.enclosures[node]:
            put_in = put_in + frame.tables.pump_rest[self.relaxation.seen.boxes.pump[self.box]]
        total = self._between(*put_in) / self.heat_scale
        for path, options in enumerate(frame.paths):
            for place, brought in (
                (options.source, self.corners[path].brought_source),
                (options.target, self.corners[path].brought_target),
            ):
                if place == node:
                    total = total + (brought / self.heat_scale) @ self.weights[path]
        row: cp.Constraint = total == 0
        return row

    def _between(self, low: float, high: float) -> Any:
        """A number in a range: a constant where it has no width."""
        import cvxpy as cp

        if low == high:
            return low
        between = cp.Variable()
        self.rows += [between >= low, between <= high]
        return between

    def _segments(self) -> list[cp.Constraint]:
        """C (T_source - T_target) + heat put in - heat given off = 0, every product C T between its corners."""
        ring, seen, box = self.frame.ring, self.relaxation.seen, self.box
        carried: dict[tuple[int, int], Any] = {}
        rows = []
        for i, segment in enumerate(ring.segments):
            total = self._between(*seen.ring.heat[i, box]) / self.heat_scale
            if segment.source != segment.target:
                for node, sign in ((segment.source, 1.0), (segment.target, -1.0)):
                    if (node, segment.stream) not in carried:
                        carried[node, segment.stream] = self._carried(node, segment.stream)
                    total = total + sign * carried[node, segment.stream] / self.heat_scale
            for path in segment.radiators:
                total = total - (self.corners[path].taken / self.heat_scale) @ self.weights[path]
            rows.append(total == 0)
        return rows

    def _carried(self, node: int, stream: int) -> Any:
        """Capacity rate times a node's temperature over the middle of the ring."""
        import cvxpy as cp

        relaxation, box = self.relaxation, self.box
        rates, middle = relaxation.seen.ring.capacity[stream, box], relaxation.middle[box]
        product = cp.Variable()
        path = next((p for p, at in self.frame.ring.radiator_node.items() if at == node), None)
        if path is not None:
            weight, over = self.weights[path], self.corners[path].coolant - middle
        else:
            weight, over = self._free_node(node), relaxation.coolant_over[box, node] - middle
        ends = np.stack([rates[0] * over, rates[1] * over])
        self.rows += [product >= ends.min(axis=0) @ weight, product <= ends.max(axis=0) @ weight]
        return product

    def _free_node(self, node: int) -> Any:
        """Weights of the ends of a node that is no radiator's inlet; the same for every stream."""
        import cvxpy as cp

        if not hasattr(self, "free"):
            self.free: dict[int, Any] = {}
        if node not in self.free:
            self.free[node] = cp.Variable(2, nonneg=True)
            self.rows.append(self.free[node].sum() == 1)
        return self.free[node]

    def solve(self, seconds: float = SECONDS) -> Solution:
        """Solve by HiGHS, one thread, within a time."""
        import cvxpy as cp

        with hushed(), warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # that an answer is inaccurate is what the status says
            try:
                self.problem.solve(solver=cp.HIGHS, highs_options={"threads": 1, "time_limit": seconds})  # type: ignore[no-untyped-call]
            except (ValueError, cp.error.SolverError):  # what it says where the solver comes to nothing
                return Solution("unknown", -np.inf, None, None, None, None)
        status = str(self.problem.status)
        if status != cp.OPTIMAL:  # cut short, a program's value is no bound
            return Solution(status, np.inf if status == cp.INFEASIBLE else -np.inf, None, None, None, None)
        value = float(self.problem.value) + self.constant
        flow, conductance = (
            np.array([getattr(c, what) @ w.value for c, w in zip(self.corners, self.weights, strict=True)])
            for what in ("flow", "conductance")
        )
        if self.whole:
            return Solution(status, value, None, None, flow, conductance)
        return Solution(status, value, self._prices(), self._copy_prices(), flow, conductance)

    def _prices(self) -> Floats:
        """Multipliers of the balances, without the scales of the rows."""
        mass = [float(row.dual_value) / self.flow_scale for row in self.mass_rows]
        heat = [float(row.dual_value) / self.heat_scale for row in (*self.heat_rows, *self.segment_rows)]
        return np.array(mass + heat)

    def _copy_prices(self) -> Floats:
        """Multipliers of the copies; the Lagrangian takes a copy's price off."""
        prices = np.zeros((len(self.frame.paths), 2))
        for (path, end), row in self.copy_rows.items():
            prices[path, end] = -float(row.dual_value)
        return prices


def _distinct(values: Any) -> tuple[float, ...]:
    return tuple(dict.fromkeys(float(value) for value in values))


def _directed(flow: Floats) -> Iterator[tuple[bool, float]]:
    """Sizes of flow at the ends of a range, by direction: forward, then reversed."""
    low, high = float(flow[0]), float(flow[1])
    if high >= 0.0:
        yield from ((True, size) for size in _distinct((max(low, 0.0), high)))
    if low < 0.0:
        yield from ((False, size) for size in _distinct((max(-high, 0.0), -low)))
