"""Whether robust settings keep their chance in 20,000 fresh draws: both demos, every state, nine in ten.

Run from the repository's root (some minutes):

    python -m tests.profiles.robust_profile

Exit code 1 if a setting that claims its chance falls short of it by more than the draws can err.
"""

from __future__ import annotations

import argparse
import sys

from quietcool.decide.robust import chance_of, find_robust
from quietcool.decide.uncertainty import draw
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_names, demo_path

CONFIDENCE = 0.9
SEED = 987_654  # of the fresh draws: none that the search takes


def main() -> int:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--draws", type=int, default=20_000)
    words.add_argument("--seconds", type=float, default=30.0)
    asked = words.parse_args()
    error = 3.0 * (CONFIDENCE * (1.0 - CONFIDENCE) / asked.draws) ** 0.5  # three deviations of a binomial share
    short = 0
    for name in demo_names():
        rig = read_build(demo_path(name))
        for setting in find_robust(rig, confidence=CONFIDENCE, seconds=asked.seconds, seed=0).settings:
            speeds = next(iter(setting.robust.points.values())).speeds
            fresh = draw(rig, count=asked.draws, seed=SEED)
            chance = chance_of(rig, setting.states, speeds, fresh)
            wrong = setting.reached and chance < CONFIDENCE - error
            short += wrong
            print(
                f"{name} {', '.join(setting.states)}: claims {setting.chance:.2%}, {asked.draws} fresh draws "
                f"{chance:.2%}{'' if setting.reached else ' (not reached, and said so)'}{': SHORT' if wrong else ''}"
            )
    return 1 if short else 0


if __name__ == "__main__":
    sys.exit(main())
