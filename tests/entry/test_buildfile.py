"""A good build arrives whole and in SI; numbers are held to definitions and handbook values, not to our own output."""

from __future__ import annotations

import hashlib
import json
import math
import subprocess
import sys
from pathlib import Path

import pytest

from quietcool.entry.build import Build, Core, FanRow, Opening, Parallel, Screen
from quietcool.entry.buildfile import build_file_schema, check_build, read_build, sheet_schema
from quietcool.errors import InputError
from tests.entry import small_rig
from tests.entry.small_rig import changed


@pytest.fixture(scope="module")
def build(tmp_path_factory: pytest.TempPathFactory) -> Build:
    return read_build(small_rig.write(tmp_path_factory.mktemp("rig")))


def test_room_and_nodes(build: Build) -> None:
    assert build.room.temp == 294.65  # 21.5 + 273.15, definition of degree Celsius
    assert build.room.altitude == 300.0
    assert build.room.volume == 27.0
    assert build.room.mean_absorption == 0.3
    assert build.enclosures == ("case",)


def test_groups_have_speeds_in_turns_a_second(build: Build) -> None:
    front, top = build.fan_groups

    assert (front.speeds.lowest, front.speeds.highest) == (10.0, 30.0)
    assert front.speeds.avoid == ((15.0, 16.0),)
    assert front.speeds.may_stop
    assert front.speeds.present == pytest.approx(1000 / 60, rel=1e-15)
    assert top.speeds.step == pytest.approx(1 / 3, rel=1e-15)  # 20 rpm is the contract's default
    assert build.group_names == ("front", "top", "pump")


def test_stacks_keep_their_order_and_make_the_layout(build: Build) -> None:
    screen, row, core = build.air_paths[0].stack

    assert isinstance(screen, Screen)
    assert screen.area == 0.04
    assert isinstance(row, FanRow)
    assert (row.group, row.count, row.gap) == ("front", 3, 0.005)
    assert isinstance(core, Core)
    assert core.dust == 1.5
    assert [path.layout for path in build.air_paths] == ["push", "pull", "opening"]
    assert build.air_paths[2].stack == (Opening(0.008, 2.5),)
    assert build.air_paths[0].series_efficiency == 0.925


def test_fan_by_points(build: Build) -> None:
    fan = build.fan_groups[0].fan

    assert fan.curve.flow == pytest.approx([0, 30 / 3600, 60 / 3600, 90 / 3600, 110 / 3600], rel=1e-15)
    assert fan.curve.pressure == (30.0, 26.0, 18.0, 8.0, 0.0)
    assert (fan.curve.speed, fan.curve.density, fan.curve.estimated) == (30.0, 1.2, False)
    assert (fan.size, fan.depth, fan.blade_count) == (0.12, 0.025, 9)
    assert fan.electric.power == 1.8


def test_level_on_a_plane_becomes_sound_power(build: Build) -> None:
    # half sphere of radius r: L_W = L_p + 10 lg(2 pi r^2 / 1 m2), ISO 3744:2010, 8.2.5 (recalled, not re-read)
    expected = 31.0 + 10.0 * math.log10(2.0 * math.pi * 0.5**2)

    assert build.fan_groups[0].fan.sound.power_level == pytest.approx(expected, abs=1e-9)
    assert build.fan_groups[0].fan.sound.floor_power_level == 14.0
    assert build.fan_groups[0].fan.sound.exponent == 55.0


def test_suspended_level_becomes_sound_power(build: Build) -> None:
    # whole sphere of radius 1 m: L_W = L_p + 10 lg(4 pi)
    assert build.loop.pump.sound.power_level == pytest.approx(30.0 + 10.0 * math.log10(4.0 * math.pi), abs=1e-9)
    assert build.loop.pump.sound.exponent == 50.0
    assert build.loop.pump.sound.floor_power_level == -math.inf


def test_fan_by_two_numbers_is_a_quarter_ellipse(build: Build) -> None:
    curve = build.fan_groups[1].fan.curve
    free, shutoff = 50 * 0.3048**3 / 60, 2 * 9.80665  # NIST SP 811: the foot, the conventional millimetre of water

    assert curve.estimated
    assert len(curve.flow) == 11
    for flow, pressure in zip(curve.flow, curve.pressure, strict=True):
        assert (flow / free) ** 2 + (pressure / shutoff) ** 2 == pytest.approx(1.0, abs=1e-12)
    assert build.fan_groups[1].fan.sound.power_level == 33.0
    assert build.fan_groups[1].fan.electric.power == 0.0


def test_points_of_a_filter_are_fitted(build: Build) -> None:
    # the points lie on 3 V + 0.5 V^2/2: 1.625 = 3*0.5 + 0.5*0.25, 3.5 = 3 + 0.5, 8 = 6 + 2
    screen = build.air_paths[0].stack[0]
    assert isinstance(screen, Screen)
    assert (screen.resistance.a, screen.resistance.b) == pytest.approx((3.0, 0.5), rel=1e-9)
    assert screen.resistance.noise_adder == 3.0


def test_loop(build: Build) -> None:
    loop = build.loop

    assert loop.order == ("pump", Parallel((("cpu",), ("gpu",))), "front intake", "top exhaust")
    assert loop.tube.loss_coefficient == pytest.approx(4 * 1.3 + 2 * 0.4)  # the contract's K of bends
    assert (loop.tube.bore, loop.tube.length, loop.volume) == (0.01, 2.5, 0.0015)
    assert (loop.coolant.kind, loop.coolant.mass_fraction) == ("ethylene_glycol", 0.2)
    assert loop.pump_enclosure == "case"
    assert loop.pump.coolant_share == 0.9
    assert loop.pump.curve.pressure == (40e3, 32e3, 15e3, 0.0)
    # water at 30 degC: 995.65 kg/m3, CRC Handbook of Chemistry and Physics, "Standard density of water" (recalled)
    assert loop.pump.curve.density == pytest.approx(995.65, abs=0.05)


def test_branches_nest(tmp_path: Path) -> None:
    inner = '{ parallel = [["gpu"], ["front intake"]] }'
    text = changed(small_rig.BUILD, '[["cpu"], ["gpu"]] }, "front intake"', f'[["cpu"], ["top exhaust", {inner}]] }}')
    order = read_build(small_rig.write(tmp_path, changed(text, ', "top exhaust"]\n', "]\n"))).loop.order

    assert order == ("pump", Parallel((("cpu",), ("top exhaust", Parallel((("gpu",), ("front intake",)))))))


def test_coolant_coefficients_change_units(build: Build) -> None:
    core = build.air_paths[0].core
    assert core is not None

    assert core.radiator.coolant_a == pytest.approx(150 * 60e3, rel=1e-15)  # 1 L/min = 1/60000 m3/s
    assert core.radiator.coolant_b == pytest.approx(60 * 60e3**2, rel=1e-15)
    assert core.radiator.passive_conductance == 0.7


def test_sources_and_states(build: Build) -> None:
    cpu, gpu = build.sources

    assert cpu.points[0].limit == pytest.approx(353.15, rel=1e-15)
    assert gpu.points[0].limit == pytest.approx(353.15, rel=1e-15)  # 176 degF = 80 degC
    assert (gpu.points[1].limit, gpu.points[1].share) == (None, 0.5)
    edit, render = build.states
    assert edit.heat == {"cpu": 80.0, "gpu": 150.0}
    assert edit.air_heat == {"case": 40.0}
    assert edit.limits.coolant == 315.15
    assert edit.limits.enclosure_air == {"case": 318.15}
    assert edit.limits.position == {"desk": 25.0}
    assert edit.room_temp == 294.65
    assert render.heat["gpu"] == 400.0
    assert render.air_heat == {"case": 60.0}
    assert render.room_temp == 299.15


def test_positions(build: Build) -> None:
    desk, booth = build.positions

    assert (desk.field, desk.limit, desk.directivity, desk.partition) == ("room", 30.0, 1.0, 0.0)
    assert booth.field == "distance"
    assert booth.partition == (16.0, 19.0, 23.0, 27.0, 31.0, 34.0, 36.0, 37.0)


def test_every_file_read_is_known_by_its_hash(tmp_path: Path) -> None:
    file = small_rig.write(tmp_path)

    assert read_build(file).inputs == {
        path.relative_to(tmp_path).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in (file, *(tmp_path / "parts").iterdir())
    }


@pytest.mark.parametrize(
    ("place", "printed", "value", "unit", "origin", "tolerance", "kind"),
    [
        ("build: room.temp_c", "21.5 degC", 294.65, "K", "entered", None, ""),
        ("build: fan_group[top].step_rpm", "20 rpm", 20 / 60, "rev/s", "default", None, ""),
        ("build: source[gpu].points[core].limit_c", "176 degF", 353.15, "K", "entered", None, ""),
        ("build: state[render].heat_w.gpu", "0.4 kW", 400.0, "W", "entered", None, ""),
        ("build: loop.tube.fittings.90", "4", 4.0, "1", "entered", None, ""),
        ("fan-one: curve.points_m3_per_h_pa[3][2]", "18.0 Pa", 18.0, "Pa", "invented", 0.08, "relative"),
        ("fan-one: curve.density_kg_per_m3", "1.2 kg/m3", 1.2, "kg/m3", "default", None, ""),
        ("fan-one: sound.level_dba", "31.0 dB(A)", 31.0, "dB(A)", "measured", 1.0, "dB"),
        ("fan-one: sound.speed_rpm", "1800 rpm", 30.0, "rev/s", "measured", None, ""),
        ("fan-one: electric.power_w", "1.8 W", 1.8, "W", "datasheet", 0.10, "relative"),
        ("fan-two: curve.max_flow_cfm", "50 CFM", 50 * 0.3048**3 / 60, "m3/s", "estimate", 0.25, "relative"),
        ("fan-two: sound.power_level_dba", "33 dB(A)", 33.0, "dB(A)", "estimate", 6.0, "dB"),
        ("core-one: heat.ua_air_w_per_k", "60 W/K", 60.0, "W/K", "invented", 0.10, "relative"),
        ("core-one: heat.passive_w_per_k_per_section", "0.7 W/K", 0.7, "W/K", "default", 0.25, "relative"),
        ("mesh: air.points_m_per_s_pa[1][1]", "0.5 m/s", 0.5, "m/s", "measured", 0.05, "relative"),
    ],
)
def test_ledger_keeps_print_value_origin_and_tolerance(
    build: Build, place: str, printed: str, value: float, unit: str, origin: str, tolerance: float | None, kind: str
) -> None:
    entry = {entered.place: entered for entered in build.ledger}[place]

    assert (entry.printed, entry.unit, entry.origin, entry.tolerance, entry.tolerance_unit) == (
        printed, unit, origin, tolerance, kind,
    )  # fmt: skip
    assert entry.value == pytest.approx(value, rel=1e-14)


def test_ledger_names_every_place_once(build: Build) -> None:
    places = [entry.place for entry in build.ledger]
    assert len(set(places)) == len(places)


def test_absorption_from_reverberation_by_sabine(tmp_path: Path) -> None:
    # a = 55.26 V / (c S T), Sabine; 55.26 = 24 ln 10; c = 343 to 344 m/s at room temperature
    text = changed(small_rig.BUILD, "mean_absorption = 0.3", "reverberation_s = 0.5\nsurface_m2 = 60")
    room = read_build(small_rig.write(tmp_path, text)).room

    assert room.mean_absorption == pytest.approx(55.26 * 27 / (343.5 * 60 * 0.5), rel=3e-3)
    assert room.surface == 60.0


def test_absorption_from_surfaces(tmp_path: Path) -> None:
    # area-weighted mean: (10 * 0.5 + 30 * 0.1) / 40 = 0.2
    surfaces = "surfaces = [{ area_m2 = 10, absorption = 0.5 }, { area_m2 = 30, absorption = 0.1 }]"
    room = read_build(small_rig.write(tmp_path, changed(small_rig.BUILD, "mean_absorption = 0.3", surfaces))).room

    assert room.mean_absorption == pytest.approx(0.2)
    assert room.surface == 40.0


def test_absorption_from_surfaces_in_octaves(tmp_path: Path) -> None:
    octaves = "[0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.9]"
    surfaces = f"surfaces = [{{ area_m2 = 10, absorption = 0.5 }}, {{ area_m2 = 30, absorption = {octaves} }}]"
    room = read_build(small_rig.write(tmp_path, changed(small_rig.BUILD, "mean_absorption = 0.3", surfaces))).room

    assert room.mean_absorption == pytest.approx((0.2,) * 7 + (0.8,))


@pytest.mark.parametrize(
    ("room", "field"),
    [
        ("mean_absorption = 0.3", "room"),  # with the volume above it
        ("reverberation_s = 0.4", "room"),
        ("surface_m2 = 54", "distance"),
    ],
)
def test_field_follows_what_is_known_of_the_room(tmp_path: Path, room: str, field: str) -> None:
    text = changed(small_rig.BUILD, "mean_absorption = 0.3", room)
    assert read_build(small_rig.write(tmp_path, text)).positions[0].field == field


def test_volume_per_cent_of_glycol(tmp_path: Path) -> None:
    # 20 degC: ethylene glycol 1113 kg/m3, water 998.2 kg/m3 (CRC Handbook of Chemistry and Physics, recalled)
    text = changed(small_rig.BUILD, "mass_percent = 20", "volume_percent = 30")
    fraction = read_build(small_rig.write(tmp_path, text)).loop.coolant.mass_fraction

    assert fraction == pytest.approx(0.3 * 1113 / (0.3 * 1113 + 0.7 * 998.2), abs=1e-3)


def test_open_bench_has_no_enclosure(tmp_path: Path) -> None:
    text = small_rig.BUILD.replace('"case"', '"room"').replace('[[enclosure]]\nname = "room"\n', "")
    text = text.replace(", air = 40", "").replace(", air = { case = 60 }", "")
    text = text.replace("limits = { enclosure_air_c = { case = 48 } }\n", "").replace("enclosure_air_c = 45, ", "")
    build = read_build(small_rig.write(tmp_path, text))

    assert build.enclosures == ()
    assert build.loop.pump_enclosure == "room"
    assert build.states[0].air_heat == {}


def test_notes_are_allowed_in_every_table(tmp_path: Path) -> None:
    text = changed(small_rig.BUILD, "air = { case = 60 }", 'air = { case = 60, note = "warm" }, note = "x"')
    text = changed(text, "position_dba = { desk = 25 }", 'position_dba = { desk = 25, note = "x" }, note = "y"')
    text = changed(text, 'fittings = { "90" = 4', 'note = "z", fittings = { note = "w", "90" = 4')
    text = changed(text, "[room]", '[room]\nnote = "v"')

    build = read_build(small_rig.write(tmp_path, text))
    assert build.states[1].air_heat == {"case": 60.0}
    assert build.states[0].limits.position == {"desk": 25.0}


def test_units_in_texts(tmp_path: Path) -> None:
    text = changed(small_rig.BUILD, "temp_c = 21.5", 'temp_c = "70.7 degF"')
    text = changed(text, "distance_m = 1.5", 'distance_m = "150 cm"')
    fan = changed(small_rig.FAN_TWO, "max_flow_cfm = 50", 'max_flow_m3_per_h = "50 CFM"')
    build = read_build(small_rig.write(tmp_path, text, fan_two=fan))

    assert build.room.temp == pytest.approx(294.65, rel=1e-14)
    assert build.positions[0].distance == 1.5
    assert build.fan_groups[1].fan.curve.flow[-1] == pytest.approx(50 * 0.3048**3 / 60, rel=1e-14)


def test_byte_order_mark_and_dos_lines_are_read(tmp_path: Path) -> None:
    file = small_rig.write(tmp_path)
    file.write_bytes(b"\xef\xbb\xbf" + file.read_bytes().replace(b"\n", b"\r\n"))

    assert read_build(file).title == "Small rig"


def test_sheets_may_lie_beside_the_build_and_other_builds(tmp_path: Path) -> None:
    file = small_rig.write(tmp_path, changed(small_rig.BUILD, 'parts = ["parts"]', 'parts = ["."]'))
    for sheet in (tmp_path / "parts").iterdir():
        sheet.rename(tmp_path / sheet.name)
    (tmp_path / "other build.toml").write_text(file.read_text())

    assert len(read_build(file).inputs) == 7  # the build and six sheets


def test_findings_of_the_small_rig(build: Build) -> None:
    found = {(finding.kind, finding.place) for finding in check_build(build)}

    # 500 rpm is a third of 1500 rpm and 1500 rpm 0.375 of 4000: below the contract's 0.4
    assert ("extrapolated", 'fan group "top"') in found
    assert ("extrapolated", "pump") in found
    assert ("extrapolated", 'fan group "front"') in found  # 600 of 1800 rpm
    assert ("estimate", "fan-two") in found
    assert not any(kind == "few speeds" for kind, _ in found)


@pytest.mark.parametrize(
    ("old", "new", "kind"),
    [
        ("avoid_rpm = [[900, 960]]", "avoid_rpm = [[600, 1700]]", "few speeds"),
        ("rpm = 1000", "rpm = 1010", "not admissible"),  # between two steps
        ("rpm = 1000", "rpm = 950", "not admissible"),  # in the band
        ('to = "case"\nstack', 'to = "case"\nseries_efficiency = 0.7\nstack', "unusual"),
    ],
)
def test_findings_that_a_change_brings(tmp_path: Path, old: str, new: str, kind: str) -> None:
    text = changed(small_rig.BUILD, old, new)
    assert kind in {finding.kind for finding in check_build(read_build(small_rig.write(tmp_path, text)))}


def test_speeds_within_trust_are_no_finding(tmp_path: Path) -> None:
    text = changed(small_rig.BUILD, "min_rpm = 500", "min_rpm = 600")
    places = {finding.place for finding in check_build(read_build(small_rig.write(tmp_path, text)))}
    assert 'fan group "top"' not in places  # 600 rpm is exactly 0.4 of 1500 rpm


def test_schema_is_a_json_schema_that_the_small_rig_keeps(tmp_path: Path) -> None:
    jsonschema = pytest.importorskip("jsonschema")
    import tomllib

    schema = json.loads(json.dumps(build_file_schema()))
    jsonschema.Draft202012Validator.check_schema(schema)
    good = tomllib.loads(small_rig.BUILD)
    jsonschema.validate(good, schema, jsonschema.Draft202012Validator)
    bad = tomllib.loads(small_rig.BUILD)
    bad["room"]["temp_c"] = -300
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(bad, schema, jsonschema.Draft202012Validator)
    for kind, text in (("fan", small_rig.FAN_ONE), ("radiator", small_rig.CORE_ONE), ("pump", small_rig.PUMP_ONE)):
        jsonschema.validate(tomllib.loads(text), sheet_schema(kind), jsonschema.Draft202012Validator)


def test_every_key_of_the_schema_has_a_meaning() -> None:
    schema = build_file_schema()
    tables = [schema, *schema["$defs"].values()]
    nameless = [
        key for table in tables for key, row in table.get("properties", {}).items() if not row.get("description")
    ]

    assert nameless == []


def test_reading_loads_nothing_slow() -> None:
    slow = "{'scipy', 'pandas', 'cvxpy', 'plotly', 'pint', 'tree_sitter'}"
    code = f"import sys, quietcool.entry.buildfile; print(sorted({slow} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)

    assert (done.returncode, done.stdout.strip()) == (0, "[]")


def test_a_wrong_path_is_an_input_error(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_build(tmp_path / "nowhere.toml")


def test_a_kind_of_sheet_that_there_is_not_names_those_that_there_are() -> None:
    with pytest.raises(KeyError, match="no part is a 'valve'; there are fan, radiator, plate, pump, resistance"):
        sheet_schema("valve")


def test_at_rest_is_a_present_speed_where_fans_may_stop(tmp_path: Path) -> None:
    def places(text: str, folder: str) -> set[str]:
        found = check_build(read_build(small_rig.write(tmp_path / folder, text)))
        return {finding.place for finding in found if finding.kind == "not admissible"}

    text = changed(small_rig.BUILD, "rpm = 1000", "rpm = 0")
    assert places(text, "may") == set()
    assert places(changed(text, "may_stop = true\n", ""), "never") == {'fan group "front"'}
