"""The units that files may be written in: one closed table, exact factors, and words for what is refused.

A unit that is not in the table is refused with advice, never guessed. Factors are fractions built from
definitions (inch, foot, pound, standard gravity), so that a conversion rounds once.

References
----------
.. [1] A. Thompson, B. N. Taylor, "Guide for the Use of the International System of Units (SI)", NIST Special
   Publication 811, 2008, appendix B: foot and inch, conventional millimetre and inch of water, degree Fahrenheit.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction

_INCH = Fraction(254, 10_000)  # [m]
_FOOT = 12 * _INCH
_POUND = Fraction(45_359_237, 100_000_000)  # [kg]
_WATER = Fraction("9806.65")  # conventional metre of water: 1000 kg/m3 times standard gravity [Pa]
_LITRE = Fraction(1, 1000)  # [m3]
_ONE = Fraction(1)

#: Longest text that is read as a number with a unit; anything longer is not one.
LONGEST_TEXT = 64


@dataclass(frozen=True)
class Unit:
    """One accepted unit: SI value = (number + offset) * factor."""

    name: str  # the spelling that messages use
    dimension: str  # "volume flow"
    si: str  # SI unit of the dimension
    factor: Fraction
    offset: Fraction = Fraction(0)


class RefusedQuantity(ValueError):
    """A number or text that is not taken: what is required, what was found and what to do."""

    def __init__(self, required: str, found: str, advice: str) -> None:
        self.required = required
        self.found = found
        self.advice = advice
        super().__init__(f"needs {required}; found {found}; {advice}")


# dimension: (SI unit, {unit: (factor, offset)})
_TABLE: dict[str, tuple[str, dict[str, Fraction | tuple[Fraction, Fraction]]]] = {
    "volume flow": (
        "m3/s",
        {
            "m3/s": _ONE,
            "m3/min": Fraction(1, 60),
            "m3/h": Fraction(1, 3600),
            "L/s": _LITRE,
            "L/min": _LITRE / 60,
            "L/h": _LITRE / 3600,
            "CFM": _FOOT**3 / 60,
        },
    ),
    "pressure": (
        "Pa",
        {
            "Pa": _ONE,
            "hPa": Fraction(100),
            "mbar": Fraction(100),
            "kPa": Fraction(1000),
            "bar": Fraction(100_000),
            "mmH2O": _WATER / 1000,
            "inH2O": _WATER * _INCH,
            "mH2O": _WATER,
        },
    ),
    "length": (
        "m",
        {"m": _ONE, "mm": Fraction(1, 1000), "cm": Fraction(1, 100), "in": _INCH, "ft": _FOOT},
    ),
    "area": (
        "m2",
        {
            "m2": _ONE,
            "cm2": Fraction(1, 10_000),
            "mm2": Fraction(1, 1_000_000),
            "in2": _INCH**2,
            "ft2": _FOOT**2,
        },
    ),
    "volume": ("m3", {"m3": _ONE, "L": _LITRE, "mL": _LITRE / 1000, "ft3": _FOOT**3}),
    "temperature": (
        "K",
        {
            "K": _ONE,
            "degC": (_ONE, Fraction("273.15")),
            "degF": (Fraction(5, 9), Fraction("459.67")),
        },
    ),
    "thermal resistance": ("K/W", {"K/W": _ONE, "degC/W": _ONE}),
    "thermal conductance": ("W/K", {"W/K": _ONE, "W/degC": _ONE}),
    "rotational speed": ("rev/s", {"rev/s": _ONE, "rpm": Fraction(1, 60)}),
    "power": ("W", {"W": _ONE, "kW": Fraction(1000), "mW": Fraction(1, 1000)}),
    "current": ("A", {"A": _ONE, "mA": Fraction(1, 1000)}),
    "voltage": ("V", {"V": _ONE}),
    "A-weighted level": ("dB(A)", {"dB(A)": _ONE}),
    "level difference": ("dB", {"dB": _ONE}),
    "density": ("kg/m3", {"kg/m3": _ONE, "g/cm3": Fraction(1000), "lb/ft3": _POUND / _FOOT**3}),
    "velocity": ("m/s", {"m/s": _ONE, "cm/s": Fraction(1, 100), "ft/min": _FOOT / 60}),
    "time": ("s", {"s": _ONE, "ms": Fraction(1, 1000)}),
    "share": ("1", {"percent": Fraction(1, 100)}),
    "fin density": ("1/m", {"1/in": 1 / _INCH, "1/cm": Fraction(100), "1/m": _ONE}),
    "linear air resistance": ("Pa s/m", {"Pa s/m": _ONE}),
    "quadratic air resistance": ("Pa s2/m2", {"Pa s2/m2": _ONE}),
    "linear coolant resistance": ("Pa s/m3", {"Pa/(L/min)": 60 / _LITRE}),
    "quadratic coolant resistance": ("Pa s2/m6", {"Pa/(L/min)2": (60 / _LITRE) ** 2}),
    "thermal conductivity": ("W/(m K)", {"W/(m K)": _ONE}),
    "angle": ("deg", {"deg": _ONE}),
    "frequency": ("Hz", {"Hz": _ONE, "kHz": Fraction(1000)}),
    "number": ("1", {"1": _ONE}),
}

_SPELLINGS = {
    "m³/s": "m3/s", "m^3/s": "m3/s", "m³/min": "m3/min", "m^3/min": "m3/min", "m³/h": "m3/h", "m^3/h": "m3/h",
    "l/s": "L/s", "l/min": "L/min", "LPM": "L/min", "lpm": "L/min", "l/h": "L/h",
    "cfm": "CFM", "ft3/min": "CFM", "ft³/min": "CFM", "ft^3/min": "CFM",
    "mmH₂O": "mmH2O", "mm H2O": "mmH2O", "mm H₂O": "mmH2O", "mmAq": "mmH2O",
    "inH₂O": "inH2O", "in H2O": "inH2O", "in H₂O": "inH2O", "m H2O": "mH2O", "m H₂O": "mH2O", "mH₂O": "mH2O",
    "inch": "in",
    "m²": "m2", "m^2": "m2", "cm²": "cm2", "cm^2": "cm2", "mm²": "mm2", "mm^2": "mm2",
    "in²": "in2", "in^2": "in2", "ft²": "ft2", "ft^2": "ft2",
    "m³": "m3", "m^3": "m3", "l": "L", "ml": "mL", "ft³": "ft3", "ft^3": "ft3",
    "°C": "degC", "℃": "degC", "°F": "degF", "℉": "degF", "°C/W": "degC/W", "W/°C": "W/degC",
    "RPM": "rpm", "1/min": "rpm", "r/min": "rpm", "rev/min": "rpm", "min-1": "rpm",
    "dBA": "dB(A)", "dB A": "dB(A)",
    "kg/m³": "kg/m3", "kg/m^3": "kg/m3", "g/cm³": "g/cm3", "lb/ft³": "lb/ft3",
    "fpm": "ft/min", "%": "percent", "FPI": "1/in", "fpi": "1/in",
}  # fmt: skip


def _units() -> dict[str, Unit]:
    units = {}
    for dimension, (si, rows) in _TABLE.items():
        for name, row in rows.items():
            factor, offset = row if isinstance(row, tuple) else (row, Fraction(0))
            units[name] = Unit(name, dimension, si, factor, offset)
    return units


#: Every accepted unit by the spelling that messages use.
UNITS: dict[str, Unit] = _units()

_BEL = "1 B = 10 dB, and a declared bel value is an upper limit of sound power: convert it and say power_level_dba"
_GALLON = "a gallon is 3.785 L or 4.546 L by country: convert it and write L/min"
_ADVICE = {
    "B": _BEL, "bel": _BEL, "bels": _BEL, "Bel": _BEL, "B(A)": _BEL, "BA": _BEL,
    "sone": "no exact conversion from sone to dB(A) exists: use a level, or an estimate with a wide tolerance",
    "sones": "no exact conversion from sone to dB(A) exists: use a level, or an estimate with a wide tolerance",
    "phon": "a phon is a loudness level, not dB(A): use a measured level, or an estimate with a wide tolerance",
    "dB": "say whether the level is A-weighted: a plain dB value cannot be compared, take the dB(A) value",
    "dB(C)": "use the A-weighted value: weightings cannot be converted without the spectrum",
    "dBC": "use the A-weighted value: weightings cannot be converted without the spectrum",
    "dB(Z)": "use the A-weighted value: weightings cannot be converted without the spectrum",
    "gpm": _GALLON, "GPM": _GALLON, "gal/min": _GALLON, "gph": _GALLON, "GPH": _GALLON,
    "C": "write degC", "F": "write degF", "deg C": "write degC", "deg F": "write degF", "° C": "write degC",
    "Hz": "write turns per minute as rpm", "1/s": "write turns per minute as rpm: 1/s may mean radians",
    "rad/s": "write turns per minute as rpm: 1 rad/s is 9.549 rpm",
}  # fmt: skip

_NUMBER = r"[-+]?(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?:[eE][-+]?[0-9]+)?"
# Atomic, so that "12" is never read as 1 with the unit "2"; a mark after the number is not a unit.
_QUANTITY = re.compile(rf"\s*((?>{_NUMBER}))\s*(?![.,']|[0-9](?!/))(\S.*?)?\s*\Z", re.DOTALL)
_BOUND = re.compile(r"\s*(?:[<>≤≥~≈±]|up to|max\b|min\b|about|ca\b|approx)", re.IGNORECASE)
_SEPARATED = re.compile(r"[0-9],[0-9]|[0-9]['’\u00a0\u202f ][0-9]{3}(?![0-9/])|[0-9]\.[0-9]+\.[0-9]")


def accepted(unit: str) -> str:
    """Return the units that may stand where `unit` stands, as a list in words.

    >>> accepted("L/min")
    'm3/s, m3/min, m3/h, L/s, L/min, L/h or CFM'
    """
    dimension = UNITS[unit].dimension
    names = [name for name, row in UNITS.items() if row.dimension == dimension]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def clean(text: str, longest: int = 60) -> str:
    """Return a text cut to a length and without control characters, which a terminal would obey.

    >>> chr(27) in clean("front" + chr(27) + "[2J")
    False
    """
    text = text if len(text) <= longest else text[:longest] + "..."
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def shown(value: object, longest: int = 60) -> str:
    """Return a value as messages show it: short, on one line, without control characters.

    >>> chr(27) in shown("front" + chr(27) + "[2J")
    False
    """
    if isinstance(value, str):
        text = value[: longest + 1].replace('"', '\\"')
        quote = '"'
    elif isinstance(value, int) and not isinstance(value, bool) and abs(value) > 10**20:
        return "an integer of more than 20 digits"
    elif isinstance(value, list | dict):
        return f"{'a list' if isinstance(value, list) else 'a table'} of {len(value)}"
    else:
        text, quote = ("true" if value else "false") if isinstance(value, bool) else str(value), ""
    return f"{quote}{clean(text, longest)}{quote}"


def si_value(number: float, unit: str) -> float:
    """Return a number of `unit` in SI, rounded once.

    SI = (number + offset) * factor

    Parameters
    ----------
    number : float
        A finite number. [unit]
    unit : str
        A name of the table `UNITS`.

    Returns
    -------
    float
        The same quantity in the SI unit of its dimension. [SI]

    Examples
    --------
    >>> si_value(73.4, "degF")
    296.15
    >>> si_value(1.0, "inH2O")
    249.08891
    """
    row = UNITS[unit]
    return float((_exact(number) + row.offset) * row.factor)


def in_unit(value: float, unit: str) -> float:
    """Return an SI number in a unit, to 12 digits, so that what was read from a file prints as it was written.

    number = SI / factor - offset

    Parameters
    ----------
    value : float
        NaN and infinity pass. [SI]
    unit : str
        A name of the table `UNITS`.

    Returns
    -------
    float
        The same quantity in that unit. [unit]

    Examples
    --------
    >>> in_unit(1100.0 / 60.0, "rpm"), in_unit(318.15, "degC")
    (1100.0, 45.0)
    """
    if not math.isfinite(value):
        return float(value)
    row = UNITS[unit]
    return float(f"{float(Fraction(float(value)) / row.factor - row.offset):.12g}")


def convert(quantity: object, unit: str) -> tuple[float, str]:
    """Return a printed quantity as a number of `unit`, and the way it was printed.

    Parameters
    ----------
    quantity : float, int or str
        A number is a number of `unit`; a text holds a number and an accepted unit.
    unit : str
        Unit that the key of the file names: a name of the table `UNITS`.

    Returns
    -------
    value : float
        Finite. [unit]
    printed : str
        Number and unit as they were written.

    Raises
    ------
    RefusedQuantity
        For anything else: no unit, another dimension, a comma, a bound, bel, sone, NaN, infinity.

    References
    ----------
    .. [1] NIST Special Publication 811, 2008, appendix B.8 (1 ft3/min = 4.719474 E-04 m3/s).

    Examples
    --------
    >>> value, printed = convert("69.5 CFM", "m3/h")
    >>> round(value, 4), printed
    (118.0813, '69.5 CFM')
    >>> convert(23.5, "degC")
    (23.5, '23.5 degC')
    """
    if isinstance(quantity, str):
        return _from_text(quantity, unit)
    if isinstance(quantity, bool) or not isinstance(quantity, int | float):
        raise RefusedQuantity(_wanted(unit), shown(quantity), "write a number without quotes")
    try:
        value = float(quantity)
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        raise RefusedQuantity(_wanted(unit), shown(quantity), "write a finite number")
    printed = getattr(quantity, "text", None) or repr(quantity)  # a float of a file remembers its digits
    return value, printed if unit == "1" else f"{printed} {unit}"


def _wanted(unit: str) -> str:
    return "a number" if unit == "1" else f"a number of {unit}"


def _from_text(text: str, unit: str) -> tuple[float, str]:
    required = "a number" if unit == "1" else f"a number in {accepted(unit)}"
    found = shown(text)
    example = "write the number without quotes" if unit == "1" else f'write a number and a unit, such as "1 {unit}"'
    if unit == "1" or len(text) > LONGEST_TEXT:
        raise RefusedQuantity(required, found, example)
    if _BOUND.match(text):
        raise RefusedQuantity(
            required, found, "a bound is not a value: write the number and call its origin an estimate"
        )
    if _SEPARATED.search(text):
        raise RefusedQuantity(required, found, "write no thousands mark, and a point as decimal mark")
    match = _QUANTITY.match(text)
    if not match:
        raise RefusedQuantity(required, found, example)
    if match[2] is None:
        raise RefusedQuantity(required, found, f"add the unit, or leave out the quotes to mean {unit}")
    row = _known(match[2], unit, required, found)
    wanted = UNITS[unit]
    try:
        value = float((_exact(match[1]) + row.offset) * row.factor / wanted.factor - wanted.offset)
    except (OverflowError, ValueError):
        raise RefusedQuantity(required, found, "write a finite number") from None
    return value, text.strip()


def _exact(number: float | str) -> Fraction:
    """Return the decimal number that was written, not its nearest binary neighbour.

    The detour over float keeps "1e-999999999" from becoming a fraction of a billion digits.
    """
    value = float(number)
    if value == 0.0:
        return Fraction(0)
    return Fraction(number) if isinstance(number, str) and math.isfinite(value) else Fraction(repr(value))


def _known(printed: str, unit: str, required: str, found: str) -> Unit:
    """Return the unit that was printed, or refuse it with the advice that fits."""
    name = " ".join(printed.split())
    row = UNITS.get(_SPELLINGS.get(name, name))
    wanted = UNITS[unit]
    if row is not None and row.dimension == wanted.dimension:
        return row
    if name in _ADVICE and (row is None or wanted.dimension in ("A-weighted level", "rotational speed")):
        raise RefusedQuantity(required, found, _ADVICE[name])
    if row is not None:
        raise RefusedQuantity(
            required,
            found,
            f"{row.name} is a unit of {row.dimension}, a unit of {wanted.dimension} is wanted: use {accepted(unit)}",
        )
    raise RefusedQuantity(required, found, f"{shown(name, 20)} is no accepted unit: use {accepted(unit)}")
