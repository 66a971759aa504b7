"""Levels at the positions, one source after another."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from quietcool.entry.build import PUMP, AirPath, Build, Core, FanRow, Position, Room, Screen, Sound
from tests.second_opinion.laws import SheetCurve


def energy_sum(levels: Iterable[float]) -> float:
    """Level of incoherent sources together [dB]."""
    energy = math.fsum(10.0 ** (level / 10.0) for level in levels if level > -math.inf)
    return 10.0 * math.log10(energy) if energy > 0.0 else -math.inf


def power_level(sound: Sound, speed: float) -> float:
    """Sound power level at a speed, floor included; silent at rest [dB(A)]."""
    if speed == 0.0:
        return -math.inf
    rising = float(sound.power_level) + float(sound.exponent) * math.log10(speed / sound.speed)
    return energy_sum([rising, float(sound.floor_power_level)])


def installation_adder(path: AirPath, place: int, changed: Mapping[str, float] | None = None) -> float:
    """Adder of the fan row at a place of the stack: its side of the core, its order, its neighbours [dB].

    `changed` holds the terms that a calibrated build replaces.
    """
    own = changed or {}
    stack = path.stack
    row = stack[place]
    assert isinstance(row, FanRow)
    cores = [i for i, element in enumerate(stack) if isinstance(element, Core)]
    first_row = next(i for i, element in enumerate(stack) if isinstance(element, FanRow))
    adder = 0.0
    if cores and place < cores[0]:
        adder += own.get("push gap", 1.0) if row.gap >= 0.010 else own.get("push flush", 2.0)
    elif cores:
        adder += own.get("pull gap", 2.0) if row.gap >= 0.025 else own.get("pull flush", 3.0)
    else:
        adder += own.get("free", 0.0)
    before = stack[place - 1] if place > 0 else None
    behind = stack[place + 1] if place + 1 < len(stack) else None
    if place != first_row:
        adder += own.get("later row", 2.0)
    elif isinstance(before, Screen):
        adder += own.get("screen before", float(before.resistance.noise_adder))
    if isinstance(behind, Screen) and behind.resistance.style == "guard":
        adder += own.get("guard behind", 1.0)
    return adder


def load_adder(share: float, scale: float) -> float:
    """Adder of a fan that is throttled to a share of its free flow [dB]."""
    return scale * 4.5 * min(max((0.6 - max(share, 0.0)) / 0.6, 0.0), 1.0)


def transfer(position: Position, room: Room) -> float:
    """Level at a position less sound power level [dB]."""
    assert isinstance(position.partition, float | int)
    energy = float(position.directivity) / (4.0 * math.pi * float(position.distance) ** 2)
    if position.field == "room":
        surface = room.surface
        if surface is None:
            assert room.volume is not None
            surface = 6.0 * room.volume ** (2.0 / 3.0)
        assert isinstance(room.mean_absorption, float)
        absorption = min(room.mean_absorption, 0.99)
        energy += 4.0 * (1.0 - absorption) / (surface * absorption)
    return 10.0 * math.log10(energy) - float(position.partition)


def source_levels(
    build: Build, speeds: dict[str, float], mass_flow: dict[str, float], density: dict[str, list[float]]
) -> list[tuple[str, float]]:
    """Sound power level of every fan row and of the pump, with the group it belongs to [dB(A)].

    `density` is that of the air which each element of a stack sees, by path [kg/m3].
    """
    fans = {group.name: group.fan for group in build.fan_groups}
    levels = []
    for path in build.air_paths:
        for place, row in enumerate(path.stack):
            if not isinstance(row, FanRow):
                continue
            fan, speed = fans[row.group], speeds[row.group]
            if speed == 0.0:
                levels.append((row.group, -math.inf))
                continue
            free_flow = SheetCurve(fan.curve).free_flow * speed / fan.curve.speed
            share = mass_flow[path.name] / density[path.name][place] / row.count / free_flow
            installed = installation_adder(path, place, build.installation.broadband)
            level = power_level(fan.sound, speed) + 10.0 * math.log10(row.count) + installed
            levels.append((row.group, level + load_adder(share, float(fan.sound.load_adder_scale))))
    pump = build.loop.pump
    levels.append((PUMP, power_level(pump.sound, speeds[PUMP]) + float(pump.mounting_adder)))
    return levels


def levels_at_positions(build: Build, sources: list[tuple[str, float]]) -> tuple[dict[str, float], dict[str, float]]:
    """Level of the rig alone, and with the background and the microphone's own noise, by position [dB(A)]."""
    rig, total = {}, {}
    for position in build.positions:
        gain = transfer(position, build.room)
        rig[position.name] = energy_sum(level + gain for _, level in sources)
        others = [level for level in (position.background, position.self_noise) if level is not None]
        total[position.name] = energy_sum([rig[position.name], *others])
    return rig, total
