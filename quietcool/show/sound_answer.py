"""The JSON form of what is heard, and its schema: levels by octave, sources, ratings, tones, beats, limits."""

from __future__ import annotations

from collections.abc import Mapping

from quietcool.entry.build import Build
from quietcool.physics.criteria import BANDS
from quietcool.show.json_answers import FORMAT, Answer, envelope, number, octaves, speeds_answer
from quietcool.show.wording import BROKEN, KEPT, NOT_CONVERGED
from quietcool.solve.heard import Heard, HeardAt, listen
from quietcool.solve.operating_point import OperatingPoint
from quietcool.solve.ranking import RoomFacts
from quietcool.solve.tones import VERDICTS, ToneName, ToneState
from quietcool.units import in_unit


def hear_states(build: Build, points: Mapping[str, OperatingPoint], at: str | None = None) -> dict[str, Heard]:
    """Listen to solved states, at one position or at all; a state that did not converge is left out."""
    names = [position.name for position in build.positions]
    places = None if at is None else [names.index(at)]
    return {name: listen(build, build.state(name), point, places) for name, point in points.items() if point.converged}


def sound_verdict(points: Mapping[str, OperatingPoint], heard: Mapping[str, Heard]) -> int:
    """Return the exit code: every limit on what is heard kept, one broken, or a state without an answer."""
    if len(heard) < len(points):
        return NOT_CONVERGED
    margins = [asked.margin for one in heard.values() for at in one.positions for asked in at.limits]
    return BROKEN if any(margin < 0.0 for margin in margins) else KEPT


def sound_answer(build: Build, points: Mapping[str, OperatingPoint], heard: Mapping[str, Heard]) -> Answer:
    """Return the answer of `sound`, by state."""
    return {
        "format": FORMAT,
        "bands_hz": BANDS.tolist(),
        "states": {
            name: {
                "converged": bool(point.converged),
                "groups": speeds_answer(build, point.speeds.tolist()),
                "positions": _positions(heard.get(name)),
            }
            for name, point in points.items()
        },
        **envelope(build),
    }


def _positions(heard: Heard | None) -> Answer:
    return {} if heard is None else {at.position.name: position_answer(heard, at) for at in heard.positions}


def position_answer(heard: Heard, at: HeardAt) -> Answer:
    """Return what is heard at one position."""
    delivery = None
    if at.delivery is not None:
        delivery = {"everything_dba": number(at.delivery[0]), "rig_dba": number(at.delivery[1])}
    return {
        "level_dba": number(at.level),
        "total_dba": number(at.total),
        "rig_sone": number(at.loudness),
        "total_sone": number(at.total_loudness),
        "rig_db": octaves(heard.spectra.rig[at.place]),
        "total_db": octaves(heard.spectra.total[at.place]),
        "floor_db": octaves(at.floor),
        "ratings": {
            rating.criterion: {
                "rating": number(rating.rating),
                "band_hz": number(rating.frequency),
                "source": rating.source,
            }
            for rating in at.ratings
        },
        "limits": [{"what": a.what, "value": number(a.value), "margin_db": number(a.margin)} for a in at.limits],
        "delivery": delivery,
        "sources": [_source(heard, at, place) for place in range(len(at.sources))],
        "tones": [_tone(heard.tones, i, at.place) for i in range(len(heard.tones.names))],
        "beats": [
            {
                "first": tone_words(beat.first),
                "second": tone_words(beat.second),
                "beat_hz": number(beat.frequency),
                "level_difference_db": number(beat.level_difference),
                "depth_db": number(beat.depth),
                "noticed": beat.noticed,
            }
            for beat in at.beats
        ],
        "avoid": [_avoid(at, i) for i in range(len(at.beat_bands))],
        "prominent_speeds": [_bared(at, i) for i in range(len(at.bared))],
        "room": None if at.room is None else _room(at.room),
    }


def _source(heard: Heard, at: HeardAt, place: int) -> Answer:
    source = at.sources[place]
    row = heard.spectra.sources.index(source.source)
    return {
        "source": source.source,
        "level_dba": number(source.level),
        "energy_share": number(source.share),
        "gain_removed_db": number(source.gain_removed),
        "gain_halved_db": number(source.gain_halved),
        "bands_db": octaves(heard.spectra.contributions[row, at.place]),
    }


def tone_words(name: ToneName) -> str:
    """Return a tone in words: "side blade pass", "side blade pass x 2", "pump vanes", "coil whine"."""
    words = name.source if name.kind == "fixed" else f"{name.source} {name.kind}"
    return words if name.order == 1 else f"{words} x {name.order}"


def _tone(tones: ToneState, i: int, place: int) -> Answer:
    return {
        "tone": tone_words(tones.names[i]),
        "frequency_hz": number(tones.frequency[i]),
        "level_db": number(tones.level[i, place]),
        "masking_db": number(tones.masking[i, place]),
        "tone_to_noise_db": number(tones.tone_to_noise[i, place]),
        "tone_to_noise_limit_db": number(tones.tone_to_noise_limit[i]),
        "prominence_db": number(tones.prominence[i, place]),
        "prominence_limit_db": number(tones.prominence_limit[i]),
        "hearing_threshold_db": number(tones.threshold[i]),
        "verdict": VERDICTS[int(tones.verdict[i, place])],
    }


def _avoid(at: HeardAt, i: int) -> Answer:
    band = at.beat_bands[i]
    return {
        "group": band.group,
        "while": band.other,
        "while_rpm": in_unit(band.other_speed, "rpm"),
        "avoid_rpm": [in_unit(speed, "rpm") for speed in band.band],
    }


def _bared(at: HeardAt, i: int) -> Answer:
    bared = at.bared[i]
    return {
        "group": bared.group,
        "prominent_now": bared.prominent_now,
        "prominent_rpm": [[in_unit(speed, "rpm") for speed in band] for band in bared.bands],
        "slower_rpm": None if bared.slower is None else in_unit(bared.slower, "rpm"),
        "faster_rpm": None if bared.faster is None else in_unit(bared.faster, "rpm"),
    }


def _room(room: RoomFacts) -> Answer:
    return {
        "absorption_area_m2": octaves(room.absorption_area),
        "critical_distance_m": octaves(room.critical_distance),
        "reverberation_s": octaves(room.reverberation),
        "schroeder_hz": number(room.schroeder),
    }
