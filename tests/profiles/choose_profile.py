"""How long a catalogue of 20,000 combinations takes to be proven, and how few of them are solved.

Run from the repository's root (some minutes):

    python -m tests.profiles.choose_profile --workers 2

The parts are invented: cores and fans of a demo, drawn a little other in every way. Exit code 1 if the answer is not
proven, or more than 2 % were solved.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import replace

from quietcool.decide.choose.search import find_choice
from quietcool.decide.choose.workers import Here, Processes
from quietcool.decide.quietest import Progress
from quietcool.entry.build import Build
from tests.decide.choose.catalogues import BOOTH, ROOM, catalogue_for, coarse

RIGS = {
    "room": (ROOM, ("front intake", "bottom intake"), "bounce", 12, 6),  # 144 x 144 combinations
    "booth": (BOOTH, ("side intake", "bottom intake", "top exhaust"), "render", 3, 5),  # 30 x 30 x 30
}
MOST_SOLVED = 0.02


def turning(build: Build) -> Build:
    """The same rig with fans that may not stop: where they rest, hundreds of combinations are equally quiet."""
    groups = tuple(replace(g, speeds=replace(g.speeds, may_stop=False)) for g in build.fan_groups)
    return replace(build, fan_groups=groups)


def main() -> int:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--rig", choices=list(RIGS), default="room")
    words.add_argument("--workers", type=int, default=1)
    words.add_argument("--seconds", type=float, default=600.0)
    words.add_argument("--seed", type=int, default=0)
    asked = words.parse_args()
    build, paths, state, radiators, fans = RIGS[asked.rig]
    rig = turning(coarse(build, 20.0))
    catalogue = catalogue_for(rig, paths, radiators, fans, asked.seed)
    start = time.monotonic()

    def tell(told: Progress) -> None:
        passed = time.monotonic() - start
        print(f"{passed:6.1f} s: {told.what}; best {told.level:.2f}, none below {told.lower_bound:.2f}")

    with Processes(asked.workers) if asked.workers > 1 else Here() as crew:
        found = find_choice(rig, catalogue, state, seconds=asked.seconds, workers=crew, progress=tell)
    level = float("nan") if found.best is None else found.best.level
    print(
        f"{asked.rig}: {found.allowed} combinations, {found.solved} solved ({found.solved / found.allowed:.2%}), "
        f"{'proven' if found.proven else f'not proven: none below {found.next_bound:.2f}'}, "
        f"{level:.2f} dB(A), {time.monotonic() - start:.0f} s on {asked.workers} workers"
    )
    return 0 if found.proven and found.solved <= MOST_SOLVED * found.allowed else 1


if __name__ == "__main__":
    sys.exit(main())
