"""The keys of the elements of a stack."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, TypeAlias

from pydantic import Discriminator, Field, Tag

from quietcool.entry.measures import Count, Measure, Quantity, Table, Text, form, preset

Dust: TypeAlias = Annotated[Quantity, Measure("1", 0.2, 50)]
Area: TypeAlias = Annotated[Quantity, Measure("cm2", 0.1, 1e5)]


class FansElement(Table):
    """A row of fans in a stack."""

    tag: ClassVar[str] = "fan row"
    fans: Text = Field(description="name of the fan group")
    count: Annotated[int, Count(1, 100)] = Field(description="fans side by side")
    gap_mm: Annotated[Quantity, Measure("mm", 0, 500)] = Field(
        default=preset(0), description="to the neighbouring core"
    )


class RadiatorElement(Table):
    """A radiator in a stack."""

    tag: ClassVar[str] = "a core"
    radiator: Text = Field(description="name of the radiator's sheet")
    dust: Dust = Field(default=preset(1), description="multiplies the viscous resistance")


class ResistanceElement(Table):
    """A filter, grille or guard in a stack."""

    tag: ClassVar[str] = "a screen"
    resistance: Text = Field(description="name of the sheet")
    area_cm2: Area = Field(description="its area")
    dust: Dust = Field(default=preset(1), description="multiplies the viscous resistance")


class OpeningElement(Table):
    """A bare opening in a stack."""

    tag: ClassVar[str] = "an opening"
    opening_cm2: Area = Field(description="its area")
    loss_coefficient: Annotated[Quantity, Measure("1", 0.01, 1000)] = Field(
        description="on the velocity in opening_cm2"
    )


ELEMENTS: dict[str, type[FansElement | RadiatorElement | ResistanceElement | OpeningElement]] = {
    "fans": FansElement,
    "radiator": RadiatorElement,
    "resistance": ResistanceElement,
    "opening_cm2": OpeningElement,
}


def _element(entered: Any) -> str | None:
    kinds = [model.tag for key, model in ELEMENTS.items() if isinstance(entered, dict) and key in entered]
    return kinds[0] if len(kinds) == 1 else None


Element: TypeAlias = Annotated[
    Annotated[FansElement, Tag("fan row")]
    | Annotated[RadiatorElement, Tag("a core")]
    | Annotated[ResistanceElement, Tag("a screen")]
    | Annotated[OpeningElement, Tag("an opening")],
    Discriminator(_element, **form(f"a table with exactly one of {', '.join(ELEMENTS)}", "write one element a table")),
]
