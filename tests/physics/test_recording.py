"""From a delivery specification to what may be heard."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quietcool.physics import recording, sound

levels = st.floats(-10.0, 60.0)


def test_delivery_by_hand():
    # The gain of a chain is the same for speech and noise: 72 dB at -20 dB full scale put -60 dB at 32 dB, less 8 dB to
    # spare (definition of the decibel; the numbers are invented).
    assert recording.delivery_limit(-60.0, -20.0, 72.0, 8.0) == pytest.approx(24.0)
    assert recording.delivery_limit(-60.0, -23.0, 72.0) == pytest.approx(35.0)


@settings(deadline=None)  # the machine may be busy
@given(levels, levels)
def test_share_and_floor_together_are_the_limit(limit, floor):
    # Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., chapter 1: subtraction undoes the incoherent sum.
    share = recording.share_under_limit(limit, floor)
    if floor >= limit:
        assert share == -np.inf
    elif floor > limit - 60.0 and limit - floor > 1e-3:
        assert sound.sum_levels([share, floor]) == pytest.approx(limit, abs=1e-6)


def test_share_without_a_floor_is_the_limit():
    assert recording.share_under_limit(24.0, -np.inf) == 24.0
    np.testing.assert_array_equal(recording.share_under_limit([24.0, 20.0], [24.0, 30.0]), [-np.inf, -np.inf])


def test_inaudible_is_ten_decibels_under_the_louder_floor():  # common practice, no source
    assert recording.inaudible_limit(18.0, 12.0) == 8.0
    assert recording.inaudible_limit(-np.inf, 12.0) == 2.0
    assert recording.inaudible_limit(-np.inf, -np.inf) == -np.inf
    # What it adds to that floor: 10 lg(1 + 10^-1), the definition of the sum.
    assert sound.sum_levels([18.0, 8.0]) - 18.0 == pytest.approx(0.4139, abs=1e-4)
