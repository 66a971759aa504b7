"""Levels: sums, weighting, and how the sound power of a small fan follows speed and load.

Single-number (A-weighted) levels and octave spectra of incoherent sources. Measuring sound power is
`sound_power.py`, what a room does is `rooms.py`, what sticks out of a spectrum is `tones.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Levels: TypeAlias = NDArray[np.float64]

DB_PER_E_FOLD = 10.0 / np.log(10.0)  # a factor e in energy [dB]

OCTAVE_BANDS = (31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)  # nominal mid-bands [Hz]
OCTAVE_FREQUENCIES = 1000.0 * 10.0 ** (0.3 * np.arange(-5.0, 4.0))  # exact mid-bands, base ten [Hz]
OCTAVE_FREQUENCIES.flags.writeable = False

MOUNTING_TERM = {  # 10 lg of the surface that one metre of distance spans, over 1 m2 [dB]
    "suspended": float(10.0 * np.log10(4.0 * np.pi)),  # whole sphere, 10.9921
    "plane": float(10.0 * np.log10(2.0 * np.pi)),  # half sphere over a hard plane, 7.9818
}

LOAD_ADDER_MAX = 4.5  # at shut-off [dB]; common practice, no source: published work supports 3 to 6
LOAD_ADDER_ONSET = 0.6  # share of free flow above which there is no adder [-]; common practice, no source


def sum_levels(levels: ArrayLike, axis: int = -1) -> Levels:
    """Energy sum of the levels of incoherent sources.

    L = 10 lg( sum_i 10^(L_i / 10) )

    Parameters
    ----------
    levels : array_like, (..., n)
        Source levels, all on one reference; -inf is a silent source. [dB]
    axis : int
        Axis of the sources; it is summed away. [-]

    Returns
    -------
    ndarray, (...)
        Level of all sources together; -inf if all are silent. [dB]

    Notes
    -----
    Incoherent sources only: two equal tones in phase add 6 dB, not 3.

    References
    ----------
    .. [1] Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., CRC Press, 2018, chapter 1.

    Examples
    --------
    Two equal sources add 3 dB; a silent one adds nothing.

    >>> round(float(sum_levels([30.0, 30.0])), 4)
    33.0103
    >>> float(sum_levels([30.0, -np.inf]))
    30.0
    """
    sources = np.asarray(levels, float)
    peak = np.max(sources, axis=axis, keepdims=True, initial=-np.inf)
    origin = np.where(np.isinf(peak), 0.0, peak)  # energies relative to the loudest neither overflow nor vanish
    energy = np.sum(np.exp((sources - origin) / DB_PER_E_FOLD), axis=axis)
    with np.errstate(divide="ignore"):
        total: Levels = np.squeeze(origin, axis=axis) + DB_PER_E_FOLD * np.log(energy)
    return total


def mean_level(levels: ArrayLike, axis: int = -1) -> Levels:
    """Energy mean of levels, as over the microphone places around a source.

    L = 10 lg( (1/n) sum_i 10^(L_i / 10) )

    Parameters
    ----------
    levels : array_like, (..., n)
        Levels, all on one reference. [dB]
    axis : int
        Axis that is averaged away. [-]

    Returns
    -------
    ndarray, (...)
        Mean level; never below the arithmetic mean. [dB]

    References
    ----------
    .. [1] ISO 3744:2010, 8.2.2, mean over equal parts of the measurement surface.

    Examples
    --------
    >>> round(float(mean_level([40.0, 42.0, 45.0, 41.0])), 4)
    42.4342
    """
    mean: Levels = sum_levels(levels, axis) - 10.0 * np.log10(np.shape(levels)[axis])
    return mean


def _weighting_poles() -> tuple[float, float, float, float]:
    """Return the four pole frequencies of the A-weighting from the quantities that define them [Hz].

    IEC 61672-1:2013, Annex E: f_r = 1 kHz, f_L = 10^1.5 Hz, f_H = 10^3.9 Hz, f_A = 10^2.45 Hz, D^2 = 1/2.
    """
    reference, low, high, single, d = 1000.0, 10.0**1.5, 10.0**3.9, 10.0**2.45, 0.5**0.5
    b = (reference**2 + (low * high / reference) ** 2 - d * (low**2 + high**2)) / (1.0 - d)
    c = (low * high) ** 2
    root = (b * b - 4.0 * c) ** 0.5
    f1, f4 = ((-b - root) / 2.0) ** 0.5, ((-b + root) / 2.0) ** 0.5
    return f1, (3.0 - 5.0**0.5) / 2.0 * single, (3.0 + 5.0**0.5) / 2.0 * single, f4


_POLES = _weighting_poles()


def _weighting_magnitude(frequency: Levels) -> Levels:
    f1, f2, f3, f4 = (pole * pole for pole in _POLES)
    f = frequency * frequency
    magnitude: Levels = f4 * f * f / ((f + f1) * np.sqrt((f + f2) * (f + f3)) * (f + f4))
    return magnitude


def a_weighting(frequency: ArrayLike) -> Levels:
    """A-weighting at a frequency.

    A(f) = 20 lg( f4^2 f^4 / ((f^2 + f1^2) (f^2 + f2^2)^(1/2) (f^2 + f3^2)^(1/2) (f^2 + f4^2)) ) - A_1000

    Parameters
    ----------
    frequency : array_like
        Frequency, not negative; a tone's own frequency, or the exact mid-band frequency. [Hz]

    Returns
    -------
    ndarray
        Weighting, 0 at 1 kHz, -inf at 0 Hz. [dB]

    Notes
    -----
    The pole frequencies come from the defining quantities, and A_1000 makes 1 kHz exactly 0; with the
    printed, rounded ones the result moves by at most 0.005 dB.

    References
    ----------
    .. [1] IEC 61672-1:2013, Annex E, equation E.6 and Table 3.

    Examples
    --------
    >>> [round(float(a_weighting(f)), 4) for f in (140.0, 1000.0)]
    [-14.7955, 0.0]
    """
    with np.errstate(divide="ignore"):
        weighting: Levels = 20.0 * np.log10(
            _weighting_magnitude(np.asarray(frequency, float)) / _weighting_magnitude(np.asarray(1000.0))
        )
    return weighting


OCTAVE_A_WEIGHTS = a_weighting(OCTAVE_FREQUENCIES)  # A-weighting of the octaves 31.5 Hz to 8 kHz [dB]
OCTAVE_A_WEIGHTS.flags.writeable = False


def a_weighted_level(octave_levels: ArrayLike) -> Levels:
    """A-weighted level of an octave spectrum.

    L_A = 10 lg( sum_i 10^((L_i + A_i) / 10) )

    Parameters
    ----------
    octave_levels : array_like, (..., 8) or (..., 9)
        Band levels without weighting, up to the 8 kHz octave, from 63 Hz or from 31.5 Hz. [dB]

    Returns
    -------
    ndarray, (...)
        A-weighted level. [dB(A)]

    Notes
    -----
    A_i at the exact mid-band frequency, not rounded to 0.1 dB as printed; the two differ by up to 0.05 dB.

    References
    ----------
    .. [1] IEC 61672-1:2013, Annex E and Table 3.

    Examples
    --------
    >>> round(float(a_weighted_level([40.0, 38.0, 36.0, 34.0, 31.0, 27.0, 21.0, 15.0])), 4)
    36.0416
    """
    levels = np.asarray(octave_levels, float)
    if levels.shape[-1] not in (8, 9):
        raise ValueError(f"octave_levels: the last axis must have 8 or 9 bands, got {levels.shape[-1]}")
    return sum_levels(levels + OCTAVE_A_WEIGHTS[-levels.shape[-1] :])


_AXIAL_FAN_SHAPE = np.array([48.0, 47.0, 49.0, 53.0, 52.0, 51.0, 43.0, 40.0])
DEFAULT_SPECTRUM = _AXIAL_FAN_SHAPE - a_weighted_level(_AXIAL_FAN_SHAPE)
"""Octaves 63 Hz to 8 kHz of a small fan, without weighting, over its A-weighted level [dB].

Shape of a tube-axial fan with a wheel below 1 m: Long, M., "Architectural Acoustics", 2nd ed., Academic
Press, 2014, Table 13.5, after ASHRAE 1987 (read in a transcription, not in the book). The table was made for
larger, ducted fans; that the shape serves for a small one is common practice, no source. Its A-weighted
level is 0 by construction. It does not slide with speed: the single-number model has that in its exponent.
"""
DEFAULT_SPECTRUM.flags.writeable = False


def a_weighted_transfer(transfer_by_octave: ArrayLike) -> Levels:
    """Level change of the default spectrum's A-weighted level by a transfer that differs by octave.

    T_A = 10 lg( sum_i 10^((S_i + A_i + T_i) / 10) ),  S the default spectrum, its sum with A being 0 dB(A)

    Parameters
    ----------
    transfer_by_octave : array_like, (..., 8)
        Level change in the octaves 63 Hz to 8 kHz, negative for a loss. [dB]

    Returns
    -------
    ndarray, (...)
        Change of the A-weighted level. [dB]

    References
    ----------
    .. [1] IEC 61672-1:2013, Annex E (weights); the spectrum: see `DEFAULT_SPECTRUM`.

    Examples
    --------
    >>> round(float(a_weighted_transfer([-7.0] * 8)), 9)
    -7.0
    """
    return a_weighted_level(np.asarray(transfer_by_octave, float) + DEFAULT_SPECTRUM)


def a_weighted_insertion_loss(insertion_loss_by_octave: ArrayLike) -> Levels:
    """Reduction in dB(A) that a partition brings to a fan with the default spectrum.

    D_A = -10 lg( sum_i 10^((S_i + A_i - D_i) / 10) )

    Parameters
    ----------
    insertion_loss_by_octave : array_like, (..., 8)
        Insertion loss in the octaves 63 Hz to 8 kHz, positive when it quietens. [dB]

    Returns
    -------
    ndarray, (...)
        Insertion loss of the A-weighted level. [dB]

    References
    ----------
    .. [1] IEC 61672-1:2013, Annex E (weights); the spectrum: see `DEFAULT_SPECTRUM`.

    Examples
    --------
    What keeps out the high bands only helps less than its best band.

    >>> round(float(a_weighted_insertion_loss([12.0] * 8)), 9)
    12.0
    >>> bool(a_weighted_insertion_loss([0, 0, 0, 0, 0, 20, 20, 20]) < 5.0)
    True
    """
    return -a_weighted_transfer(-np.asarray(insertion_loss_by_octave, float))


def power_level_from_pressure_level(
    level: ArrayLike, distance: ArrayLike, mounting: Literal["suspended", "plane"]
) -> Levels:
    """Sound power level from a level read in the open at a distance.

    L_W = L_p + 20 lg r + 10 lg(4 pi / Q),  Q = 1 suspended, Q = 2 on a hard plane

    Parameters
    ----------
    level : array_like
        Sound pressure level at `distance`. [dB re 20 uPa]
    distance : array_like
        Distance from the source, above 0. [m]
    mounting : str
        "suspended" (whole sphere) or "plane" (half sphere over a hard plane). [-]

    Returns
    -------
    ndarray
        Sound power level. [dB re 1 pW]

    Notes
    -----
    Free field, beyond the near field (about the size of the source); one reading stands for the mean over
    the sphere. Taking the wrong mounting errs by 3.01 dB. 10 lg(rho c / 400), 0.1 dB, is left out.

    References
    ----------
    .. [1] Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., CRC Press, 2018, chapter 4.

    Examples
    --------
    >>> [round(float(power_level_from_pressure_level(22.0, 1.0, m)), 4) for m in ("suspended", "plane")]
    [32.9921, 29.9818]
    """
    power_level: Levels = np.asarray(level, float) + 20.0 * np.log10(distance) + MOUNTING_TERM[mounting]
    return power_level


def power_level_at_speed(
    reference_level: ArrayLike,
    speed: ArrayLike,
    reference_speed: ArrayLike,
    exponent: ArrayLike = 55.0,
    floor: ArrayLike = -np.inf,
) -> Levels:
    """Sound power level of a fan or pump at a speed, with the floor that bearing and motor leave.

    L_W = 10 lg( 10^((L_ref + k lg(N / N_ref)) / 10) + 10^(L_floor / 10) );  -inf at N = 0

    Parameters
    ----------
    reference_level : array_like
        Sound power level at `reference_speed`, without the floor. [dB re 1 pW]
    speed : array_like
        Speed; 0 is a stopped rotor, silent, floor included. [rev/s]
    reference_speed : array_like
        Speed of `reference_level`, above 0. [rev/s]
    exponent : array_like
        k: decibels per decade of speed, 50 for total power, about 55 (50 to 60) for A-weighted levels. [dB]
    floor : array_like
        Level that stays at any speed but zero; -inf for none. [dB re 1 pW]

    Returns
    -------
    ndarray
        Sound power level. [dB re 1 pW]

    Notes
    -----
    Valid at one point of rating (flow in proportion to speed), trusted from 0.4 to 1.5 of the reference speed.

    References
    ----------
    .. [1] Bies, Hansen & Howard, "Engineering Noise Control", 5th ed., CRC Press, 2018, chapter on sound power
       estimation: 50 lg of speed. The 55 for A-weighted levels and the floor are common practice, no source.

    Examples
    --------
    >>> round(float(power_level_at_speed(0.0, 15.0, 25.0, 55.0)), 4)
    -12.2017
    >>> float(power_level_at_speed(33.0, 0.0, 25.0, 55.0, 12.0))
    -inf
    """
    speeds = np.asarray(speed, float)
    stopped = speeds <= 0.0
    running = np.where(stopped, 1.0, speeds)  # any positive number: spares the logarithm a zero
    decades = np.log10(running) - np.log10(reference_speed)  # of each, for a ratio could underflow
    rotor = np.asarray(reference_level, float) + np.asarray(exponent, float) * decades
    with np.errstate(invalid="ignore"):  # a NaN of an unsolved case passes without a warning
        level = DB_PER_E_FOLD * np.logaddexp(rotor / DB_PER_E_FOLD, np.asarray(floor, float) / DB_PER_E_FOLD)
    return np.where(stopped, -np.inf, level)[()]


def load_adder(load_share: ArrayLike, scale: ArrayLike = 1.0) -> Levels:
    """Adder on the level of a fan that works against resistance.

    adder = scale * 4.5 dB * clip((0.6 - share) / 0.6, 0, 1)

    Parameters
    ----------
    load_share : array_like
        Flow over the free flow at this speed; negative (pushed back) counts as 0. [-]
    scale : array_like
        Multiplies the adder; 0 switches it off. [-]

    Returns
    -------
    ndarray
        Adder on the level at free delivery. [dB]

    Notes
    -----
    Zero at and above 0.6 of free flow, a straight line to 4.5 dB at shut-off. That noise rises towards stall is
    published (Hodgson & Li, Applied Acoustics, 2006; the off-peak table of Long, "Architectural Acoustics");
    the shape and the number are common practice, no source, with a tolerance of 3 dB.

    Examples
    --------
    >>> [float(load_adder(share)) for share in (1.0, 0.6, 0.3, 0.0, -0.2)]
    [0.0, 0.0, 2.25, 4.5, 4.5]
    """
    shortfall = (LOAD_ADDER_ONSET - np.asarray(load_share, float)) / LOAD_ADDER_ONSET
    adder: Levels = np.asarray(scale, float) * LOAD_ADDER_MAX * np.clip(shortfall, 0.0, 1.0)
    return adder
