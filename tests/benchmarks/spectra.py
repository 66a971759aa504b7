"""How long octave spectra of many cases take: ten sources at four positions, 1,000 to 100,000 cases.

Run from the folder of the project: `python tests/benchmarks/spectra.py`. It prints seconds (median of several runs),
the memory at its height and that of the answer. The wish: 10,000 cases in well under a second, memory bounded.
"""

from __future__ import annotations

import statistics
import sys
import time
import tracemalloc
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from quietcool.entry.build import Build, NoiseSource
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.solve.spectra import predict_spectra, rig_spectrum
from quietcool.solve.tones import predict_tones

REPEATS = 7


def ten_sources_four_positions() -> Build:
    """Make the demo of three fan groups and a pump sound beside six fixed sources, at four positions."""
    build = read_build(demo_path("booth_wall"))
    fixed = tuple(NoiseSource(f"fixed {i} (invented)", 15.0 + i) for i in range(6))
    more = tuple(replace(p, name=f"{p.name} again", distance=2.0 * float(p.distance)) for p in build.positions)
    return replace(build, noise_sources=fixed, positions=(*build.positions, *more))


def main() -> None:
    """Print the table."""
    build = ten_sources_four_positions()
    rows = sum(len(path.fan_rows) for path in build.air_paths)
    rng = np.random.default_rng(1)
    print(f"{'cases':>8} {'what':>14} {'s, median':>10} {'s, spread':>10} {'MB at most':>11} {'MB answer':>10}")
    for cases in (1_000, 10_000, 100_000):
        speeds = rng.uniform(5.0, 40.0, (cases, len(build.group_names)))
        shares = rng.uniform(0.0, 1.1, (cases, rows))
        for name, function in (("all sources", predict_spectra), ("rig only", rig_spectrum), ("tones", predict_tones)):
            if name == "tones" and cases > 10_000:
                continue  # they are judged one state at a time, or over the steps of a group
            took = []
            for _ in range(REPEATS if cases < 100_000 else 3):
                start = time.perf_counter()
                answer = function(build, speeds, shares)
                took.append(time.perf_counter() - start)
            tracemalloc.start()
            function(build, speeds, shares)
            peak = tracemalloc.get_traced_memory()[1]
            tracemalloc.stop()
            arrays = [answer] if isinstance(answer, np.ndarray) else vars(answer).values()
            size = sum(array.nbytes for array in arrays if isinstance(array, np.ndarray))
            spread = max(took) - min(took)
            print(
                f"{cases:>8} {name:>14} {statistics.median(took):>10.4f} {spread:>10.4f} {peak / 1e6:>11.1f} "
                f"{size / 1e6:>10.1f}"
            )


if __name__ == "__main__":
    main()
