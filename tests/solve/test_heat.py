"""Heat where there is little to carry it: no fans, no radiators; and the conductance of one radiator and of several."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool.entry.build import Build, Opening, Radiator
from quietcool.solve.findings import state_findings
from quietcool.solve.heat import forced_conductance, forced_conductances
from quietcool.solve.operating_point import solve_operating_point
from tests.entry.test_radiators import heat_per_kelvin
from tests.plain_builds import plain_build

THICK = Radiator("thick", 0.36, 0.115, 3, 8.0, 2.5, 60.0, 1.0, 0.45, 400.0, 4 / 60e3, 0.3, 1e8, 1e13)
THIN = replace(THICK, name="thin", ua_air=35.0, ua_air_exponent=0.6)
WATER = 995.65 * 4180.0  # at 30 degC (CRC Handbook) [J/(m3 K)]


def test_conductances_of_one_and_of_several_are_those_of_the_series() -> None:
    """Cross flow, both streams unmixed: Mason (1955), summed in the tests of radiator sheets."""
    velocity, litres = np.array([0.4, 1.0, 2.5]), np.array([1.5, 4.0, 6.0])
    air, flow = 1.2 * THICK.face_area * velocity, litres / 60e3
    pairs = list(zip(velocity.tolist(), litres.tolist(), strict=True))
    by_series = [[heat_per_kelvin(*pair, ua, m, 400.0, 0.3) for pair in pairs] for ua, m in ((60.0, 0.45), (35.0, 0.6))]
    for one, series in zip((THICK, THIN), by_series, strict=True):
        np.testing.assert_allclose(forced_conductance(one, air, flow, WATER * flow), series, rtol=1e-3)
    together = forced_conductances([THICK, THIN], np.stack([air, air]), np.stack([flow, flow]), WATER * flow)
    np.testing.assert_allclose(together, by_series, rtol=1e-3)


def fanless() -> Build:
    """One radiator in the room, no fan anywhere."""
    build = plain_build(Opening(0.01, 2.0))
    side = build.air_paths[2]
    state = replace(build.states[0], heat={"cpu": 7.0})
    paths = (replace(side, stack=side.stack[1:]),)
    return replace(build, enclosures=(), fan_groups=(), air_paths=paths, states=(state,))


def test_a_rig_without_fans_has_its_passive_conductance() -> None:
    # 7 W by the 0.7 W/K of its one section into the room of 293.15 K: 10 K.
    build = fanless()
    (core,) = [path.core for path in build.air_paths]
    assert core is not None
    point = solve_operating_point(build, build.states[0], [50.0])
    assert point.converged
    assert point.air_flow.tolist() == [0.0]
    assert float(point.station_temp_in[2]) == pytest.approx(303.15, abs=1e-6)
    assert [finding for finding in state_findings(build, build.states[0], point) if "brake" in finding] == []


def test_a_ring_without_a_radiator_has_no_steady_temperature() -> None:
    build = plain_build(Opening(0.01, 2.0))
    loop = replace(build.loop, order=build.loop.order[:2])
    bare = replace(build, air_paths=build.air_paths[:2], loop=loop)
    point = solve_operating_point(bare, bare.states[0], [20.0, 50.0])
    assert np.isnan(point.coolant_temp_max)
    assert point.mass_flow[0] > 0.0  # the air does not mind
    findings = state_findings(bare, bare.states[0], point)
    assert "coolant: nothing carries its heat away, so no temperature of the ring is steady" in findings
