"""What every output of the controller has to give: amperes running and at the start.

The manual of the controller comes first. Where it is silent an output is taken for 1 A.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from quietcool.entry.build import PUMP, Build, Channel, Electric, SpeedRange
from quietcool.entry.workshop_records import Wiring

CUSTOMARY_LIMIT = 1.0  # of an output whose manual is not at hand (common practice, no source) [A]
DESIGN_SHARE = 0.8  # of a limit that a design uses (common practice, no source) [-]
START_FACTOR = 3.0  # start over running current where the sheet is silent: 1.5 to 3 (common practice, no source) [-]
FAN_VOLTAGE = 12.0  # of fans and small pumps (common practice, no source) [V]
SLACK = 1e-9

Load = Literal["within", "above 80 %", "over", "unknown"]


@dataclass(frozen=True)
class Draw:
    """What hangs on an output: a fan group, or the pump."""

    group: str
    part: str
    count: int
    running: float | None  # of all of them, as fast as they can turn [A]
    start: float | None  # of all of them at once [A]
    estimated: bool  # a current was estimated from the power, or a start current from the running one


@dataclass(frozen=True)
class Output:
    """One output of the controller, or what hangs on none."""

    name: str | None
    draws: tuple[Draw, ...]
    wiring: Wiring
    limit: float | None  # that the currents are held to; None for a hub whose limit is not known [A]
    customary: bool  # the limit is the custom, not the manual's

    @property
    def running(self) -> float | None:
        """Sum of the running currents; None where one is unknown [A]."""
        return _sum([draw.running for draw in self.draws])

    @property
    def start(self) -> float | None:
        """Sum of the start currents; None where one is unknown [A]."""
        return _sum([draw.start for draw in self.draws])

    @property
    def load(self) -> Load:
        """How the running current stands to the limit."""
        return judged_load(self.running, self.limit)

    @property
    def start_above(self) -> bool:
        """Whether everything that starts at once draws more than the limit."""
        return self.start is not None and self.limit is not None and self.start > self.limit * (1.0 + SLACK)


def _sum(currents: list[float | None]) -> float | None:
    known = [current for current in currents if current is not None]
    return sum(known) if len(known) == len(currents) else None


def judged_load(running: float | None, limit: float | None) -> Load:
    """How a running current stands to a limit.

    within: I <= 0.8 I_limit; over: I > I_limit

    Parameters
    ----------
    running : float or None
        Running current. [A]
    limit : float or None
        Limit. [A]

    Returns
    -------
    Load
        "within", "above 80 %", "over" or "unknown".

    References
    ----------
    .. [1] Common practice, no source (80 %).

    Examples
    --------
    >>> judged_load(0.8, 1.0), judged_load(0.81, 1.0), judged_load(1.01, 1.0)
    ('within', 'above 80 %', 'over')
    """
    if running is None or limit is None:
        return "unknown"
    if running > limit * (1.0 + SLACK):
        return "over"
    return "within" if running <= DESIGN_SHARE * limit * (1.0 + SLACK) else "above 80 %"


def running_current(electric: Electric, highest: float) -> tuple[float | None, bool]:
    """Current of one fan or pump as fast as it can turn, and whether it is an estimate.

    I = I_ref max(1, (N/N_ref)^3); I_ref = P/12 V where the sheet gives no current

    Parameters
    ----------
    electric : Electric
        Its electrical side.
    highest : float
        Highest speed of its group. [rev/s]

    Returns
    -------
    tuple
        Current [A], None where the sheet says nothing; whether it was estimated from the power.

    References
    ----------
    .. [1] Fan laws, power with the cube of the speed, at constant voltage. Never less than the sheet's current,
       because an output that has lost its signal runs at full speed (common practice, no source).

    Examples
    --------
    >>> running_current(Electric(power=2.4, speed=30.0, current=0.2), 30.0)
    (0.2, False)
    >>> running_current(Electric(power=2.4, speed=30.0), 30.0)
    (0.2, True)
    """
    power = float(electric.power)
    known = electric.current if electric.current is not None else power / FAN_VOLTAGE if power > 0.0 else None
    if known is None:
        return None, False
    return known * max(1.0, (highest / electric.speed) ** 3), electric.current is None


def outputs(build: Build) -> tuple[Output, ...]:
    """Return every output that something hangs on or that the file lists; last what hangs on none."""
    hung: dict[str | None, list[Draw]] = {channel.name: [] for channel in _listed(build)}
    for group in build.fan_groups:
        count = sum(row.count for path in build.air_paths for row in path.fan_rows if row.group == group.name)
        draw = _draw(group.name, group.fan.name, count, group.fan.electric, group.speeds)
        hung.setdefault(group.channel, []).append(draw)
    if build.loop.pump_channel is not None:
        pump = build.loop.pump
        draw = _draw(PUMP, pump.name, 1, pump.electric, build.loop.pump_speeds)
        hung.setdefault(build.loop.pump_channel, []).append(draw)
    named = [_output(build, name, draws) for name, draws in hung.items() if name is not None]
    return (*named, *([Output(None, tuple(hung[None]), "splitter", None, False)] if None in hung else []))


def channels_short(build: Build) -> int:
    """How many outputs are used beyond those that the controller has; 0 when they suffice or are not counted."""
    if build.controller is None or build.controller.channel_count is None:
        return 0
    used = sum(output.name is not None and len(output.draws) > 0 for output in outputs(build))
    return max(0, used - build.controller.channel_count)


def _listed(build: Build) -> tuple[Channel, ...]:
    return () if build.controller is None else build.controller.channels


def _draw(group: str, part: str, count: int, electric: Electric, speeds: SpeedRange) -> Draw:
    running, from_power = running_current(electric, speeds.highest)
    start = electric.start_current
    guessed = start is None and running is not None
    if start is None and running is not None:
        start = START_FACTOR * running
    times = [None if current is None else count * current for current in (running, start)]
    return Draw(group, part, count, times[0], times[1], from_power or guessed)


def _output(build: Build, name: str, draws: list[Draw]) -> Output:
    channel = next((channel for channel in _listed(build) if channel.name == name), Channel(name))
    if channel.wiring == "hub":
        return Output(name, tuple(draws), "hub", channel.hub_limit, False)
    common = None if build.controller is None else build.controller.channel_limit
    limit = channel.limit if channel.limit is not None else common
    return Output(name, tuple(draws), "splitter", CUSTOMARY_LIMIT if limit is None else limit, limit is None)
