"""The keys of build files for the workshop: the controller with its channels, the power supply with its circuit.

The descriptions of the fields are the table of keys that users read.
"""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

from pydantic import Field, model_validator

from quietcool.entry.measures import LONGEST_LIST, Count, Measure, Name, Quantity, Table, preset, refuse

Amperes: TypeAlias = Annotated[Quantity, Measure("A", 0.01, 100)] | None
#: Optional keys of parts of the loop and of places in the case.
Volume: TypeAlias = Annotated[Quantity, Measure("L", 0, 100)] | None
Rating: TypeAlias = Annotated[Quantity, Measure("bar", 0.01, 20)] | None
Room: TypeAlias = Annotated[Quantity, Measure("mm", 1, 5000)] | None
Clearance: TypeAlias = Annotated[Quantity, Measure("mm", 0, 500)] | None

RATING = "gauge pressure that its maker allows"


class VesselKeys(Table):
    """What the sheet of a part of the loop may say about its inside."""

    volume_l: Volume = Field(default=None, description="coolant inside")
    max_bar: Rating = Field(default=None, description=RATING)


class FrameKeys(Table):
    """What the sheet of a radiator may say about its frame."""

    length_mm: Room = Field(default=None, description="overall length, end tanks included")
    thread: Annotated[str, Field(max_length=20)] | None = Field(
        default=None, description='thread for the screws of fans, such as "M3" or "6-32"'
    )
    thread_depth_mm: Annotated[Quantity, Measure("mm", 0.5, 100)] | None = Field(
        default=None, description="how deep a screw may go before it meets a tube"
    )


class ChannelTable(Table):
    """One output of the controller."""

    name: Name = Field(description="its name, as fan groups call it")
    limit_a: Amperes = Field(default=None, description="current that it may give, by the manual; 1 by custom")
    wiring: Literal["splitter", "hub"] = Field(
        default="splitter",
        description='"splitter": everything is drawn from the output; "hub": power comes from the supply',
    )
    hub_limit_a: Amperes = Field(default=None, description="current that the hub may give, by its manual")

    @model_validator(mode="after")
    def _has_a_hub(self) -> ChannelTable:
        if self.hub_limit_a is not None and self.wiring != "hub":
            raise refuse('wiring = "hub" beside hub_limit_a', '"splitter"', 'write wiring = "hub", or remove the limit')
        return self


class ControllerTable(Table):
    """What drives the fans."""

    channels: Annotated[int, Count(1, 100)] | None = Field(default=None, description="number of outputs")
    channel_limit_a: Amperes = Field(
        default=None, description="current that an output may give, by the manual; 1 by custom"
    )
    channel: list[ChannelTable] = Field(
        default=[], max_length=LONGEST_LIST, description="outputs that differ from the others"
    )


class SupplyTable(Table):
    """The power supply and the mains circuit that feeds it."""

    rating_w: Annotated[Quantity, Measure("W", 50, 20_000)] = Field(description="rated power")
    efficiency_percent: Annotated[Quantity, Measure("percent", 50, 100)] | None = Field(
        default=None, description="at working load; 90 by custom"
    )
    mains_v: Annotated[Quantity, Measure("V", 90, 480)] | None = Field(default=None, description="voltage of the mains")
    circuit_a: Annotated[Quantity, Measure("A", 1, 200)] | None = Field(
        default=None, description="rating of the circuit's breaker"
    )
    other_load_w: Annotated[Quantity, Measure("W", 0, 20_000)] = Field(
        default=preset(0), description="of other things on the same circuit"
    )

    @model_validator(mode="after")
    def _has_a_voltage(self) -> SupplyTable:
        if self.circuit_a is not None and self.mains_v is None:
            raise refuse("mains_v beside circuit_a", "no mains_v", "add the voltage of the mains")
        return self
