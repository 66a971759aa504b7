"""Coolant part by part against the sum by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from quietcool.entry.build import Vessel
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.prove.filling import filling

BOOTH = read_build(demo_path("booth_wall"))


def test_the_booth_by_hand() -> None:
    """0.62 + 0.40 + 0.26 L of radiators, 0.03 + 2 x 0.06 of plates, 0.10 of pump, 0.40 of reservoir, 3.4 m of tube.

    Geometry: pi/4 (10 mm)^2 x 3.4 m = 0.267 L.
    """
    found = filling(BOOTH)
    assert found.known == pytest.approx((0.62 + 0.40 + 0.26 + 0.03 + 0.12 + 0.10 + 0.40 + 0.26704) * 1e-3, rel=1e-4)
    assert found.missing == ()
    assert not found.disagrees


@pytest.mark.parametrize(("volume", "disagrees"), [(2.2, False), (2.3, False), (2.5, True), (2.0, True)])
def test_a_volume_that_the_parts_contradict(volume: float, disagrees: bool) -> None:
    assert filling(replace(BOOTH, loop=replace(BOOTH.loop, volume=volume * 1e-3))).disagrees is disagrees


def test_what_is_missing_is_named_and_only_too_much_contradicts() -> None:
    unknown = replace(BOOTH, loop=replace(BOOTH.loop, vessel=Vessel()))
    found = filling(unknown)
    assert found.missing == ("reservoir",)
    assert not found.disagrees  # 1.8 L are known, and the reservoir may hold the rest
    assert filling(replace(unknown, loop=replace(unknown.loop, volume=1e-3))).disagrees
