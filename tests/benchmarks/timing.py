"""How the benchmarks take time: several repeats, medians and spread, the machine described beside the figures."""

from __future__ import annotations

import os
import platform
import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

LIBRARIES = ("numpy", "scipy", "pymoo")


@dataclass(frozen=True)
class Timed:
    """Seconds of several repeats of the same work."""

    seconds: tuple[float, ...]

    @property
    def median(self) -> float:
        """Median [s]."""
        return statistics.median(self.seconds)

    def entry(self) -> dict[str, object]:
        """Return the same for JSON."""
        return {
            "median_s": self.median,
            "least_s": min(self.seconds),
            "most_s": max(self.seconds),
            "runs": len(self.seconds),
        }


def short(value: float) -> str:
    """Three digits that mean something."""
    return f"{value:.3g}" if abs(value) < 1000.0 else f"{value:,.0f}"


def timed(
    work: Callable[[], object], repeats: int, *, warm: bool = True, clock: Callable[[], float] = time.process_time
) -> Timed:
    """Repeat a piece of work; the first run, which loads and fills caches, does not count unless it is asked for.

    Seconds are those of the processor, since others may use the machine; work in another process needs another clock.
    """
    if warm:
        work()
    seconds = []
    for _ in range(repeats):
        start = clock()
        work()
        seconds.append(clock() - start)
    return Timed(tuple(seconds))


def processor() -> str:
    """Name of the processor, where the system tells it."""
    try:
        lines = Path("/proc/cpuinfo").read_text().splitlines()
    except OSError:
        return platform.processor() or "unknown"
    return next((line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")), "unknown")


def load() -> float | None:
    """Processes that wanted the machine over the last minute, this one among them."""
    return round(os.getloadavg()[0], 2) if hasattr(os, "getloadavg") else None


def surroundings() -> dict[str, object]:
    """Versions and machine; the load says how much of it others had at the start."""
    return {
        "python": platform.python_version(),
        **{name: version(name) for name in LIBRARIES},
        "system": platform.system(),
        "processor": processor(),
        "cores": os.cpu_count(),
        "load_at_start": load(),
    }
