"""What the place of a fan row in its stack adds to its sound: one table, and which of its terms apply where."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from quietcool.entry.build import AirPath, Core, FanRow, Screen

if TYPE_CHECKING:
    from collections.abc import Mapping

    from quietcool.entry.build import Build, Number

GAP_SLACK = 1e-9  # a gap printed in mm may lose this on its way to metres [m]
PUSH_GAP = 0.010  # from here on a row before a core is not flush with it [m]
PULL_GAP = 0.025  # from here on a row behind a core is not flush with it [m]


@dataclass(frozen=True)
class InstallationAdder:
    """What a place in a stack adds to a fan's sound power."""

    term: str  # where it applies
    broadband: Number  # [dB]
    tones: float  # on blade pass and its harmonics, for the band model; the single-number model leaves it [dB]
    tolerance: float = 3.0  # [dB]
    source: str = "common practice, no source; only the order free <= push <= pull is published"
    sheet_first: bool = False  # a number in the sheet of what stands there goes before `broadband`


INSTALLATION_ADDERS: dict[str, InstallationAdder] = {
    "free": InstallationAdder("no radiator in the stack", 0.0, 0.0),
    "push gap": InstallationAdder("before the radiator, gap of 10 mm or more", 1.0, 1.0),
    "push flush": InstallationAdder("before the radiator, gap below 10 mm", 2.0, 3.0),
    "pull gap": InstallationAdder("behind the radiator, gap of 25 mm or more", 2.0, 3.0),
    "pull flush": InstallationAdder("behind the radiator, gap below 25 mm", 3.0, 6.0),
    "later row": InstallationAdder("every row but the first of a stack, on top of its place", 2.0, 3.0),
    "screen before": InstallationAdder(
        "screen directly before the first row; its sheet's number goes first", 3.0, 3.0, sheet_first=True
    ),
    "guard behind": InstallationAdder("guard directly behind a row", 1.0, 0.0),
}


def adders_of(build: Build) -> Mapping[str, InstallationAdder]:
    """Return the table of adders as a build has calibrated it, or switched it off.

    Parameters
    ----------
    build : Build
        Its `installation` holds the changes.

    Returns
    -------
    mapping
        The table itself where nothing is changed.
    """
    changes = build.installation
    if not changes.used:
        return {
            key: replace(adder, broadband=0.0, tones=0.0, sheet_first=False)
            for key, adder in INSTALLATION_ADDERS.items()
        }
    table = dict(INSTALLATION_ADDERS)
    for key, level in changes.broadband.items():
        table[key] = replace(table[key], broadband=level, sheet_first=False)
    for key, level in changes.tones.items():
        table[key] = replace(table[key], tones=level)
    return table


def _keys(path: AirPath, row_index: int) -> list[str]:
    """Terms of the table that apply to a row, "screen before" last."""
    stack = path.stack
    place = [i for i, element in enumerate(stack) if isinstance(element, FanRow)][row_index]
    row = path.fan_rows[row_index]
    core = next((i for i, element in enumerate(stack) if isinstance(element, Core)), None)
    before = stack[place - 1] if place > 0 else None
    behind = stack[place + 1] if place + 1 < len(stack) else None

    if core is None:
        keys = ["free"]
    elif place < core:
        keys = ["push gap" if row.gap >= PUSH_GAP - GAP_SLACK else "push flush"]
    else:
        keys = ["pull gap" if row.gap >= PULL_GAP - GAP_SLACK else "pull flush"]
    if row_index > 0:
        keys.append("later row")
    if isinstance(behind, Screen) and behind.resistance.style == "guard":
        keys.append("guard behind")
    if row_index == 0 and isinstance(before, Screen):
        keys.append("screen before")
    return keys


def installation_terms(
    path: AirPath, row_index: int, adders: Mapping[str, InstallationAdder] = INSTALLATION_ADDERS
) -> dict[str, Number]:
    """Terms of the installation adder that apply to a fan row, by their key in the table.

    Parameters
    ----------
    path : AirPath
        The path with the row in its stack.
    row_index : int
        Which of `path.fan_rows`, from 0. [-]
    adders : mapping
        The table; another one than `INSTALLATION_ADDERS` to calibrate or to vary it.

    Returns
    -------
    dict
        Adders that apply [dB]. Steps, no interpolation over the gap. A later row is one that is not the first
        in the order of the stack, with or without a radiator between.
    """
    terms: dict[str, Number] = {key: adders[key].broadband for key in _keys(path, row_index)}
    if "screen before" in terms and adders["screen before"].sheet_first:
        place = path.stack.index(path.fan_rows[0])
        before = path.stack[place - 1]
        assert isinstance(before, Screen)  # that is what the term says
        terms["screen before"] = before.resistance.noise_adder
    return terms


def tone_adder(path: AirPath, row_index: int, adders: Mapping[str, InstallationAdder] = INSTALLATION_ADDERS) -> float:
    """Installation adder on the blade-pass tones of a fan row; arguments as for `installation_terms`.

    Returns
    -------
    float
        Sum of the terms for tones. [dB]
    """
    return sum(adders[key].tones for key in _keys(path, row_index))
