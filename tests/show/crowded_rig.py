"""A rig of eight groups and six states with names as long and odd as files allow, for what must not overflow."""

from __future__ import annotations

import functools
import shutil
import tempfile
from pathlib import Path

from quietcool.decide.uncertainty import draw, find_uncertainty
from quietcool.entry.build import Build
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.show.dossier import Dossier, warmest_room
from tests.show.invented_answers import answer, setting
from tests.show.invented_comparisons import curve

TITLE = "<script>alert(1)</script> Räucherstübchen \U0001f3a7 <b>&amp; 'Größe'</b> " + "for the workstation " * 4
LONG = "Vorderseite unten links mit Staubfilter und langem Namen 1234567"  # 64 characters
UNBROKEN = "side_radiator_A-with-a-name-that-has-no-space-in-it-at-all-00001"
GROUPS = (  # group, fan, count, radiator, least, most
    (LONG, "fan-a-120x25", 3, "radiator-q-360x45", 460, 1500),
    (UNBROKEN, "fan-b-120x30", 4, "radiator-p-480x60", 500, 2000),
    ("bottom", "fan-a-120x25", 3, "radiator-q-360x45", 460, 1500),
    ("top front exhaust above the second graphics board", "fan-a-120x25", 3, "radiator-r-360x30", 460, 1500),
    ("rear", "fan-a-120x25", 1, None, 460, 1500),
    ("drive cage", "fan-a-120x25", 2, None, 460, 1500),
    ("SUPPLY SHROUD", "fan-a-120x25", 1, None, 460, 1500),
    ("x", "fan-b-120x30", 2, None, 500, 2000),
)
CHAMBER = "main chamber behind the window"
BOARD = "graphics board of the left-hand screens"
STATES = (  # name, watts of the processor, of both boards, in air
    ("idle", 55, 30, 40),
    ("transcode of a whole night with every core", 180, 60, 60),
    ("render", 150, 380, 90),
    ("render_capped_with_both_boards_held_to_two_hundred_and_fifty_w", 130, 250, 75),
    ("take", 70, 30, 40),
    ("Mischung im Nebenraum", 90, 70, 50),
)
RPM = (900.0, 1000.0, 900.0, 900.0, 800.0, 800.0, 800.0, 800.0, 3600.0)


def crowded_text() -> str:
    """The build file."""
    parts = [f"format = 1\ntitle = {_quoted(TITLE)}\nparts = ['parts']\n"]
    parts.append("[room]\ntemp_c = 22.0\nvolume_m3 = 40.0\nmean_absorption = 0.4\n")
    parts += [f"[[enclosure]]\nname = '{name}'\n" for name in (CHAMBER, "shroud")]
    paths, ring = [], []
    for n, (name, fan, count, radiator, least, most) in enumerate(GROUPS):
        parts.append(
            f"[[fan_group]]\nname = '{name}'\nfan = '{fan}'\nmin_rpm = {least}\nmax_rpm = {most}\nrpm = {RPM[n]:.0f}\n"
            f"channel = 'header {n + 1} of the second board'\n" + ("avoid_rpm = [[610, 650], [810, 870]]\n" * (n < 2))
        )
        core = f"{{ radiator = '{radiator}' }}" if radiator else "{ opening_cm2 = 150, loss_coefficient = 2.0 }"
        ends = ("room", "shroud") if "SHROUD" in name else ("room", CHAMBER) if n < 3 else (CHAMBER, "room")
        path = f"way of {name}"[:64]
        ring += [path] if radiator else []
        paths.append((path, *ends, f"{{ fans = '{name}', count = {count} }}, {core}"))
    paths.append(("shroud out", "shroud", "room", "{ opening_cm2 = 90, loss_coefficient = 2.5 }"))
    paths.append(("slots", CHAMBER, "room", "{ opening_cm2 = 250, loss_coefficient = 2.7 }"))
    parts += [f"[[air_path]]\nname = '{n}'\nfrom = '{a}'\nto = '{b}'\nstack = [{s}]\n" for n, a, b, s in paths]
    for name in ("cpu", BOARD, "gpu 2"):
        points = "{ name = 'core', resistance_k_per_w = 0.03, limit_c = 75 }"
        points += ", { name = 'hottest spot of the whole silicon', resistance_k_per_w = 0.05, limit_c = 95 }"
        parts.append(f"[[source]]\nname = '{name}'\nplate = 'plate-large-die'\npoints = [{points}]\n")
    order = ["pump", "cpu", BOARD, "gpu 2", *ring]
    parts.append(
        f"[loop]\ncoolant = {{ kind = 'water' }}\nvolume_l = 2.2\npump = 'pump-s'\npump_min_rpm = 1800\n"
        f"pump_max_rpm = 4500\npump_rpm = {RPM[-1]:.0f}\norder = {order}\ntube = {{ bore_mm = 10, length_m = 3.4 }}\n"
    )
    for name in ("desk microphone", "booth microphone behind the glass of the small booth", "seat"):
        parts.append(f"[[position]]\nname = '{name}'\ndistance_m = 2.0\nfield = 'room'\nbackground_dba = 20\n")
    for name, cpu, board, air in STATES:
        heat = f"cpu = {cpu}, '{BOARD}' = {board}, 'gpu 2' = {board}, air = {{ '{CHAMBER}' = {air}, shroud = 40 }}"
        limits = f"coolant_c = {40 + cpu // 20}, enclosure_air_c = 60"
        parts.append(f"[[state]]\nname = '{name}'\nheat_w = {{ {heat} }}\nlimits = {{ {limits} }}\n")
    return "\n".join(parts)


def _quoted(text: str) -> str:
    return f'"""{text}"""'


@functools.cache
def crowded() -> Build:
    folder = Path(tempfile.mkdtemp())
    shutil.copytree(demo_path("booth_wall").parent / "parts", folder / "parts")
    (folder / "build.toml").write_text(crowded_text(), encoding="utf-8")
    return read_build(folder / "build.toml")


def sheet_of(build: Build, rpm: tuple[float, ...]) -> Dossier:
    """A dossier that holds what a hand-over sheet tells, without search, curve and layouts."""
    settings = [setting(build, (state.name,), rpm) for state in build.states]
    draws = draw(build, count=20)
    sure = {s.states[0]: find_uncertainty(build, s.states[0], s.speeds, draws) for s in settings}
    rooms = {s.states[0]: warmest_room(build, s.states[0], s) for s in settings}
    found = answer(*settings, position=build.positions[0].name)
    return Dossier(build, found, build.states[0].name, sure, rooms, curve(), None, ())


