"""Numbers of a file as pydantic fields: a unit, a plausible range, and what was printed."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Any, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from quietcool.units import UNITS, RefusedQuantity, clean, convert, shown, si_value

#: Kind of error that carries its own sentence: `required`, `found` and `advice` stand in its context.
REFUSED = "refused"

NAME = re.compile(r"[A-Za-z0-9 _-]{1,64}\Z")
LONGEST_NOTE = 4000  # characters
LONGEST_LIST = 200  # of things of one kind: far above any rig, and it keeps the work of a hostile file small

Spread: TypeAlias = Literal["relative", "dB", ""]


@dataclass(frozen=True)
class Quantity:
    """A number of a file: converted, and as it was printed."""

    value: float  # [SI unit `si`]
    printed: str  # number and unit as written
    si: str  # unit of `value`
    number: float  # in the unit that the key names
    spread: Spread = ""  # which tolerance of its block applies


def refuse(required: str, found: str, advice: str) -> PydanticCustomError:
    """Return the error that carries its own sentence."""
    return PydanticCustomError(REFUSED, "refused", {"required": required, "found": found, "advice": advice})


@dataclass(frozen=True)
class Measure:
    """Marks a field as a number of `unit` within [low, high], and says which tolerance of its block it takes."""

    unit: str
    low: float
    high: float
    spread: Spread = ""

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        """Read numbers and texts by `read`, nothing else."""
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: Any) -> dict[str, Any]:
        """A number, or a text with a unit where the unit has siblings."""
        number = {"type": "number", "minimum": self.low, "maximum": self.high}
        if self.unit == "1":
            return number
        return {"anyOf": [number, {"type": "string", "maxLength": 64}], "x-unit": self.unit}

    @property
    def range(self) -> str:
        """The range in words."""
        return f"from {self.low:.15g} to {self.high:.15g}" + ("" if self.unit == "1" else f" {self.unit}")

    def read(self, entered: Any) -> Quantity:
        """Return the entered number in SI; refuse what is no number, has no fitting unit or is absurd."""
        try:
            number, printed = convert(entered, self.unit)
        except RefusedQuantity as refused:
            raise refuse(f"{refused.required}, {self.range}", refused.found, refused.advice) from None
        if not self.low <= number <= self.high:
            advice = "check the number and its unit"
            raise refuse(f"a number {self.range}", clean(printed), advice)
        return Quantity(si_value(number, self.unit), printed, UNITS[self.unit].si, number, self.spread)


@dataclass(frozen=True)
class Pair:
    """Marks a field as two numbers in brackets."""

    first: Measure
    second: Measure

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        """Read lists of two numbers by `read`, nothing else."""
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: Any) -> dict[str, Any]:
        """A list of the two numbers."""
        items = [m.__get_pydantic_json_schema__(schema, handler) for m in (self.first, self.second)]
        return {"type": "array", "prefixItems": items, "minItems": 2, "maxItems": 2}

    def read(self, entered: Any) -> tuple[Quantity, Quantity]:
        """Return the two numbers in SI."""
        if not isinstance(entered, list) or len(entered) != 2:
            required = f"a pair of {self.first.unit} and {self.second.unit} in brackets"
            raise refuse(required, "", "write [first, second]")
        return self.first.read(entered[0]), self.second.read(entered[1])


@dataclass(frozen=True)
class Count:
    """Marks a field as a whole number within [low, high]."""

    low: int
    high: int

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        """Read whole numbers by `read`, nothing else."""
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: Any) -> dict[str, Any]:
        """A whole number."""
        return {"type": "integer", "minimum": self.low, "maximum": self.high}

    def read(self, entered: Any) -> int:
        """Return the entered whole number."""
        if isinstance(entered, int) and not isinstance(entered, bool) and self.low <= entered <= self.high:
            return entered
        required = f"a whole number from {self.low} to {self.high}"
        raise refuse(required, shown(entered), "write a count, without a decimal point and without quotes")


class _NameRule:
    """Marks a field as a name."""

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: Any) -> dict[str, Any]:
        return {"type": "string", "pattern": "^[A-Za-z0-9 _-]{1,64}$"}

    def read(self, entered: Any) -> str:
        if isinstance(entered, str) and NAME.match(entered):
            return entered
        required = "a name of 1 to 64 letters A-Z a-z, digits, spaces, _ or -"
        raise refuse(required, shown(entered), "write such a name in quotes")


class _FormatRule:
    """Marks the field that says which form of the file this is."""

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: Any) -> dict[str, Any]:
        return {"const": 1}

    def read(self, entered: Any) -> int:
        if type(entered) is int and entered == 1:
            return entered
        raise refuse("the format 1", shown(entered), "write format = 1; later formats need a later quietcool")


Name: TypeAlias = Annotated[str, _NameRule()]
Format: TypeAlias = Annotated[int, _FormatRule()]
Text: TypeAlias = Annotated[str, Field(max_length=LONGEST_NOTE)]


class Table(BaseModel):
    """A table of a file: unknown keys are refused, and a note may stand in it."""

    # Deferred: a validator is built when its first table is read, not for every kind of table at every start.
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, validate_default=True, defer_build=True)

    note: Text | None = Field(default=None, description="free text")


def exactly_one(table: Table, *keys: str, instead: str = "") -> None:
    """Refuse a table that holds none or several of these keys."""
    given = [key for key in keys if getattr(table, key) is not None]
    if len(given) != 1:
        required = f"exactly one of {', '.join(keys)}" + (f", or {instead} alone" if instead else "")
        raise refuse(required, " and ".join(given) or "none", "add one" if not given else "leave one")


def without_note(entered: Any) -> Any:
    """Return a table of things by name without its note, which may stand in every table."""
    if isinstance(entered, dict) and isinstance(entered.get("note"), str):
        return {key: value for key, value in entered.items() if key != "note"}
    return entered


def preset(value: object) -> Any:
    """Return a default as a file would say it; the field's own rule reads it."""
    return value


def form(required: str, advice: str) -> dict[str, Any]:
    """Return what a discriminator says of a value that has none of its forms."""
    context = {"required": required, "found": "", "advice": advice}
    return {"custom_error_type": REFUSED, "custom_error_message": "refused", "custom_error_context": context}
