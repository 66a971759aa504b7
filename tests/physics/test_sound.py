"""Levels, weighting and the speed law against standards, handbooks and other libraries."""

from __future__ import annotations

import importlib
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quietcool.physics import sound

CLOSED_FORM = 1e-4  # printed with four decimals, closed form [dB]
TABLE = 0.05  # printed with one decimal [dB]

levels = st.floats(-20.0, 120.0)
level_lists = st.lists(levels, min_size=1, max_size=12)


def library(name):
    """Import a reference library; what it warns of at import is not ours."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            return importlib.import_module(name)
        except ImportError:
            pytest.skip(f"{name} is not installed")


# ---- sums and means -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sources", "total"),
    [
        # Closed form of the incoherent sum, e.g. Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., ch. 1.
        ([30.0, 30.0], 33.0103),
        ([30.0, 20.0], 30.4139),
        ([25.0, 28.0, 31.0], 33.4363),
        ([22.5, 24.1, 19.8, 27.3], 30.2833),
        ([20.0] * 6, 27.7815),
        ([30.0] + [20.0] * 5, 31.7609),
    ],
)
def test_sum_of_levels(sources, total):
    assert sound.sum_levels(sources) == pytest.approx(total, abs=CLOSED_FORM)
    energies = sum(10.0 ** (level / 10.0) for level in sources)  # the definition itself, by another route
    assert sound.sum_levels(sources) == pytest.approx(10.0 * np.log10(energies), abs=1e-12)


@pytest.mark.parametrize(
    ("count", "rise"), [(2, 3.0103), (3, 4.7712), (4, 6.0206), (5, 6.9897), (8, 9.0309), (12, 10.7918)]
)
def test_equal_sources_add_ten_lg_of_their_number(count, rise):  # ten times the tabulated common logarithm
    assert sound.sum_levels(np.full(count, 17.0)) - 17.0 == pytest.approx(rise, abs=CLOSED_FORM)


def test_energy_mean_is_not_the_arithmetic_mean():  # ISO 3744:2010, 8.2.2: mean over the measurement surface
    assert sound.mean_level([40.0, 42.0, 45.0, 41.0]) == pytest.approx(42.4342, abs=CLOSED_FORM)
    assert sound.mean_level([20.0, 30.0]) == pytest.approx(27.4036, abs=CLOSED_FORM)


def test_sums_and_means_agree_with_acoustic_toolbox():
    decibel = library("acoustic_toolbox.decibel")
    spectra = np.random.default_rng(7).uniform(0.0, 90.0, (40, 5))
    np.testing.assert_allclose(sound.sum_levels(spectra), decibel.dbsum(spectra, axis=-1), atol=1e-10)
    np.testing.assert_allclose(sound.mean_level(spectra), decibel.dbmean(spectra, axis=-1), atol=1e-10)


def test_silent_sources_are_neutral_and_quiet():
    assert sound.sum_levels([30.0, -np.inf]) == 30.0
    assert sound.sum_levels([-np.inf, -np.inf]) == -np.inf
    assert sound.sum_levels(np.empty((3, 0))).tolist() == [-np.inf] * 3


def test_an_unsolved_case_stays_unknown_without_a_warning():
    sums = sound.sum_levels([[30.0, np.nan], [30.0, 30.0]])
    assert np.isnan(sums[0])
    assert sums[1] == pytest.approx(33.0103, abs=CLOSED_FORM)


@settings(deadline=None)  # the machine may be busy
@given(level_lists, st.randoms())
def test_sum_does_not_depend_on_order_and_is_bracketed(sources, shuffler):
    total = sound.sum_levels(sources)
    shuffled = list(sources)
    shuffler.shuffle(shuffled)
    assert sound.sum_levels(shuffled) == pytest.approx(total, abs=1e-9)
    assert max(sources) - 1e-9 <= total <= max(sources) + 10.0 * np.log10(len(sources)) + 1e-9
    assert sound.mean_level(sources) >= np.mean(sources) - 1e-9


def test_scalar_array_and_batch_are_the_same():
    spectra = np.random.default_rng(3).uniform(0.0, 60.0, (4, 3, 8))
    for function in (sound.sum_levels, sound.mean_level, sound.a_weighted_level, sound.a_weighted_transfer):
        one_by_one = [[function(spectrum) for spectrum in case] for case in spectra]
        np.testing.assert_allclose(function(spectra), one_by_one, rtol=0.0, atol=1e-12)
    assert np.ndim(sound.sum_levels([1.0, 2.0])) == 0


# ---- A-weighting ----------------------------------------------------------------------------------------

# IEC 61672-1:2013, Table 3, A-weighting, 10 Hz to 20 kHz in third-octave steps (base-ten mid-band frequencies).
IEC_TABLE_A = [-70.4, -63.4, -56.7, -50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1]
IEC_TABLE_A += [-13.4, -10.9, -8.6, -6.6, -4.8, -3.2, -1.9, -0.8, 0.0, 0.6, 1.0, 1.2]
IEC_TABLE_A += [1.3, 1.2, 1.0, 0.5, -0.1, -1.1, -2.5, -4.3, -6.6, -9.3]


def test_a_weighting_rounds_to_the_printed_table():
    frequencies = 1000.0 * 10.0 ** (np.arange(-20, 14) / 10.0)
    np.testing.assert_allclose(sound.a_weighting(frequencies), IEC_TABLE_A, rtol=0.0, atol=0.05 + 1e-9)


def test_octave_weights_to_four_decimals():
    # IEC 61672-1:2013, Annex E, evaluated at the exact mid-band frequencies.
    expected = [-39.4400, -26.1943, -16.0984, -8.6303, -3.2327, 0.0, 1.1999, 0.9699, -1.1107]
    np.testing.assert_allclose(sound.OCTAVE_A_WEIGHTS, expected, rtol=0.0, atol=CLOSED_FORM)


def test_weighting_of_a_tone_is_taken_at_its_own_frequency():  # IEC 61672-1:2013, Annex E
    np.testing.assert_allclose(
        sound.a_weighting([140.0, 180.0, 480.0]), [-14.7955, -11.9484, -3.5102], rtol=0.0, atol=CLOSED_FORM
    )
    assert sound.a_weighting(1000.0) == 0.0
    assert sound.a_weighting(0.0) == -np.inf


def test_poles_are_those_that_the_standard_prints():
    # IEC 61672-1:2013, Annex E, E.3: 20.60, 107.7, 737.9 and 12194 Hz after rounding.
    for poles in (sound._POLES, sound._weighting_poles()):  # as worked out at import, and now
        np.testing.assert_allclose(poles, [20.60, 107.7, 737.9, 12194.0], rtol=5e-4)


def test_a_weighting_agrees_with_pyfar():
    pyfar = library("pyfar")
    frequencies = np.geomspace(20.0, 20000.0, 200)
    theirs = pyfar.constants.frequency_weighting_curve("A", frequencies)
    # That library adds the rounded 2.000 dB of the standard instead of 1.9997 dB.
    np.testing.assert_allclose(sound.a_weighting(frequencies), theirs, rtol=0.0, atol=5e-4)


def test_mid_band_frequencies_are_the_nominal_ones():  # IEC 61260-1:2014, base ten, nominal within 1.5 %
    np.testing.assert_allclose(sound.OCTAVE_FREQUENCIES, sound.OCTAVE_BANDS, rtol=0.015)


def test_octave_spectrum_to_one_number():
    spectrum = [40.0, 38.0, 36.0, 34.0, 31.0, 27.0, 21.0, 15.0]
    # By hand with the weights of IEC 61672-1:2013, Table 3, 63 Hz to 8 kHz.
    weights = [-26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1]
    by_hand = 10.0 * np.log10(sum(10.0 ** ((x + w) / 10.0) for x, w in zip(spectrum, weights, strict=True)))
    assert by_hand == pytest.approx(36.0566, abs=CLOSED_FORM)
    assert sound.a_weighted_level(spectrum) == pytest.approx(by_hand, abs=TABLE)
    assert sound.sum_levels(spectrum) == pytest.approx(43.9305, abs=CLOSED_FORM)
    assert sound.a_weighted_level([-np.inf, *spectrum]) == pytest.approx(float(sound.a_weighted_level(spectrum)))
    with pytest.raises(ValueError, match="8 or 9 bands, got 7"):
        sound.a_weighted_level(spectrum[1:])


# ---- the default spectrum and partitions ----------------------------------------------------------------


def test_default_spectrum_is_the_handbook_shape_at_zero_dba():
    # Long, "Architectural Acoustics", 2nd ed., Table 13.5 (after ASHRAE 1987; read in a transcription), tube-axial
    # below 1 m: the hump at 500 Hz, 5 dB over 63 Hz and 13 dB over 8 kHz.
    spectrum = sound.DEFAULT_SPECTRUM
    assert int(np.argmax(spectrum)) == 3
    assert (spectrum[3] - spectrum[0], spectrum[3] - spectrum[7]) == pytest.approx((5.0, 13.0))
    assert sound.a_weighted_level(spectrum) == pytest.approx(0.0, abs=1e-12)
    # By hand from the eight band levels: 58.49 dB in all; A-weighted with the printed weights 56.68 dB(A).
    assert sound.sum_levels(spectrum) == pytest.approx(58.49 - 56.68, abs=0.03)


def test_insertion_loss_of_one_open_band_leaves_that_band():
    weighted = sound.DEFAULT_SPECTRUM + sound.OCTAVE_A_WEIGHTS[1:]
    for band in range(8):
        closed = np.full(8, 300.0)
        closed[band] = 0.0
        assert sound.a_weighted_insertion_loss(closed) == pytest.approx(-weighted[band], abs=1e-9)


@settings(deadline=None)  # the machine may be busy
@given(st.lists(st.floats(-5.0, 60.0), min_size=8, max_size=8))
def test_insertion_loss_lies_between_its_bands(losses):
    assert min(losses) - 1e-9 <= sound.a_weighted_insertion_loss(losses) <= max(losses) + 1e-9


@settings(deadline=None)  # the machine may be busy
@given(st.floats(-5.0, 60.0))
def test_equal_insertion_loss_in_all_bands_is_the_loss(loss):
    assert sound.a_weighted_insertion_loss([loss] * 8) == pytest.approx(loss, abs=1e-9)


# ---- sound power ----------------------------------------------------------------------------------------


def test_sound_power_from_a_reading():
    # Closed form: 10 lg 4 pi and 10 lg 2 pi; Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., chapter 4.
    assert sound.power_level_from_pressure_level(22.0, 1.0, "suspended") == pytest.approx(32.9921, abs=CLOSED_FORM)
    assert sound.power_level_from_pressure_level(22.0, 1.0, "plane") == pytest.approx(29.9818, abs=CLOSED_FORM)
    assert sound.power_level_from_pressure_level(22.0 + 6.0206, 0.5, "suspended") == pytest.approx(
        32.9921, abs=2 * CLOSED_FORM
    )


@pytest.mark.parametrize(("exponent", "change"), [(50.0, -11.0924), (55.0, -12.2017), (60.0, -13.3109)])
def test_speed_law(exponent, change):
    # k lg(900 / 1500): fan sound laws, e.g. Bies, Hansen & Howard, "Engineering Noise Control", 5th ed. (k = 50).
    assert sound.power_level_at_speed(0.0, 15.0, 25.0, exponent) == pytest.approx(change, abs=CLOSED_FORM)


def test_speed_law_limits():
    assert sound.power_level_at_speed(33.0, 25.0, 25.0) == pytest.approx(33.0, abs=1e-12)
    assert sound.power_level_at_speed(33.0, 0.0, 25.0, 55.0, 12.0) == -np.inf
    assert sound.power_level_at_speed(33.0, 1e-9, 25.0, 55.0, 12.0) == pytest.approx(12.0, abs=1e-9)
    assert sound.power_level_at_speed(12.0, 25.0, 25.0, 55.0, 12.0) == pytest.approx(15.0103, abs=CLOSED_FORM)
    assert np.isnan(sound.power_level_at_speed(33.0, np.nan, 25.0))


def test_speed_law_in_a_batch():
    speeds = np.array([[0.0, 10.0], [20.0, 30.0]])
    batch = sound.power_level_at_speed([30.0, 35.0], speeds, 25.0, 55.0, 12.0)
    for case in range(2):
        for fan in range(2):
            alone = sound.power_level_at_speed([30.0, 35.0][fan], speeds[case, fan], 25.0, 55.0, 12.0)
            assert batch[case, fan] == alone


@settings(deadline=None)  # the machine may be busy
@given(st.floats(1.0, 80.0), st.floats(1.0, 80.0), st.floats(1.0, 80.0), st.floats(40.0, 70.0))
def test_speed_laws_compose(first, second, third, exponent):
    middle = sound.power_level_at_speed(30.0, second, first, exponent)
    via = sound.power_level_at_speed(middle, third, second, exponent)
    assert via == pytest.approx(float(sound.power_level_at_speed(30.0, third, first, exponent)), abs=1e-9)


@settings(deadline=None)  # the machine may be busy
@given(st.floats(0.0, 80.0), st.floats(0.0, 80.0), st.floats(-10.0, 30.0))
def test_more_speed_is_never_quieter_and_never_below_the_floor(one, other, floor):
    slow, fast = sorted((one, other))
    quiet, loud = sound.power_level_at_speed(35.0, np.array([slow, fast]), 25.0, 55.0, floor)
    assert quiet <= loud
    assert slow == 0.0 or quiet >= floor - 1e-9


def test_load_adder_by_its_definition():  # common practice, no source
    np.testing.assert_allclose(
        sound.load_adder([1.4, 1.0, 0.6, 0.45, 0.3, 0.0, -0.5]), [0.0, 0.0, 0.0, 1.125, 2.25, 4.5, 4.5], atol=1e-12
    )
    assert sound.load_adder(0.3, 2.0) == pytest.approx(4.5)
    assert sound.load_adder(0.0, 0.0) == 0.0


@settings(deadline=None)  # the machine may be busy
@given(st.floats(-2.0, 2.0), st.floats(-2.0, 2.0))
def test_load_adder_never_falls_with_more_resistance(one, other):
    low, high = sorted((one, other))
    assert 0.0 <= sound.load_adder(high) <= sound.load_adder(low) <= 4.5
