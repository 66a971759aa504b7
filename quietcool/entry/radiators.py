"""The keys of radiator sheets."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from quietcool.entry.measures import Count, Measure, Quantity, exactly_one, preset
from quietcool.entry.sheets import AirBlock, Block, CoolantBlock, Depth, HeatBlock, Price, Sheet, Side
from quietcool.entry.workshop_tables import FrameKeys, VesselKeys


class GeometryBlock(Block):
    """Shape of a core, for sheets that print dimensions: flat tubes along the face, fins between them.

    What [air], [heat] or [coolant] do not say is estimated from it. One measured point in [air] or [heat] scales the
    estimate. The defaults are those of ordinary cores (common practice, no source).
    """

    fin_kind: Literal["louvered", "plain"] = Field(default="louvered", description='"louvered" or "plain"')
    fins_per_inch: Annotated[Quantity, Measure("1/in", 2, 60)] | None = Field(
        default=None, description="fins in an inch of tube; or fin_pitch_mm"
    )
    fin_pitch_mm: Annotated[Quantity, Measure("mm", 0.4, 15)] | None = Field(
        default=None, description="fins, centre to centre; or fins_per_inch"
    )
    fin_height_mm: Annotated[Quantity, Measure("mm", 2, 30)] = Field(
        default=preset(8), description="height of the fins between two tubes"
    )
    fin_thickness_mm: Annotated[Quantity, Measure("mm", 0.01, 1)] = Field(
        default=preset(0.08), description="thickness of a fin"
    )
    fin_conductivity_w_per_m_k: Annotated[Quantity, Measure("W/(m K)", 5, 450)] = Field(
        default=preset(390), description="copper 390, aluminium 200 to 240"
    )
    tube_height_mm: Annotated[Quantity, Measure("mm", 0.8, 20)] = Field(
        default=preset(2), description="outside, across the flat of a tube"
    )
    tube_wall_mm: Annotated[Quantity, Measure("mm", 0.05, 2)] = Field(default=preset(0.3), description="wall of a tube")
    tube_count: Annotated[int, Count(1, 500)] | None = Field(
        default=None, description="number of tubes; without it as many as the face holds"
    )
    passes: Annotated[int, Count(1, 8)] = Field(default=2, description="how often the coolant crosses the core")
    louver_pitch_mm: Annotated[Quantity, Measure("mm", 0.4, 4)] = Field(
        default=preset(1.1), description="louvers, one to the next"
    )
    louver_angle_deg: Annotated[Quantity, Measure("deg", 5, 45)] = Field(
        default=preset(27), description="louvers against the air"
    )
    louver_share: Annotated[Quantity, Measure("1", 0.2, 1)] = Field(
        default=preset(0.85), description="length of a louver over the height of the fin"
    )

    @model_validator(mode="after")
    def _has_one_pitch(self) -> GeometryBlock:
        exactly_one(self, "fins_per_inch", "fin_pitch_mm")
        return self


class RadiatorSheet(Sheet, VesselKeys, FrameKeys):
    """A radiator."""

    kind: Literal["radiator"] = Field(description='"radiator"')
    face_length_mm: Side = Field(description="length of the face")
    face_height_mm: Side = Field(description="height of the face")
    fan_sections: Annotated[int, Count(1, 64)] = Field(description="fans that fit side by side on one face")
    depth_mm: Depth | None = Field(default=None, description="depth of the core")
    price: Price | None = Field(default=None, description="price, in any one currency")
    air: AirBlock | None = Field(default=None, description="pressure drop of the air; required without [geometry]")
    heat: HeatBlock | None = Field(default=None, description="exchange; required without [geometry]")
    coolant: CoolantBlock | None = Field(
        default=None, description="pressure drop of the coolant; required without [geometry]"
    )
    geometry: GeometryBlock | None = Field(default=None, description="shape of the core, for an estimate")
