"""Who is loudest at each position, and what the spectrum there is like against a criterion curve."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.build import Build, Position, State
from quietcool.physics.criteria import nc_curve, nr_curve
from quietcool.show.console import NOTHING, number
from quietcool.show.look import (
    Layout,
    Picture,
    Trace,
    axis,
    ink,
    label,
    layout,
    line,
    listed,
    note,
    points,
    stacked,
    symbol,
)
from quietcool.solve.heard import Asked, Heard, HeardAt, listen
from quietcool.solve.operating_point import OperatingPoint
from quietcool.solve.tones import VERDICTS

Floats = NDArray[np.float64]

ROW = {1: 27, 2: 36}  # height of one source by lines of the longest name [px]
HEAD = 1.5  # rows over a position, for its name
FREQUENCIES = (31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
LOWEST_TONE = 20.0  # a tone that is this far under the spectrum's top is not drawn [dB]


class Entry(NamedTuple):
    """One row of the panel of a position."""

    name: str
    level: float  # [dB(A)]
    kind: str  # "loudest", "source", "rig", "floor" or "limit"


LOOKS = {  # colour and shape of a row by its kind
    "loudest": ("rust", "circle"),
    "source": ("blue", "circle"),
    "rig": ("ink", "diamond"),
    "floor": ("slate", "line-ns"),
    "limit": ("limit", "line-ns"),
}


def loudest(build: Build, state: State, point: OperatingPoint) -> Picture:
    """Draw what each source adds at each position, with the floor of room and microphone.

    Parameters
    ----------
    build, state, point : Build, State, OperatingPoint
        A solved state, one case.

    Returns
    -------
    Picture
    """
    places = listen(build, state, point).positions if build.positions else ()
    traces: list[Trace] = []
    shown = axis("sound pressure level, dB(A)", range=_levels_shown(places))
    made = layout(shown, {}, margin={"l": 30, "r": 14, "t": 8, "b": 44})
    made["annotations"], made["shapes"] = [], []
    spans = [HEAD + len(_entries(place)) for place in places]
    whole, top = sum(spans), 1.0
    for n, (place, span) in enumerate(zip(places, spans, strict=True)):
        key = "" if n == 0 else str(n + 1)
        low = top - (span - HEAD) / whole - HEAD / whole
        names = listed([entry.name for entry in _entries(place)])
        made[f"yaxis{key}"] = names | {"domain": [max(low, 0.0), top - HEAD / whole], "anchor": "x"}
        traces += _dots(place, f"y{key}")
        made["annotations"] += [_heading(place, top), *_dot_notes(place, f"y{key}")]
        made["shapes"] += _lines(place, f"y{key}")
        top = low
    made["xaxis"]["anchor"] = f"y{len(places)}" if len(places) > 1 else "y"
    lines = 1 + max(stacked(entry.name).count("<br>") for place in places for entry in _entries(place)) if places else 1
    made["height"] = 60 + round(ROW[lines] * whole)
    return Picture(
        "loudest", _title_of_loudest(places), _words_of_loudest(places), *_numbers_of_loudest(places),
        {"data": traces, "layout": made},
    )  # fmt: skip


def spectrum(build: Build, state: State, point: OperatingPoint, position: str) -> Picture:
    """Draw the octaves that are heard at a position against a criterion curve, with the tones.

    Parameters
    ----------
    build, state, point : Build, State, OperatingPoint
        A solved state, one case.
    position : str
        Name of the position.

    Returns
    -------
    Picture
        Against the NC or NR that is asked for there, else against the NC curve that the rig touches.
    """
    heard = listen(build, state, point)
    place = next(p for p in heard.positions if p.position.name == position)
    rig, total = heard.spectra.rig[place.place], heard.spectra.total[place.place]
    name, curve = _criterion(place)
    tones = _tones(heard, place)
    x = list(range(len(FREQUENCIES)))
    traces = [
        line(x, place.floor, "room and microphone", ink("slate"), line={"dash": "dot"}),
        line(x, total, "everything heard", ink("ink"), line={"width": 1.4, "dash": "dashdot"}),
        line(x, curve, name, ink("limit"), line={"dash": "dash"}),
        line(x, rig, "rig", ink("blue"), mode="lines+markers", line={"width": 2.6}, marker={"size": 7}),
        points(
            [_octave_place(tone.frequency) for tone in tones], [tone.level for tone in tones], "tone", ink("rust"),
            marker={"symbol": symbol(2)}, text=[label(tone.name) for tone in tones], hoverinfo="text+y",
        ),
    ]  # fmt: skip
    shown = np.concatenate([curve, rig, place.floor, [tone.level for tone in tones]])
    shown = shown[np.isfinite(shown)]
    made = layout(
        axis("octave, Hz", tickvals=x, ticktext=["31.5", "63", "125", "250", "500", "1k", "2k", "4k", "8k"],
             range=[-0.3, 8.3]),
        axis("sound pressure level, dB", range=[max(float(shown.min()) - 4.0, -20.0), float(shown.max()) + 6.0]),
        height=430,
        annotations=_spectrum_notes(name, curve, rig, place, tones),
    )  # fmt: skip
    return Picture(
        f"spectrum-{position.replace(' ', '-')}", _title_of_spectrum(place, name, curve, rig, tones),
        _words_of_spectrum(place, name, tones), *_numbers_of_spectrum(place, name, curve, rig, total, tones),
        {"data": traces, "layout": made},
    )  # fmt: skip


class Tone(NamedTuple):
    """One tone at a position."""

    name: str
    frequency: float  # [Hz]
    level: float  # [dB]
    verdict: str


def _sounding(place: HeardAt) -> list[Any]:
    return [source for source in place.sources if math.isfinite(source.level)]


def _entries(place: HeardAt) -> list[Entry]:
    """Rows of a panel: sources, the loudest first, all of them together, then what they are held against."""
    found = [Entry(s.source, s.level, "source" if n else "loudest") for n, s in enumerate(_sounding(place))]
    position: Position = place.position
    if math.isfinite(place.level):
        found.append(Entry("rig together", place.level, "rig"))
    if position.background is not None:
        found.append(Entry("room itself", position.background, "floor"))
    if position.self_noise is not None:
        found.append(Entry("microphone itself", position.self_noise, "floor"))
    plain = [asked.value for asked in place.limits if asked.what not in ("nc", "nr")]
    return [*found, Entry("limit on the rig", min(plain), "limit")] if plain else found


def _levels_shown(places: tuple[HeardAt, ...]) -> list[float]:
    found = [entry.level for place in places for entry in _entries(place)]
    low, high = (min(found), max(found)) if found else (0.0, 1.0)
    return [math.floor(max(low, high - 60.0)) - 3.0, math.ceil(high) + 0.12 * (high - low) + 2.0]


def _dots(place: HeardAt, y: str) -> list[Trace]:
    """A point for each source, on a thick line that leads the eye from its name; ticks for floors and limit."""
    entries = _entries(place)
    left: list[Any] = []
    rows: list[Any] = []
    for n, entry in enumerate(entries):
        if entry.kind in ("source", "loudest"):
            left += [-200.0, entry.level, None]
            rows += [n, n, None]
    lead = {**line([], [], "", ink("rule"), line={"width": 4}, hoverinfo="skip", yaxis=y), "x": left, "y": rows}
    dots = points(
        [entry.level for entry in entries], list(range(len(entries))), "", ink("blue"), yaxis=y, hoverinfo="x"
    )
    colours = [ink(LOOKS[entry.kind][0]) for entry in entries]
    edges = [c if LOOKS[e.kind][1] == "line-ns" else ink("paper") for c, e in zip(colours, entries, strict=True)]
    dots["marker"] |= {
        "size": 13, "color": colours, "symbol": [LOOKS[entry.kind][1] for entry in entries],
        "line": {"color": edges, "width": 2},
    }  # fmt: skip
    return [lead, dots]


def _dot_notes(place: HeardAt, y: str) -> list[Layout]:
    return [
        note(entry.level, n, number(entry.level, 1), ink(LOOKS[entry.kind][0]), yref=y, xanchor="left", xshift=9)
        for n, entry in enumerate(_entries(place))
    ]


def _heading(place: HeardAt, top: float) -> Layout:
    return note(
        1.0, top, place.position.name, xref="paper", yref="paper", xanchor="right", yanchor="top",
        font={"size": 14, "color": ink("ink")},
    )  # fmt: skip


def _lines(place: HeardAt, y: str) -> list[Layout]:
    """Floors and limit stand as thin lines over the whole panel."""
    entries = _entries(place)
    return [
        {"type": "line", "x0": entry.level, "x1": entry.level, "y0": -0.5, "y1": n, "yref": y, "layer": "below",
         "line": {"color": ink(LOOKS[entry.kind][0]), "width": 1, "dash": "dash" if entry.kind == "limit" else "dot"}}
        for n, entry in enumerate(entries)
        if entry.kind in ("floor", "limit")
    ]  # fmt: skip


def _title_of_loudest(places: tuple[HeardAt, ...]) -> str:
    if not places:
        return "No position is given to be quiet at"
    first = places[0]
    sounding = _sounding(first)
    if not sounding:
        return f"Nothing is heard at the {first.position.name}"
    best = sounding[0]
    said = f"{best.source} is the loudest at the {first.position.name}, {number(best.level, 1)} dB(A)"
    if math.isfinite(best.gain_removed):
        said += f"; without it the rig would be {number(best.gain_removed, 1)} dB quieter"
    return said


def _words_of_loudest(places: tuple[HeardAt, ...]) -> str:
    said = []
    for place in places:
        parts = ", ".join(f"{s.source} {number(s.level, 1)}" for s in _sounding(place)) or "nothing"
        held = [f"{e.name} {number(e.level, 1)}" for e in _entries(place) if e.kind not in ("source", "loudest")]
        said.append(f"at the {place.position.name}: {parts}" + (f" ({', '.join(held)})" if held else ""))
    return f"Levels in dB(A), loudest first; {'; '.join(said)}."


def _numbers_of_loudest(places: tuple[HeardAt, ...]) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    rows = [
        (
            place.position.name, source.source, number(source.level, 1), number(100.0 * source.share, 0),
            number(source.gain_removed, 1),
        )
        for place in places
        for source in place.sources
    ]  # fmt: skip
    for place in places:
        rows += [(place.position.name, "all of the rig", number(place.level, 1), "100", NOTHING)]
        rows += [(place.position.name, "with room and microphone", number(place.total, 1), NOTHING, NOTHING)]
    return ("position", "source", ">dB(A)", ">share of energy, %", ">gain without it, dB"), tuple(rows)


def _criterion(place: HeardAt) -> tuple[str, Floats]:
    """The curve that is asked for, else the one that the rig touches."""
    asked: list[Asked] = [a for a in place.limits if a.what in ("nc", "nr")]
    if asked:
        what, value = asked[0].what, asked[0].value
    else:
        what, value = next(((r.criterion, r.rating) for r in place.ratings if math.isfinite(r.rating)), ("nc", 15.0))
    curve = nc_curve(value) if what == "nc" else nr_curve(value)
    return f"{what.upper()} {number(value, 0)}", np.asarray(curve)


def _octave_place(frequency: float) -> float:
    """Place on the axis of octaves, 0 for 31.5 Hz."""
    return math.log2(frequency / 31.25)


def _tones(heard: Heard, place: HeardAt) -> list[Tone]:
    found = []
    for i, name in enumerate(heard.tones.names):
        frequency, level = float(heard.tones.frequency[i]), float(heard.tones.level[i, place.place])
        if frequency >= FREQUENCIES[0] / 1.5 and math.isfinite(level):
            verdict = VERDICTS[int(heard.tones.verdict[i, place.place])]
            order = "" if name.order == 1 else f" x{name.order}"
            found.append(Tone(f"{name.source} {name.kind}{order}", frequency, level, verdict))
    found.sort(key=lambda tone: -tone.level)
    return [tone for tone in found if tone.level > found[0].level - LOWEST_TONE]


def _spectrum_notes(name: str, curve: Floats, rig: Floats, place: HeardAt, tones: list[Tone]) -> list[Layout]:
    """Names at the right ends of the lines; the strongest tones by name."""
    notes = []
    ends = [
        ("rig", rig, "blue", 4, "left"), (name, curve, "limit", 6, "left"),
        ("room and microphone", place.floor, "slate", 8, "right"),
    ]  # fmt: skip
    for text, levels, colour, at, anchor in ends:
        if math.isfinite(float(levels[at])):
            notes.append(note(at, float(levels[at]), text, ink(colour), xanchor=anchor, yanchor="bottom", yshift=3))
    for tone in tones[:1]:  # the others stand in the words and in the table: their names would lie over each other
        notes.append(
            note(_octave_place(tone.frequency), tone.level, tone.name, ink("rust"), yanchor="bottom", yshift=7)
        )
    return notes


def _title_of_spectrum(place: HeardAt, name: str, curve: Floats, rig: Floats, tones: list[Tone]) -> str:
    prominent = [tone.name for tone in tones if tone.verdict == "prominent"]
    audible = [tone.name for tone in tones if tone.verdict == "audible"]
    over = float(np.nanmax(np.where(np.isfinite(rig), rig - curve, -np.inf)))
    asked = any(a.what in ("nc", "nr") for a in place.limits)
    head = f"At the {place.position.name} the rig "
    head += f"{'keeps' if over <= 0.0 else 'breaks'} {name}" if asked else f"reaches {name}"
    if prominent:
        return f"{head}; {prominent[0]} stands out as a tone"
    return f"{head}; {audible[0]} can be heard as a tone" if audible else f"{head}; no tone stands out"


def _words_of_spectrum(place: HeardAt, name: str, tones: list[Tone]) -> str:
    listed = ", ".join(f"{t.name} {number(t.frequency, 0)} Hz {number(t.level, 1)} dB ({t.verdict})" for t in tones)
    return (
        f"Octave levels at the {place.position.name}: the rig, everything that is heard, what room and microphone make "
        f"by themselves, and the curve {name}. "
        + (f"Tones: {listed}." if listed else "No tone is known: blades and vanes are not given.")
        + " Where a sheet has no octaves its spectrum is a typical one."
    )


def _numbers_of_spectrum(
    place: HeardAt, name: str, curve: Floats, rig: Floats, total: Floats, tones: list[Tone]
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    rows = [
        (
            f"{f:g} Hz", number(float(rig[i]), 1), number(float(total[i]), 1), number(float(place.floor[i]), 1),
            number(float(curve[i]), 1),
        )
        for i, f in enumerate(FREQUENCIES)
    ]  # fmt: skip
    rows += [(f"{t.name}, {number(t.frequency, 0)} Hz, {t.verdict}", number(t.level, 1), "-", "-", "-") for t in tones]
    return ("octave or tone", ">rig, dB", ">everything, dB", ">room and microphone, dB", f">{name}, dB"), tuple(rows)
