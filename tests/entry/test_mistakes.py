"""One mistake of each kind: its line, its column, and the words that help."""

from __future__ import annotations

from pathlib import Path

import pytest

from quietcool.entry.buildfile import read_build
from quietcool.errors import InputError, Mistake
from tests.entry import small_rig
from tests.entry.small_rig import BUILD, changed, place

FRONT = '[[fan_group]]\nname = "front"\nfan = "fan-one"\n'


def mistakes(folder: Path, build: str = BUILD, **sheets: str) -> list[Mistake]:
    with pytest.raises(InputError) as raised:
        read_build(small_rig.write(folder, build, **sheets))
    return raised.value.mistakes


# old text, new text, what the mistake points at, words of the sentence
KEYS = [
    ("temp_c = 21.5", "tmep_c = 21.5", "tmep_c", ['did you mean "temp_c"?']),
    ("temp_c = 21.5\n", "", "[room]", ["room.temp_c", "temperature of the air", "no such key", 'add "temp_c"']),
    ("temp_c = 21.5", "temp_c = -300", "-300", ["from -30 to 70 degC", "found -300 degC"]),
    ("temp_c = 21.5", "temp_c = nan", "nan", ["finite"]),
    ("temp_c = 21.5", "temp_c = inf", "inf", ["finite"]),
    ("temp_c = 21.5", 'temp_c = "21.5"', '"21.5"', ["add the unit"]),
    ("temp_c = 21.5", "temp_c = true", "true", ["found true"]),
    ("altitude_m = 300", 'altitude_m = "300 kg"', '"300 kg"', ["no accepted unit"]),
    ("altitude_m = 300", "altitude_m = [300]", "[300]", ["a list of 1"]),
    ("max_rpm = 1800", "max_rpm = 1e9", "1e9", ["from 50 to 30000 rpm", "1e9 rpm"]),
    ("max_rpm = 1800", 'max_rpm = "1,800 rpm"', '"1,800 rpm"', ["thousands mark"]),
    ("count = 3", "count = 3.0", "3.0", ["a whole number", "without a decimal point"]),
    ("count = 3", "count = true", "true", ["a whole number"]),
    ("count = 3", "count = 0", "0,", ["from 1 to 100"]),
    ("may_stop = true", 'may_stop = "yes"', '"yes"', ["true or false"]),
    ("may_stop = true", "may_stop = 1", "1\nrpm", ["true or false"]),
    ("avoid_rpm = [[900, 960]]", "avoid_rpm = [900, 960]", "900,", ["a pair of rpm"]),
    ('field = "distance"', 'field = "distant"', '"distant"', ['did you mean "distance"?']),
    ('kind = "ethylene_glycol"', 'kind = "glycol"', '"glycol"', ["ethylene_glycol"]),
    ("mass_percent = 20", "mass_percent = 80", "80", ["from 0 to 60 percent"]),
    ("mass_percent = 20", "mass_percent = 20, volume_percent = 20", "{ kind", ["found both", "leave one out"]),
    ('kind = "ethylene_glycol"', 'kind = "water"', "{ kind", ["no glycol in water"]),
    ("37]", "37, 38, 39]", "[16", ["at most 9 items", "10 items"]),
    ("format = 1", "format = 2", "2", ["the format 1"]),
    ("format = 1", "format = true", "true", ["the format 1"]),
    ("heat_w = { cpu = 80", "heat_w = { cpu = 1e6", "1e6", ["from 0 to 20000 W"]),
    ("heat_w = { cpu = 80", "heat_w = { cpu = -80", "-80", ["from 0 to 20000 W"]),
    ("limit_dba = 30", 'limit_dba = "4.2 B"', '"4.2 B"', ["1 B = 10 dB"]),
    ("limit_dba = 30", 'limit_dba = "0.6 sone"', '"0.6 sone"', ["no exact conversion"]),
    ("limit_dba = 30", 'limit_dba = "< 25 dBA"', '"< 25 dBA"', ["a bound is not a value"]),
    ('name = "desk"', 'name = "desk\\u0007"', '"desk\\u0007"', ["1 to 64 letters"]),
    ('name = "desk"', 'name = ""', '""', ["1 to 64 letters"]),
    ("opening_cm2 = 80", 'opening_cm2 = 80, fans = "top"', "{ opening", ["exactly one of fans, radiator"]),
    ("opening_cm2 = 80", "opening_mm2 = 80", "{ opening_mm2", ["exactly one of fans, radiator"]),
    ("dust = 1.5", "dsut = 1.5", "dsut", ['did you mean "dust"?']),
    ("loss_coefficient = 2.5", "loss_coefficient = 0", "0 }", ["from 0.01"]),
    ("length_m = 2.5", "lenght_m = 2.5", "lenght_m", ['did you mean "length_m"?']),
    ('"90" = 4', '"60" = 4', '"60"', ["a key that is known here"]),
    ('title = "Small rig"', "title = 3", "3", ["a text", "in quotes"]),
    ("mean_absorption = 0.3", "mean_absorption = 1.5", "1.5", ["from 0.001 to 0.99"]),
    (
        "mean_absorption = 0.3",
        "mean_absorption = 0.3\nsurfaces = [{ area_m2 = 1, absorption = 1 }]",
        "[room]",
        ["surfaces or mean_absorption", "found both"],
    ),
    ("volume_m3 = 27\nmean_absorption = 0.3", "reverberation_s = 0.3", "[room]", ["volume_m3 beside reverberation_s"]),
]

SENSE = [
    ('name = "top"', 'name = "front"', '"front"\nfan = "fan-two"', ["a name of its own", '"front" again']),
    ('name = "desk"', 'name = "pump"', '"pump"\ndistance', ["mean something else"]),
    ('name = "case"', 'name = "room"', '"room"\n\n[[fan', ["mean something else"]),
    ('name = "cpu"', 'name = "air"', '"air"', ["mean something else"]),
    ('name = "rim"', 'name = "core"', '"core", resistance_k_per_w = 0.05', ['"core" again']),
    ('fan = "fan-one"', 'fan = "fan-onne"', '"fan-onne"', ["a fan sheet", 'did you mean "fan-one"?']),
    ('fan = "fan-one"', 'fan = "mesh"', '"mesh"', ["a fan sheet", "a resistance"]),
    ('radiator = "core-one", dust', 'radiator = "core-two", dust', '"core-two"', ['did you mean "core-one"?']),
    ('resistance = "mesh"', 'resistance = "mash"', '"mash"', ['did you mean "mesh"?']),
    ('plate = "plate-one"', 'plate = "platter"', '"platter"', ["a plate sheet"]),
    ('pump = "pump-one"', 'pump = "pump-two"', '"pump-two"', ['did you mean "pump-one"?']),
    ('fans = "front"', 'fans = "frnt"', '"frnt"', ["a fan group", 'did you mean "front"?']),
    ('from = "room"', 'from = "attic"', '"attic"', ["an enclosure"]),
    ('to = "case"', 'to = "cse"', '"cse"', ['did you mean "case"?']),
    ('from = "room"\nto = "case"', 'from = "case"\nto = "case"', '"case"\nstack', ["another node"]),
    ("min_rpm = 600", "min_rpm = 1900", "1900", ["at most max_rpm", "1900 rpm above 1800 rpm"]),
    ("pump_min_rpm = 1500", "pump_min_rpm = 4500", "4500", ["at most pump_max_rpm"]),
    ("avoid_rpm = [[900, 960]]", "avoid_rpm = [[960, 900]]", "[960", ["from its lower to its upper"]),
    ("avoid_rpm = [[900, 960]]", "avoid_rpm = [[1000, 1800], [0, 1000]]", "[[1000", ["at least one speed"]),
    (
        '  { radiator = "core-one", dust = 1.5 },',
        '  { radiator = "core-one" },\n  { radiator = "core-one" },',
        '"core-one" },\n]',
        ["at most one radiator"],
    ),
    ('fans = "top", c', 'fans = "front", c', '[[fan_group]]\nname = "top"', ["a place in the stack"]),
    ('stack = [{ radiator = "core-one" }, { fans = "top", count = 2 }]', "stack = []", "[]", ["at least 1"]),
    ('"front intake", "top exhaust"]', '"front intake"]', '[[air_path]]\nname = "top exhaust"', ["in the ring"]),
    ('"top exhaust"]', '"top exhaust", "top exhaust"]', '"top exhaust"]\ntube', ["once in the ring", "again"]),
    ('"front intake", "top', '"front intake", "slots", "top', '"slots", "top', ["a path without one"]),
    ('[["cpu"], ["gpu"]]', '[["cpu"], ["gpu", "cpu"]]', '"cpu"]] }', ['"cpu" again']),
    ('[["cpu"], ["gpu"]]', '[["cpu"], []]', "[]] }", ["at least one station"]),
    ('[["cpu"], ["gpu"]]', '[["cpu", "gpu"]]', '[["cpu", "gpu"]]', ["at least two branches", "found one"]),
    ('[["cpu"], ["gpu"]]', '[["cpu"], ["gqu"]]', '"gqu"', ['did you mean "gpu"?']),
    ('["pump", {', '["pump", "pump", {', '"pump", {', ["the pump again"]),
    ('["pump", {', "[{", '[{ parallel', ['one "pump"']),
    ('["pump", { parallel = [["cpu"]', '[{ parallel = [["pump", "cpu"]', '"pump", "cpu"', ["on the main line"]),
    ("order = [", "order = [3, ", "3, ", ["a name or { parallel"]),
    ("heat_w = { cpu = 80", "heat_w = { cqu = 3, cpu = 80", "3, cpu", ["a heat source", 'did you mean "cpu"?']),
    ("air = { case = 60 }", "air = { cse = 60 }", "60 }", ["an enclosure"]),
    ("position_dba = { desk = 25 }", "position_dba = { dask = 25 }", "25 }", ['did you mean "desk"?']),
    ('pump = "pump-one"', 'pump = "pump-one"\npump_enclosure = "cellar"', '"cellar"', ["an enclosure"]),
    ("volume_m3 = 27\nmean_absorption = 0.3\n", "", '"room"\ndistance', ["a room whose absorption is known"]),
    ("mean_absorption = 0.3", "reverberation_s = 0.02", "0.02", ["mean absorption of"]),
    ('name = "cpu"\nplate', 'name = "top exhaust"\nplate', '"top exhaust"\nplate', ["clear in the order"]),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "at", "words"), KEYS + SENSE, ids=lambda value: repr(value)[:40])
def test_each_mistake_has_its_place_and_its_words(
    tmp_path: Path, old: str, new: str, at: str, words: list[str]
) -> None:
    text = changed(BUILD, old, new)
    if '"room"\ndistance' in at:
        text = changed(text, "distance_m = 1.5", 'field = "room"\ndistance_m = 1.5')
        at = '"room"\ndistance'
    found = mistakes(tmp_path, text)
    at_place = [mistake for mistake in found if (mistake.line, mistake.column) == place_after(text, new, at)]

    assert at_place, [str(mistake) for mistake in found]
    sentence = " | ".join(str(mistake) for mistake in at_place)
    for word in words:
        assert word in sentence


def place_after(text: str, new: str, at: str) -> tuple[int, int]:
    """Place of `at`, searched from the changed part on where it lies there, else in the whole text."""
    start = text.index(new) if new else 0
    index = text.find(at, max(0, start - 1))
    index = index if index >= 0 else text.index(at)
    return text.count("\n", 0, index) + 1, index - text.rfind("\n", 0, index)


def test_a_source_that_no_state_heats(tmp_path: Path) -> None:
    text = BUILD.replace("gpu = 150, ", "").replace('gpu = "0.4 kW"', "gpu = 0")
    (only,) = mistakes(tmp_path, text)

    assert only.place == "source[gpu]"
    assert "a state that heats it" in only.required
    assert (only.line, only.column) == place(text, '[[source]]\nname = "gpu"')


@pytest.mark.parametrize("closed", ['[[air_path]]\nname = "slots"', '[[air_path]]\nname = "top exhaust"'])
def test_two_ways_remain_when_one_of_three_is_closed(tmp_path: Path, closed: str) -> None:
    start = BUILD.index(closed)
    end = BUILD.index("[[", start + 5)
    text = BUILD[:start] + BUILD[end:]
    text = text.replace(', "top exhaust"]', "]") if "exhaust" in closed else text
    if "exhaust" in closed:  # its fans go too
        top = text.index('[[fan_group]]\nname = "top"')
        text = text[:top] + text[text.index("[[air_path]]") :]

    assert len(read_build(small_rig.write(tmp_path, text)).air_paths) == 2


def test_a_path_without_exit(tmp_path: Path) -> None:
    # an inner case that two paths join to the outer one, and nothing else: its air returns, its heat never leaves
    inner = """
[[enclosure]]
name = "inner"

[[air_path]]
name = "dead end"
from = "case"
to = "inner"
stack = [{ opening_cm2 = 80, loss_coefficient = 2.5 }]
"""
    (only,) = mistakes(tmp_path, BUILD + inner)
    assert only.place == "enclosure[inner]"
    assert "a way in and a way out" in only.required
    assert "slots" in only.advice

    second = inner[inner.index("[[air") :].replace("dead end", "second way")
    assert read_build(small_rig.write(tmp_path, BUILD + inner + second)).enclosures == ("case", "inner")


def test_a_ring_without_radiator(tmp_path: Path) -> None:
    text = BUILD.replace(', "front intake", "top exhaust"]', "]")
    text = text.replace('  { radiator = "core-one", dust = 1.5 },\n', "").replace('{ radiator = "core-one" }, ', "")
    (only,) = mistakes(tmp_path, text)

    assert only.place == "loop.order"
    assert "a radiator to give the heat to air" in only.required


def test_a_branch_that_resists_nothing(tmp_path: Path) -> None:
    plate = small_rig.PLATE_ONE.replace("= 400", "= 0").replace("= 250", "= 0")
    found = mistakes(tmp_path, plate_one=plate)

    assert [mistake.place for mistake in found] == ["loop.order[2].parallel[1]", "loop.order[2].parallel[2]"]
    assert "resists" in found[0].required


# sheet, old text, new text, what the mistake points at, words
SHEET_MISTAKES = [
    ("fan_one", "size_mm = 120", "size_mm = 0", "0\n", ["from 10 to 2000 mm", "found 0 mm"]),
    ("fan_one", "[0, 30.0]", "[5, 30.0]", "[[5", ["starts at zero flow"]),
    ("fan_one", "[60, 18.0]", "[20, 18.0]", "[[0", ["rise from point to point", "point 3"]),
    ("fan_one", "[110, 0.0]", "[110, 31.0]", "[[0", ["ends at a lower pressure"]),
    ("fan_one", "[110, 0.0]", "[110, -1.0]", "[110", ["from 0 to"]),
    ("fan_one", "points_m3_per_h_pa", "max_flow_cfm = 3\npoints_m3_per_h_pa", "[curve]", ["leave one"]),
    ("fan_two", "max_flow_cfm = 50\n", "", "[curve]", ["exactly one of max_flow_m3_per_h, max_flow_cfm"]),
    ("fan_two", "max_flow_cfm = 50", "max_flow_cfm = 50\nmax_flow_m3_per_h = 85", "[curve]", ["leave one"]),
    ("fan_one", 'origin = "measured"', "", "[sound]", ["sound.origin", "no such key"]),
    ("fan_one", 'origin = "measured"', 'origin = "guess"', '"guess"', ["estimate"]),
    ("fan_one", "level_dba = 31.0", "level_dba = 31.0\npower_level_dba = 40", "[sound]", ["exactly one of level_dba"]),
    ("fan_two", "power_level_dba = 33", "power_level_dba = 33\ndistance_m = 1", "[sound]", ["beside power_level_dba"]),
    ("fan_one", "level_dba = 31.0", 'level_dba = "4.2 B"', '"4.2 B"', ["1 B = 10 dB"]),
    ("fan_one", 'mounting = "plane"', 'mounting = "plain"', '"plain"', ['did you mean "plane"?']),
    ("fan_one", "tolerance_percent = 8", "tolerance_db = 8", "tolerance_db", ["a key that is known here"]),
    ("fan_one", 'kind = "fan"', 'kind = "fann"', '"fann"', ['did you mean "fan"?']),
    ("fan_one", 'kind = "fan"\n', "", "format", ["kind", "no such key"]),
    ("fan_one", 'name = "fan-one"', 'name = "fan/one"', '"fan/one"', ["1 to 64 letters"]),
    ("core_one", "face_length_mm = 360", "face_length_mm = 3.6", "3.6", ["from 10 to 2000 mm"]),
    ("core_one", "air_exponent = 0.45", "air_exponent = 45", "45", ["from 0 to 1.2"]),
    ("core_one", "air_exponent = 0.45\n", "", "[heat]", ["no air_exponent"]),
    ("core_one", "a_pa_s_per_m = 8.0\n", "", "[air]", ["give one of the two forms whole"]),
    ("core_one", "m = 8.0\nb_pa_s2_per_m2 = 2.5", "m = 0\nb_pa_s2_per_m2 = 0", "[air]", ["above zero"]),
    ("core_one", "fan_sections = 3", "fan_sections = 3\nfins = 3", "fins", ["a key that is known here"]),
    ("mesh", "[0.5, 1.625], [1.0, 3.5], [2.0, 8.0]", "[0.5, 1.6]", "[[0.5", ["at least two points"]),
    ("mesh", "[0.5, 1.625]", "[0, 0]", "[air]", ["points above zero"]),
    ("mesh", 'style = "filter"', 'style = "felt"', '"felt"', ["grille"]),
    ("pump_one", "[15, 0.0]", "[15, 50.0]", "[[0", ["ends at a lower pressure"]),
    ("pump_one", '[electric]\npower_w = 12\nspeed_rpm = 4000\norigin = "invented"\n', "", "format", ["electric"]),
    ("plate_one", "n = 0.6", "n = 6", "6\norigin", ["from 0 to 2"]),
]  # fmt: skip


@pytest.mark.parametrize(("sheet", "old", "new", "at", "words"), SHEET_MISTAKES, ids=lambda value: repr(value)[:40])
def test_each_mistake_of_a_sheet(tmp_path: Path, sheet: str, old: str, new: str, at: str, words: list[str]) -> None:
    name = sheet.replace("_", "-")
    text = changed(small_rig.SHEETS[name], old, new)
    found = [mistake for mistake in mistakes(tmp_path, **{sheet: text}) if mistake.file.endswith(f"{name}.toml")]
    at_place = [mistake for mistake in found if (mistake.line, mistake.column) == place_after(text, new, at)]

    assert at_place, [str(mistake) for mistake in found]
    for word in words:
        assert word in " | ".join(str(mistake) for mistake in at_place)


def test_a_part_name_used_twice(tmp_path: Path) -> None:
    (only,) = mistakes(tmp_path, extra=small_rig.MESH)

    assert only.place == "name"
    assert "extra.toml" in only.advice or "mesh.toml" in only.advice
    assert '"mesh" twice' in only.found


def test_a_sheet_that_nothing_names_must_be_right_too(tmp_path: Path) -> None:
    spare = small_rig.MESH.replace('name = "mesh"', 'name = "spare"').replace("filter", "felt")
    (only,) = mistakes(tmp_path, spare=spare)

    assert only.file.endswith("spare.toml")


def test_a_wrong_sheet_does_not_make_its_name_unknown(tmp_path: Path) -> None:
    found = mistakes(tmp_path, mesh=small_rig.MESH.replace("filter", "felt"))

    assert [mistake.place for mistake in found] == ["style"]


def test_all_mistakes_of_all_files_come_together(tmp_path: Path) -> None:
    text = changed(BUILD, "temp_c = 21.5", "tmep_c = 21.5")
    text = changed(text, 'fan = "fan-one"', 'fan = "fan-onne"')
    text = changed(text, "count = 3", "count = -3")
    text = changed(text, '"top exhaust"]', '"top exhaust", "attic"]')
    text = changed(text, "heat_w = { cpu = 80", "heat_w = { gpw = 3, cpu = 80")
    core = changed(small_rig.CORE_ONE, "air_exponent = 0.45", "air_exponent = 45")
    found = mistakes(tmp_path, text, core_one=core, fan_two="format = 1\nkind = ")
    places = [(Path(mistake.file).name, mistake.place) for mistake in found]

    assert places == [
        ("build.toml", "room.temp_c"),
        ("build.toml", "room.tmep_c"),
        ("build.toml", "fan_group[front].fan"),
        ("build.toml", "air_path[front intake].stack[2].count"),
        ("build.toml", "loop.order[5]"),
        ("build.toml", "state[edit].heat_w.gpw"),
        ("core-one.toml", "heat.air_exponent"),
        ("fan-two.toml", ""),
    ]


def test_syntax_error_has_its_place(tmp_path: Path) -> None:
    text = changed(BUILD, "temp_c = 21.5", "temp_c = 21,5")
    (only,) = mistakes(tmp_path, text)

    assert (only.line, only.column) == (place(text, "temp_c = 21,5")[0], len("temp_c = 21") + 1)
    assert "valid TOML" in only.required


def test_a_sentence_says_where_what_is_required_what_was_found_and_what_to_do(tmp_path: Path) -> None:
    text = changed(BUILD, "min_rpm = 600", "min_rpm = 1900")
    (only,) = mistakes(tmp_path, text)
    line, column = place(text, "1900")

    assert str(only) == (
        f"{tmp_path / 'build.toml'}:{line}:{column}: fan_group[front].min_rpm needs a lowest speed of at most max_rpm; "
        "found 1900 rpm above 1800 rpm; swap or correct the two."
    )


def test_columns_count_characters(tmp_path: Path) -> None:
    text = changed(BUILD, "heat_w = { cpu = 80", 'heat_w = { note = "größer ✓", cpu = -80')
    (only,) = [mistake for mistake in mistakes(tmp_path, text) if "cpu" in mistake.place]

    assert (only.line, only.column) == place(text, "-80")


@pytest.mark.parametrize("tail", ["[90, 0.0], [110, 0.0]", "[90, 8.0], [110, 8.0]", "[90, 4.0], [110, 6.0]"])
def test_a_curve_falls_at_its_end(tmp_path: Path, tail: str) -> None:
    """Found by the fuzz profile: two points without pressure were read, and no fan could be made of them."""
    fan = changed(small_rig.FAN_ONE, "[90, 8.0], [110, 0.0]", tail)
    (mistake,) = mistakes(tmp_path, fan_one=fan)
    assert "no fall at its end" in str(mistake)


def test_air_without_an_enclosure_has_no_place(tmp_path: Path) -> None:
    """Heat and limits of enclosure air in one number, in a rig whose fans all blow through the room."""
    text = changed(BUILD, '[[enclosure]]\nname = "case"\n\n', "")
    text = text[: text.index('[[air_path]]\nname = "slots"')] + text[text.index("[[source]]") :]
    text = text.replace('"case"', '"room"')
    text = changed(text, ", air = { case = 60 }", "")
    text = changed(text, "enclosure_air_c = { case = 48 }", "enclosure_air_c = 48")
    found = [mistake for mistake in mistakes(tmp_path, text) if "none in this build" in mistake.found]

    assert [mistake.place for mistake in found] == [
        "state[edit].heat_w.air", "state[edit].limits.enclosure_air_c", "state[render].limits.enclosure_air_c",
    ]  # fmt: skip
    assert {mistake.required for mistake in found} == {"an enclosure to hold it"}
    assert {mistake.advice for mistake in found} == {"remove it, or add an [[enclosure]]"}


def test_branches_within_a_branch_are_judged_on_their_own(tmp_path: Path) -> None:
    nested = changed(BUILD, '[["cpu"], ["gpu"]]', '[["cpu"], [{ parallel = [["gpu"], ["top exhaust"]] }]]')
    nested = changed(nested, '"front intake", "top exhaust"]', '"front intake"]')
    assert read_build(small_rig.write(tmp_path / "resisting", nested))
    free = small_rig.PLATE_ONE.replace("= 400", "= 0").replace("= 250", "= 0")
    found = mistakes(tmp_path / "free", nested, plate_one=free)
    places = [mistake.place for mistake in found if mistake.required == "a branch that resists the flow"]

    assert places == ["loop.order[2].parallel[1]", "loop.order[2].parallel[2][1].parallel[1]"]
