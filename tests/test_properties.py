"""Invariants over generated builds: a hundred of those that the profile draws by the thousand."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from quietcool.solve.operating_point import solve_operating_point
from tests.profiles import properties
from tests.random_builds import random_speeds

BUILDS, SHARES = 100, 4


@pytest.mark.parametrize("share", range(SHARES))
def test_what_must_hold_holds(share: int) -> None:
    builds = BUILDS // SHARES
    faults, tally = properties.run(builds, first=share * builds)
    assert faults == []
    assert tally["solved"] > 3 * builds
    assert tally["doubled"] > builds
    assert tally["saddles"] > 0


def test_every_invariant_can_fail() -> None:
    """Answers that are a little off are seen by the invariant that they break."""
    build = properties.drawn(3)
    speeds = random_speeds(build, np.random.default_rng(3), properties.SETTINGS)
    point = solve_operating_point(build, build.states[0], speeds)
    solved = np.asarray(point.converged)
    assert solved.all()
    assert build.enclosures

    def found(**wrong: object) -> str:
        other = replace(point, **wrong)  # type: ignore[arg-type]
        told = [*properties.nan_only_unsolved(other), *properties.levels(other, solved)]
        told += [*properties.balances(build, other, speeds[0], 0), *properties.alone(build, other, speeds, 0)]
        told += properties.another_order(build, other, speeds, solved, np.random.default_rng(1))
        return "; ".join(told)

    assert found() == ""
    assert "does not close" in found(mass_flow=point.mass_flow * np.linspace(1.0, 1.001, point.mass_flow.shape[-1]))
    assert "radiators give off" in found(heat_rate=1.0001 * point.heat_rate)
    assert "leave of" in found(path_temp_out=point.path_temp_out + 0.001)
    assert "colder than the room" in found(enclosure_temp=point.enclosure_temp - 300.0)
    assert "sum of its contributions" in found(level=point.level + 0.001)
    assert "below the rig's share" in found(total=point.level - 0.001)
    assert "in a batch" in found(station_temp_in=point.station_temp_in + 1e-5)
    assert "depend on the order" in found(point_temp=point.point_temp + 0.01)
    assert "converged is False" in found(converged=~point.converged)


def test_the_same_seed_is_the_same_build() -> None:
    assert properties.drawn(5) == properties.drawn(5)
    assert properties.drawn(5) != properties.drawn(6)
    tally: Counter[str] = Counter()
    assert list(properties.broken(5, tally)) == []
