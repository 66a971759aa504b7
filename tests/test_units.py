"""The table of units against its definitions, against NIST SP 811 and against pint where pint is right.

NIST SP 811: A. Thompson, B. N. Taylor, "Guide for the Use of the International System of Units (SI)", 2008, appendix
B.8 (factors recalled, not re-read; each also follows from the definition beside it).
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quietcool.units import UNITS, RefusedQuantity, accepted, clean, convert, shown, si_value

# name, factor to SI as NIST SP 811 appendix B.8 prints it, with 7 digits
NIST = [
    ("CFM", 4.719474e-04),
    ("in", 2.54e-02),
    ("ft", 3.048e-01),
    ("in2", 6.4516e-04),
    ("ft2", 9.290304e-02),
    ("ft3", 2.831685e-02),
    ("mmH2O", 9.80665),
    ("inH2O", 2.490889e02),
    ("mbar", 100.0),
    ("lb/ft3", 1.601846e01),
    ("ft/min", 5.08e-03),
    ("L/min", 1.6666667e-05),
]


@pytest.mark.parametrize(("unit", "factor"), NIST)
def test_factors_are_those_of_nist(unit: str, factor: float) -> None:
    assert si_value(1.0, unit) == pytest.approx(factor, rel=5e-7)


def test_conventional_inch_of_water_is_exact() -> None:
    # 1000 kg/m3 x 9.80665 m/s2 x 0.0254 m: the standard gravity and the inch are exact by definition
    assert si_value(1.0, "inH2O") == 249.08891


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("32 degF", "degC", 0.0),  # freezing and boiling of water on Fahrenheit's scale, by definition
        ("212 °F", "degC", 100.0),
        ("-40 degF", "degC", -40.0),
        ("300 K", "degC", 26.85),
        ("1 inch", "mm", 25.4),
        ("60 rpm", "rev/s", 1.0),
        ("1200 1/min", "rpm", 1200.0),
        ("20 1/in", "1/in", 20.0),
        ("1 bar", "kPa", 100.0),
        ("0.2 °C/W", "K/W", 0.2),
        ("3600 m3/h", "m3/s", 1.0),
        ("25 %", "percent", 25.0),
        ("1000 mL", "L", 1.0),
        (" 31.5  dBA ", "dB(A)", 31.5),
        ("1.5e3 mA", "A", 1.5),
    ],
)
def test_worked_conversions(text: str, unit: str, value: float) -> None:
    assert convert(text, unit)[0] == value


# Trap by trap: pint reads cfm as centi-fermi, 1/min as radians, dB(A) as decibel times ampere and degC/W with an
# offset. Those units are held to definitions above; the rest must agree.
PINT = {
    "m3/s": "m**3/s", "m3/min": "m**3/min", "m3/h": "m**3/hour", "L/s": "liter/s", "L/min": "liter/min",
    "L/h": "liter/hour", "CFM": "foot**3/minute", "Pa": "pascal", "hPa": "hectopascal", "mbar": "millibar",
    "kPa": "kilopascal", "bar": "bar", "m": "meter", "mm": "millimeter", "cm": "centimeter", "in": "inch", "ft": "foot",
    "m2": "m**2", "cm2": "cm**2", "mm2": "mm**2", "in2": "inch**2", "ft2": "foot**2", "m3": "m**3", "L": "liter",
    "mL": "milliliter", "ft3": "foot**3", "K": "kelvin", "degC": "degC", "degF": "degF", "K/W": "kelvin/watt",
    "degC/W": "delta_degC/watt", "W/K": "watt/kelvin", "W/degC": "watt/delta_degC", "W": "watt", "kW": "kilowatt",
    "mW": "milliwatt", "A": "ampere", "mA": "milliampere", "kg/m3": "kg/m**3", "g/cm3": "g/cm**3",
    "lb/ft3": "pound/foot**3", "m/s": "m/s", "cm/s": "cm/s", "ft/min": "foot/minute", "s": "second",
    "ms": "millisecond", "1/in": "1/inch", "1/cm": "1/cm", "1/m": "1/m", "W/(m K)": "watt/meter/kelvin",
    "Pa/(L/min)": "pascal/(liter/minute)", "Pa/(L/min)2": "pascal/(liter/minute)**2",
    "Pa s/m": "pascal*second/meter", "Pa s2/m2": "pascal*second**2/meter**2",
}  # fmt: skip
SI_OF = {"m3/s": "m**3/s", "kg/m3": "kg/m**3", "m2": "m**2", "m3": "m**3", "K/W": "kelvin/watt", "W/K": "watt/kelvin",
         "Pa s/m3": "pascal*second/m**3", "Pa s2/m6": "pascal*second**2/m**6", "Pa s/m": "pascal*second/m",
         "Pa s2/m2": "pascal*second**2/m**2", "W/(m K)": "watt/meter/kelvin"}  # fmt: skip


def test_table_agrees_with_pint() -> None:
    pint = pytest.importorskip("pint")
    registry = pint.UnitRegistry()
    for name, spelled in PINT.items():
        si = UNITS[name].si
        theirs = registry.Quantity(7.25, spelled).to(SI_OF.get(si, si)).magnitude
        assert si_value(7.25, name) == pytest.approx(theirs, rel=1e-12), name


def test_water_columns_agree_with_pint_to_its_density_of_water() -> None:
    # pint's water column is the conventional 1000 kg/m3 as here; the inch of water differs where a temperature is meant
    pint = pytest.importorskip("pint")
    registry = pint.UnitRegistry()
    for name in ("mmH2O", "inH2O"):
        theirs = registry.Quantity(1.0, name).to("pascal").magnitude
        assert si_value(1.0, name) == pytest.approx(theirs, rel=1e-3)


@given(st.sampled_from(sorted(UNITS)), st.floats(-1e6, 1e6))
def test_round_trip_through_si(name: str, number: float) -> None:
    unit = UNITS[name]
    back = si_value(number, name) / float(unit.factor) - float(unit.offset)

    assert back == pytest.approx(number, rel=1e-12, abs=1e-9)


@given(st.sampled_from(sorted(UNITS)), st.sampled_from(sorted(UNITS)), st.floats(-1e6, 1e6))
def test_text_and_number_agree(name: str, other: str, number: float) -> None:
    if name == "1" or UNITS[name].dimension != UNITS[other].dimension:
        return
    value, printed = convert(f"{number!r} {name}", other)

    assert si_value(value, other) == pytest.approx(si_value(number, name), rel=1e-12, abs=1e-9)
    assert printed == f"{number!r} {name}"


@pytest.mark.parametrize(
    ("text", "unit", "advice"),
    [
        ("12", "m3/h", "add the unit"),
        ("1,200 rpm", "rpm", "thousands mark"),
        ("1 200 rpm", "rpm", "thousands mark"),
        ("1.200,5 Pa", "Pa", "thousands mark"),
        ("12 34 Pa", "Pa", "number and a unit"),
        ("32 dB", "dB(A)", "A-weighted"),
        ("32 dB(C)", "dB(A)", "weightings"),
        ("4.2 B", "dB(A)", "1 B = 10 dB"),
        ("4.2 bel", "dB(A)", "power_level_dba"),
        ("0.6 sone", "dB(A)", "no exact conversion"),
        ("< 25 dBA", "dB(A)", "a bound is not a value"),
        ("≤25 dBA", "dB(A)", "a bound is not a value"),
        ("up to 25 dBA", "dB(A)", "a bound is not a value"),
        ("2 gpm", "L/min", "gallon"),
        ("25 Hz", "rpm", "rpm"),
        ("157 rad/s", "rpm", "9.549"),
        ("23 C", "degC", "write degC"),
        ("400 mm", "Pa", "a unit of length"),
        ("3 bogus", "W", "no accepted unit"),
        ("nan W", "W", "number and a unit"),
        ("inf W", "W", "number and a unit"),
        ("1e999 W", "W", "finite"),
        ("1e308 kPa", "Pa", "finite"),
        ("", "W", "number and a unit"),
        ("5", "1", "without quotes"),
        ("1 " + "W" * 100, "W", "number and a unit"),
        ("٣ W", "W", "number and a unit"),  # digits of another script
    ],
)
def test_refusals_say_what_to_do(text: str, unit: str, advice: str) -> None:
    with pytest.raises(RefusedQuantity) as refused:
        convert(text, unit)

    assert advice in refused.value.advice
    assert clean(text)[:8].strip() in refused.value.found


@pytest.mark.parametrize("wrong", [True, None, [1.0], math.nan, math.inf, -math.inf, 10**400])
def test_what_is_no_finite_number_is_refused(wrong: object) -> None:
    with pytest.raises(RefusedQuantity):
        convert(wrong, "W")


def test_tiny_and_huge_exponents_cost_nothing() -> None:
    assert convert("1e-999999999 W", "W")[0] == 0.0
    with pytest.raises(RefusedQuantity):
        convert("1e999999999 W", "W")


def test_messages_are_one_short_line() -> None:
    for value in ("a\nb\x1b[2J", "x" * 1000, 10**5000, [1] * 9, {"a": 1}):
        assert len(shown(value)) < 80
        assert shown(value).isprintable()


def test_units_of_one_dimension_are_listed() -> None:
    assert accepted("degF") == "K, degC or degF"
