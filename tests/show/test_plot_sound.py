"""Who is loudest, and by how much, counted by hand in energies; the spectrum against the curve that is asked for."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from quietcool.physics.criteria import nc_curve
from quietcool.show.plot_sound import loudest, spectrum
from quietcool.solve.operating_point import solve_operating_point
from tests.show.solved_rigs import check_picture, solved


def test_removing_the_loudest_gains_what_energies_say() -> None:
    """Incoherent sources add as energies: without one, 10 lg(sum of all / sum of the others) is gained."""
    build, state, point = solved()
    energy = {n: 10 ** (float(v) / 10) for n, v in zip(build.group_names, point.contributions[:, 0], strict=True)}
    best = max(energy, key=lambda name: energy[name])
    gain = 10 * math.log10(sum(energy.values()) / (sum(energy.values()) - energy[best]))
    picture = loudest(build, state, point)
    check_picture(picture)
    assert picture.title.startswith(f"{best} is the loudest at the desk microphone")
    assert f"{gain:.1f} dB quieter" in picture.title
    assert float(picture.rows[0][4]) == pytest.approx(gain, abs=0.051)


def test_a_silent_group_has_no_point() -> None:
    build, state, point = solved()
    speeds = point.speeds.copy()
    speeds[2] = 0.0
    picture = loudest(build, state, solve_operating_point(build, state, speeds))
    assert all("top" not in axis["ticktext"] for key, axis in picture.figure["layout"].items() if "yaxis" in key)


def test_the_curve_is_the_criterion_that_is_asked_for() -> None:
    build, state, point = solved()
    asked = replace(build, positions=(replace(build.positions[0], limit_nc=25.0), *build.positions[1:]))
    point = solve_operating_point(asked, state, point.speeds)
    picture = spectrum(asked, state, point, "desk microphone")
    check_picture(picture)
    drawn = next(trace for trace in picture.figure["data"] if trace["name"] == "NC 25")
    # ANSI/ASA S12.2-2019, NC-25: 44 dB at 125 Hz, 27 dB at 1 kHz (values recalled, not re-read).
    assert drawn["y"] == pytest.approx(np.asarray(nc_curve(25.0)).tolist(), rel=1e-4)
    assert (round(drawn["y"][2]), round(drawn["y"][5])) == (44, 27)
    assert "NC 25" in picture.title


def test_tones_stand_where_blades_pass() -> None:
    """Blade pass frequency is blades times revolutions a second: 7 blades at 1100 rpm are 128.3 Hz."""
    build, state, point = solved()
    picture = spectrum(build, state, point, "desk microphone")
    assert any(row[0].startswith("side blade pass, 128 Hz") for row in picture.rows)
    tones = next(trace for trace in picture.figure["data"] if trace["name"] == "tone")
    places = dict(zip(tones["text"], tones["x"], strict=True))
    assert places["side blade pass"] == pytest.approx(math.log2(7 * 1100 / 60 / 31.25), rel=1e-3)
