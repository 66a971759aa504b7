"""What the live page sends and gets: checked at the door, every number finite and in range."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Name = Annotated[str, Field(min_length=1, max_length=64)]
Speed = Annotated[float, Field(ge=0.0, le=30_000.0, allow_inf_nan=False)]
RoomTemp = Annotated[float, Field(ge=-20.0, le=60.0, allow_inf_nan=False)]


class Asked(BaseModel):
    """A setting that the page asks about."""

    model_config = ConfigDict(extra="forbid", strict=True)

    state: Name
    room_temp_c: RoomTemp
    speeds_rpm: Annotated[dict[Name, Speed], Field(max_length=64, description="every group, 0 at rest")]
    layouts: Annotated[dict[Name, Name], Field(default_factory=dict, max_length=64, description="by air path")]


class AskedPictures(Asked):
    """A setting whose pictures are asked for."""

    path: Annotated[Name | None, Field(default=None, description="air path of the fan curves; the first if not given")]


class AskedQuietest(BaseModel):
    """A search that the page asks for."""

    model_config = ConfigDict(extra="forbid", strict=True)

    state: Name
    room_temp_c: RoomTemp
    layouts: Annotated[dict[Name, Name], Field(default_factory=dict, max_length=64)]
    seconds: Annotated[float, Field(default=20.0, ge=0.0, le=600.0, allow_inf_nan=False)]


class AskedStop(BaseModel):
    """A search that shall end."""

    model_config = ConfigDict(extra="forbid", strict=True)

    search: Annotated[str, Field(min_length=1, max_length=20)]


class Kept(BaseModel):
    """One limit, or one reading without a limit."""

    name: str
    value: float | None
    limit: float | None
    margin: float | None
    unit: str
    digits: int
    kept: bool


class Source(BaseModel):
    """One source at the first position."""

    name: str
    level_dba: float | None


class Solved(BaseModel):
    """What a setting makes."""

    sentence: str
    converged: bool
    level_dba: float | None
    readings: list[Kept]
    sources: list[Source]
    findings: list[str]


class Shown(BaseModel):
    """One picture."""

    name: str
    title: str
    words: str
    figure: dict[str, Any] | None
    drawing: str | None


class Pictures(BaseModel):
    """The pictures of a setting."""

    pictures: list[Shown]


class Started(BaseModel):
    """A search that runs."""

    search: str


class Search(BaseModel):
    """How far a search is, or what it found."""

    status: Literal["running", "found", "infeasible", "cancelled", "failed"]
    words: str
    seconds: float
    speeds_rpm: dict[str, float] | None = None


class Saved(BaseModel):
    """Files that were written beside the build file."""

    sentence: str
    build_file: str
    channel_table: str


class Refusal(BaseModel):
    """Why something was not done, in a sentence."""

    detail: str
