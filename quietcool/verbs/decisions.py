"""What verbs of decisions share: how many draws, and how sure an answer is by them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from quietcool.errors import InputError, Mistake

if TYPE_CHECKING:
    from quietcool.decide.uncertainty import Uncertainty
    from quietcool.entry.build import Build
    from quietcool.solve.operating_point import OperatingPoint

DRAWS = 500  # of `solve` and `quietest`: a tenth of a second
MOST_DRAWS = 1_000_000
MOST_SEED = 2**63 - 1


def chosen_whole(option: str, value: int, lowest: int, highest: int) -> int:
    """Return a whole number that was asked for."""
    if not lowest <= value <= highest:
        required = f"a whole number from {lowest} to {highest}"
        raise InputError([Mistake(option, None, None, "", required, str(value), "write one in that range")])
    return value


def how_sure(
    rig: Build, points: Mapping[str, OperatingPoint], draws: int, seed: int, *, rank: bool = False
) -> dict[str, Uncertainty]:
    """Say how sure solved states are; nothing for 0 draws."""
    from quietcool.decide.uncertainty import find_uncertainties
    from quietcool.entry.choices import asked_for

    count, start = asked_for(
        lambda: chosen_whole("--draws", draws, 0, MOST_DRAWS), lambda: chosen_whole("--seed", seed, 0, MOST_SEED)
    )
    return find_uncertainties(rig, points, draws=count, seed=start, rank=rank)
