"""Tables for people: they fit a pipe of 80 columns, whatever things are called, and hold the state's numbers."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from quietcool.entry.build import Build
from quietcool.entry.buildfile import check_build, read_build
from quietcool.entry.demos import demo_names, demo_path
from quietcool.show import tables
from quietcool.show.console import rendered
from quietcool.solve.operating_point import solve_operating_point
from tests.show.invented_answers import answer, infeasible, setting

DEMO = read_build(demo_path("booth_wall"))
RPM = (1100.0, 1100.0, 1100.0, 3600.0)


def lines_of(build: Build, speeds: tuple[float, ...] = RPM) -> list[str]:
    points = {s.name: solve_operating_point(build, s, np.array(speeds) / 60.0) for s in build.states}
    return rendered(tables.solve_tables(build, points)).splitlines()


def row(lines: list[str], start: str) -> list[str]:
    return next(line for line in lines if line.startswith(start)).removeprefix(start).split()


@pytest.mark.parametrize("name", demo_names())
def test_every_table_fits_80_columns(name: str) -> None:
    build = read_build(demo_path(name))
    speeds = tuple(60.0 * (speeds.present or 0.0) for speeds in build.speed_ranges)
    lines = lines_of(build, speeds)
    assert max(len(line) for line in lines) <= 80
    assert not any("\u2026" in line for line in lines)


def test_names_of_full_length_are_not_cut() -> None:
    long = "x" * 63
    path = dataclasses.replace(DEMO.air_paths[3], name=long + "P")
    position = dataclasses.replace(DEMO.positions[0], name=long + "Q")
    build = dataclasses.replace(
        DEMO, air_paths=(*DEMO.air_paths[:3], path), positions=(position, DEMO.positions[1]), states=DEMO.states[:1]
    )
    lines = lines_of(build)
    assert max(len(line) for line in lines) <= 80
    assert not any("\u2026" in line for line in lines)


def test_the_numbers_are_those_of_the_state() -> None:
    point = solve_operating_point(DEMO, DEMO.state("render"), np.array(RPM) / 60.0)
    lines = rendered(tables.point_tables(DEMO, DEMO.state("render"), point)).splitlines()
    assert row(lines, "side intake  ")[:2] == ["push", f"{3600.0 * point.air_flow[0]:.1f}"]
    assert row(lines, "tower") == [
        f"{point.enclosure_temp[0] - 273.15:.1f}", "45.0", f"{point.enclosure_pressure[0]:.2f}",
    ]  # fmt: skip
    assert row(lines, "gpu 1    core") == [
        f"{point.point_temp[1] - 273.15:.1f}", "75.0", f"{348.15 - point.point_temp[1]:.1f}",
    ]  # fmt: skip
    assert row(lines, "pump  ")[:1] == ["3600"]
    assert f"broken: coolant by {point.coolant_temp_max - 318.15:.1f} K" in "\n".join(lines)


def test_a_rig_without_positions_or_enclosures_has_tables_too() -> None:
    bench = [dataclasses.replace(path, source="room", target="room") for path in DEMO.air_paths]
    state = dataclasses.replace(
        DEMO.states[0], air_heat={}, limits=dataclasses.replace(DEMO.states[0].limits, enclosure_air={})
    )
    build = dataclasses.replace(
        DEMO, enclosures=(), air_paths=tuple(bench), positions=(), states=(state,),
        loop=dataclasses.replace(DEMO.loop, pump_enclosure="room"),
    )  # fmt: skip
    text = "\n".join(lines_of(build))
    assert "Coolant ring" in text
    assert "Enclosures" not in text
    assert "Positions" not in text


def test_an_unsolved_state_shows_findings_only() -> None:
    point = solve_operating_point(DEMO, DEMO.state("idle"), np.array(RPM) / 60.0)
    lost = dataclasses.replace(point, converged=np.array(False))
    text = rendered(tables.point_tables(DEMO, DEMO.state("idle"), lost))
    assert "did not converge" in text
    assert "Groups" not in text


def test_settings_stand_side_by_side() -> None:
    made = answer(
        setting(DEMO, ("idle",), (500.0, 460.0, 0.0, 1800.0)),
        setting(DEMO, ("take",), RPM, status="best_found"),
        infeasible(DEMO, "render", RPM, proven=False),
        position="desk microphone",
    )
    lines = rendered(tables.quietest_tables(DEMO, made)).splitlines()
    assert max(len(line) for line in lines) <= 80
    assert row(lines, "side, rpm") == ["500", "1100", "1100"]
    assert row(lines, "top, rpm") == ["0", "1100", "1100"]
    assert row(lines, "status") == ["proven", "best", "found", "infeasible"]
    assert row(lines, "idle    heat of cpu") == ["-", "0.17", "dB", "for", "10", "W", "less"]
    assert row(lines, "idle    coolant flow") == ["0.02", "L/min", "-"]


def test_a_heat_worth_nothing_is_not_printed() -> None:
    shown = setting(DEMO, ("idle",), RPM)
    worthless = tuple(
        b._replace(worth_db_per_10_w=0.001) if b.worth_db_per_10_w is not None else b for b in shown.binding
    )
    made = answer(dataclasses.replace(shown, binding=worthless), position="desk microphone")
    assert "heat of" not in rendered(tables.quietest_tables(DEMO, made))


def test_a_finding_of_every_state_is_said_once() -> None:
    slow = np.array((500.0, 1100.0, 1100.0, 3600.0)) / 60.0
    points = {s.name: solve_operating_point(DEMO, s, slow) for s in DEMO.states}
    (finding,) = [f for f in tables.common_findings(DEMO, points) if "extrapolated" in f]
    assert "(in " not in finding
    mixed = points | {"take": solve_operating_point(DEMO, DEMO.state("take"), np.array(RPM) / 60.0)}
    (finding,) = [f for f in tables.common_findings(DEMO, mixed) if "extrapolated" in f]
    assert finding.endswith("(in idle, transcode, render, render capped)")


def test_a_check_tells_where_numbers_come_from() -> None:
    text = rendered(tables.check_tables(DEMO, check_build(DEMO)))
    assert "invented" in text
    assert "Findings" in text
