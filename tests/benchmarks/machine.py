"""How far the batched solver is from what this machine can do: bandwidth and arithmetic, measured in the same run.

Every NumPy function that computes element by element is counted while one chunk of cases is solved: arrays that note
what is done to them (`Counted`) are smuggled in place of NumPy's own. What the same functions cost on arrays that lie
in the cache, called alone, is measured too; its sum over the counts is the time that the solver would need if nothing
but these computations were done. Choosing, gathering and joining (`where`, indices, `concatenate`) are not counted:
they are part of the distance, as are Python and what NumPy spends on each call.
"""

from __future__ import annotations

import statistics
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import Any
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.solve.cases import CHUNK
from quietcool.solve.operating_point import solve_operating_point
from tests.benchmarks.operating_points import random_speeds
from tests.benchmarks.timing import short

Floats = NDArray[np.float64]

TRIAD = 4_000_000  # numbers: three arrays of 32 MB, beyond every cache
SQUARE = 700  # rows of the matrices that are multiplied
REPEATS = 7
MOST_TOLD = 6  # functions in the table
MAKERS = ("zeros", "ones", "empty", "full", "arange")
KEEPERS = {"asarray": np.asanyarray, "ascontiguousarray": np.asanyarray}


class Note:
    """What was done: elements and calls by function, bytes in and out."""

    def __init__(self) -> None:
        self.elements: Counter[str] = Counter()
        self.calls: Counter[str] = Counter()
        self.functions: dict[str, np.ufunc] = {}
        self.bytes = 0


note = Note()


class Counted(np.ndarray):
    """An array that notes what is computed from it."""

    def __array_ufunc__(self, ufunc: np.ufunc, method: str, *inputs: Any, **kwargs: Any) -> Any:
        plain = [_bare(one) for one in inputs]
        out = kwargs.get("out")
        if out is not None:
            kwargs["out"] = tuple(_bare(one) for one in out)
        found = getattr(ufunc, method)(*plain, **{name: _bare(one) for name, one in kwargs.items()})
        sizes = [one for one in plain if isinstance(one, np.ndarray) and one.ndim]
        results = found if isinstance(found, tuple) else (found,)
        whole = [one for one in results if isinstance(one, np.ndarray)]
        note.functions[ufunc.__name__] = ufunc
        note.elements[ufunc.__name__] += max([one.size for one in [*sizes, *whole]], default=1)
        note.calls[ufunc.__name__] += 1
        note.bytes += sum(one.nbytes for one in [*sizes, *whole])
        return out[0] if out is not None and len(out) == 1 else _counted(found)

    def __array_function__(self, func: Any, types: Any, args: Any, kwargs: Any) -> Any:
        """Do it as NumPy does, with what comes out counted again."""
        return _counted(super().__array_function__(func, (Counted,), args, kwargs))


def _bare(value: Any) -> Any:
    return value.view(np.ndarray) if isinstance(value, Counted) else value


def _counted(value: Any) -> Any:
    if isinstance(value, tuple) and type(value) is tuple:
        return tuple(_counted(one) for one in value)
    return value.view(Counted) if isinstance(value, np.ndarray) else value


@contextmanager
def counting() -> Iterator[None]:
    """Make every array that is born in NumPy's own functions a counted one."""
    with ExitStack() as stack:
        for name in (*MAKERS, "array"):
            maker = getattr(np, name)

            def made(*args: Any, maker: Callable[..., Any] = maker, **kwargs: Any) -> Any:
                return _counted(maker(*args, **kwargs))

            stack.enter_context(patch.object(np, name, made))
        for name, keeper in KEEPERS.items():
            stack.enter_context(patch.object(np, name, keeper))
        yield


def median_seconds(work: Callable[[], object], repeats: int = REPEATS) -> float:
    """Median of the processor's seconds; the first run does not count."""
    work()
    seconds = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        seconds.append(time.process_time() - start)
    return statistics.median(seconds)


def triad() -> float:
    """Bytes a second of a = b + s c in NumPy, which needs two sweeps: 16 and 24 bytes an element."""
    b, c, a = (np.ones(TRIAD) for _ in range(3))

    def sweep() -> None:
        np.multiply(c, 3.0, out=a)
        np.add(a, b, out=a)

    return 40.0 * TRIAD / median_seconds(sweep)


def matrix_rate() -> float:
    """Floating-point operations a second of one core in a product of matrices, the most this machine is made to do."""
    a = np.random.default_rng(1).random((SQUARE, SQUARE))
    return 2.0 * SQUARE**3 / median_seconds(lambda: a @ a)


def seconds_per_element(function: np.ufunc) -> float:
    """What a function costs an element when its arrays lie in the cache; a sum or an extreme costs as its step does."""
    rng = np.random.default_rng(1)
    values: list[NDArray[Any]] = [rng.uniform(0.5, 0.9, CHUNK) for _ in range(function.nin)]
    if function.__name__.startswith(("logical", "bitwise", "invert")):
        values = [value > 0.7 for value in values]
    many = 300

    def again() -> None:
        for _ in range(many):
            function(*values)

    return median_seconds(again) / (many * CHUNK)


def run() -> dict[str, Any]:
    """Measure the machine, count one chunk, and time it uncounted."""
    build = read_build(demo_path("booth_wall"))
    state, speeds = build.state("render"), random_speeds(CHUNK)
    spent = median_seconds(lambda: solve_operating_point(build, state, speeds))
    truth = solve_operating_point(build, state, speeds)
    note.__init__()  # type: ignore[misc]
    with counting():
        point = solve_operating_point(build, state, speeds)
    assert np.array_equal(np.asarray(point.level), truth.level)  # counting changes nothing
    cost = {name: seconds_per_element(function) for name, function in note.functions.items()}
    least = {name: note.elements[name] * cost[name] for name in note.elements}
    bandwidth = triad()
    return {
        "triad_bytes_per_s": bandwidth, "matrix_operations_per_s": matrix_rate(),
        "multiply_per_s": 1.0 / seconds_per_element(np.multiply), "cases": CHUNK, "s": spent,
        "elements_per_case": sum(note.elements.values()) / CHUNK, "calls": sum(note.calls.values()),
        "bytes_per_case": note.bytes / CHUNK, "least_s_by_bandwidth": note.bytes / bandwidth,
        "least_s_by_functions": sum(least.values()),
        "functions": {
            name: {"elements_per_case": note.elements[name] / CHUNK, "calls": note.calls[name],
                   "ns_per_element": cost[name] * 1e9, "s": least[name]}
            for name in sorted(least, key=lambda name: -least[name])
        },
    }  # fmt: skip


def table(found: dict[str, Any]) -> list[str]:
    """Return the measurements as lines of Markdown."""
    spent, operations = found["s"], found["elements_per_case"] * found["cases"]
    lines = [
        "## The machine's own limit", "",
        f"Triad in NumPy {found['triad_bytes_per_s'] / 1e9:.1f} GB/s; products of matrices "
        f"{found['matrix_operations_per_s'] / 1e9:.1f}e9 operations/s of one core; `multiply` in the cache "
        f"{found['multiply_per_s'] / 1e9:.2f}e9 elements/s.",
        f"One chunk of {found['cases']:,} cases of the demo booth_wall takes {short(spent)} s of the processor.",
        f"Counted while it was solved: {found['elements_per_case']:,.0f} elements computed a case, in "
        f"{found['calls']:,} calls, {found['bytes_per_case'] / 1e3:.0f} kB in and out a case.", "",
        "| limit | s at least | the solver takes that many times |", "|---|---:|---:|",
    ]  # fmt: skip
    limits = {
        "the same functions, called alone, arrays in the cache": found["least_s_by_functions"],
        "all bytes through the memory at the triad's rate (they stay in the cache)": found["least_s_by_bandwidth"],
        "one operation an element at the rate of matrix products": operations / found["matrix_operations_per_s"],
    }
    lines += [f"| {name} | {short(least)} | {spent / least:.2f} |" for name, least in limits.items()]
    lines += ["", "| function | elements a case | calls | ns an element in the cache | share of the time |"]
    lines += ["|---|---:|---:|---:|---:|"]
    for name, one in list(found["functions"].items())[:MOST_TOLD]:
        lines.append(
            f"| `{name}` | {one['elements_per_case']:.0f} | {one['calls']} | {one['ns_per_element']:.2f} "
            f"| {one['s'] / spent:.0%} |"
        )
    return lines
