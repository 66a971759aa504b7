"""Tones of fans, pump and fixed sources: frequency, level at every position, and what hides or bares them there.

A tone is as strong as the handbook's increment over the noise of its octave says; harmonics fall by 6 dB each. It
stands beside the noise of the spectra and adds nothing to their levels, for a measured level holds its tones already.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np

from quietcool.physics import bands, fan_spectra, prominence, sound, tones
from quietcool.solve.installation import InstallationAdder, adders_of, tone_adder
from quietcool.solve.listening import floor_bands
from quietcool.solve.noise import row_adders
from quietcool.solve.sources import band_of, fixed_sources, machine_bands
from quietcool.solve.spectra import source_energies
from quietcool.solve.transfers import transfer_bands

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import ArrayLike, NDArray

    from quietcool.entry.build import Build, Sound, State

    Levels: TypeAlias = NDArray[np.float64]

FAN_ORDERS = (1, 2, 3)  # blade pass and two harmonics
VANE_ORDERS = (1, 2)
HARMONIC_FALL = 6.0  # from each harmonic to the next [dB]; common practice, no source
LOWEST_BAND = 1  # of a spectrum that has nothing at 31.5 Hz: a tone there is as strong as one at 63 Hz

VERDICTS = ("silent", "below hearing", "masked", "audible", "prominent", "not rated")


class ToneName(NamedTuple):
    """Where a tone comes from."""

    source: str  # group, "pump", or the name of a fixed source
    kind: str  # "blade pass", "rotation", "vanes" or "fixed"
    order: int  # harmonic


@dataclass(frozen=True)
class ToneState:
    """Tones of a build at given speeds; leading axes are cases."""

    names: tuple[ToneName, ...]
    frequency: Levels  # (..., tones); 0 where the source stands still [Hz]
    level: Levels  # (..., tones, positions) time average, -inf where silent [dB]
    masking: Levels  # (..., tones, positions) noise in the tone's critical band, all that is heard [dB]
    tone_to_noise: Levels  # (..., tones, positions), with the tones that are heard as one with it [dB]
    prominence: Levels  # (..., tones, positions) prominence ratio [dB]
    tone_to_noise_limit: Levels  # (..., tones); NaN where the standard gives none [dB]
    prominence_limit: Levels  # (..., tones); NaN where the standard gives none [dB]
    threshold: Levels  # (..., tones) threshold of hearing [dB]
    verdict: NDArray[np.intp]  # (..., tones, positions), place in `VERDICTS`

    @property
    def audible(self) -> NDArray[np.bool_]:
        """Whether a tone is above the threshold of hearing and not masked, (..., tones, positions)."""
        found: NDArray[np.bool_] = self.verdict >= VERDICTS.index("audible")
        return found


class _Draft(NamedTuple):
    """One tone of one source before it is heard anywhere."""

    name: ToneName
    frequency: Levels  # (...) [Hz]
    power: Levels  # (...) [dB re 1 pW]


def predict_tones(
    build: Build,
    speeds: ArrayLike,
    load_share: ArrayLike,
    state: State | None = None,
    *,
    adders: Mapping[str, InstallationAdder] | None = None,
) -> ToneState:
    """Predict every tone that blade, vane and fixed data allow, and judge it at every position.

    Parameters
    ----------
    build, speeds, load_share, state, adders
        As for `spectra.predict_spectra`.

    Returns
    -------
    ToneState
        Fans without a blade count have no tones here, and a pump without vanes only that of its rotation.
    """
    speeds, load_share = np.asarray(speeds, float), np.asarray(load_share, float)
    table = adders_of(build) if adders is None else adders
    drafts = [*_fan_tones(build, speeds, load_share, table), *_pump_tones(build, speeds), *_fixed_tones(build, state)]
    cases = speeds.shape[:-1]
    frequency = np.stack([np.broadcast_to(draft.frequency, cases) for draft in drafts], axis=-1)
    power = np.stack([np.broadcast_to(draft.power, cases) for draft in drafts], axis=-1)
    moved = np.moveaxis(transfer_bands(build), -1, -2)  # (..., 9, positions)
    moved = np.broadcast_to(moved, (*cases, *moved.shape[-2:]))
    level = power[..., None] + np.take_along_axis(moved, band_of(np.maximum(frequency, 1.0))[..., None], axis=-2)
    noise = _noise(build, speeds, load_share, state, table)
    return _judged(tuple(draft.name for draft in drafts), frequency, level, noise)


def _noise(
    build: Build, speeds: Levels, load_share: Levels, state: State | None, adders: Mapping[str, InstallationAdder]
) -> Levels:
    """What is heard at every position without the fixed tones, by octave, (..., positions, 9) [dB]."""
    sources = source_energies(build, speeds, load_share, state, adders=adders)
    tonal = {source.name for source in fixed_sources(build, state) if source.tone is not None}
    kept = [place for place, name in enumerate(sources.names) if name not in tonal]
    energy = sources.energy[..., kept, :].sum(axis=-2)
    heard = energy[..., None, :] * 10.0 ** (transfer_bands(build) / 10.0) + 10.0 ** (floor_bands(build) / 10.0)
    with np.errstate(divide="ignore"):
        level: Levels = 10.0 * np.log10(heard)
    return level


def _strength(sheet: Sound, octaves: Levels, frequency: Levels, order: int) -> Levels:
    """Level of a tone from the octaves of its source, (...) [dB]."""
    band = band_of(np.maximum(frequency, 1.0))
    if sheet.bands is None or len(sheet.bands) == 8:
        band = np.maximum(band, LOWEST_BAND)
    in_band = np.take_along_axis(octaves, np.broadcast_to(band, octaves.shape[:-1])[..., None], axis=-1)[..., 0]
    level: Levels = in_band + fan_spectra.tone_over_band(sheet.tone_increment) - HARMONIC_FALL * (order - 1)
    return level


def _fan_tones(
    build: Build, speeds: Levels, load_share: Levels, adders: Mapping[str, InstallationAdder]
) -> Iterator[_Draft]:
    """Blade pass and harmonics of every group; its rows add up as incoherent sources do."""
    rows = [(path, index, row) for path in build.air_paths for index, row in enumerate(path.fan_rows)]
    for number, group in enumerate(build.fan_groups):
        if group.fan.blade_count is None:
            continue
        speed, sheet = speeds[..., number], group.fan.sound
        octaves = machine_bands(sheet, speed)
        added = []
        for place, (path, index, row) in enumerate(rows):
            if row.group == group.name:
                _, loaded, counted = row_adders(build, path, index, speed, load_share[..., place], adders)
                added.append(np.asarray(loaded + counted + tone_adder(path, index, adders)))
        for order in FAN_ORDERS:
            frequency = tones.blade_pass_frequency(speed, group.fan.blade_count, order)
            alone = _strength(sheet, octaves, frequency, order)
            together = sound.sum_levels(np.stack(np.broadcast_arrays(*(alone + more for more in added))), axis=0)
            yield _Draft(ToneName(group.name, "blade pass", order), frequency, together)


def _pump_tones(build: Build, speeds: Levels) -> Iterator[_Draft]:
    """Rotation of the pump, and the passing of its vanes."""
    pump, speed = build.loop.pump, speeds[..., -1]
    octaves = machine_bands(pump.sound, speed) + np.asarray(pump.mounting_adder)[..., None]
    found = [("rotation", 1, 1)]
    if pump.vane_count is not None:
        found += [("vanes", pump.vane_count, order) for order in VANE_ORDERS]
    for kind, count, order in found:
        frequency = tones.blade_pass_frequency(speed, count, order)
        yield _Draft(ToneName("pump", kind, order), frequency, _strength(pump.sound, octaves, frequency, order))


def _fixed_tones(build: Build, state: State | None) -> Iterator[_Draft]:
    """What is a tone by its own table, weighted at its own frequency."""
    for source in fixed_sources(build, state):
        if source.tone is not None:
            power = np.asarray(source.power_level, float) - sound.a_weighting(source.tone)
            yield _Draft(ToneName(source.name, "fixed", 1), np.asarray(source.tone), power)


def _judged(names: tuple[ToneName, ...], frequency: Levels, level: Levels, noise: Levels) -> ToneState:
    """Put every tone against the noise and against the other tones."""
    turning = np.maximum(frequency, 1.0)
    own, beside = tones.critical_band(turning), prominence.adjacent_bands(turning)
    lower = np.maximum(own.lower, prominence.LOWEST_EDGE)
    edges = ((lower, own.upper), (beside.lower, lower), (own.upper, beside.upper))
    heard = [bands.noise_between(noise[..., None, :, :], a[..., None], b[..., None]) for a, b in edges]
    near = np.abs(frequency[..., :, None] - frequency[..., None, :])
    one = near < np.where(turning < 1000.0, prominence.proximity_spacing(turning), 0.0)[..., None]
    one |= np.eye(len(names), dtype=np.bool_)
    together = _summed(one, level)
    masking = heard[0]
    with np.errstate(invalid="ignore"):
        ratio = together - masking
    middle, low, high = (
        sound.sum_levels(np.stack([_summed(_inside(frequency, a, b), level), noise_level]), axis=0)
        for (a, b), noise_level in zip(edges, heard, strict=True)
    )
    width = np.maximum(lower - beside.lower, 1.0)
    prominent = prominence.prominence_ratio(middle, low, high, turning[..., None], width[..., None])
    limits = tones.tone_to_noise_limit(frequency), tones.prominence_limit(frequency)
    threshold = prominence.hearing_threshold(turning)
    state = ToneState(
        names, frequency, level, masking, ratio, prominent, *limits, threshold, np.zeros(level.shape, dtype=np.intp)
    )
    return ToneState(**{**vars(state), "verdict": _verdicts(state, together)})


def _inside(frequency: Levels, lower: Levels, upper: Levels) -> NDArray[np.bool_]:
    """Which tones lie in the band of which tone, (..., tones, tones)."""
    others = frequency[..., None, :]
    found: NDArray[np.bool_] = (others >= lower[..., None]) & (others < upper[..., None])
    return found


def _summed(member: NDArray[np.bool_], level: Levels) -> Levels:
    """Energy sum of the tones that belong to each, (..., tones, positions) [dB]."""
    with np.errstate(divide="ignore"):
        total: Levels = 10.0 * np.log10(np.einsum("...ij,...jp->...ip", member.astype(float), 10.0 ** (level / 10.0)))
    return total


def _verdicts(state: ToneState, together: Levels) -> NDArray[np.intp]:
    """The verdict on every tone at every position."""
    index = prominence.masking_index(np.maximum(state.frequency, 1.0))
    rated = ~np.isnan(state.tone_to_noise_limit)[..., None]
    with np.errstate(invalid="ignore"):
        stands_out = (state.tone_to_noise >= state.tone_to_noise_limit[..., None]) | (
            state.prominence >= state.prominence_limit[..., None]
        )
        answers = (
            (state.level == -np.inf, "silent"),
            (together < state.threshold[..., None], "below hearing"),
            (state.tone_to_noise < index[..., None], "masked"),
            (np.broadcast_to(~rated, state.level.shape), "not rated"),
            (stands_out, "prominent"),
        )
    picked = np.select(
        [condition for condition, _ in answers],
        [VERDICTS.index(word) for _, word in answers],
        default=VERDICTS.index("audible"),
    )
    return picked.astype(np.intp)
