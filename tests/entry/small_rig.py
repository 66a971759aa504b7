"""A small build with its sheets, invented, that tests write to a folder and spoil."""

from __future__ import annotations

from pathlib import Path

BUILD = """\
format = 1
title = "Small rig"
parts = ["parts"]

[room]
temp_c = 21.5
altitude_m = 300
volume_m3 = 27
mean_absorption = 0.3

[[enclosure]]
name = "case"

[[fan_group]]
name = "front"
fan = "fan-one"
min_rpm = 600
max_rpm = 1800
step_rpm = 50
avoid_rpm = [[900, 960]]
may_stop = true
rpm = 1000

[[fan_group]]
name = "top"
fan = "fan-two"
min_rpm = 500
max_rpm = 1500

[[air_path]]
name = "front intake"
from = "room"
to = "case"
stack = [
  { resistance = "mesh", area_cm2 = 400 },
  { fans = "front", count = 3, gap_mm = 5 },
  { radiator = "core-one", dust = 1.5 },
]

[[air_path]]
name = "top exhaust"
from = "case"
to = "room"
stack = [{ radiator = "core-one" }, { fans = "top", count = 2 }]

[[air_path]]
name = "slots"
from = "case"
to = "room"
stack = [{ opening_cm2 = 80, loss_coefficient = 2.5 }]

[[source]]
name = "cpu"
plate = "plate-one"
points = [{ name = "core", resistance_k_per_w = 0.1, limit_c = 80 }]

[[source]]
name = "gpu"
plate = "plate-one"
points = [
  { name = "core", resistance_k_per_w = 0.03, limit_c = "176 degF" },
  { name = "rim", resistance_k_per_w = 0.05, share = 0.5 },
]

[loop]
coolant = { kind = "ethylene_glycol", mass_percent = 20 }
volume_l = 1.5
pump = "pump-one"
pump_min_rpm = 1500
pump_max_rpm = 4000
order = ["pump", { parallel = [["cpu"], ["gpu"]] }, "front intake", "top exhaust"]
tube = { bore_mm = 10, length_m = 2.5, fittings = { "90" = 4, "45" = 2 } }

[[position]]
name = "desk"
distance_m = 1.5
limit_dba = 30

[[position]]
name = "booth"
distance_m = 3
field = "distance"
partition_db = [16, 19, 23, 27, 31, 34, 36, 37]

[[state]]
name = "edit"
heat_w = { cpu = 80, gpu = 150, air = 40 }
limits = { coolant_c = 42, enclosure_air_c = 45, position_dba = { desk = 25 } }

[[state]]
name = "render"
heat_w = { cpu = 120, gpu = "0.4 kW", air = { case = 60 } }
limits = { enclosure_air_c = { case = 48 } }
room_temp_c = 26
"""

FAN_ONE = """\
format = 1
kind = "fan"
name = "fan-one"
size_mm = 120
depth_mm = 25
blades = 9

[curve]
speed_rpm = 1800
points_m3_per_h_pa = [[0, 30.0], [30, 26.0], [60, 18.0], [90, 8.0], [110, 0.0]]
origin = "invented"
tolerance_percent = 8

[sound]
speed_rpm = 1800
level_dba = 31.0
distance_m = 0.5
mounting = "plane"
floor_power_dba = 14.0
origin = "measured"

[electric]
power_w = 1.8
speed_rpm = 1800
origin = "datasheet"
"""

FAN_TWO = """\
format = 1
kind = "fan"
name = "fan-two"
size_mm = 120

[curve]
speed_rpm = 1500
max_flow_cfm = 50
max_pressure_mmh2o = 2.0
origin = "estimate"

[sound]
speed_rpm = 1500
power_level_dba = 33
origin = "estimate"
tolerance_db = 6
"""

CORE_ONE = """\
format = 1
kind = "radiator"
name = "core-one"
face_length_mm = 360
face_height_mm = 115
fan_sections = 3
depth_mm = 45

[air]
a_pa_s_per_m = 8.0
b_pa_s2_per_m2 = 2.5
origin = "invented"

[heat]
ua_air_w_per_k = 60
face_velocity_m_per_s = 1.0
air_exponent = 0.45
ua_coolant_w_per_k = 400
flow_l_per_min = 4.0
coolant_exponent = 0.3
origin = "invented"

[coolant]
a_pa_per_l_per_min = 150
b_pa_per_l_per_min_2 = 60
origin = "invented"
"""

PLATE_ONE = """\
format = 1
kind = "plate"
name = "plate-one"

[resistance]
r0_k_per_w = 0.02
c_k_per_w = 0.03
n = 0.6
origin = "invented"

[coolant]
a_pa_per_l_per_min = 400
b_pa_per_l_per_min_2 = 250
origin = "invented"
"""

PUMP_ONE = """\
format = 1
kind = "pump"
name = "pump-one"

[curve]
speed_rpm = 4000
points_l_per_min_kpa = [[0, 40.0], [6, 32.0], [12, 15.0], [15, 0.0]]
origin = "invented"

[electric]
power_w = 12
speed_rpm = 4000
origin = "invented"

[sound]
speed_rpm = 4000
level_dba = 30
distance_m = 1
origin = "invented"
"""

MESH = """\
format = 1
kind = "resistance"
name = "mesh"
style = "filter"

[air]
points_m_per_s_pa = [[0.5, 1.625], [1.0, 3.5], [2.0, 8.0]]
origin = "measured"
"""

SHEETS = {
    "fan-one": FAN_ONE,
    "fan-two": FAN_TWO,
    "core-one": CORE_ONE,
    "plate-one": PLATE_ONE,
    "pump-one": PUMP_ONE,
    "mesh": MESH,
}


def write(folder: Path, build: str = BUILD, **changed: str) -> Path:
    """Write the build and its sheets; a sheet changed goes by its name with _ for -. Return the build file."""
    sheets = {**SHEETS, **{name.replace("_", "-"): text for name, text in changed.items()}}
    (folder / "parts").mkdir(parents=True, exist_ok=True)
    for name, text in sheets.items():
        (folder / "parts" / f"{name}.toml").write_text(text, encoding="utf-8")
    file = folder / "build.toml"
    file.write_text(build, encoding="utf-8")
    return file


def changed(text: str, old: str, new: str) -> str:
    """Replace a part that must be there."""
    assert text.count(old) >= 1, old
    return text.replace(old, new, 1)


def place(text: str, part: str) -> tuple[int, int]:
    """Line and column, both from 1, where a part of a text begins."""
    at = text.index(part)
    return text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)
