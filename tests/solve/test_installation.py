"""What a build changes in the table of adders; the table itself is common practice, no source, as its worked places."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from quietcool.entry.build import Installation, Position, Resistance, Screen
from quietcool.solve.installation import INSTALLATION_ADDERS, adders_of, installation_terms, tone_adder
from quietcool.solve.noise import predict_noise
from tests.sounding_builds import CORE, path, row, sounding

SCREENED = path(Screen(Resistance("screen", "filter", 10.0, 5.0, 2.5), 0.05), row(), CORE, row())
RIG = sounding(SCREENED, positions=(Position("ear", 1.0),))


def test_nothing_changed_is_the_table_itself() -> None:
    assert adders_of(RIG) == INSTALLATION_ADDERS
    assert sum(installation_terms(SCREENED, 0).values()) == 2.0 + 2.5  # flush before the core, and the screen's number


def test_switched_off_nothing_is_added_anywhere_not_even_by_a_sheet() -> None:
    off = replace(RIG, installation=Installation(used=False))
    table = adders_of(off)
    assert set(table) == set(INSTALLATION_ADDERS)
    for index in (0, 1):
        assert set(installation_terms(SCREENED, index, table).values()) == {0.0}
        assert tone_adder(SCREENED, index, table) == 0.0
    # So both rows are as loud as their sheet says: the second one, 5 dB louder in the table, is like the first.
    loud, quiet = (predict_noise(b, [25.0, 0.0], [1.0, 1.0]).power_levels for b in (RIG, off))
    np.testing.assert_allclose(loud[:2] - quiet[:2], [4.5, 5.0], atol=1e-9)
    assert quiet[0] == pytest.approx(quiet[1])


def test_a_calibrated_number_replaces_that_of_the_table_and_of_the_sheet() -> None:
    table = adders_of(
        replace(RIG, installation=Installation(broadband={"screen before": 1.0}, tones={"pull flush": 4.0}))
    )
    assert installation_terms(SCREENED, 0, table)["screen before"] == 1.0  # not the 2.5 of the sheet
    assert installation_terms(SCREENED, 1, table) == installation_terms(SCREENED, 1)
    assert tone_adder(SCREENED, 1, table) == tone_adder(SCREENED, 1) - 6.0 + 4.0
