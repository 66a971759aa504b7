"""The ring's picture tells the temperatures that the solver found, station by station."""

from __future__ import annotations

import pytest

from quietcool.physics.coolant import coolant_properties
from quietcool.show.plot_ring import coolant_ring
from quietcool.solve.loop import station_names
from tests.show.solved_rigs import check_picture, solved


def test_the_trail_passes_every_station_in_order() -> None:
    build, state, point = solved()
    picture = coolant_ring(build, state, point)
    check_picture(picture)
    x = [value for value in picture.figure["data"][0]["x"] if value is not None]
    pairs = list(zip(point.station_temp_in.tolist(), point.station_temp_out.tolist(), strict=True))
    assert x == pytest.approx([t - 273.15 for pair in pairs for t in pair], abs=2e-3)


def test_the_step_at_a_source_is_its_heat_over_its_capacity_rate() -> None:
    """dT = P / (rho cp q), energy balance of a stream; liquid properties are held to reference libraries elsewhere."""
    build, state, point = solved()
    names = station_names(build.loop.order)
    i = names.index("gpu 1")
    mean = 0.5 * float((point.station_temp_in + point.station_temp_out).mean())
    liquid = coolant_properties(mean, build.loop.coolant.kind, build.loop.coolant.mass_fraction)
    step = float(state.heat["gpu 1"]) / float(liquid.density * liquid.specific_heat * point.station_flow[i])
    row = next(row for row in coolant_ring(build, state, point).rows if row[0] == "gpu 1")
    assert float(row[4]) - float(row[3]) == pytest.approx(step, abs=0.02)


def test_a_limit_far_away_does_not_squeeze_the_ring() -> None:
    build, state, point = solved("booth_wall", "idle")
    picture = coolant_ring(build, state, point)
    assert picture.figure["layout"]["shapes"] == []
    assert "left to its limit" in picture.title
