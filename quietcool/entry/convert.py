"""From checked tables to the records of a build, in SI."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

from quietcool.entry.build import (
    ROOM,
    AirPath,
    Build,
    Coolant,
    Core,
    Fan,
    FanGroup,
    FanRow,
    Limits,
    Loop,
    LoopElement,
    Opening,
    Parallel,
    Plate,
    Pump,
    Radiator,
    Resistance,
    Screen,
    SensingPoint,
    Source,
    SpeedRange,
    StackElement,
    State,
    Tube,
)
from quietcool.entry.choice_tables import what_if
from quietcool.entry.convert_acoustics import door, installation, noise_source, other_room, position, room_of
from quietcool.entry.convert_parts import optional
from quietcool.entry.convert_workshop import controller, space, supply, vessel
from quietcool.entry.elements import FansElement, OpeningElement, RadiatorElement, ResistanceElement
from quietcool.entry.measures import Quantity
from quietcool.entry.parts import Part, Shelf
from quietcool.entry.tables import (
    AirPathTable,
    BuildTable,
    CoolantTable,
    FanGroupTable,
    LoopTable,
    ParallelTable,
    SourceTable,
    StateTable,
)
from quietcool.physics.coolant import mass_fraction_from_volume_fraction
from quietcool.physics.resistance import FITTING_LOSS

_Part = TypeVar("_Part", bound=Part)


def build_of(table: BuildTable, shelf: Shelf) -> Build:
    """Return the build that a checked file and its sheets describe; ledger and inputs come later."""
    enclosures = tuple(enclosure.name for enclosure in table.enclosure)
    room = room_of(table.room)
    field = "room" if table.room.absorption_known else "distance"
    return Build(
        title=table.title,
        room=room,
        enclosures=enclosures,
        fan_groups=tuple(_group(group, shelf) for group in table.fan_group),
        air_paths=tuple(_path(path, shelf) for path in table.air_path),
        sources=tuple(_source(source, shelf) for source in table.source),
        loop=_loop(table.loop, enclosures, shelf),
        positions=tuple(position(heard, field) for heard in table.position),
        states=tuple(_state(state, table, enclosures) for state in table.state),
        noise_sources=tuple(noise_source(source) for source in table.noise_source),
        other_rooms=tuple(other_room(beside) for beside in table.other_room),
        doors=tuple(door(between) for between in table.door),
        installation=installation(table.installation),
        controller=controller(table.controller),
        supply=supply(table.supply),
        what_if=what_if(table.scenarios),
    )


def _part(shelf: Shelf, name: str, kind: type[_Part]) -> _Part:
    part = shelf.parts[name]
    assert isinstance(part, kind), name  # the checks of sense hold this
    return part


def _range(
    low: Quantity, high: Quantity, step: Quantity, bands: Sequence[tuple[Quantity, Quantity]], present: Quantity | None,
    may_stop: bool = False,
) -> SpeedRange:  # fmt: skip
    avoid = tuple((a.value, b.value) for a, b in bands)
    return SpeedRange(low.value, high.value, step.value, avoid, may_stop, optional(present))


def _group(group: FanGroupTable, shelf: Shelf) -> FanGroup:
    speeds = _range(group.min_rpm, group.max_rpm, group.step_rpm, group.avoid_rpm, group.rpm, group.may_stop)
    made = FanGroup(group.name, _part(shelf, group.fan, Fan), speeds, group.channel)
    spread = optional(group.speed_spread_percent)
    return made if spread is None else replace(made, speed_spread=spread)


def _path(path: AirPathTable, shelf: Shelf) -> AirPath:
    stack = tuple(_element(element, shelf) for element in path.stack)
    return AirPath(path.name, path.source, path.target, stack, path.series_efficiency.value, space(path))


def _element(element: FansElement | RadiatorElement | ResistanceElement | OpeningElement, shelf: Shelf) -> StackElement:
    if isinstance(element, FansElement):
        return FanRow(element.fans, element.count, element.gap_mm.value)
    if isinstance(element, RadiatorElement):
        return Core(_part(shelf, element.radiator, Radiator), element.dust.value)
    if isinstance(element, ResistanceElement):
        return Screen(_part(shelf, element.resistance, Resistance), element.area_cm2.value, element.dust.value)
    return Opening(element.opening_cm2.value, element.loss_coefficient.value)


def _source(source: SourceTable, shelf: Shelf) -> Source:
    points = tuple(
        SensingPoint(point.name, point.resistance_k_per_w.value, optional(point.limit_c), point.share.value)
        for point in source.points
    )
    return Source(source.name, _part(shelf, source.plate, Plate), points, source.kind, optional(source.peak_w))


def _coolant(coolant: CoolantTable) -> Coolant:
    fraction = coolant.mass_percent.value
    if coolant.volume_percent is not None:
        fraction = float(mass_fraction_from_volume_fraction(coolant.kind, coolant.volume_percent.value))
    return Coolant(coolant.kind, fraction)


def _order(order: Sequence[str | ParallelTable]) -> tuple[LoopElement, ...]:
    return tuple(
        element if isinstance(element, str) else Parallel(tuple(_order(branch) for branch in element.parallel))
        for element in order
    )


def _loop(loop: LoopTable, enclosures: tuple[str, ...], shelf: Shelf) -> Loop:
    bends = loop.tube.fittings
    loss = bends.right * FITTING_LOSS["90"] + bends.half * FITTING_LOSS["45"]
    return Loop(
        coolant=_coolant(loop.coolant),
        volume=loop.volume_l.value,
        pump=_part(shelf, loop.pump, Pump),
        pump_speeds=_range(
            loop.pump_min_rpm, loop.pump_max_rpm, loop.pump_step_rpm, loop.pump_avoid_rpm, loop.pump_rpm
        ),
        order=_order(loop.order),
        tube=Tube(loop.tube.bore_mm.value, loop.tube.length_m.value, loss),
        pump_enclosure=loop.pump_enclosure or (enclosures[0] if enclosures else ROOM),
        min_flow=loop.min_flow_l_per_min.value,
        pump_channel=loop.pump_channel,
        vessel=vessel(loop.reservoir_l, loop.max_bar),
    )


def _state(state: StateTable, table: BuildTable, enclosures: tuple[str, ...]) -> State:
    heat = state.heat_w.by_source
    limits = Limits(
        coolant=optional(state.limits.coolant_c),
        enclosure_air=_by_enclosure(state.limits.enclosure_air_c, enclosures),
        position={name: level.value for name, level in state.limits.position_dba.items()},
        position_nc={name: rating.value for name, rating in state.limits.position_nc.items()},
        position_nr={name: rating.value for name, rating in state.limits.position_nr.items()},
        inaudible=tuple(state.limits.inaudible_at),
    )
    room_temp = state.room_temp_c or table.room.temp_c
    return State(
        name=state.name,
        heat={source.name: heat[source.name].value if source.name in heat else 0.0 for source in table.source},
        air_heat=_by_enclosure(state.heat_w.air, enclosures[:1]),
        room_temp=room_temp.value,
        limits=limits,
    )


def _by_enclosure(entered: Quantity | Mapping[str, Quantity] | None, enclosures: Sequence[str]) -> dict[str, float]:
    """By name as entered; one number goes to all of `enclosures`."""
    if entered is None:
        return {}
    if isinstance(entered, Quantity):
        return dict.fromkeys(enclosures, entered.value)
    return {name: quantity.value for name, quantity in entered.items()}
