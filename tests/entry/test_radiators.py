"""Radiator sheets by numbers, by measured points and by the shape of the core."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from quietcool.entry.build import Build, Radiator
from quietcool.entry.buildfile import check_build, read_build
from quietcool.errors import InputError
from tests.entry import small_rig
from tests.entry.small_rig import CORE_ONE, changed

HEAT = CORE_ONE[CORE_ONE.index("[heat]") : CORE_ONE.index("[coolant]")]
AIR = CORE_ONE[CORE_ONE.index("[air]") : CORE_ONE.index("[heat]")]
TOP = CORE_ONE[: CORE_ONE.index("[air]")]
COOLANT = CORE_ONE[CORE_ONE.index("[coolant]") :]
GEOMETRY = '[geometry]\nfins_per_inch = 16\norigin = "datasheet"\n\n'


def read(folder: Path, core: str) -> tuple[Build, Radiator]:
    build = read_build(small_rig.write(folder, core_one=core))
    core_of_path = build.air_paths[0].core
    assert core_of_path is not None
    return build, core_of_path.radiator


def cross_flow(ntu: float, ratio: float) -> float:
    """Effectiveness, both streams unmixed: series of J. L. Mason, "Heat transfer in crossflow", 1955."""

    def below(k: int, x: float) -> float:
        return 1.0 - math.exp(-x) * math.fsum(x**m / math.factorial(m) for m in range(k + 1))

    return math.fsum(below(k, ntu) * below(k, ratio * ntu) for k in range(60)) / (ratio * ntu)


def heat_per_kelvin(velocity: float, litres: float, ua_air: float, m: float, ua_coolant: float, n: float) -> float:
    """Heat per kelvin of the small rig's radiator, water at 30 degC: 995.65 kg/m3, 4180 J/(kg K) (CRC Handbook)."""
    air = 1.2 * 0.36 * 0.115 * velocity * 1006.0
    coolant = 995.65 * 4180.0 * litres / 60e3
    ua = 1.0 / (1.0 / (ua_air * velocity**m) + 1.0 / (ua_coolant * (litres / 4.0) ** n))
    low, high = min(air, coolant), max(air, coolant)
    return cross_flow(ua / low, low / high) * low


def test_numbers_stand_as_they_are(tmp_path: Path) -> None:
    _, radiator = read(tmp_path, CORE_ONE)

    assert (radiator.ua_air, radiator.ua_air_velocity, radiator.ua_air_exponent) == (60.0, 1.0, 0.45)
    assert (radiator.ua_coolant, radiator.ua_coolant_exponent) == (400.0, 0.3)
    assert radiator.ua_coolant_flow == pytest.approx(4 / 60e3, rel=1e-15)
    assert (radiator.a, radiator.b) == (8.0, 2.5)
    assert radiator.face_area == pytest.approx(0.36 * 0.115)


def test_measured_points_give_their_heat_back(tmp_path: Path) -> None:
    cases = [(v, q) for v in (0.4, 0.8, 1.5, 2.5) for q in (1.5, 3.0, 6.0)]
    rows = [(v, q, heat_per_kelvin(v, q, 60.0, 0.45, 400.0, 0.3)) for v, q in cases]
    points = ",\n".join(
        f"{{ face_velocity_m_per_s = {v}, flow_l_per_min = {q}, w_per_k = {g:.9f} }}" for v, q, g in rows
    )
    heat = f'[heat]\npoints = [{points}]\norigin = "measured"\n'
    _, fitted = read(tmp_path, TOP + AIR + heat + COOLANT)

    for v, q, g in rows:
        again = heat_per_kelvin(
            v, q,
            fitted.ua_air * fitted.ua_air_velocity ** -fitted.ua_air_exponent, fitted.ua_air_exponent,
            fitted.ua_coolant * (4 / 60e3 / fitted.ua_coolant_flow) ** fitted.ua_coolant_exponent,
            fitted.ua_coolant_exponent,
        )  # fmt: skip
        assert again == pytest.approx(g, rel=1e-3)
    assert fitted.ua_air_exponent == pytest.approx(0.45, abs=0.02)


def test_points_above_what_the_streams_carry_are_refused(tmp_path: Path) -> None:
    # air of 1 m/s through the face carries 1.2 * 0.36 * 0.115 * 1006 = 49.98 W/K at most
    heat = '[heat]\npoints = [{ face_velocity_m_per_s = 1, flow_l_per_min = 4, w_per_k = 60 }]\norigin = "measured"\n'
    with pytest.raises(
        InputError, match=r"heat.points\[1\].w_per_k needs less than both streams can carry, 49\.98 W/K"
    ):
        read(tmp_path, TOP + AIR + heat + COOLANT)


def test_six_numbers_and_points_do_not_mix(tmp_path: Path) -> None:
    point = "points = [{ face_velocity_m_per_s = 1, flow_l_per_min = 4, w_per_k = 30 }]\n"
    with pytest.raises(InputError, match="leave one form out"):
        read(tmp_path, changed(CORE_ONE, "[heat]\n", f"[heat]\n{point}"))


@pytest.mark.parametrize("fin_kind", ["louvered", "plain"])
def test_geometry_alone_gives_a_plausible_radiator(tmp_path: Path, fin_kind: str) -> None:
    geometry = changed(GEOMETRY, "fins", f'fin_kind = "{fin_kind}"\nfins')
    build, radiator = read(tmp_path, TOP + geometry)

    # common practice, no source: a core of this size drops 3 to 30 Pa and moves 30 to 45 W/K at 1 m/s and 4 L/min
    assert 3.0 < radiator.a + radiator.b < 30.0
    velocity, litres = radiator.ua_air_velocity, radiator.ua_coolant_flow * 60e3
    assert (velocity, litres) == (1.0, pytest.approx(4.0))
    heat = heat_per_kelvin(1.0, 4.0, radiator.ua_air, 0.0, radiator.ua_coolant, 0.0)  # type: ignore[arg-type]
    assert 30.0 < heat < 45.0
    assert radiator.passive_conductance == 0.7
    entries = {entry.place: entry for entry in build.ledger}
    assert entries["core-one: heat.ua_air_w_per_k"].origin == "estimate"
    assert entries["core-one: heat.ua_air_w_per_k"].tolerance == 0.25
    assert entries["core-one: heat.ua_air_w_per_k"].value == radiator.ua_air
    assert entries["core-one: geometry.fins_per_inch"].printed == "16 1/in"
    assert any(finding.kind == "estimate" and finding.place == "core-one" for finding in check_build(build))


def test_one_measured_point_scales_the_estimate(tmp_path: Path) -> None:
    air = '[air]\npoints_m_per_s_pa = [[1.5, 20.0]]\norigin = "measured"\n'
    heat = '[heat]\npoints = [{ face_velocity_m_per_s = 1, flow_l_per_min = 4, w_per_k = 33 }]\norigin = "measured"\n'
    build, radiator = read(tmp_path, TOP + GEOMETRY + air + heat)

    assert "air and heat" in next(str(f) for f in check_build(build) if "one measured point" in f.sentence)
    assert 1.5 * radiator.a + 1.5**2 * radiator.b == pytest.approx(20.0, rel=1e-9)
    heat_found = heat_per_kelvin(1.0, 4.0, radiator.ua_air, 0.0, radiator.ua_coolant, 0.0)  # type: ignore[arg-type]
    assert heat_found == pytest.approx(33.0, rel=1e-3)


def test_printed_blocks_win_over_the_geometry(tmp_path: Path) -> None:
    build, radiator = read(tmp_path, TOP + GEOMETRY + AIR + HEAT + COOLANT)
    assert not any(finding.place == "core-one" for finding in check_build(build))
    assert (radiator.a, radiator.ua_air) == (8.0, 60.0)


@pytest.mark.parametrize(
    ("core", "words"),
    [
        (TOP, ["air needs a block [air]", "heat needs a block [heat]", "coolant needs a block [coolant]"]),
        (TOP.replace("depth_mm = 45\n", "") + GEOMETRY, ["depth_mm at the top"]),
        (TOP + GEOMETRY.replace("fins_per_inch = 16", "passes = 2"), ["exactly one of fins_per_inch, fin_pitch_mm"]),
        (TOP + GEOMETRY.replace("16", "60\nfin_thickness_mm = 0.9"), ["a core that air and coolant can pass"]),
        (TOP + GEOMETRY.replace("16", "16\npasses = 8\ntube_count = 4"), ["a core that air and coolant can pass"]),
        (TOP + GEOMETRY.replace("16", "16\ntube_wall_mm = 1.5"), ["a core that air and coolant can pass"]),
    ],
)
def test_geometries_that_cannot_be(tmp_path: Path, core: str, words: list[str]) -> None:
    with pytest.raises(InputError) as raised:
        read(tmp_path, core)

    for word in words:
        assert word in str(raised.value)


def test_a_pitch_is_the_inverse_of_fins_per_inch(tmp_path: Path) -> None:
    """16 fins per inch of 25.4 mm (by definition) are 1.5875 mm apart."""
    _, by_pitch = read(tmp_path / "pitch", TOP + GEOMETRY.replace("fins_per_inch = 16", "fin_pitch_mm = 1.5875"))
    _, by_count = read(tmp_path / "count", TOP + GEOMETRY)
    assert by_pitch.a == pytest.approx(by_count.a, rel=1e-12)
    assert by_pitch.ua_air == pytest.approx(by_count.ua_air, rel=1e-12)
    _, wider = read(tmp_path / "wider", TOP + GEOMETRY.replace("fins_per_inch = 16", "fin_pitch_mm = 2.5"))
    assert wider.ua_air < by_pitch.ua_air


def test_a_measured_point_far_from_the_geometry_is_refused(tmp_path: Path) -> None:
    # Air of 1 m/s through the face carries 49.98 W/K at most: 0.5 W/K is below a tenth of any such core, yet possible.
    heat = '[heat]\npoints = [{ face_velocity_m_per_s = 1, flow_l_per_min = 4, w_per_k = 0.5 }]\norigin = "measured"\n'
    with pytest.raises(InputError) as caught:
        read(tmp_path, TOP + GEOMETRY + heat)
    (only,) = caught.value.mistakes
    assert only.place == "heat.points[1].w_per_k"
    assert only.required == "a heat within a tenth to ten times what the geometry gives"
    assert "0.5" in only.found
    assert "against the geometry" in only.advice
