"""From the keys of the workshop to records, in SI."""

from __future__ import annotations

from typing import TYPE_CHECKING

from quietcool.entry.measures import Quantity
from quietcool.entry.workshop_records import Channel, Controller, Frame, Space, Supply, Vessel
from quietcool.entry.workshop_tables import ChannelTable, ControllerTable, FrameKeys, SupplyTable

if TYPE_CHECKING:
    from quietcool.entry.tables import AirPathTable


def optional(quantity: Quantity | None) -> float | None:
    """SI value of a number that may be missing."""
    return None if quantity is None else quantity.value


def vessel(volume: Quantity | None, max_pressure: Quantity | None) -> Vessel:
    """Return what a part of the loop holds and bears."""
    return Vessel(optional(volume), optional(max_pressure))


def frame(sheet: FrameKeys) -> Frame:
    """Return the frame of a radiator."""
    return Frame(optional(sheet.length_mm), sheet.thread, optional(sheet.thread_depth_mm))


def space(path: AirPathTable) -> Space:
    """Return the room that a place in the case leaves."""
    return Space(optional(path.space_depth_mm), optional(path.space_length_mm), optional(path.clearance_mm))


def controller(table: ControllerTable | None) -> Controller | None:
    """Return the record of the controller."""
    if table is None:
        return None
    channels = tuple(_channel(channel) for channel in table.channel)
    return Controller(table.channels, optional(table.channel_limit_a), channels)


def _channel(table: ChannelTable) -> Channel:
    return Channel(table.name, optional(table.limit_a), table.wiring, optional(table.hub_limit_a))


def supply(table: SupplyTable | None) -> Supply | None:
    """Return the record of the power supply."""
    if table is None:
        return None
    return Supply(
        rating=table.rating_w.value,
        efficiency=optional(table.efficiency_percent),
        mains_voltage=optional(table.mains_v),
        circuit_current=optional(table.circuit_a),
        other_load=table.other_load_w.value,
    )
