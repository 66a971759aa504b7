"""What is heard, for people: a sentence for every state and position, then octaves, sources, tones, beats and room."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from quietcool.entry.build import Build
from quietcool.physics.criteria import BANDS
from quietcool.physics.prominence import BEAT_RANGE
from quietcool.show.console import Part, listing, margin, number, rpm, table
from quietcool.show.sound_answer import tone_words
from quietcool.show.tables import rating_words
from quietcool.show.wording import counted, level_words, speeds_words
from quietcool.solve.heard import Asked, Heard, HeardAt
from quietcool.solve.operating_point import OperatingPoint
from quietcool.solve.ranking import Rating, RoomFacts
from quietcool.solve.tones import VERDICTS
from quietcool.units import in_unit

MOST_BEATS = 8  # printed for a position; JSON has them all
ASKED = {"limit": "limit", "inaudible": "inaudible on the track", "delivery": "delivery specification"}
PROMINENT = VERDICTS.index("prominent")


def sound_parts(build: Build, points: Mapping[str, OperatingPoint], heard: Mapping[str, Heard]) -> list[Part]:
    """Return every state asked for: its sentences first, then its tables."""
    parts: list[Part] = []
    for name, point in points.items():
        parts += [""] if parts else []
        head = f"{name} at {speeds_words(build, point.speeds.tolist())}"
        if name not in heard:
            parts.append(f"{head}: the solve did not converge, so nothing is known of its sound.")
            continue
        for at in heard[name].positions:
            parts.append(f"{head}: {position_words(heard[name], at)}")
        for at in heard[name].positions:
            parts += position_tables(heard[name], at)
    return parts


def position_words(heard: Heard, at: HeardAt) -> str:
    """Return what is heard at one position in one sentence, or two."""
    nc, nr = at.ratings
    said = (
        f"{level_words(at.level)} at the {at.position.name}, NC {rating_words(nc.rating)}, NR {number(nr.rating, 1)}"
        f"{_decided(nr)}, {number(at.loudness, 2)} sone; {level_words(at.total)} with room and microphone"
    )
    loudest = at.sources[0]
    if math.isfinite(loudest.level):
        without = (
            f", without it {number(loudest.gain_removed, 1)} dB less" if math.isfinite(loudest.gain_removed) else ""
        )
        said += f"; loudest is {loudest.source} ({number(loudest.level, 1)} dB(A){without})"
    bare = [i for i in range(len(heard.tones.names)) if heard.tones.verdict[i, at.place] == PROMINENT]
    names = ", ".join(f"{tone_words(heard.tones.names[i])} ({number(heard.tones.frequency[i], 0)} Hz)" for i in bare)
    said += f"; {counted(len(bare), 'tone')} prominent: {names}" if bare else "; no tone is prominent"
    broken = [asked for asked in at.limits if asked.margin < 0.0]
    if broken:
        said += f"; broken: {', '.join(f'{asked_words(a)} by {margin(-a.margin)} dB' for a in broken)}"
    return f"{said}."


def _decided(rating: Rating) -> str:
    if not math.isfinite(rating.frequency) or rating.source is None:
        return ""
    return f" (by {number(rating.frequency, 0)} Hz, {rating.source})"


def asked_words(asked: Asked) -> str:
    """Return a limit in words."""
    if asked.what in ASKED:
        return f"{ASKED[asked.what]} {number(asked.value, 1)} dB(A)"
    return f"{asked.what.upper()} {asked.value:g}"


def position_tables(heard: Heard, at: HeardAt) -> list[Part]:
    """Return the tables of one position."""
    parts: list[Part] = [octaves_table(heard, at), sources_table(at)]
    if at.limits:
        parts.append(limits_table(at))
    if heard.tones.names:
        parts.append(tones_table(heard, at))
    said = [*_beat_sentences(at), *_speed_sentences(at), *_room_sentences(at.room, heard)]
    return [*parts, listing(f"Tones and room at the {at.position.name}", said)] if said else parts


def octaves_table(heard: Heard, at: HeardAt) -> Part:
    """Return the octaves of every source, of the rig and of everything."""
    rows = [
        [source.source, *_levels(heard.spectra.contributions[heard.spectra.sources.index(source.source), at.place])]
        for source in at.sources
        if math.isfinite(source.level)
    ]
    rows.append(["rig", *_levels(heard.spectra.rig[at.place])])
    rows.append(["room and microphone", *_levels(at.floor)])
    rows.append(["everything", *_levels(heard.spectra.total[at.place])])
    columns = ["dB, not weighted", *(f">{band:g}" for band in BANDS)]
    return table(f"Octaves in Hz at the {at.position.name}", columns, rows)


def _levels(levels: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> list[str]:
    return [number(level, 1) for level in levels.tolist()]


def sources_table(at: HeardAt) -> Part:
    """Return the sources, the loudest first, with what removing or halving each would gain."""
    rows = [
        [
            source.source,
            number(source.level, 1),
            number(100.0 * source.share, 0),
            number(source.gain_removed, 2),
            number(source.gain_halved, 2),
        ]
        for source in at.sources
    ]
    columns = ["source", ">dB(A)", ">% of energy", ">gain if removed, dB", ">gain if halved, dB"]
    return table(f"Sources at the {at.position.name}", columns, rows)


def limits_table(at: HeardAt) -> Part:
    """Return what is asked for at a position."""
    rows = [[asked_words(asked), margin(asked.margin)] for asked in at.limits]
    title = f"Asked for at the {at.position.name}"
    if at.delivery is not None:
        title += f" (the delivery specification allows {number(at.delivery[0], 1)} dB(A) for everything heard)"
    return table(title, ["on the rig's share", ">margin, dB"], rows)


def tones_table(heard: Heard, at: HeardAt) -> Part:
    """Return every tone with its verdict."""
    tones, place = heard.tones, at.place
    rows = []
    for i, name in enumerate(tones.names):
        verdict = VERDICTS[int(tones.verdict[i, place])]
        if verdict == "silent":
            continue
        rows.append(
            [
                tone_words(name),
                number(tones.frequency[i], 1),
                number(tones.level[i, place], 1),
                number(tones.tone_to_noise[i, place], 1),
                number(tones.tone_to_noise_limit[i], 1),
                number(tones.prominence[i, place], 1),
                number(tones.prominence_limit[i], 1),
                number(tones.threshold[i], 1),
                verdict,
            ]
        )
    columns = ["tone", ">Hz", ">dB", ">tone to noise, dB", ">limit", ">prominence, dB", ">limit", ">heard from, dB"]
    return table(f"Tones at the {at.position.name}", [*columns, "verdict"], rows)


def _beat_sentences(at: HeardAt) -> list[str]:
    said = []
    # A group's harmonics beat whenever its blade pass does: one line says it.
    noticed = [b for b in at.beats if b.noticed and (b.first != b.second or b.first.order == 1)]
    for beat in noticed[:MOST_BEATS]:
        if beat.first == beat.second:
            said.append(f"{tone_words(beat.first)}: its fans beat among themselves, up to {beat.frequency:.1f} Hz")
        else:
            depth = "down to nothing" if math.isinf(beat.depth) else f"{number(beat.depth, 0)} dB deep"
            pair = f"{tone_words(beat.first)} and {tone_words(beat.second)}"
            said.append(f"{pair} beat at {beat.frequency:.1f} Hz, {depth}")
    if len(noticed) > MOST_BEATS:
        said.append(f"and {counted(len(noticed) - MOST_BEATS, 'more beat')}")
    for band in at.beat_bands:
        low, high = (rpm(round(in_unit(speed, "rpm"))) for speed in band.band)
        said.append(
            f"against beats with {band.other} at {rpm(in_unit(band.other_speed, 'rpm'))} rpm (less than "
            f"{BEAT_RANGE[1]:g} Hz apart), {band.group} can take avoid_rpm = [[{low}, {high}]]"
        )
    return said


def _speed_sentences(at: HeardAt) -> list[str]:
    said = []
    for bared in at.bared:
        if not bared.bands:
            continue
        bands = ", ".join("-".join(rpm(in_unit(speed, "rpm")) for speed in band) for band in bared.bands)
        ways = [rpm(in_unit(speed, "rpm")) for speed in (bared.slower, bared.faster) if speed is not None]
        now = f"; clear of it at {' or '.join(ways)} rpm" if bared.prominent_now and ways else ""
        said.append(f"{bared.group}: a tone of it is prominent at {bands} rpm, the others as they are{now}")
    return said


def _room_sentences(room: RoomFacts | None, heard: Heard) -> list[str]:
    if room is None:
        return []
    near = room.critical_distance[5]
    said = [f"beyond {number(near, 2)} m from the rig its room is louder than its direct sound (1 kHz)"]
    low = [i for i, f in enumerate(heard.tones.frequency.tolist()) if 0.0 < f < room.schroeder]
    if low and math.isfinite(room.schroeder):
        said.append(
            f"below {number(room.schroeder, 0)} Hz single room modes rule: the levels of {counted(len(low), 'tone')} "
            "may be 5 to 10 dB off either way with the place of the microphone"
        )
    return said
