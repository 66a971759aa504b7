"""The hand-over sheet: tables that are cut into blocks lose nothing, limits stand where they differ."""

from __future__ import annotations

import functools

import pytest

from quietcool.show import handover
from quietcool.show.dossier import Dossier
from quietcool.show.handover import Sheet, blocks
from tests.show.crowded_rig import RPM, crowded, sheet_of
from tests.show.solved_rigs import demo


@functools.cache
def booth() -> Dossier:
    return sheet_of(demo("booth_wall"), (1140.0, 1180.0, 1000.0, 4480.0))


def test_blocks_hold_every_cell_once_and_name_their_rows() -> None:
    heads = ("channel", "group", *(f">s{n}" for n in range(14)), "never")
    sheet = Sheet("Channels", heads, (("1", "side", *(str(n) for n in range(14)), "-"),))
    cut = blocks(sheet, 2, 1)
    assert [len(part.columns) - 3 for part in cut] == [6, 6, 2]
    assert [cell for part in cut for cell in part.rows[0][2:-1]] == [str(n) for n in range(14)]
    assert all(part.rows[0][:2] == ("1", "side") and part.columns[-1] == "never" for part in cut)
    assert blocks(sheet._replace(columns=heads[:3], rows=(("1", "side", "0"),)), 2) == [
        Sheet("Channels", heads[:3], (("1", "side", "0"),))
    ]


@pytest.mark.slow
def test_limits_that_differ_stand_by_state() -> None:
    """The demo's build file gives the coolant 38, 40, 45, 45 and 38 degC."""
    rows = handover.promises(booth()).rows
    place = next(n for n, row in enumerate(rows) if row[0] == "coolant, °C")
    assert rows[place][1] == "by state"
    assert rows[place + 1] == ("its limit, °C", "-", "38", "40", "45", "45", "38")
    assert next(row for row in rows if row[0] == "gpu 1 core, °C")[1] == "75"


@pytest.mark.slow
def test_conditions_are_those_of_the_build_file() -> None:
    """Render: 150 W and twice 460 W into the coolant, in a room of 23 degC."""
    rows = {row[0]: row for row in handover.promises(booth()).rows}
    assert rows["heat into the coolant, W"][4] == "1070"
    assert rows["room, °C"][2:] == ("23.0",) * 5


@pytest.mark.slow
def test_a_long_sheet_is_printed_smaller() -> None:
    sizes = list(handover.ROOM)
    assert handover.print_size([handover.promises(booth())]) == sizes[0]
    found = sheet_of(crowded(), RPM)
    tables = [handover.channel_table(found), handover.promises(found), handover.parts_list(found.build)]
    assert handover.print_size(tables) not in sizes
