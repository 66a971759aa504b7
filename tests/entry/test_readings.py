"""Readings that are typed are checked like files: every mistake at once, each with a way out."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.entry.readings import (
    GAUGE,
    MINUTES,
    TEMP,
    AirReading,
    both_readings,
    chosen_air,
    chosen_measured,
    chosen_number,
    chosen_point_temps,
    chosen_watts,
)
from quietcool.errors import InputError

DEMO = read_build(demo_path("booth_wall"))


def test_a_reading_in_the_units_of_the_trade() -> None:
    """1 bar = 100 000 Pa, 1 hPa = 100 Pa = 1 mbar, 0 degC = 273.15 K, by definition."""
    assert chosen_air("--leak-start", "0.5 bar, 22 degC, 1013.25 hPa") == AirReading(50_000.0, 295.15, 101_325.0)
    assert chosen_air("--leak-start", "500 mbar,71.6 degF") == AirReading(50_000.0, pytest.approx(295.15), None)
    assert chosen_air("--leak-start", "0.5, 22") == AirReading(50_000.0, 295.15, None)


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("0.5 bar", ["pressure, temperature"]),
        ("", ["pressure, temperature"]),
        ("1, 2, 3, 4", ["pressure, temperature"]),
        ("0,5 bar, 22 degC", ["bar"]),
        ("-0.5 bar, 22 degC", ["0.001 to 20 bar"]),
        ("nan bar, 22 degC", ["bar"]),
        ("0.5 bar, hot", ["degC"]),
        ("0.5 bar, 22 degC, 1013 bar", ["300 to 1100 hPa"]),
        ("0.5 bar, 22 degC, 101 kPa to 102", ["hPa"]),
        ("x, y", ["bar", "degC"]),
    ],
)
def test_what_is_no_reading(text: str, parts: list[str]) -> None:
    with pytest.raises(InputError) as caught:
        chosen_air("--leak-start", text)
    for part in parts:
        assert part in str(caught.value)


@given(st.text(max_size=40))
def test_no_text_breaks_the_reader(text: str) -> None:
    for read in (lambda: chosen_air("--x", text), lambda: chosen_number("--x", text, MINUTES)):
        try:
            read()
        except InputError as error:
            told = str(error)
        else:
            told = ""
        assert not {letter for letter in told if not letter.isprintable()} - {"\n"}


def test_numbers_with_and_without_a_unit() -> None:
    assert chosen_number("--room", "23", TEMP) == pytest.approx(296.15)
    assert chosen_number("--room", "73.4 degF", TEMP) == pytest.approx(296.15)
    assert chosen_number("--x", "30", MINUTES) == 30.0
    for text, span in (("1e9", TEMP), ("inf", MINUTES), ("-1", MINUTES), ("12 min", MINUTES), ("", GAUGE)):
        with pytest.raises(InputError):
            chosen_number("--x", text, span)


def test_points_go_by_source_and_point_and_a_source_stands_for_its_first() -> None:
    found = chosen_point_temps(DEMO, ["gpu 1 hottest spot = 88", "cpu=71 degC"])
    assert found == {("gpu 1", "hottest spot"): pytest.approx(361.15), ("cpu", "core"): pytest.approx(344.15)}
    assert chosen_point_temps(DEMO, None) == {}


@pytest.mark.parametrize(
    ("entries", "part"),
    [
        (["cpu"], 'write for example "cpu=50"'),
        (["cpuu core=3"], 'did you mean "cpu core"'),
        (["cpu=500"], "-20 to 150 degC"),
        (["cpu=71", "cpu core=72"], "a second one"),
        (["=3"], "a source with a sensing point"),
    ],
)
def test_wrong_points(entries: list[str], part: str) -> None:
    with pytest.raises(InputError, match=part):
        chosen_point_temps(DEMO, entries)


def test_watts() -> None:
    assert chosen_watts(DEMO, ["gpu 1=0.4 kW", "cpu=120"]) == {"gpu 1": 400.0, "cpu": 120.0}
    with pytest.raises(InputError, match='did you mean "gpu'):
        chosen_watts(DEMO, ["gpu=3"])


def test_one_reading_alone_is_refused() -> None:
    both_readings("a", "b")
    for pair in (("a", None), (None, "b")):
        with pytest.raises(InputError, match="both readings"):
            both_readings(*pair)


def test_a_measurement_is_whole_or_tells_everything_that_is_wrong() -> None:
    state, coolant, room, points, watts, error = chosen_measured(
        DEMO, "render", ("40", "23", "0.5"), ["cpu=71"], ["cpu=140"]
    )
    assert (state.name, coolant, room) == ("render", pytest.approx(313.15), pytest.approx(296.15))
    assert (len(points), watts, error) == (1, {"cpu": 140.0}, 0.5)
    assert chosen_measured(DEMO, None, ("40", "23", "0.5"), None, None)[0].name == "idle"
    with pytest.raises(InputError) as caught:
        chosen_measured(DEMO, "rendr", ("", "hot", "0"), ["x=1"], ["y=1"])
    assert len(caught.value.mistakes) == 6
