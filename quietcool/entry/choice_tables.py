"""The keys of build files for decisions.

The descriptions of the fields are the table of keys that users read.
"""

from __future__ import annotations

from typing import Annotated, TypeAlias

from pydantic import Field

from quietcool.entry.choice_records import WhatIf
from quietcool.entry.measures import Measure, Quantity, Table

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
