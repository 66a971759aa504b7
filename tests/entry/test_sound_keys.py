"""Keys about sound: what they become in SI, what is refused, and that files without them mean what they meant."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from quietcool.entry.buildfile import build_file_schema, read_build, sheet_schema
from quietcool.errors import InputError
from tests.entry.small_rig import BUILD, FAN_ONE, PUMP_ONE, changed, write

SPECTRUM = "[38, 42, 45, 44, 41, 36, 29, 21]"
DESK = 'name = "desk"\ndistance_m = 1.5\nlimit_dba = 30\n'
MORE = """
[[noise_source]]
name = "supply"
level_dba = 18
distance_m = 0.5

[[noise_source]]
name = "whine"
power_level_dba = 9
tone_hz = "3 kHz"
states = ["render"]

[[other_room]]
name = "studio"
volume_m3 = 27
mean_absorption = [0.1, 0.1, 0.2, 0.2, 0.3, 0.3, 0.3, 0.3]

[[door]]
name = "studio door"
between = ["room", "studio"]
area_m2 = 1.8
loss_db = [18, 22, 26, 30, 33, 35, 36, 36]

[[position]]
name = "voice"
distance_m = 2.5
room = "studio"
background_db = [30, 26, 22, 18, 14, 11, 9, 8]
self_noise_dba = 7
limit_nc = 15
limit_nr = 12
inaudible_on_track = true
delivery = { noise_floor_dbfs = -60, speech_dbfs = -20, speech_db_spl = 72, margin_db = 8, states = ["edit"] }

[installation]
pull_flush = { broadband_db = 2.2, tones_db = 4 }
later_row = { tones_db = 1 }
"""


def spectral(old: str = "level_dba = 31.0", new: str = f"levels_db = {SPECTRUM}") -> str:
    return changed(FAN_ONE, old, new)


def test_every_key_becomes_a_record(tmp_path: Path) -> None:
    build = read_build(write(tmp_path, BUILD + MORE))
    supply, whine = build.noise_sources
    # 18 dB(A) at 0.5 m, suspended: 18 + 20 lg 0.5 + 10 lg 4 pi (free field, by definition).
    assert supply.power_level == pytest.approx(18.0 + 20.0 * np.log10(0.5) + 10.9921, abs=1e-3)
    assert (whine.tone, whine.states, whine.power_level) == (3000.0, ("render",), 9.0)
    (studio,) = build.other_rooms
    assert studio.surface == pytest.approx(54.0)  # a cube of 27 m3
    assert studio.mean_absorption == (0.1, 0.1, 0.2, 0.2, 0.3, 0.3, 0.3, 0.3)
    (door,) = build.doors
    assert (door.between, door.area, len(door.sound_reduction)) == (("room", "studio"), 1.8, 8)
    voice = build.positions[-1]
    assert (voice.room, voice.field, voice.limit_nc, voice.limit_nr, voice.inaudible) == (
        "studio",
        "room",
        15.0,
        12.0,
        True,
    )
    assert voice.background_bands == (30.0, 26.0, 22.0, 18.0, 14.0, 11.0, 9.0, 8.0)
    spec = voice.delivery
    assert spec is not None
    assert (spec.noise_floor, spec.speech_on_track, spec.speech_at_microphone) == (-60.0, -20.0, 72.0)
    assert (spec.margin, spec.states) == (8.0, ("edit",))
    assert build.installation.broadband == {"pull flush": 2.2}
    assert build.installation.tones == {"pull flush": 4.0, "later row": 1.0}


def test_files_without_them_have_none_of_it(tmp_path: Path) -> None:
    build = read_build(write(tmp_path))
    assert (build.noise_sources, build.other_rooms, build.doors) == ((), (), ())
    assert build.installation.used
    assert not build.installation.broadband
    assert all(p.room == "room" and p.limit_nc is None and not p.inaudible for p in build.positions)
    assert build.fan_groups[0].fan.sound.bands is None
    assert build.fan_groups[0].speed_spread == 0.01


def test_a_spectrum_of_a_sheet(tmp_path: Path) -> None:
    build = read_build(write(tmp_path, fan_one=spectral()))
    sound = build.fan_groups[0].fan.sound
    # On a plane at 0.5 m: + 20 lg 0.5 + 10 lg 2 pi in every octave, by definition; k = 50 beside a spectrum.
    to_power = 20.0 * np.log10(0.5) + 10.0 * np.log10(2.0 * np.pi)
    assert sound.bands == pytest.approx([x + to_power for x in (38, 42, 45, 44, 41, 36, 29, 21)])
    assert sound.exponent == 50.0
    printed = {e.place: e for e in build.ledger}["fan-one: sound.exponent"]
    assert (printed.origin, printed.value) == ("default", 50.0)
    weights = [-26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1]  # IEC 61672-1:2013, Table 3
    by_hand = 10 * np.log10(sum(10 ** ((x + w) / 10) for x, w in zip(sound.bands, weights, strict=True)))
    assert sound.power_level == pytest.approx(by_hand, abs=0.05)


def test_thirds_and_power_and_a_stated_exponent(tmp_path: Path) -> None:
    text = changed(
        FAN_ONE,
        'level_dba = 31.0\ndistance_m = 0.5\nmounting = "plane"',
        f"power_levels_db = {[20] * 27}\nexponent = 53",
    )
    sound = read_build(write(tmp_path, fan_one=text)).fan_groups[0].fan.sound
    # Three equal thirds are 4.77 dB over one (IEC 61260-1:2014).
    assert sound.bands == pytest.approx([24.7712] * 9, abs=1e-4)
    assert sound.exponent == 53.0


def test_tones_of_sheets(tmp_path: Path) -> None:
    plain = read_build(write(tmp_path / "plain"))
    assert plain.fan_groups[0].fan.sound.tone_increment == 7.0
    assert plain.loop.pump.sound.tone_increment == 3.0
    assert plain.loop.pump.vane_count is None
    pump = changed(PUMP_ONE, 'name = "pump-one"', 'name = "pump-one"\nvanes = 6')
    pump = changed(pump, "level_dba = 30", "level_dba = 30\ntone_increment_db = 5")
    told = read_build(write(tmp_path / "told", pump_one=pump))
    assert (told.loop.pump.vane_count, told.loop.pump.sound.tone_increment) == (6, 5.0)


def test_limits_of_states_and_the_room_by_octave(tmp_path: Path) -> None:
    text = changed(
        BUILD, "position_dba = { desk = 25 } }", "position_nc = { desk = 20 }, position_nr = { booth = 18 } }"
    )
    text = changed(text, "limits = { enclosure_air_c = { case = 48 } }", 'limits = { inaudible_at = ["desk"] }')
    text = changed(text, "limit_dba = 30\n", "limit_dba = 30\nself_noise_dba = 9\n")
    text = changed(text, "mean_absorption = 0.3", "reverberation_s = [0.6, 0.5, 0.4, 0.3, 0.3, 0.3, 0.3, 0.3]")
    build = read_build(write(tmp_path, text))
    edit, render = build.states
    assert (edit.limits.position_nc, edit.limits.position_nr) == ({"desk": 20.0}, {"booth": 18.0})
    assert render.limits.inaudible == ("desk",)
    # Sabine: a = 24 ln 10 V / (c S T), V = 27 m3, S = 54 m2.
    absorption = build.room.mean_absorption
    assert absorption[1] == pytest.approx(24 * np.log(10) * 27 / (343 * 54 * 0.5), rel=1e-6)


def refused(folder: Path, build: str, **sheets: str) -> str:
    with pytest.raises(InputError) as raised:
        read_build(write(folder, build, **sheets))
    return "\n".join(str(mistake) for mistake in raised.value.mistakes)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('room = "studio"\n', 'room = "studia"\n', ["the name of a room", 'did you mean "studio"']),
        ('between = ["room", "studio"]', 'between = ["room", "hall"]', ["the name of a room"]),
        ('between = ["room", "studio"]', 'between = ["studio", "studio"]', ["two different rooms"]),
        ("[[door]]", '[[noise_source]]\nname = "fan noise"\npower_level_dba = 3\n[[door]]', []),
        ('name = "supply"', 'name = "front"', ["another name than that of a fan group"]),
        ('name = "supply"', 'name = "pump"', ["other than"]),
        ('states = ["render"]', 'states = ["rendr"]', ["the name of a state", 'did you mean "render"']),
        ("level_dba = 18\n", "level_dba = 18\npower_level_dba = 20\n", ["exactly one of level_dba"]),
        ("power_level_dba = 9", f"power_levels_db = {SPECTRUM}", ["one level for a tone"]),
        (
            "power_level_dba = 9\n",
            "power_level_dba = 9\ndistance_m = 1\n",
            ["noise_source[whine] needs no distance_m beside a sound power", "remove it"],
        ),
        ("limit_nc = 15", "limit_nc = 12", ["from 15 to 70"]),
        ("background_db = [30, 26, 22, 18, 14, 11, 9, 8]", f"background_db = {[10] * 12}", ["8 octaves", "12 levels"]),
        ("self_noise_dba = 7", "self_noise_dba = 7\nbackground_dba = 20", ["background_dba or background_db", "both"]),
        ("self_noise_dba = 7", "self_noise_dba = 30", ["leave something to the rig", "allowed for everything heard"]),
        ("mean_absorption = [0.1, 0.1, 0.2, 0.2, 0.3, 0.3, 0.3, 0.3]", "", ["a room whose absorption is known"]),
        ("loss_db = [18, 22,", "loss_db = [22,", ["at least 8 items"]),
        ('room = "studio"\n', 'room = "studio"\nfield = "distance"\n', ['field = "room" in another room']),
        ("pull_flush", "pull_flsh", ['did you mean "pull_flush"']),
    ],
)
def test_what_makes_no_sense_is_told(tmp_path: Path, old: str, new: str, words: list[str]) -> None:
    text = BUILD + changed(MORE, old, new)
    if not words:  # the row that shows that the others are not refused for what they share
        assert read_build(write(tmp_path, text))
        return
    said = refused(tmp_path, text)
    assert [word for word in words if word not in said] == []


def test_a_room_without_a_door_is_told(tmp_path: Path) -> None:
    start, end = MORE.index("[[door]]"), MORE.index("[[position]]")
    assert "a room that doors join to the rig's" in refused(tmp_path, BUILD + MORE[:start] + MORE[end:])


def test_inaudible_needs_a_floor(tmp_path: Path) -> None:
    said = refused(tmp_path / "position", changed(BUILD, DESK, DESK + "inaudible_on_track = true\n"))
    assert "beside inaudible_on_track" in said
    text = changed(BUILD, "position_dba = { desk = 25 } }", 'inaudible_at = ["desk", "dsk"] }')
    said = refused(tmp_path / "state", text)
    assert "say what the rig has to hide under" in said
    assert 'did you mean "desk"' in said


@pytest.mark.parametrize(
    ("new", "words"),
    [
        (f"levels_db = {SPECTRUM}\npower_level_dba = 40", ["exactly one of"]),
        (f"power_levels_db = {SPECTRUM}", ["no distance_m and no mounting beside power_levels_db"]),
        (f"levels_db = {[30] * 11}", ["8 octaves from 63 Hz", "11 levels"]),
    ],
)
def test_a_sheet_says_its_sound_once(tmp_path: Path, new: str, words: list[str]) -> None:
    said = refused(tmp_path, BUILD, fan_one=spectral(new=new))
    assert [word for word in words if word not in said] == []


def test_the_schemas_know_the_keys() -> None:
    build, fan, pump = str(build_file_schema()), str(sheet_schema("fan")), str(sheet_schema("pump"))
    keys = "noise_source other_room door installation delivery limit_nc limit_nr background_db inaudible_on_track"
    keys += " position_nc inaudible_at speed_spread_percent tone_hz loss_db"
    assert [key for key in keys.split() if f"'{key}'" not in build] == []
    assert [key for key in ("levels_db", "power_levels_db", "tone_increment_db") if f"'{key}'" not in fan] == []
    assert "'vanes'" in pump


def test_a_source_of_noise_by_octave_keeps_its_octaves(tmp_path: Path) -> None:
    more = changed(MORE, "level_dba = 18\ndistance_m = 0.5", f"power_levels_db = {SPECTRUM}")
    supply, _ = read_build(write(tmp_path, BUILD + more)).noise_sources
    assert supply.bands == (38.0, 42.0, 45.0, 44.0, 41.0, 36.0, 29.0, 21.0)
    weights = [-26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1]  # IEC 61672-1:2013, Table 3
    by_hand = 10 * np.log10(sum(10 ** ((x + w) / 10) for x, w in zip(supply.bands, weights, strict=True)))
    assert supply.power_level == pytest.approx(by_hand, abs=0.05)
    assert (supply.tone, supply.states) == (None, None)


@pytest.mark.parametrize(
    ("absorption", "at", "words"),
    [
        ("[0.1, 0.1, 0.2, 0.2, 0.3, 0.3, 0.3, 0.3]", "surface_m2", ["the sum of the surfaces", "20 m2", "10 m2"]),
        ("0", "surfaces", ["some absorption", "found none at all", "give the surfaces their absorption"]),
        ("[0, 0.1, 0.2, 0.2, 0.3, 0.3, 0.3, 0.3]", "surfaces", ["some absorption in every octave"]),
    ],
)
def test_surfaces_that_contradict_or_absorb_nothing(tmp_path: Path, absorption: str, at: str, words: list[str]) -> None:
    surface = "surface_m2 = 20\n" if at == "surface_m2" else ""
    room = f"volume_m3 = 27\n{surface}surfaces = [{{ area_m2 = 10, absorption = {absorption} }}]"
    said = refused(tmp_path, changed(BUILD, "volume_m3 = 27\nmean_absorption = 0.3", room))
    assert f"room.{at} needs" in said
    assert [word for word in words if word not in said] == []
    whole = room.replace(absorption, "0.2").replace("surface_m2 = 20", "surface_m2 = 10.05")  # within a hundredth
    read = read_build(write(tmp_path / "whole", changed(BUILD, "volume_m3 = 27\nmean_absorption = 0.3", whole)))
    assert read.room.mean_absorption == pytest.approx(0.2)


def test_a_limit_at_a_position_that_is_not_there(tmp_path: Path) -> None:
    text = changed(BUILD, "position_dba = { desk = 25 } }", "position_nc = { dsk = 20 }, position_nr = { boot = 18 } }")
    said = refused(tmp_path, text)
    assert 'position_nc.dsk needs the name of a position; found "dsk"; did you mean "desk"?' in said
    assert 'did you mean "booth"?' in said
