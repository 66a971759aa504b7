"""What to do about tones: beats between groups and within a row, speeds that bare a tone, bands to keep out of."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from quietcool.physics import prominence, tones
from quietcool.solve.tones import VERDICTS, ToneName, ToneState, predict_tones

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from quietcool.entry.build import Build, SpeedRange, State
    from quietcool.solve.operating_point import OperatingPoint

    Levels: TypeAlias = NDArray[np.float64]

LEVEL_SPREAD = 0.0  # of equal fans of a row, whose tones can cancel altogether [dB]


@dataclass(frozen=True)
class Beat:
    """Two tones close enough to be heard as one that swells."""

    first: ToneName
    second: ToneName  # the same as `first` for the fans of one group
    frequency: float  # how often it swells; of one group: at most [Hz]
    level_difference: float  # of the second to the first [dB]
    depth: float  # from the loudest to the quietest; inf for equal tones [dB]
    noticed: bool  # slow and deep enough, and its tones audible


@dataclass(frozen=True)
class BeatBand:
    """Speeds of one group at which its blade pass beats with that of another group at a given speed."""

    group: str  # the group that should stay out of `band`
    other: str
    other_speed: float  # [rev/s]
    band: tuple[float, float]  # [rev/s]


@dataclass(frozen=True)
class BaredTones:
    """Speeds of one group at which one of its tones is prominent at a position, the other groups as they are."""

    group: str
    bands: tuple[tuple[float, float], ...]  # first and last speed of each stretch of admissible ones [rev/s]
    slower: float | None  # nearest admissible speed below the present one without a prominent tone [rev/s]
    faster: float | None  # the same above [rev/s]
    prominent_now: bool


def find_beats(build: Build, state: ToneState, position: int) -> tuple[Beat, ...]:
    """Every pair of tones that swells at a position, noticed ones first, the slowest first.

    Parameters
    ----------
    build : Build
        Its groups say how far the speeds of their fans spread.
    state : ToneState
        One case.
    position : int
        Which position.

    Returns
    -------
    tuple of Beat
        Pairs of different sources up to 15 Hz apart, and the fans of each group of several.
    """
    level, audible = state.level[:, position], state.audible[:, position]
    found = []
    for i, first in enumerate(state.names):
        for j in range(i + 1, len(state.names)):
            if state.names[j].source != first.source and np.isfinite(level[i]) and np.isfinite(level[j]):
                apart = float(tones.beat_frequency(state.frequency[i], state.frequency[j]))
                difference = float(level[j] - level[i])
                if apart < prominence.BEAT_RANGE[1]:
                    heard = bool(audible[i] and audible[j])
                    found.append(_beat(first, state.names[j], apart, difference, heard))
    found += _within_groups(build, state, position)
    return tuple(sorted(found, key=lambda beat: (not beat.noticed, beat.frequency)))


def _beat(first: ToneName, second: ToneName, frequency: float, difference: float, audible: bool) -> Beat:
    depth = float(tones.beat_depth(difference))
    noticed = audible and bool(prominence.notices_beat(frequency, difference))
    return Beat(first, second, frequency, difference, depth, noticed)


def _within_groups(build: Build, state: ToneState, position: int) -> Iterator[Beat]:
    for group in build.fan_groups:
        fans = sum(row.count for path in build.air_paths for row in path.fan_rows if row.group == group.name)
        for i, name in enumerate(state.names):
            if name.source == group.name and fans > 1 and np.isfinite(state.level[i, position]):
                apart = group.speed_spread * float(state.frequency[i])
                yield _beat(name, name, apart, LEVEL_SPREAD, bool(state.audible[i, position]))


def beat_bands(build: Build, state: ToneState, speeds: Levels, position: int) -> tuple[BeatBand, ...]:
    """Speeds to keep out of, for every pair of groups whose blade passes now beat: what `avoid_rpm` can take.

    Parameters
    ----------
    build : Build
        Holds the blade counts.
    state : ToneState
        One case.
    speeds : ndarray, (groups + 1,)
        [rev/s]
    position : int
        Where it is heard.

    Returns
    -------
    tuple of BeatBand
        The second group of each pair stays 15 Hz away from the blade pass of the first at its present speed.
    """
    blades = {group.name: group.fan.blade_count for group in build.fan_groups}
    found = []
    for beat in find_beats(build, state, position):
        one, other = beat.first.source, beat.second.source
        count = blades.get(other)
        if one == other or not beat.noticed or count is None or blades.get(one) is None:
            continue
        speed = float(speeds[build.group_names.index(one)])
        middle = float(state.frequency[state.names.index(beat.first)]) / (count * beat.second.order)
        reach = prominence.BEAT_RANGE[1] / (count * beat.second.order)
        found.append(BeatBand(other, one, speed, (middle - reach, middle + reach)))
    return tuple(_widest(found))


def _widest(found: list[BeatBand]) -> Iterator[BeatBand]:
    """One band a pair: that of the lowest harmonics, which is the widest."""
    pairs: dict[tuple[str, str], BeatBand] = {}
    for band in found:
        known = pairs.get((band.group, band.other))
        if known is None or band.band[1] - band.band[0] > known.band[1] - known.band[0]:
            pairs[band.group, band.other] = band
    yield from pairs.values()


def bared_tones(build: Build, point: OperatingPoint, position: int, state: State) -> tuple[BaredTones, ...]:
    """Speeds of every group, and of the pump, at which one of its own tones is prominent at a position.

    Parameters
    ----------
    build, state : Build, State
        What the point was solved for.
    point : OperatingPoint
        One case; its load shares are kept, and the other groups stay at their speeds.
    position : int
        Where it is heard.

    Returns
    -------
    tuple of BaredTones
        Only groups that have tones.
    """
    found = []
    for number, (name, range_) in enumerate(zip(build.group_names, build.speed_ranges, strict=True)):
        turning = np.array([speed for speed in range_.admissible() if speed > 0.0])
        speeds = np.tile(point.speeds, (turning.size + 1, 1))
        speeds[:-1, number] = turning
        heard = predict_tones(build, speeds, np.tile(point.load_share, (turning.size + 1, 1)), state)
        mine = [i for i, tone in enumerate(heard.names) if tone.source == name]
        if mine:
            bare = np.any(heard.verdict[:, mine, position] == VERDICTS.index("prominent"), axis=1)
            found.append(_bared(name, range_, turning, bare[:-1], float(point.speeds[number]), bool(bare[-1])))
    return tuple(found)


def _bared(
    name: str, range_: SpeedRange, turning: Levels, bare: NDArray[np.bool_], present: float, now: bool
) -> BaredTones:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], bare, [False]]).astype(int)))
    bands = tuple((float(turning[a]), float(turning[b - 1])) for a, b in list(pairwise(edges))[::2])
    slack = 1e-6 * range_.step
    clear = turning[~bare]
    below, above = clear[clear < present - slack], clear[clear > present + slack]
    slower, faster = (float(below[-1]) if below.size else None), (float(above[0]) if above.size else None)
    return BaredTones(name, bands, slower, faster, now)
