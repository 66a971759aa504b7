"""The keys of build files for decisions, and those of catalogues.

The descriptions of the fields are the table of keys that users read.
"""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

from pydantic import Field

from quietcool.entry.choice_records import WhatIf
from quietcool.entry.measures import LONGEST_LIST, Count, Format, Measure, Quantity, Table, Text

MOST_ROOMS = 12

RoomTemp: TypeAlias = Annotated[Quantity, Measure("degC", -30, 70)]


class WhatIfTable(Table):
    """Scenarios that `scenarios` and `quietest --worst-day` take."""

    room_temp_c: Annotated[list[RoomTemp], Field(min_length=1, max_length=MOST_ROOMS)] | None = Field(
        default=None, description="temperatures of the room; 22, 26, 30 and 34 without it"
    )
    dust: Annotated[Quantity, Measure("1", 1, 20)] | None = Field(
        default=None, description="multiplies the viscous resistance of cores and screens; 1.3 without it"
    )
    door_ajar_db: Annotated[Quantity, Measure("dB", 0, 60)] | None = Field(
        default=None, description="what a partition keeps off less with its door ajar; 16 without it"
    )


class PlaceTable(Table):
    """A place of the rig for a radiator with its fans."""

    path: Text = Field(description="air path of the build, with a radiator and a fan group of its own")
    radiators: Annotated[list[Text], Field(min_length=1, max_length=LONGEST_LIST)] | None = Field(
        default=None, description="sheets to choose from; all of the catalogue without it"
    )
    fans: Annotated[list[Text], Field(min_length=1, max_length=LONGEST_LIST)] | None = Field(
        default=None, description="sheets to choose from; all of the catalogue without it"
    )
    layouts: Annotated[list[Literal["push", "pull", "push-pull"]], Field(min_length=1, max_length=3)] = Field(
        default=["push", "pull", "push-pull"], description="sides of the core that may have fans"
    )


class CatalogueTable(Table):
    """What `choose` may buy for a build, and the rules that it keeps."""

    format: Format = Field(description="1")
    title: Text = Field(description="one line")
    parts: Annotated[list[Text], Field(min_length=1, max_length=20)] = Field(
        description="folders of part sheets, inside the folder tree of this file"
    )
    budget: Annotated[Quantity, Measure("1", 0, 1e9)] | None = Field(
        default=None, description="for all radiators and fans of the places, in the money of the sheets"
    )
    most_fan_models: Annotated[int, Count(1, 100)] = Field(
        default=2, description="different fans in all places together"
    )
    place: Annotated[list[PlaceTable], Field(min_length=1, max_length=20)] = Field(description="places to choose for")


def what_if(table: WhatIfTable | None) -> WhatIf:
    """Return the record of the scenarios."""
    common = WhatIf()
    if table is None:
        return common
    rooms = None if table.room_temp_c is None else tuple(temp.value for temp in table.room_temp_c)
    return WhatIf(
        room_temps=common.room_temps if rooms is None else rooms,
        dust=common.dust if table.dust is None else table.dust.value,
        door_ajar=common.door_ajar if table.door_ajar_db is None else table.door_ajar_db.value,
    )
