"""How large a power supply the rig wants, and what it draws from the mains.

An estimate for choosing. Mains wiring, circuits and earthing follow the local code and belong to a licensed
electrician.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from quietcool.entry.build import Build, Electric, State, Supply

QUIET_SHARE = (0.50, 0.65)  # of its rating: the supply's own fan stays slow (common practice, no source) [-]
RATING_STEP = 50.0  # ratings are sold in such steps (common practice, no source) [W]
EFFICIENCY = 0.90  # of a supply whose sheet is not at hand (common practice, no source) [-]
#: A current that flows for 3 hours or more counts 1.25 times against the breaker: NFPA 70, "National Electrical
#: Code", 210.20(A). Other countries have rules of their own.
CONTINUOUS_SHARE = 1.0 / 1.25
#: Draw of some 100 microseconds that a supply rides through, over its rating: "ATX Version 3.0 Multi Rail Desktop
#: Platform Power Supply Design Guide", 2022 (recalled, not re-read). Older supplies promise less.
PEAK_SHARE = 2.0

Loaded = Literal["quiet", "audible", "over", "unknown"]


@dataclass(frozen=True)
class Mains:
    """What the rig and its neighbours draw from the circuit."""

    current: float  # [A]
    continuous_limit: float | None  # of the circuit [A]

    @property
    def kept(self) -> bool:
        """Whether the circuit bears it for hours."""
        return self.continuous_limit is None or self.current <= self.continuous_limit


@dataclass(frozen=True)
class SupplyNeed:
    """What the heaviest state asks of the power supply."""

    powers: tuple[tuple[str, float], ...]  # of every state, everything behind the supply [W]
    state: str  # the heaviest
    power: float  # in it [W]
    quiet_ratings: tuple[float, float]  # least and greatest rating at which the supply's fan stays slow [W]
    rating: float | None  # of the supply in the file [W]
    peak: float | None  # of a moment; None where no source gives one [W]
    mains: Mains | None

    @property
    def share(self) -> float | None:
        """Power over rating [-]."""
        return None if self.rating is None else self.power / self.rating

    @property
    def load(self) -> Loaded:
        """What the power means for the supply in the file."""
        if self.share is None:
            return "unknown"
        return "over" if self.share > 1.0 else "quiet" if self.share <= QUIET_SHARE[1] else "audible"

    @property
    def peak_share(self) -> float | None:
        """Draw of a moment over rating [-]."""
        return None if self.rating is None or self.peak is None else self.peak / self.rating

    @property
    def kept(self) -> bool:
        """Whether supply and circuit bear the heaviest state."""
        return self.load != "over" and (self.mains is None or self.mains.kept)


def power_at(electric: Electric, speed: float) -> float:
    """Electrical power of a fan or pump at a speed.

    P = P_ref (N/N_ref)^3

    Parameters
    ----------
    electric : Electric
        Its electrical side.
    speed : float
        Speed. [rev/s]

    Returns
    -------
    float
        Power. [W]

    References
    ----------
    .. [1] ANSI/AMCA 210, fan laws: power with the cube of the speed (recalled, not re-read).

    Examples
    --------
    >>> power_at(Electric(power=8.0, speed=30.0), 15.0)
    1.0
    """
    return float(electric.power) * (speed / electric.speed) ** 3


def quiet_ratings(power: float) -> tuple[float, float]:
    """Least and greatest rating at which a supply's own fan stays slow.

    P/0.65 <= P_rated <= P/0.50, rounded up to the step of ratings

    Parameters
    ----------
    power : float
        Power behind the supply for hours. [W]

    Returns
    -------
    tuple of float
        Least and greatest rating. [W]

    References
    ----------
    .. [1] Common practice, no source (50 to 65 %).

    Examples
    --------
    >>> quiet_ratings(325.0)
    (500.0, 650.0)
    """
    low, high = (math.ceil(power / share / RATING_STEP - 1e-9) * RATING_STEP for share in QUIET_SHARE[::-1])
    return low, high


def mains_current(power: float, voltage: float, efficiency: float = EFFICIENCY, other_load: float = 0.0) -> float:
    """Current that the rig and its neighbours draw from a circuit, at a power factor of 1.

    I = (P/eta + P_other) / U

    Parameters
    ----------
    power : float
        Behind the supply. [W]
    voltage : float
        Of the mains. [V]
    efficiency : float
        Of the supply. [-]
    other_load : float
        Of other things on the circuit. [W]

    Returns
    -------
    float
        Current. [A]

    References
    ----------
    .. [1] Power is voltage times current; by definition.

    Examples
    --------
    >>> round(mains_current(1035.0, 230.0, 0.9, 230.0), 9)
    6.0
    """
    return (power / efficiency + other_load) / voltage


def state_power(build: Build, state: State) -> float:
    """Return everything behind the supply in a state, fans and pump as fast as they can turn [W].

    All heat is electrical power that came through the supply. Heat of enclosure air is counted whole; what of it is
    the supply's own loss stays on the safe side.
    """
    return (
        sum(float(watts) for watts in state.heat.values())
        + sum(float(watts) for watts in state.air_heat.values())
        + _turning_power(build)
    )


def _turning_power(build: Build) -> float:
    rows = [row for path in build.air_paths for row in path.fan_rows]
    groups = {group.name: group for group in build.fan_groups}
    fans = sum(row.count * power_at(groups[row.group].fan.electric, groups[row.group].speeds.highest) for row in rows)
    return fans + power_at(build.loop.pump.electric, build.loop.pump_speeds.highest)


def supply_need(build: Build) -> SupplyNeed:
    """Return what the heaviest state asks of supply and circuit."""
    powers = tuple((state.name, state_power(build, state)) for state in build.states)
    name, power = max(powers, key=lambda pair: pair[1])
    supply = build.supply
    return SupplyNeed(
        powers=powers,
        state=name,
        power=power,
        quiet_ratings=quiet_ratings(power),
        rating=None if supply is None else supply.rating,
        peak=_peak(build, build.state(name), power),
        mains=None if supply is None else _mains(supply, power),
    )


def _peak(build: Build, state: State, power: float) -> float | None:
    """Everything at its power, the sources that give a peak at that peak, all at the same moment."""
    above = [source.peak - float(state.heat[source.name]) for source in build.sources if source.peak is not None]
    return power + sum(max(0.0, extra) for extra in above) if above else None


def _mains(supply: Supply, power: float) -> Mains | None:
    if supply.mains_voltage is None:
        return None
    efficiency = EFFICIENCY if supply.efficiency is None else supply.efficiency
    limit = None if supply.circuit_current is None else CONTINUOUS_SHARE * supply.circuit_current
    return Mains(mains_current(power, supply.mains_voltage, efficiency, supply.other_load), limit)
