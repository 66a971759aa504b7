"""Is the second fan row worth it? Layouts of a radiator, each at its own optimum, at equal noise or temperature."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quietcool.decide.additions import Added as Added
from quietcool.decide.additions import added_by as added_by
from quietcool.decide.axes import COOLANT, Axis, axis_named
from quietcool.decide.curves import Curve, trace_curve
from quietcool.decide.further_variants import other_air, other_parts
from quietcool.decide.question import Tally
from quietcool.decide.quietest import Progress
from quietcool.decide.reasons import Reason, find_reason
from quietcool.decide.sampling import central_interval
from quietcool.decide.tradeoff import hottest_state
from quietcool.decide.uncertainty import Draws, draw
from quietcool.decide.variants import Variant, layouts_of, radiator_paths
from quietcool.entry.build import Build, State
from quietcool.entry.catalogue_records import Catalogue
from quietcool.solve.beats import find_beats
from quietcool.solve.operating_point import solve_operating_point
from quietcool.solve.tones import predict_tones

Floats = NDArray[np.float64]

LEVELS = 9  # noise levels that layouts are compared at
LEAST_PROOF = 0.3  # time below which no bound is begun [s]
FLAT = 0.03  # part of the common range, at its quiet end, where layouts are not compared
FINE = 121  # levels that the break-even is looked for at
POINTS = 20  # of every layout's curve; what was solved between them counts too
DRAWS = 300
MEASURABLE_TEMP = 0.5  # difference that two coolant sensors of one kind can show; common practice, no source [K]
MEASURABLE_LEVEL = 0.5  # difference that one meter can show on one rig; common practice, no source [dB]
CROSSED = 0.03  # a gain that changes sign counts when it is larger than this on both sides [K]


@dataclass(frozen=True)
class Difference:
    """Better by `value`, positive when good, with the ends of its 90 % interval."""

    value: float  # [K or dB]; NaN where one of the curves does not reach
    low: float
    high: float
    measurable: float  # least difference that can be measured [K or dB]

    @property
    def shows(self) -> bool:
        """Whether it could be measured: the interval excludes zero, and the value is large enough to be seen."""
        return bool((self.low > 0.0 or self.high < 0.0) and abs(self.value) >= self.measurable)


@dataclass(frozen=True)
class Gain:
    """One layout against the present one at one place of the curve."""

    level: float  # both make this noise where the temperatures are compared [dB(A)]
    temp: float  # of the present layout at this level; both keep it where the levels are compared [K]
    colder: Difference  # at equal noise [K]
    quieter: Difference  # at equal temperature [dB]


@dataclass(frozen=True)
class BreakEven:
    """A level at which a layout starts or stops to pay at equal noise."""

    level: float  # [dB(A)]
    temp: float  # of the present layout [K]
    speed: float  # of the present layout's first row there [rev/s]
    starts: bool  # it pays above this level, else below it


@dataclass(frozen=True)
class LayoutOutcome:
    """One layout of one radiator."""

    layout: str
    present: bool
    gains: tuple[Gain, ...]  # levels rising; empty where no setting keeps the other limits
    main: int  # place in `gains` where the present layout keeps the axis' own limit, else in the middle
    break_even: tuple[BreakEven, ...]
    added: Added
    quietest: float  # level below which no setting keeps the limits, however warm it may get; NaN if none does [dB(A)]
    lower_bound: float  # no setting of this layout that keeps the main temperature is quieter; -inf if unknown [dB(A)]
    speeds: Floats  # that keep the temperature of the main place, in the order of `groups` [rev/s]
    groups: tuple[str, ...]
    reason: Reason | None
    beats: tuple[tuple[str, str], ...] = ()  # groups whose blade pass swells audibly at these speeds


@dataclass(frozen=True)
class PathLayouts:
    """Every layout of one radiator, the present one first."""

    path: str
    radiator: str
    outcomes: tuple[LayoutOutcome, ...]


@dataclass(frozen=True)
class Layouts:
    """Layouts of radiators of a build in one state at one position."""

    state: str
    position: str
    axis: Axis
    room_temp: float  # [K]
    paths: tuple[PathLayouts, ...]
    solved_cases: int
    draws: int


class _Stage:
    """What all layouts of an answer share."""

    def __init__(self, state: State, axis: Axis, position: int, tell: Callable[[Progress], None]) -> None:
        self.state, self.axis, self.position, self.tell = state, axis, position, tell
        self.tally = Tally()
        self.curves: dict[int, Curve | None] = {}
        self.builds: list[Build] = []  # keeps the identities above alive
        self.bounds: dict[tuple[int, float], float] = {}
        self.end, self.unproven, self.interrupted = 0.0, 0, False

    def curve(self, variant: Variant, name: str, like: Curve | None) -> Curve | None:
        """Trace the curve of a variant, from one like it; that of the present build is the same for every radiator."""
        key = id(variant.build)
        if key not in self.curves:
            what = f"{name}: {variant.layout}"
            self.builds.append(variant.build)
            self.curves[key] = trace_curve(
                variant.build, self.state, self.axis, self.position, POINTS, self.tally,
                lambda done: self.tell(Progress(what, done, np.inf, -np.inf)), like,
            )  # fmt: skip
        return self.curves[key]

    def bound(self, curve: Curve, temp: float) -> float:
        """Bound a curve at a temperature with a fair share of the time that is left; -inf without any [dB(A)]."""
        key = id(curve), temp
        left = (self.end - time.monotonic()) / max(self.unproven, 1)
        self.unproven -= 1
        if key not in self.bounds:
            if temp < curve.temp[0] or left < LEAST_PROOF or self.interrupted:
                return float("-inf")
            proof = curve.prove_at(temp, left, self.tally)
            self.bounds[key], self.interrupted = proof.lower_bound, proof.interrupted
        return self.bounds[key]


def find_layouts(
    build: Build,
    path: str | None = None,
    *,
    state: str | None = None,
    axis: str = COOLANT,
    position: str | None = None,
    seconds: float = 60.0,
    progress: Callable[[Progress], None] | None = None,
    catalogue: Catalogue | None = None,
    air: bool = False,
) -> Layouts:
    """Compare every layout of a radiator, each with the whole rig at its own optimum.

    Parameters
    ----------
    build : Build
        The rig.
    path : str, optional
        Air path of the radiator; every one with a radiator and fans if not given.
    state : str, optional
        The workload; that with the most heat in the coolant if not given.
    axis : str
        Temperature that counts, see `axes.axes_of`.
    position : str, optional
        Where it is heard; the first position if not given.
    seconds : float
        Time for the whole answer; the search for settings is not cut short, a bound for every layout at the main
        temperature gets what is left. [s]
    progress : callable, optional
        Told now and then how far the answer is.
    catalogue : Catalogue, optional
        With it, thicker fans and other cores of it too, see `further_variants.other_parts`.
    air : bool
        With it, room air and vents opened or closed too, see `further_variants.other_air`.

    Returns
    -------
    Layouts

    Raises
    ------
    KeyError
        If a path, state, axis or position is unknown.
    """
    end = time.monotonic() + seconds
    load = hottest_state(build) if state is None else build.state(state)
    where = 0 if position is None else {p.name: i for i, p in enumerate(build.positions)}[position]
    stage = _Stage(load, axis_named(build, load, axis), where, progress or (lambda _: None))
    lineups = []
    for name in radiator_paths(build) if path is None else (path,):
        variants = layouts_of(build, name)
        variants += other_parts(build, name, catalogue) if catalogue is not None else ()
        variants += other_air(build, name) if air else ()
        lineups.append(_trace(stage, name, variants))
    stage.end, stage.unproven = end, sum(curve is not None for one in lineups for _, curve in one.layouts)
    found = [_compare(stage, one) for one in lineups]
    return Layouts(
        load.name,
        build.positions[where].name,
        stage.axis,
        float(load.room_temp),
        tuple(found),
        stage.tally.cases,
        DRAWS,
    )


@dataclass(frozen=True)
class _Lineup:
    """Every layout of one radiator with its curve, the present one first."""

    path: str
    layouts: tuple[tuple[Variant, Curve | None], ...]


def _trace(stage: _Stage, name: str, variants: Sequence[Variant]) -> _Lineup:
    found: list[tuple[Variant, Curve | None]] = []
    like = None
    for variant in variants:
        curve = stage.curve(variant, name, like)
        like = curve or like  # the two speeds of the last layout take over what one speed has found
        found.append((variant, curve))
    return _Lineup(name, tuple(found))


def _compare(stage: _Stage, lineup: _Lineup) -> PathLayouts:
    present, reference = lineup.layouts[0]
    draws = draw(*(variant.build for variant, _ in lineup.layouts), count=DRAWS)
    outcomes = [_outcome(stage, present, reference, *one, draws) for one in lineup.layouts]
    core = present.build.air_paths[present.path].core
    return PathLayouts(lineup.path, core.radiator.name if core else "", tuple(outcomes))


def _outcome(
    stage: _Stage,
    present: Variant,
    reference: Curve | None,
    variant: Variant,
    curve: Curve | None,
    draws: Draws,
) -> LayoutOutcome:
    """Compare one layout with the present one; without a curve of both there is nothing to compare."""
    added = added_by(variant, present)
    groups = variant.build.group_names
    levels = np.zeros(0) if reference is None or curve is None else _levels(reference, curve, stage.axis)
    if reference is None or curve is None or levels.size == 0:
        none = np.full(len(groups), np.nan)
        return LayoutOutcome(
            variant.layout, variant.present, (), 0, (), added, float("nan"), float("-inf"), none, groups, None
        )
    main = _main(reference, levels, stage.axis)
    temp = float(reference.coldest_at(float(levels[main])))
    speeds = curve.speeds[curve.place_at(temp)]
    return LayoutOutcome(
        layout=variant.layout,
        present=variant.present,
        gains=_gains(reference, curve, levels, draws),
        main=main,
        break_even=() if variant.present else _break_even(reference, curve, present),
        added=added,
        quietest=float(curve.level[-1]),
        lower_bound=stage.bound(curve, temp),
        speeds=speeds,
        groups=groups,
        reason=find_reason((present, reference), (variant, curve), temp),
        beats=_beats(variant.build, stage.state, speeds, stage.position),
    )


def _beats(build: Build, state: State, speeds: Floats, position: int) -> tuple[tuple[str, str], ...]:
    """Pairs of groups whose blade pass lies so close together at a setting that it swells audibly."""
    point = solve_operating_point(build, state, speeds)
    tones = predict_tones(build, point.speeds, point.load_share, state)
    found = find_beats(build, tones, position)
    pairs = [
        (beat.first.source, beat.second.source)
        for beat in found
        if beat.noticed and beat.first.source != beat.second.source
        and (beat.first.kind, beat.second.kind) == ("blade pass", "blade pass")
    ]  # fmt: skip
    return tuple(dict.fromkeys(pairs))


def _levels(reference: Curve, curve: Curve, axis: Axis) -> Floats:
    """Levels that both curves reach, evenly, and that at which the present layout keeps the axis' own limit.

    The very quietest levels are left out: there the curves are flat, and a level says nothing about a temperature.
    """
    low = max(reference.level[-1], curve.level[-1])
    high = min(reference.level[0], curve.level[0])
    levels = np.linspace(low + FLAT * (high - low), high, LEVELS) if low < high else np.zeros(0)
    asked = _asked_level(reference, axis)
    return np.unique(np.append(levels, asked)) if np.isfinite(asked) else levels


def _asked_level(reference: Curve, axis: Axis) -> float:
    """Level of the present layout at the axis' own limit; NaN without one, or where it is out of reach [dB(A)]."""
    return float("nan") if axis.value is None else float(reference.quietest_at(axis.value))


def _main(reference: Curve, levels: Floats, axis: Axis) -> int:
    asked = _asked_level(reference, axis)
    found = np.flatnonzero(levels == asked)
    return int(found[0]) if found.size else levels.size // 2


def _gains(reference: Curve, curve: Curve, levels: Floats, draws: Draws) -> tuple[Gain, ...]:
    """Differences at every level, nominal and under the same draws for both."""
    base = reference.coldest_at(levels)
    other = curve.coldest_at(levels)
    colder = base - other
    quieter = reference.quietest_at(base) - curve.quietest_at(base)
    there = reference.shift(draws, base)
    in_temp, in_level = curve.shift(draws, other), curve.shift(draws, np.where(np.isnan(quieter), np.nan, base))
    colder_drawn = colder[:, None] + in_temp.colder - there.colder
    quieter_drawn = quieter[:, None] + in_level.quieter - there.quieter
    found = []
    for i, level in enumerate(levels.tolist()):
        found.append(
            Gain(
                level,
                float(base[i]),
                _difference(float(colder[i]), colder_drawn[i], MEASURABLE_TEMP),
                _difference(float(quieter[i]), quieter_drawn[i], MEASURABLE_LEVEL),
            )
        )
    return tuple(found)


def _difference(value: float, drawn: Floats, measurable: float) -> Difference:
    low, high = central_interval(drawn)
    return Difference(value, float(low), float(high), measurable)


def _break_even(reference: Curve, curve: Curve, present: Variant) -> tuple[BreakEven, ...]:
    """Levels at which the gain at equal noise changes its sign, small ripples of the speed steps left out."""
    low, high = max(reference.level[-1], curve.level[-1]), min(reference.level[0], curve.level[0])
    if not low < high:
        return ()
    levels = np.linspace(low, high, FINE)
    gain = reference.coldest_at(levels) - curve.coldest_at(levels)
    clear = np.flatnonzero(np.abs(gain) > CROSSED)
    group = present.build.group_names.index(present.rows[0].group)
    found = []
    for one, two in zip(clear[:-1], clear[1:], strict=True):
        if gain[one] * gain[two] < 0.0:
            part = gain[one] / (gain[one] - gain[two])
            level = float(levels[one] + part * (levels[two] - levels[one]))
            temp = float(reference.coldest_at(level))
            speed = float(reference.speeds[reference.place_at(temp), group])
            found.append(BreakEven(level, temp, speed, bool(gain[two] > 0.0)))
    return tuple(found)
