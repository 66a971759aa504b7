"""From a practitioner's own readings to the sound block of a part sheet: sound power, its uncertainty, its speed law.

The logic of ISO 3744 (engineering grade) or ISO 3746 (survey grade) with few microphone places: background before and
after, correction for the room, upper bounds said to be such. Levels are A-weighted; octaves go one by one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from quietcool.physics import sound, sound_power
from quietcool.units import in_unit

Floats: TypeAlias = NDArray[np.float64]
Grade: TypeAlias = Literal["engineering", "survey"]

LIMITS = {  # of the background correction, lowest and highest difference [dB]; of K2 [dB]; sigma_R0 [dB]
    "engineering": (6.0, 15.0, 4.0, 1.5),  # ISO 3744:2010, 8.2.3, 4.3 and 9.3
    "survey": (3.0, 10.0, 7.0, 3.0),  # ISO 3746:2010, 8.3.3, 4.3 and 9.3
}
COVERAGE = 2.0  # of the expanded uncertainty, about 95 %
READING_ERROR = 0.5  # of a reading, one sigma [dB]; common practice, no source
DRIFT = 2.0  # between the backgrounds before and after from which on the reading is doubtful [dB]; common practice
FLOORLESS = -60.0  # where the search for a floor starts, below the quietest reading [dB]


@dataclass(frozen=True)
class Reading:
    """Levels around one machine at one speed."""

    speed: float  # [rev/s]
    levels: tuple[float, ...]  # at each microphone place, the machine on [dB(A)]
    background_before: tuple[float, ...]  # at the same places, the machine off; empty for none [dB(A)]
    background_after: tuple[float, ...]  # [dB(A)]
    surface: float  # measurement surface, such as 2 pi r^2 over a plane or 4 pi r^2 in the open [m2]
    absorption_area: float | None = None  # of the room; None in the open [m2]


@dataclass(frozen=True)
class PowerLevel:
    """Sound power from one reading."""

    speed: float  # [rev/s]
    level: float  # [dB(A) re 1 pW]
    k1: float  # background correction [dB]
    k2: float  # environmental correction [dB]
    upper_bound: bool  # the background was too near: the level is at most this
    uncertainty: float  # expanded, about 95 % [dB]
    cautions: tuple[str, ...]  # what weakens it, in sentences


@dataclass(frozen=True)
class SpeedLaw:
    """Level over speed through several readings: `sound.power_level_at_speed` with these numbers."""

    reference_level: float  # at `reference_speed`, without the floor [dB(A) re 1 pW]
    reference_speed: float  # [rev/s]
    exponent: float  # k [dB]
    floor: float  # -inf where the readings show none [dB(A) re 1 pW]
    scatter: float  # root mean square of what is left over; NaN with as many numbers as readings [dB]
    uncertainty: float  # of the reference level, expanded [dB]
    used: int  # readings that went in: upper bounds do not


def power_level(reading: Reading, grade: Grade = "engineering", operating_deviation: float = 0.5) -> PowerLevel:
    """Sound power of a machine from readings around it.

    L_W = L_p,mean - K1 - K2 + 10 lg(S / 1 m2),  U = 2 sqrt(sigma_R0^2 + sigma_omc^2 + sigma_bg^2)

    Parameters
    ----------
    reading : Reading
        Levels, backgrounds, surface and room.
    grade : str
        "engineering" (ISO 3744) or "survey" (ISO 3746): limits of the corrections and sigma_R0.
    operating_deviation : float
        sigma_omc: how well the level repeats when the machine is set up anew. [dB]

    Returns
    -------
    PowerLevel
        With sentences for everything that weakens it.

    References
    ----------
    .. [1] ISO 3744:2010, 8.2 (equations 12 to 20), 9; ISO 3746:2010, 8.3, 9.

    Examples
    --------
    >>> answer = power_level(Reading(20.0, (30.0,), (20.0,), (20.0,), 6.2832, 21.3))
    >>> round(answer.level, 3), round(answer.k1, 4), round(answer.k2, 3)
    (34.14, 0.4576, 3.384)
    """
    lowest, highest, most_k2, sigma = LIMITS[grade]
    total = float(sound.mean_level(reading.levels))
    backgrounds = [level for level in (*reading.background_before, *reading.background_after)]
    background = float(sound.mean_level(backgrounds)) if backgrounds else -np.inf
    k1, bound = sound_power.k1_correction(total, background, lower_limit=lowest, upper_limit=highest)
    k2 = 0.0
    if reading.absorption_area is not None:
        k2 = float(sound_power.k2_correction(reading.surface, reading.absorption_area))
    level = float(sound_power.power_level_from_surface_level(total, reading.surface, float(k1), k2))
    spread = _background_deviation(total - background, lowest)
    uncertainty = COVERAGE * float(np.sqrt(sigma**2 + operating_deviation**2 + spread**2))
    cautions = _cautions(reading, total - background, lowest, k2, most_k2)
    return PowerLevel(reading.speed, level, float(k1), k2, bool(bound), uncertainty, cautions)


def _background_deviation(difference: float, lowest: float) -> float:
    """What errors of both readings leave after the background is taken off [dB].

    L = 10 lg(10^(T / 10) - 10^(B / 10)) has slopes 1 / (1 - q) to T and -q / (1 - q) to B, q = 10^(-(T - B) / 10).
    The reading's own error is in sigma_R0; here is what the subtraction adds to it.
    """
    q = 10.0 ** (-max(difference, lowest) / 10.0)
    return READING_ERROR * float(np.sqrt(max((1.0 + q * q) / (1.0 - q) ** 2 - 1.0, 0.0)))


def _cautions(reading: Reading, difference: float, lowest: float, k2: float, most_k2: float) -> tuple[str, ...]:
    found = []
    if difference < lowest:
        found.append(
            f"the background is {difference:.1f} dB under the reading, less than {lowest:g} dB: an upper bound only"
        )
    if not reading.background_before or not reading.background_after:
        found.append("no background before and after: drift is not known")
    else:
        moved = float(sound.mean_level(reading.background_after) - sound.mean_level(reading.background_before))
        if abs(moved) > DRIFT:
            found.append(f"the background moved by {moved:+.1f} dB between before and after: read again")
    if k2 > most_k2:
        found.append(f"the room adds {k2:.1f} dB, more than {most_k2:g} dB: measure closer, or in a deader room")
    if len(reading.levels) == 1:
        found.append("one microphone place stands for the mean over the surface")
    return tuple(found)


def fit_speed_law(levels: Sequence[PowerLevel], reference_speed: float | None = None) -> SpeedLaw:
    """Fit level, exponent and floor to sound power at several speeds, by least squares in dB.

    L_W = 10 lg( 10^((L_ref + k lg(N / N_ref)) / 10) + 10^(L_floor / 10) )

    Parameters
    ----------
    levels : sequence of PowerLevel
        Upper bounds are left out. Two speeds give a level and an exponent, from five on a floor is sought too.
    reference_speed : float, optional
        The fastest one that is used if not given. [rev/s]

    Returns
    -------
    SpeedLaw
        A floor only where it makes the scatter smaller than one straight line does, by more than the third number
        is worth.

    Raises
    ------
    ValueError
        If fewer than two different speeds are left.

    Notes
    -----
    Weighted by the uncertainties. The fan sound laws expect 50 to 60 dB; another exponent is a reason to look again.
    """
    used = [level for level in levels if not level.upper_bound]
    speeds, heights = np.array([one.speed for one in used]), np.array([one.level for one in used])
    if len(set(speeds.tolist())) < 2:
        raise ValueError("readings: two different speeds that are no upper bounds are needed for a speed law")
    weights = 1.0 / np.array([one.uncertainty for one in used])
    reference = float(speeds.max()) if reference_speed is None else reference_speed
    decades = np.log10(speeds / reference)
    straight = np.polynomial.polynomial.polyfit(decades, heights, 1, w=weights)
    law = np.array([*straight, -np.inf])
    if len(used) >= 5:
        law = _better(law, _with_floor(law, decades, heights, weights), decades, heights, weights)
    left = heights - _law(law, decades)
    numbers = 2 + int(np.isfinite(law[2]))
    spare = len(used) - numbers
    scatter = float(np.sqrt(np.sum(left**2) / spare)) if spare > 0 else float("nan")
    common = COVERAGE * (scatter if spare > 0 else 0.0) / np.sqrt(len(used))
    uncertainty = float(np.hypot(min(one.uncertainty for one in used), common))
    return SpeedLaw(float(law[0]), reference, float(law[1]), float(law[2]), scatter, uncertainty, len(used))


def _law(numbers: Floats, decades: Floats) -> Floats:
    level, exponent, floor = numbers
    return sound.power_level_at_speed(level, 10.0**decades, 1.0, exponent, floor=floor)


def _with_floor(straight: Floats, decades: Floats, heights: Floats, weights: Floats) -> Floats:
    """Best law with a floor, from several floors to start from."""

    def left(numbers: Floats) -> Floats:
        weighted: Floats = weights * (_law(numbers, decades) - heights)
        return weighted

    fits = [
        least_squares(left, [heights.max(), exponent, heights.min() + start], x_scale=[1.0, 10.0, 3.0])
        for start in (-1.0, -6.0, -15.0)
        for exponent in (max(float(straight[1]), 20.0), 55.0)
    ]
    best: Floats = min(fits, key=lambda fit: float(fit.cost)).x
    return best


def _better(straight: Floats, floored: Floats, decades: Floats, heights: Floats, weights: Floats) -> Floats:
    """The law with a floor if it earns its third number (Akaike's criterion, small samples), else the straight one."""
    count = len(heights)

    def merit(law: Floats, numbers: int) -> float:
        square = float(np.mean((weights * (_law(law, decades) - heights)) ** 2)) + 1e-12
        small = 2.0 * numbers * (numbers + 1.0) / max(count - numbers - 1.0, 0.5)
        return count * float(np.log(square)) + 2.0 * numbers + small

    sensible = FLOORLESS < floored[2] < heights.max() and floored[1] > 0.0
    return floored if sensible and merit(floored, 3) < merit(straight, 2) else straight


def sound_block(law: SpeedLaw, note: str = "") -> str:
    """Write the sound block of a part sheet (TOML) from a speed law.

    Parameters
    ----------
    law : SpeedLaw
        What was fitted.
    note : str
        Free text for the block, on one line.

    Returns
    -------
    str
        Lines that a fan or pump sheet can take as they are; origin "measured".
    """
    lines = [
        "[sound]",
        f"speed_rpm = {in_unit(law.reference_speed, 'rpm'):.10g}",
        f"power_level_dba = {law.reference_level:.2f}",
        f"exponent = {law.exponent:.2f}",
        'origin = "measured"',
        f"tolerance_db = {law.uncertainty:.1f}",
    ]
    if np.isfinite(law.floor):
        lines.insert(4, f"floor_power_dba = {law.floor:.2f}")
    if note:
        escaped = note.replace("\\", "\\\\").replace('"', '\\"').replace("\n", " ")
        lines.append(f'note = "{escaped}"')
    return "\n".join(lines) + "\n"
