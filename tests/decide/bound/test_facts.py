"""A sheet that breaks a fact of the bound is found out, and ranges are widened by what it breaks it by."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool.decide.bound.facts import conductance_slack
from quietcool.decide.bound.ring import table_range
from quietcool.entry.build import AirPath, Build, Core
from tests.decide.bound.planted import frame_of, without_limits
from tests.random_builds import random_build


def with_exponent(build: Build, exponent: float) -> Build:
    """The same rig with radiators whose air side gets worse with flow, as no exchanger does."""

    def bent(path: AirPath) -> AirPath:
        return replace(
            path,
            stack=tuple(
                replace(one, radiator=replace(one.radiator, ua_air_exponent=exponent)) if isinstance(one, Core) else one
                for one in path.stack
            ),
        )

    return replace(build, air_paths=tuple(bent(path) for path in build.air_paths))


@pytest.mark.parametrize("seed", [0, 3, 5])
def test_sensible_sheets_need_no_slack(seed: int) -> None:
    assert set(frame_of(without_limits(random_build(seed, limits=False))).conductance_slack) == {0.0}


def test_conductance_that_falls_with_flow_is_found_out() -> None:
    build = with_exponent(without_limits(random_build(0, limits=False)), -0.4)
    frame = frame_of(build)
    slack = [s for s, path in zip(frame.conductance_slack, frame.paths, strict=True) if path.path.core]
    assert min(slack) > 0.1


def test_slack_is_the_largest_drop_twice() -> None:
    """With endless coolant eps = 1 - exp(-NTU) (Incropera and DeWitt, table on effectiveness: C_r = 0; recalled)."""
    build = with_exponent(random_build(0, limits=False), -0.5)
    core = next(path.core for path in build.air_paths if path.core)
    radiator = replace(core.radiator, ua_coolant=1e15, ua_coolant_exponent=0.0)
    got = conductance_slack(radiator, 0.1, np.full((3, 4), 1e-5), np.full((3, 4), 1e12))
    capacity = np.geomspace(1e-5, 0.4, 200_000) * 1006.0
    reference = 1.2 * radiator.face_area * radiator.ua_air_velocity * 1006.0
    conductance = capacity * -np.expm1(-radiator.ua_air * (capacity / reference) ** -0.5 / capacity)
    drop = 1.0 - conductance[-1] / conductance.max()
    assert got == pytest.approx(2.0 * drop, rel=0.02)


def test_a_kink_between_the_nodes_of_a_table_stays_inside() -> None:
    temps = np.arange(290.0, 310.0)
    for place in np.linspace(299.05, 300.95, 13):

        def true(at: np.ndarray, place: float = float(place)) -> np.ndarray:
            return 50.0 + 0.3 * (at - 290.0) + 4.0 * np.maximum(at - place, 0.0)

        table = true(temps)[None, None]
        fine = np.linspace(298.0, 302.0, 401)
        spans = np.stack([fine, fine + 0.01], axis=-1)
        got = table_range(table, temps, np.zeros((fine.size, 2), dtype=np.intp), spans)[0]
        assert np.all((got[:, 0] <= true(fine)) & (true(fine) <= got[:, 1]))
