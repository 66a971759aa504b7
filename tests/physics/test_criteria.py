"""Room criteria against the standards' tables and an independent rating written from them."""

from __future__ import annotations

import importlib
import math
import warnings

import numpy as np
import pytest

from quietcool.physics import criteria, sound

SPECTRUM = [45.0, 38.0, 32.0, 27.0, 22.0, 18.0, 14.0, 10.0]
OCTAVES = (31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)

# ISO/R 1996:1971, as AS 1469 gives the constants: level = a + b NR in the octaves 31.5 Hz to 8 kHz.
NR_A = (55.4, 35.5, 22.0, 12.0, 4.8, 0.0, -3.5, -6.1, -8.0)
NR_B = (0.681, 0.790, 0.870, 0.930, 0.974, 1.000, 1.015, 1.025, 1.030)

# ANSI/ASA S12.2-2019, Table 1, by octave this time (63 Hz to 8 kHz), curves NC-15, 20, ... 70.
NC_BY_OCTAVE = (
    (47, 50, 54, 57, 60, 64, 67, 71, 74, 77, 80, 84),
    (36, 40, 44, 48, 52, 56, 60, 64, 67, 71, 75, 79),
    (28, 33, 37, 41, 45, 50, 54, 58, 62, 66, 71, 75),
    (22, 26, 31, 35, 40, 44, 49, 54, 58, 63, 68, 72),
    (18, 22, 27, 32, 36, 41, 46, 51, 56, 60, 65, 71),
    (14, 20, 24, 29, 34, 39, 44, 49, 54, 59, 64, 70),
    (12, 17, 22, 28, 33, 38, 43, 48, 53, 58, 63, 68),
    (11, 16, 22, 27, 32, 37, 42, 47, 52, 57, 62, 68),
)


def random_spectra(count):
    """Fan-like and other spectra, 63 Hz to 8 kHz, from very quiet to loud."""
    rng = np.random.default_rng(11)
    slope = np.linspace(0.0, 1.0, 8) * rng.uniform(-45.0, 5.0, (count, 1))
    return rng.uniform(12.0, 75.0, (count, 1)) + slope + rng.normal(0.0, 3.0, (count, 8))


def tangent_by_hand(spectrum):
    """NC by tangency from the table, with plain loops; also the octave that decides it."""
    best, decides = -math.inf, math.nan
    for place, level in enumerate(spectrum):
        curve = NC_BY_OCTAVE[place]
        if level < curve[0]:
            continue
        if level > curve[-1]:
            rating = math.inf
        else:
            k = max(i for i in range(12) if curve[i] <= level)
            rating = 70.0 if k == 11 else 15.0 + 5.0 * k + 5.0 * (level - curve[k]) / (curve[k + 1] - curve[k])
        if rating > best:
            best, decides = rating, OCTAVES[place + 1]
    return best, decides


def rating_by_hand(spectrum):
    """NC by the rule: NC-(SIL) unless a band exceeds that curve."""
    speech = math.floor(sum(spectrum[3:7]) / 4.0 + 0.5)
    if 15 <= speech <= 70:
        k = min((speech - 15) // 5, 10)
        share = (speech - 15 - 5 * k) / 5.0
        limit = [curve[k] + share * (curve[k + 1] - curve[k]) for curve in NC_BY_OCTAVE]
        if all(level <= top + 1e-9 for level, top in zip(spectrum, limit, strict=True)):
            return float(speech), math.nan
    return tangent_by_hand(spectrum)


def test_nr_curve():  # ISO/R 1996:1971
    expected = [65.615, 47.350, 35.050, 25.950, 19.410, 15.0, 11.725, 9.275, 7.450]
    np.testing.assert_allclose(criteria.nr_curve(15.0), expected, atol=1e-9)
    # NR-20 as tables print it, in whole decibels (recalled, not re-read).
    np.testing.assert_allclose(criteria.nr_curve(20.0), [69, 51, 39, 31, 24, 20, 17, 14, 13], atol=0.5)


def test_nr_of_a_spectrum():  # ISO/R 1996:1971: (27 - 4.8) / 0.974 at 500 Hz
    rating, band = criteria.nr_rating(SPECTRUM)
    assert rating == pytest.approx(22.793, abs=1e-3)
    assert band == 500.0
    assert criteria.nr_rating([38, 34, 30, 26, 21, 16, 12, 9]).rating == pytest.approx(21.77, abs=0.01)


def test_nr_of_random_spectra_against_plain_loops():
    spectra = random_spectra(250)
    rating, band = criteria.nr_rating(spectra)
    for i, spectrum in enumerate(spectra):
        by_band = [(level - NR_A[k + 1]) / NR_B[k + 1] for k, level in enumerate(spectrum)]
        assert rating[i] == pytest.approx(max(by_band), abs=1e-9)
        assert band[i] == OCTAVES[by_band.index(max(by_band)) + 1]


def test_a_curve_rates_as_itself():
    curves = np.arange(0.0, 71.0, 2.5)
    np.testing.assert_allclose(criteria.nr_rating(criteria.nr_curve(curves)).rating, curves, atol=1e-9)
    curves = np.arange(15.0, 70.1, 2.5)
    np.testing.assert_allclose(criteria.nc_tangency(criteria.nc_curve(curves)).rating, curves, atol=1e-9)


@pytest.mark.parametrize(
    ("spectrum", "rating", "band"),
    [
        # Worked from ANSI/ASA S12.2-2019, 5.2.2, 5.2.3 and Table 1.
        (SPECTRUM, 21.0, 500.0),
        ([38, 34, 30, 26, 21, 16, 12, 9], 20.0, 500.0),
        ([50, 42, 35, 30, 26, 21, 17, 13], 24.0, math.nan),
        ([48, 44, 40, 34, 28, 22, 17, 12], 28.75, 250.0),
        ([20, 20, 20, 20, 10, 5, 0, 0], -math.inf, math.nan),
        ([90, 60, 50, 40, 30, 20, 10, 5], math.inf, 63.0),
    ],
)
def test_nc_of_a_spectrum(spectrum, rating, band):
    answer = criteria.nc_rating(spectrum)
    assert answer.rating == pytest.approx(rating, abs=1e-9)
    assert answer.frequency == pytest.approx(band, nan_ok=True)


def test_nc_of_random_spectra_against_plain_loops():
    spectra = random_spectra(250)
    rules, tangents = criteria.nc_rating(spectra), criteria.nc_tangency(spectra)
    by_speech = 0
    for i, spectrum in enumerate(spectra):
        for answer, by_hand in ((rules, rating_by_hand(spectrum)), (tangents, tangent_by_hand(spectrum))):
            assert (answer.rating[i], answer.frequency[i]) == pytest.approx(by_hand, abs=1e-9, nan_ok=True)
        by_speech += math.isnan(rules.frequency[i])
    assert 5 < by_speech < 245  # both branches were met


def test_table_is_within_a_decibel_of_the_classic_one():
    # Beranek's curves of 1957, as another library prints them: twelve cells differ by 1 dB, none of them in NC-35 and
    # NC-45 to NC-55.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what the library warns of at import is not ours
        try:
            classic = importlib.import_module("acoustic_toolbox.criterion").NC_CURVES
        except ImportError:
            pytest.skip("acoustic_toolbox is not installed")
    ours = criteria.NC_CURVES[:, 1:]
    difference = np.abs(ours - np.array([classic[int(nc)] for nc in criteria.NC_RATINGS]))
    assert difference.max() == 1.0
    assert np.count_nonzero(difference) == 12


def test_bands_from_31_5_hz_count_too():
    loud_below = [75.0, *SPECTRUM]  # NC-41.7 and NR 28.8 in that band
    assert criteria.nc_rating(loud_below).frequency == 31.5
    assert criteria.nr_rating(loud_below).rating == pytest.approx((75.0 - 55.4) / 0.681)
    with pytest.raises(ValueError, match="8 or 9 bands, got 7"):
        criteria.nr_rating(SPECTRUM[1:])


def test_batch_is_its_cases():
    spectra = random_spectra(12).reshape(3, 4, 8)
    for function in (criteria.nr_rating, criteria.nc_rating, criteria.nc_tangency):
        batch = function(spectra)
        for place in np.ndindex(3, 4):
            alone = function(spectra[place])
            assert np.ndim(alone.rating) == 0
            assert (batch.rating[place], batch.frequency[place]) == pytest.approx(tuple(alone), nan_ok=True)


def test_a_weighted_level_of_the_worked_spectrum():  # IEC 61672-1:2013, Table 3, on the spectrum that is rated above
    weights = [-26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1]
    by_hand = 10 * np.log10(sum(10 ** ((x + w) / 10) for x, w in zip(SPECTRUM, weights, strict=True)))
    assert by_hand == pytest.approx(29.87, abs=0.05)
    assert sound.a_weighted_level(SPECTRUM) == pytest.approx(by_hand, abs=0.05)


@pytest.mark.parametrize("limit", [15.0, 20.0, 22.5, 34.0, 60.0])
def test_a_margin_is_what_every_octave_may_rise(limit):
    # By definition of a margin, with the ratings of ANSI/ASA S12.2-2019, 5.2 and ISO/R 1996:1971.
    for spectrum in random_spectra(60):
        for margin_of, rating_of in (
            (criteria.nc_margin, criteria.nc_rating),
            (criteria.nr_margin, criteria.nr_rating),
        ):
            margin = float(margin_of(spectrum, limit))
            assert rating_of(spectrum + margin - 1e-6).rating <= limit + 1e-9
            assert rating_of(spectrum + margin + 1e-6).rating > limit


def test_margins_by_hand():
    # ANSI/ASA S12.2-2019, Table 1, NC-25: 54 44 37 31 27 24 22 22; ISO/R 1996:1971, NR-25 at 500 Hz: 29.15 dB.
    assert criteria.nc_margin(SPECTRUM, 25.0) == pytest.approx(31.0 - 27.0)
    assert criteria.nr_margin(SPECTRUM, 25.0) == pytest.approx(4.8 + 0.974 * 25.0 - 27.0)
    # Flat towards the top, the mean of 500 Hz to 4 kHz passes before any octave does: 25.5 - 25 dB.
    speech = [20.0, 20.0, 20.0, 28.0, 26.0, 24.0, 22.0, 10.0]
    assert criteria.nc_margin(speech, 25.0) == pytest.approx(min(3.0, 1.0, 0.0, 0.0, 25.5 - 25.0))
    assert criteria.nc_margin([-np.inf] * 8, 25.0) == np.inf


def test_the_index_is_the_tangency_rating_inside_the_table_and_goes_on_outside():
    spectra = random_spectra(200)
    for criterion, rule in (("nc", criteria.nc_tangency), ("nr", criteria.nr_rating)):
        index, rating = criteria.tangency_index(spectra, criterion), rule(spectra)
        inside = np.isfinite(rating.rating)
        assert inside.sum() > 50
        np.testing.assert_allclose(index.rating[inside], rating.rating[inside], atol=1e-9)
    # One decibel more in every octave never rates lower, below the lowest curve too (a property of any rating).
    quiet = spectra - 40.0
    rise = criteria.tangency_index(quiet + 1.0, "nc").rating - criteria.tangency_index(quiet, "nc").rating
    assert np.all(rise > 0.3)
    assert criteria.tangency_index([-np.inf] * 9, "nc").rating == -np.inf
    assert criteria.index_of_band(36.0 - 4.0, 2, "nc") == pytest.approx(15.0 - 5.0)  # 36 to 40 dB from NC-15 to NC-20
