"""Intervals of 2,000 Latin hypercube draws against 50,000 plain Monte Carlo draws of both demos.

Run from the repository's root:

    python -m tests.profiles.interval_profile

Exit code 1 if an end of an interval is off by more than 5 % of its width.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from quietcool import demo_names, demo_path, read_build
from quietcool.decide.tolerances import uncertain_inputs
from quietcool.decide.uncertainty import Draws, draw, find_uncertainty

RESULTS = ("coolant_temp_max", "point_temp", "enclosure_temp", "path_temp_out", "level", "air_flow", "coolant_flow")


def main() -> int:
    worst = 0.0
    for name in demo_names():
        build = read_build(str(demo_path(name)))
        speeds = np.array([ranges.present or ranges.lowest for ranges in build.speed_ranges])
        inputs = uncertain_inputs(build)
        plain = Draws(inputs, np.random.default_rng(5).random((50_000, len(inputs))), 5)
        for state in build.states:
            start = time.monotonic()
            known = find_uncertainty(build, state.name, speeds, draw(build, count=2000, seed=1))
            taken = time.monotonic() - start
            reference = find_uncertainty(build, state.name, speeds, plain)
            off = 0.0
            for result in RESULTS:
                low, high = getattr(reference.low, result), getattr(reference.high, result)
                width = np.where(high > low, high - low, np.inf)
                for mine, theirs in ((known.low, low), (known.high, high)):
                    off = max(off, float(np.max(np.abs(getattr(mine, result) - theirs) / width)))
            worst = max(worst, off)
            print(f"{name}, {state.name}: off by {100.0 * off:.1f} % of the width; 2,000 draws in {taken:.2f} s")
    return 0 if worst <= 0.05 else 1


if __name__ == "__main__":
    sys.exit(main())
