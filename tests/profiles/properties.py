"""What must hold of every solved rig, over generated builds by the thousand.

Run from the repository's root:

    python -m tests.profiles.properties --builds 2000

Topologies with nothing to three enclosures, parallel and nested branches, fans with a saddle, stopped groups, water and
glycol, from the sea to 4,000 m. Each build is solved at six settings. Exit code 1 if anything does not hold.
"""

from __future__ import annotations

import argparse
import math
import sys
import warnings
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.build import ROOM, Build, Core, FanRow, Opening, Screen, Source, StackElement, State
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point
from tests.random_builds import Wishes, drawn_build, random_speeds
from tests.second_opinion.laws import AIR_SPECIFIC_HEAT

Floats = NDArray[np.float64]

SETTINGS = 6
CLOSES = 1e-9  # relative
SAME = 1e-6  # properties rest within 1e-7 K, whatever the order of the sums [K, dB]
BOILS = 368.15  # beyond, the fits of the coolant end [K]
TWICE = 10.0 * math.log10(2.0)
NEEDED = ("mass_flow", "station_temp_in", "coolant_temp_max", "point_temp", "level", "total")


def drawn(seed: int) -> Build:
    """Draw the build of a seed, whether it keeps cool or not."""
    rng = np.random.default_rng([seed, 71])
    wishes = Wishes(enclosures=int(rng.choice([0, 1, 1, 2, 2, 3])), saddle=bool(rng.random() < 0.3))
    build = drawn_build(rng, wishes, f"generated build {seed} (invented)")
    return replace(build, room=replace(build.room, altitude=float(rng.choice([0.0, 300.0, 1500.0, 4000.0]))))


def broken(seed: int, tally: Counter[str]) -> Iterator[str]:
    """Yield what does not hold of the build of a seed."""
    build = drawn(seed)
    rng = np.random.default_rng([seed, 72])
    speeds = random_speeds(build, rng, SETTINGS, stopped=0.25)
    point = solve_operating_point(build, build.states[0], speeds)
    yield from nan_only_unsolved(point)
    solved = point.converged & ~(point.coolant_temp_max >= BOILS)
    tally["solved"] += int(solved.sum())
    tally["not converged"] += int((~point.converged).sum())
    tally["boiling"] += int((point.converged & ~solved).sum())
    for case in np.flatnonzero(solved):
        yield from balances(build, point, speeds[case], int(case))
    yield from levels(point, solved)
    yield from alone(build, point, speeds, int(rng.integers(SETTINGS)))
    saddles = any(np.any(np.diff(g.fan.curve.pressure) > 0.0) for g in build.fan_groups)
    tally["saddles" if saddles else "falling curves"] += 1
    if not saddles:  # with one, several states may be steady, and which is met depends on where one starts
        yield from another_order(build, point, speeds, solved, rng)
        yield from twice(build, speeds, tally)


def nan_only_unsolved(point: OperatingPoint) -> Iterator[str]:
    for name in NEEDED:
        values: Any = getattr(point, name)
        finite = np.isfinite(values).reshape(SETTINGS, -1).all(axis=1)
        if name in ("level", "total"):  # silence is minus infinity
            finite = ~np.isnan(values).reshape(SETTINGS, -1).any(axis=1)
        if np.any(finite != point.converged):
            yield f"{name} is a number where converged is False, or none where it is True"


def machine_power(electric: Any, speed: float) -> float:
    """By the cube of the speed [W]."""
    return float(electric.power) * float(speed / electric.speed) ** 3


def balances(build: Build, point: OperatingPoint, speeds: Floats, case: int) -> Iterator[str]:
    """Air closes in every enclosure; heat closes in the ring and over the walls of the rig."""
    state, flows = build.states[0], point.mass_flow[case]
    for enclosure in build.enclosures:
        parts = [
            float(m) * ((path.target == enclosure) - (path.source == enclosure))
            for path, m in zip(build.air_paths, flows, strict=True)
        ]
        if abs(math.fsum(parts)) > CLOSES * math.fsum(map(abs, parts)):
            yield f"air of {enclosure} does not close: {parts}"
    fans = {group.name: machine_power(group.fan.electric, speeds[i]) for i, group in enumerate(build.fan_groups)}
    blown = [sum(row.count * fans[row.group] for row in path.fan_rows) for path in build.air_paths]
    pump = machine_power(build.loop.pump.electric, speeds[-1])
    into_coolant = sum(map(float, state.heat.values())) + float(build.loop.pump.coolant_share) * pump
    given = math.fsum(float(q) for q in point.heat_rate[case] if np.isfinite(q))
    whole = sum(map(float, state.heat.values())) + sum(map(float, state.air_heat.values())) + sum(blown) + pump
    if abs(given - into_coolant) > CLOSES * whole:
        yield f"radiators give off {given} W of {into_coolant} W"
    temps = dict(zip(build.enclosures, point.enclosure_temp[case], strict=True)) | {ROOM: state.room_temp}
    carried = []
    for i, path in enumerate(build.air_paths):
        rate = abs(float(flows[i])) * AIR_SPECIFIC_HEAT
        gained = rate * float(point.path_temp_out[case, i] - point.path_temp_in[case, i])
        upstream, end = (path.source, path.target) if flows[i] >= 0.0 else (path.target, path.source)
        if end == ROOM:  # what leaves through it, over the room's air
            carried.append(gained + rate * float(temps[upstream] - temps[ROOM]))
        if path.core is not None and path.source == ROOM:  # what a core gives off without its own air
            carried.append(float(point.heat_rate[case, i]) - (gained - blown[i]))
    carried.append((1.0 - float(build.loop.pump.coolant_share)) * pump if build.loop.pump_enclosure == ROOM else 0.0)
    if abs(math.fsum(carried) - whole) > 10.0 * CLOSES * whole:
        yield f"{math.fsum(carried)} W leave of {whole} W"
    if min(temps.values(), default=0.0) < float(state.room_temp) - SAME:
        yield "an enclosure is colder than the room"


def levels(point: OperatingPoint, solved: NDArray[np.bool_]) -> Iterator[str]:
    """A level is the sum of its contributions; background and microphone only add."""
    summed = 10.0 * np.log10(np.sum(10.0 ** (point.contributions[solved] / 10.0), axis=-2))
    if not np.allclose(summed, point.level[solved], rtol=0.0, atol=1e-9):
        yield "a level is not the sum of its contributions"
    if np.any(point.total[solved] < point.level[solved] - 1e-12):
        yield "a total is below the rig's share"


def alone(build: Build, point: OperatingPoint, speeds: Floats, case: int) -> Iterator[str]:
    """A case is the same alone as in a batch."""
    single = solve_operating_point(build, build.states[0], speeds[case])
    for name in ("mass_flow", "enclosure_pressure", "station_flow", "station_temp_in", "point_temp", "level"):
        if not np.allclose(getattr(point, name)[case], getattr(single, name), rtol=1e-9, atol=1e-14, equal_nan=True):
            yield f"{name} alone is not {name} in a batch"


def another_order(
    build: Build,
    point: OperatingPoint,
    speeds: Floats,
    solved: NDArray[np.bool_],
    rng: np.random.Generator,
) -> Iterator[str]:
    """In what order paths, groups and enclosures stand in the file changes nothing."""
    paths, groups, rooms = (rng.permutation(len(x)) for x in (build.air_paths, build.fan_groups, build.enclosures))
    other = replace(
        build,
        air_paths=tuple(build.air_paths[i] for i in paths),
        fan_groups=tuple(build.fan_groups[i] for i in groups),
        enclosures=tuple(build.enclosures[i] for i in rooms),
    )
    found = solve_operating_point(other, other.states[0], speeds[:, [*groups, len(groups)]])
    both = solved & found.converged
    if np.any(found.converged != point.converged):
        yield "whether a case converges depends on the order of the file"
    pairs = {
        "level": (found.level, point.level),
        "points": (found.point_temp, point.point_temp),
        "enclosures": (found.enclosure_temp, point.enclosure_temp[:, rooms]),
        "air": (1e3 * found.mass_flow, 1e3 * point.mass_flow[:, paths]),
    }
    for name, (a, b) in pairs.items():
        # Enclosures that hardly breathe change fast with what little they get.
        if not np.allclose(a[both], b[both], rtol=SAME, atol=10.0 * SAME):
            yield f"{name} depend on the order of the file: {np.max(np.abs(a[both] - b[both])):.2g}"


def twice(build: Build, speeds: Floats, tally: Counter[str]) -> Iterator[str]:
    """Two rigs side by side are one rig of twice the size: flows double, temperatures stay, it is 3 dB louder.

    Tubes have no length here: friction changes with the bore, losses of fittings do not.
    """
    one = replace(build, loop=replace(build.loop, tube=replace(build.loop.tube, length=0.0)))
    two = doubled(one)
    a = solve_operating_point(one, one.states[0], speeds)
    b = solve_operating_point(two, two.states[0], speeds)
    both = a.converged & b.converged & ~(a.coolant_temp_max >= BOILS)
    tally["doubled"] += int(both.sum())
    pairs = {
        "air": (2e3 * a.mass_flow, 1e3 * b.mass_flow), "coolant": (2e3 * a.coolant_flow, 1e3 * b.coolant_flow),
        "stations": (a.station_temp_in, b.station_temp_in), "points": (a.point_temp, b.point_temp),
        "enclosures": (a.enclosure_temp, b.enclosure_temp), "levels": (a.level + TWICE, b.level),
    }  # fmt: skip
    for name, (single, double) in pairs.items():
        if not np.allclose(single[both], double[both], rtol=SAME, atol=10.0 * SAME):
            yield f"{name} of a rig twice the size are off by {np.max(np.abs(single[both] - double[both])):.2g}"


def doubled(build: Build) -> Build:
    """The same rig of twice the size."""
    loop = build.loop
    sound, curve = loop.pump.sound, loop.pump.curve
    pump = replace(
        loop.pump,
        curve=replace(curve, flow_scale=2.0 * float(curve.flow_scale)),
        electric=replace(loop.pump.electric, power=2.0 * float(loop.pump.electric.power)),
        sound=replace(
            sound,
            power_level=sound.power_level + TWICE,
            floor_power_level=sound.floor_power_level + TWICE,
            bands=None if sound.bands is None else tuple(band + TWICE for band in sound.bands),
        ),
    )
    tube = replace(loop.tube, bore=float(loop.tube.bore) * math.sqrt(2.0))
    return replace(
        build,
        air_paths=tuple(replace(path, stack=tuple(map(doubled_element, path.stack))) for path in build.air_paths),
        sources=tuple(map(doubled_source, build.sources)),
        loop=replace(loop, pump=pump, tube=tube),
        states=tuple(map(doubled_state, build.states)),
    )


def doubled_element(element: StackElement) -> StackElement:
    if isinstance(element, FanRow):
        return replace(element, count=2 * element.count)
    if isinstance(element, Core):
        part = element.radiator
        return replace(
            element,
            radiator=replace(
                part, face_length=2.0 * part.face_length, fan_sections=2 * part.fan_sections,
                ua_air=2.0 * float(part.ua_air), ua_coolant=2.0 * float(part.ua_coolant),
                ua_coolant_flow=2.0 * part.ua_coolant_flow, coolant_a=0.5 * float(part.coolant_a),
                coolant_b=0.25 * float(part.coolant_b),
            ),
        )  # fmt: skip
    assert isinstance(element, Screen | Opening)
    return replace(element, area=2.0 * float(element.area))


def doubled_source(source: Source) -> Source:
    plate = source.plate
    return replace(
        source,
        plate=replace(
            plate, r0=0.5 * float(plate.r0), c=0.5 * float(plate.c), reference_flow=2.0 * plate.reference_flow,
            coolant_a=0.5 * float(plate.coolant_a), coolant_b=0.25 * float(plate.coolant_b),
        ),
        points=tuple(replace(point, resistance=0.5 * float(point.resistance)) for point in source.points),
    )  # fmt: skip


def doubled_state(state: State) -> State:
    heat, air = ({name: 2.0 * float(q) for name, q in given.items()} for given in (state.heat, state.air_heat))
    return replace(state, heat=heat, air_heat=air)


def run(builds: int, first: int = 0) -> tuple[list[str], Counter[str]]:
    """Look at many builds; return what is broken, with its seed, and what was looked at."""
    tally: Counter[str] = Counter()
    faults = []
    for seed in range(first, first + builds):
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            faults += [f"build {seed}: {fault}" for fault in broken(seed, tally)]
    return faults, tally


def main() -> int:
    words = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    words.add_argument("--builds", type=int, default=100)
    words.add_argument("--first-seed", type=int, default=0)
    asked = words.parse_args()
    faults, tally = run(asked.builds, asked.first_seed)
    sys.stdout.write("".join(f"{fault}\n" for fault in faults))
    sys.stdout.write(f"{asked.builds} builds, {len(faults)} faults; {dict(sorted(tally.items()))}\n")
    return 1 if faults or not tally["solved"] else 0


if __name__ == "__main__":
    sys.exit(main())
