"""What every answer takes for granted, and what it does not know."""

from __future__ import annotations

from quietcool.entry.build import Build
from quietcool.show.console import number

CAUTIONS = (
    "Every answer is a prediction until it has been measured on the rig.",
    "A level is the rig's share, by sheets that were measured in free air; no single number knows a room's modes.",
    "Limits of parts, of wiring and of pressure are those of their makers; mains work belongs to licensed people.",
    "Hot coolant softens tube and loosens fittings: keep it under what they are made for.",
)
ALWAYS = (
    "Fans and pump follow the fan laws from the curve of their sheet; air and coolant are in a steady state.",
    "Air in an enclosure is well mixed, and every path draws air of one temperature from its node.",
    "Radiators are cross-flow exchangers with both streams unmixed; their conductances follow power laws of the flows.",
    "A place in a stack, a filter before the fans and a heavily loaded fan add to the level by fixed terms, which are "
    "choices with wide tolerances.",
    "Sources add up as energies. Where a sheet has no octaves, its spectrum is a typical one.",
)


def assumptions(build: Build) -> list[str]:
    """Return what the answers for a build take for granted."""
    said = list(ALWAYS)
    for path in build.air_paths:
        if len(path.fan_rows) > 1 and isinstance(path.series_efficiency, float):
            said.append(
                f"Each row of {path.name} gives {number(path.series_efficiency, 3)} of its pressure rise, because "
                "another row disturbs it."
            )
    reverberant = [position.name for position in build.positions if position.field == "room"]
    if reverberant:
        said.append(f"Direct and reverberant sound are counted at {', '.join(reverberant)}.")
    plain = [position.name for position in build.positions if position.field == "distance"]
    if plain:
        said.append(f"Distance alone is counted at {', '.join(plain)}: a real room is louder there.")
    return said
