"""Random true settings in random boxes under random prices, by the thousands: none may fall below a bound.

Run from the repository's root, with the number of bounds to try (100,000 take about an hour of one core):

    python -m tests.profiles.bound_profile --trials 100000 --first-seed 0

Every third build has a saddle, every third has sections side by side. Exit code 1 if anything was lost.
"""

from __future__ import annotations

import argparse
import sys
import time

from quietcool.entry.build import Build
from tests.decide.bound.planted import check_build
from tests.random_builds import random_build

SETTINGS = 8  # of every build
EVALUATIONS = 12  # of every box, each at other prices


def drawn(seed: int) -> Build | None:
    """Draw the build of a seed; None where no sensible one was found."""
    try:
        return random_build(seed, saddle=seed % 3 == 1, parallel=True if seed % 3 == 2 else None, limits=False)
    except ValueError:
        return None


def main() -> int:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--trials", type=int, default=2000, help="bounds to try")
    words.add_argument("--first-seed", type=int, default=0)
    asked = words.parse_args()
    tried, builds, wrong, seed, start = 0, 0, [], asked.first_seed, time.monotonic()
    while tried < asked.trials:
        build = drawn(seed)
        seed += 1
        if build is None:
            continue
        number, found = check_build(build, seed, SETTINGS, EVALUATIONS)
        tried, builds, wrong = tried + number, builds + 1, wrong + found
        for sentence in found:
            sys.stdout.write(f"seed {seed - 1}: {sentence}\n")
    sys.stdout.write(
        f"{tried} bounds on {builds} builds (seeds {asked.first_seed} to {seed - 1}), {len(wrong)} losses, "
        f"{time.monotonic() - start:.0f} s\n"
    )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
