"""The keys of the workshop: read into SI, refused where they make no sense, and no old file notices them."""

from __future__ import annotations

from pathlib import Path

import pytest

from quietcool.entry.build import Channel, Controller, Frame, Space, Supply, Vessel
from quietcool.entry.buildfile import build_file_schema, read_build, sheet_schema
from quietcool.errors import InputError
from tests.entry import small_rig
from tests.entry.small_rig import BUILD, CORE_ONE, MESH, PLATE_ONE, PUMP_ONE, changed

KEYS = """
[controller]
channels = 4
channel_limit_a = 1.5
channel = [{ name = "1", wiring = "hub", hub_limit_a = "4500 mA" }, { name = "2", limit_a = 0.9 }]

[supply]
rating_w = "1.2 kW"
efficiency_percent = 91
mains_v = 230
circuit_a = 16
other_load_w = 200
"""


def test_an_old_file_says_nothing_of_the_workshop(tmp_path: Path) -> None:
    build = read_build(small_rig.write(tmp_path))
    assert (build.controller, build.supply, build.loop.vessel, build.loop.pump_channel) == (None, None, Vessel(), None)
    assert {path.space for path in build.air_paths} == {Space()}
    assert {(source.kind, source.peak) for source in build.sources} == {(None, None)}
    core = build.air_paths[0].core
    assert core is not None
    assert (core.radiator.vessel, core.radiator.frame) == (Vessel(), Frame())
    # Nor does its ledger: a default of the workshop would be one more number of every old file.
    words = ("space_", "clearance", "reservoir", "max_bar", "volume_l", "thread", "peak_w", "controller", "supply")
    old = [entry.place for entry in build.ledger if any(word in entry.place for word in words)]
    assert old == ["build: loop.volume_l"]


def test_new_keys_are_read_in_si(tmp_path: Path) -> None:
    text = changed(BUILD, 'to = "case"\nstack', 'to = "case"\nspace_depth_mm = 90\nclearance_mm = 8\nstack')
    text = changed(text, 'name = "cpu"\nplate', 'name = "cpu"\nkind = "cpu"\npeak_w = 400\nplate')
    text = changed(
        text, "volume_l = 1.5", 'volume_l = 1.5\nreservoir_l = 0.25\nmax_bar = "900 mbar"\npump_channel = "3"'
    )
    core = 'depth_mm = 45\nlength_mm = 400\nvolume_l = 0.4\nmax_bar = 1\nthread = "M3"\nthread_depth_mm = 6'
    file = small_rig.write(
        tmp_path,
        text + KEYS,
        core_one=changed(CORE_ONE, "depth_mm = 45", core),
        plate_one=changed(PLATE_ONE, 'name = "plate-one"', 'name = "plate-one"\nvolume_l = 0.05'),
        pump_one=changed(PUMP_ONE, 'name = "pump-one"', 'name = "pump-one"\nmax_bar = 2'),
        mesh=changed(MESH, 'style = "filter"', 'style = "filter"\ndepth_mm = 4'),
    )
    build = read_build(file)

    channels = (Channel("1", None, "hub", 4.5), Channel("2", 0.9))
    assert build.controller == Controller(4, 1.5, channels)
    assert build.supply == Supply(1200.0, 0.91, 230.0, 16.0, 200.0)
    assert build.air_paths[0].space == Space(pytest.approx(0.09), None, pytest.approx(0.008))
    assert (build.sources[0].kind, build.sources[0].peak) == ("cpu", 400.0)
    assert build.loop.vessel == Vessel(pytest.approx(0.25e-3), pytest.approx(90_000.0))
    assert build.loop.pump_channel == "3"
    radiator = build.air_paths[1].core
    assert radiator is not None
    assert radiator.radiator.frame == Frame(pytest.approx(0.4), "M3", pytest.approx(0.006))
    assert radiator.radiator.vessel == Vessel(pytest.approx(0.4e-3), pytest.approx(100_000.0))
    assert build.sources[0].plate.vessel == Vessel(pytest.approx(0.05e-3), None)
    assert build.loop.pump.vessel == Vessel(None, pytest.approx(200_000.0))
    assert build.air_paths[0].stack[0].resistance.depth == pytest.approx(0.004)  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("old", "new", "part"),
    [
        ('wiring = "hub", ', "", 'wiring = "hub" beside hub_limit_a'),
        ("mains_v = 230\n", "", "mains_v beside circuit_a"),
        ('name = "2"', 'name = "1"', "a name of its own among the outputs"),
        ("channels = 4", "channels = 1", "a number that covers the outputs listed"),
        ("channels = 4", "channels = 0", "from 1 to 100"),
        ('"hub"', '"star"', '"splitter" or "hub"'),
        ("other_load_w", "other_load", "did you mean"),
        ('"1.2 kW"', '"1.2 kVA"', "W, kW or mW"),
        ("mains_v = 230", 'mains_v = "230 W"', "power"),
        ("efficiency_percent = 91", "efficiency_percent = 0.91", "from 50 to 100 percent"),
        ("circuit_a = 16", "circuit_a = -16", "from 1 to 200 A"),
    ],
)
def test_what_makes_no_sense_is_refused(tmp_path: Path, old: str, new: str, part: str) -> None:
    with pytest.raises(InputError) as caught:
        read_build(small_rig.write(tmp_path, BUILD + changed(KEYS, old, new)))
    assert part in str(caught.value)
    assert len(caught.value.mistakes) == 1


def test_a_mistake_of_the_controller_hides_no_other(tmp_path: Path) -> None:
    text = changed(BUILD, "altitude_m = 300", "altitud_m = 300") + changed(KEYS, 'name = "2"', 'name = "1"')
    with pytest.raises(InputError) as caught:
        read_build(small_rig.write(tmp_path, text))
    assert len(caught.value.mistakes) == 2


@pytest.mark.parametrize("key", ["controller", "supply"])
def test_the_schema_of_build_files_describes_them(key: str) -> None:
    assert build_file_schema()["properties"][key]["description"]


@pytest.mark.parametrize(
    ("kind", "keys"),
    [
        ("radiator", ("length_mm", "thread", "thread_depth_mm", "volume_l", "max_bar")),
        ("plate", ("volume_l", "max_bar")),
        ("pump", ("volume_l", "max_bar")),
        ("resistance", ("depth_mm",)),
    ],
)
def test_the_schemas_of_sheets_describe_them(kind: str, keys: tuple[str, ...]) -> None:
    assert all(sheet_schema(kind)["properties"][key]["description"] for key in keys)
