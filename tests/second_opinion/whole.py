"""One build, one state, one set of speeds: everything, by fixed point over the temperatures."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from quietcool.entry.build import PUMP, Build, State
from tests.second_opinion import sound
from tests.second_opinion.air_side import AirFlows, AirNetwork, Fans
from tests.second_opinion.coolant_side import Ring, properties_at
from tests.second_opinion.heat import Conductances, HeatBalance, Temperatures
from tests.second_opinion.laws import SheetCurve, air_density, isa_pressure

CLOSE = 1e-10  # temperatures that move less are steady [K]
ROUNDS = 400  # of the fixed point, at most
NO_FLOW = 1e-9  # of through-flow, at or below which an enclosure has no steady temperature [kg/s]


@dataclass(frozen=True)
class Opinion:
    """What the second opinion says of one case; NaN temperatures where there is no steady state."""

    converged: bool
    rounds: int
    air: AirFlows
    temps: Temperatures | None
    air_pressure: float  # [Pa]
    coolant_flow: float  # of the whole ring [m3/s]
    station_flow: dict[str, float]  # [m3/s]
    conductance: dict[str, Conductances]
    inlet_volume_flow: dict[str, float] = field(default_factory=dict)  # at the density of the path's inlet [m3/s]
    hottest_coolant: float = math.nan  # [K]
    source_points: dict[tuple[str, str], float] = field(default_factory=dict)  # [K]
    source_levels: list[tuple[str, float]] = field(default_factory=list)  # sound power by row, the pump last [dB(A)]
    level: dict[str, float] = field(default_factory=dict)  # of the rig by position [dB(A)]
    total: dict[str, float] = field(default_factory=dict)  # with background and microphone [dB(A)]


def starves(build: Build, air: AirFlows) -> bool:
    """Whether some enclosure has no through-flow."""
    for enclosure in build.enclosures:
        arriving = sum(
            abs(air.mass_flow[path.name])
            for path in build.air_paths
            if enclosure == (path.target if air.mass_flow[path.name] > 0.0 else path.source)
        )
        if arriving <= NO_FLOW:
            return True
    return False


def everything_warm(temps: Temperatures) -> Iterator[float]:
    """Every temperature, for the test of steadiness [K]."""
    yield from temps.enclosure.values()
    yield from temps.station_in.values()
    yield from temps.station_out.values()
    for seen in temps.element.values():
        yield from seen


def mean_coolant(temps: Temperatures) -> float:
    """Plain mean of (in + out)/2 over all stations [K]."""
    return sum(0.5 * (temps.station_in[name] + temps.station_out[name]) for name in temps.station_in) / len(
        temps.station_in
    )


def source_points(
    build: Build, state: State, temps: Temperatures, flows: dict[str, float]
) -> dict[tuple[str, str], float]:
    """Temperature of every sensing point [K]."""
    found = {}
    for source in build.sources:
        plate, heat = source.plate, float(state.heat.get(source.name, 0.0))
        resistance = float(plate.r0) + float(plate.c) * (flows[source.name] / plate.reference_flow) ** -float(plate.n)
        for point in source.points:
            rise = heat * (float(point.share) * float(point.resistance) + resistance)
            found[source.name, point.name] = temps.station_in[source.name] + rise
    return found


@dataclass
class Case:
    """One case on its way to its fixed point."""

    build: Build
    state: State
    speeds: dict[str, float]

    def __post_init__(self) -> None:
        """Set up the two networks."""
        fans = Fans({group.name: SheetCurve(group.fan.curve) for group in self.build.fan_groups}, self.speeds)
        self.air_pressure = isa_pressure(float(self.build.room.altitude))
        self.network = AirNetwork(self.build, fans, self.air_pressure)

    def round(
        self, elements: dict[str, list[float]], coolant_temp: float, rescan: bool
    ) -> tuple[AirFlows, Ring, HeatBalance]:
        """Flows at given temperatures, and the heat balance at those flows."""
        self.network.set_temps(elements)
        air = self.network.solve(rescan)
        coolant = self.build.loop.coolant
        ring = Ring(self.build, properties_at(coolant_temp, coolant.kind, coolant.mass_fraction))
        ring.solve(self.speeds[PUMP])
        balance = HeatBalance(self.build, self.state, self.speeds, air.mass_flow, ring.flows, ring.properties)
        return air, ring, balance

    def solve(self, most_rounds: int) -> Opinion:
        """Repeat until no temperature moves; a saddle path is scanned again at the end."""
        room = float(self.state.room_temp)
        elements = {path.name: [room] * len(path.stack) for path in self.build.air_paths}
        coolant_temp, last, rescan, damping = room + 10.0, None, True, 1.0
        for number in range(1, most_rounds + 1):
            air, ring, balance = self.round(elements, coolant_temp, rescan)
            if starves(self.build, air):
                return self.opinion(False, number, air, ring, balance, None)
            temps = balance.solve()
            warm = [*everything_warm(temps), mean_coolant(temps)]
            moved = math.inf if last is None else max(abs(a - b) for a, b in zip(warm, last, strict=True))
            if moved < CLOSE and (rescan or self.network.saddle_path is None):
                return self.opinion(True, number, air, ring, balance, temps)
            rescan, last = moved < CLOSE, warm
            damping = 1.0 if number < 40 else 0.5 if number < 150 else 0.1
            for name, seen in temps.element.items():
                elements[name] = [(1 - damping) * a + damping * b for a, b in zip(elements[name], seen, strict=True)]
            coolant_temp += damping * (mean_coolant(temps) - coolant_temp)
        return self.opinion(False, most_rounds, air, ring, balance, None)

    def opinion(
        self, converged: bool, rounds: int, air: AirFlows, ring: Ring, balance: HeatBalance, temps: Temperatures | None
    ) -> Opinion:
        """Put together what is known."""
        build, flow = self.build, ring.flows[PUMP]
        if temps is None:
            return Opinion(converged, rounds, air, None, self.air_pressure, flow, ring.flows, balance.conductance)
        density = {name: [air_density(t, self.air_pressure) for t in seen] for name, seen in temps.element.items()}
        sources = sound.source_levels(build, self.speeds, air.mass_flow, density)
        rig, total = sound.levels_at_positions(build, sources)
        inlet = {}
        for path in build.air_paths:
            node = path.source if air.mass_flow[path.name] >= 0.0 else path.target
            temp = temps.enclosure.get(node, float(self.state.room_temp))
            inlet[path.name] = air.mass_flow[path.name] / air_density(temp, self.air_pressure)
        return Opinion(
            converged, rounds, air, temps, self.air_pressure, flow, ring.flows, balance.conductance,
            inlet_volume_flow=inlet,
            hottest_coolant=max([*temps.station_in.values(), *temps.station_out.values()]),
            source_points=source_points(build, self.state, temps, ring.flows),
            source_levels=sources,
            level=rig,
            total=total,
        )  # fmt: skip


def second_opinion(build: Build, state: State, speeds: Sequence[float], most_rounds: int = ROUNDS) -> Opinion:
    """Solve one case; `speeds` in the order of `build.group_names`, the pump last [rev/s]."""
    by_group = dict(zip(build.group_names, (float(speed) for speed in speeds), strict=True))
    return Case(build, state, by_group).solve(most_rounds)
