"""One call for everything that is heard: its parts are those of the modules that it calls, at the right positions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.physics import criteria
from quietcool.solve.heard import listen
from quietcool.solve.operating_point import solve_operating_point

DEMO = read_build(demo_path("booth_wall"))
BOOTH = replace(DEMO.positions[1], limit_nc=15.0, limit_nr=-0.0 + 10.0, limit=9.0)
BUILD = replace(DEMO, positions=(DEMO.positions[0], BOOTH))
STATE = BUILD.state("take")
POINT = solve_operating_point(BUILD, STATE, np.array([s.present for s in BUILD.speed_ranges]))


def test_positions_keep_their_places() -> None:
    heard = listen(BUILD, STATE, POINT)
    assert [at.position.name for at in heard.positions] == [p.name for p in BUILD.positions]
    only = listen(BUILD, STATE, POINT, [1])
    assert [(at.place, at.position.name) for at in only.positions] == [(1, BOOTH.name)]
    assert only.positions[0].level == pytest.approx(float(POINT.level[1]))
    assert only.positions[0].total == pytest.approx(float(POINT.total[1]))


def test_margins_are_limit_less_value() -> None:
    at = listen(BUILD, STATE, POINT).positions[1]
    rig = listen(BUILD, STATE, POINT).spectra.rig[1]
    margins = {asked.what: asked for asked in at.limits}
    assert list(margins) == ["limit", "nc", "nr"]
    assert margins["limit"].margin == pytest.approx(9.0 - float(POINT.level[1]))
    # ANSI/ASA S12.2-2019, 5.2, and ISO/R 1996:1971: moved up by its margin, a spectrum has the rating that is allowed.
    assert float(criteria.nr_rating(rig + margins["nr"].margin).rating) == pytest.approx(10.0)
    assert float(criteria.nc_rating(rig + margins["nc"].margin - 1e-9).rating) <= 15.0
    assert float(criteria.nc_rating(rig + margins["nc"].margin + 1e-6).rating) > 15.0


def test_a_state_s_own_limit_goes_first() -> None:
    desk = listen(BUILD, STATE, POINT).positions[0]
    assert [(asked.what, asked.value) for asked in desk.limits] == [("limit", 25.0)]  # of the state "take"
