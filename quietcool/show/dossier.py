"""Everything a report tells about a rig, solved once: the setting, its intervals, how warm a room it stands, curves."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from quietcool.decide.layouts import Layouts, find_layouts
from quietcool.decide.limits import margins
from quietcool.decide.quietest import Progress, Quietest, Setting
from quietcool.decide.tradeoff import Tradeoff, find_tradeoff
from quietcool.decide.uncertainty import Ranking, Uncertainty, draw, find_uncertainty, rank_causes
from quietcool.decide.variants import layouts_of, radiator_paths
from quietcool.entry.build import Build
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point

WARMEST_ROOM = 318.15  # looked at [K]
ROOM_STEP = 0.25  # [K]
CURVE_POINTS = 24


@dataclass(frozen=True)
class Dossier:
    """What a report is written from."""

    build: Build
    answer: Quietest
    focus: str  # the state that figures show: the loudest of the answer
    uncertainty: Mapping[str, Uncertainty]  # by state
    warmest_room: Mapping[str, float | None]  # by state: up to here its setting keeps every limit [K]
    curve: Tradeoff
    layouts: Layouts | None
    causes: tuple[Ranking, ...]
    curved_path: str = ""  # path of the radiator that gives off the most in the state in focus
    layout_curves: Mapping[str, Tradeoff] = field(default_factory=dict)  # with its fans placed otherwise, by layout

    @property
    def points(self) -> dict[str, OperatingPoint]:
        """Operating points by state."""
        return {name: point for setting in self.answer.settings for name, point in setting.points.items()}

    @property
    def setting(self) -> Setting:
        """The setting of the state in focus."""
        return next(s for s in self.answer.settings if self.focus in s.states)


def gather(
    build: Build,
    answer: Quietest,
    *,
    layouts: bool = False,
    progress: Callable[[Progress], None] | None = None,
) -> Dossier:
    """Solve what a report tells besides the quietest setting; the same inputs give the same dossier.

    Parameters
    ----------
    build : Build
        The rig.
    answer : Quietest
        From `find_quietest`.
    layouts : bool
        Compare the layouts of every radiator; takes minutes.
    progress : callable, optional
        Told now and then how far it is.

    Returns
    -------
    Dossier
    """
    tell = progress or (lambda _: None)
    loudest = max(answer.settings, key=lambda s: -math.inf if math.isnan(s.level) else s.level)
    focus = loudest.states[0]
    draws = draw(build)
    uncertainty, warmest = {}, {}
    for setting in answer.settings:
        for state in setting.states:
            tell(Progress(f"drawing errors in {state}", math.nan, math.inf, -math.inf))
            if setting.points[state].converged:
                uncertainty[state] = find_uncertainty(build, state, setting.speeds, draws)
            warmest[state] = warmest_room(build, state, setting)
    tell(Progress("ranking errors", math.nan, math.inf, -math.inf))
    causes = rank_causes(build, focus, loudest.speeds) if loudest.points[focus].converged else ()

    # Without time for bounds: those would depend on how fast the machine is, and the report with them.
    def curve(of: Build) -> Tradeoff:
        return find_tradeoff(
            of, focus, position=answer.position, points=CURVE_POINTS, seconds=0.0, progress=progress
        )  # fmt: skip

    path = leading_radiator(build, loudest.points[focus])
    curves: dict[str, Tradeoff] = {one.layout: curve(one.build) for one in layouts_of(build, path)[1:]} if path else {}
    compared = None
    if layouts and radiator_paths(build):
        compared = find_layouts(build, state=focus, position=answer.position, seconds=0.0, progress=progress)
    return Dossier(build, answer, focus, uncertainty, warmest, curve(build), compared, causes, path, curves)


def leading_radiator(build: Build, point: OperatingPoint) -> str:
    """Return the path of the radiator with fans that gives off the most; nothing where there is none."""
    rates = {path.name: float(rate) for path, rate in zip(build.air_paths, point.heat_rate.tolist(), strict=True)}
    return max(radiator_paths(build), key=lambda name: rates[name], default="") if point.converged else ""


def warmest_room(build: Build, name: str, setting: Setting) -> float | None:
    """Return the warmest room in which a setting keeps every limit of a state; None where it breaks one already [K]."""
    state = build.state(name)
    start = float(state.room_temp)
    temps = np.arange(start, max(WARMEST_ROOM, start) + 0.5 * ROOM_STEP, ROOM_STEP)
    warmer = replace(state, room_temp=temps)
    point = solve_operating_point(build, warmer, setting.speeds)
    kept = np.all(margins(build, warmer, point) >= 0.0, axis=-1) & point.converged
    held = int(np.argmin(kept)) if not np.all(kept) else kept.size
    return float(temps[held - 1]) if held else None
