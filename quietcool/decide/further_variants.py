"""A build with other parts in one radiator's place, or with another way for its air: what `layouts` compares besides.

Parts come from a catalogue: thicker fans, deeper or larger cores. The air path changes by room air for a radiator that
breathes enclosure air, and by vents opened or closed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from quietcool.decide.choose.options import Option, fits, with_options
from quietcool.decide.variants import Variant
from quietcool.entry.build import ROOM, AirPath, Build, Opening, Screen
from quietcool.entry.catalogue_records import Catalogue, Place, Side

OPENED = 0.01  # area of one more opening [m2]
OPENING_LOSS = 2.7  # loss coefficient of a sharp-edged opening, as in the demos [-]
LONGEST_NAME = 64  # as in build files
SIDES: dict[str, Side] = {"push": "push", "pull": "pull", "push-pull": "push-pull"}


def other_parts(build: Build, path: str, catalogue: Catalogue) -> tuple[Variant, ...]:
    """Variants with one other part of a catalogue each, everything else as it stands: fans first, then cores.

    Parameters
    ----------
    build : Build
        The rig.
    path : str
        Air path of the radiator.
    catalogue : Catalogue
        What there is for the places; nothing where it does not name the path.

    Returns
    -------
    tuple of Variant
        Only what fits the place; a stack whose rows have groups of their own has none.
    """
    place = next((one for one in catalogue.places if one.path == path), None)
    now = next(one for one in build.air_paths if one.name == path)
    if place is None or now.core is None or now.layout not in SIDES or len({row.group for row in now.fan_rows}) != 1:
        return ()
    own = next(group.fan for group in build.fan_groups if group.name == now.fan_rows[0].group)
    number, side = catalogue.places.index(place), SIDES[now.layout]
    wanted = [(f"fans {fan.name}", Option(number, now.core.radiator, fan, side)) for fan in place.fans]
    wanted += [(f"core {core.name}", Option(number, core, own, side)) for core in place.radiators]
    return tuple(_variants(build, catalogue, place, wanted))


def _variants(build: Build, catalogue: Catalogue, place: Place, wanted: list[tuple[str, Option]]) -> Iterator[Variant]:
    now = next(one for one in build.air_paths if one.name == place.path)
    own = next(group.fan for group in build.fan_groups if group.name == now.fan_rows[0].group)
    for name, option in wanted:
        same = now.core is not None and option.radiator.name == now.core.radiator.name and option.fan.name == own.name
        if not same and fits(build, place, catalogue, option):
            rig = with_options(build, catalogue, [option])
            rig = replace(rig, ledger=(*build.ledger, *catalogue.ledger))  # the new part's tolerances count too
            yield Variant(name, False, rig, build.air_paths.index(now))


def other_air(build: Build, path: str) -> tuple[Variant, ...]:
    """Variants of a radiator's air: room air, one more opening in its enclosure, each vent of that enclosure closed."""
    number = next(i for i, one in enumerate(build.air_paths) if one.name == path)
    now = build.air_paths[number]
    found = []
    if now.source != ROOM:
        paths = (*build.air_paths[:number], replace(now, source=ROOM), *build.air_paths[number + 1 :])
        found.append(Variant("room air", False, replace(build, air_paths=paths), number))
    for enclosure in sorted({now.source, now.target} - {ROOM}):
        opened = with_opening(build, enclosure)
        if opened is not None:
            found.append(Variant(f"100 cm2 more opening in {enclosure}", False, opened, number))
        for vent in build.air_paths:
            if _is_vent(vent) and enclosure in (vent.source, vent.target) and _breathes_without(build, enclosure, vent):
                paths = tuple(one for one in build.air_paths if one != vent)
                place = next(i for i, one in enumerate(paths) if one.name == path)
                found.append(Variant(f"{vent.name} closed", False, replace(build, air_paths=paths), place))
    return tuple(found)


def with_opening(build: Build, enclosure: str) -> Build | None:
    """Return the rig with one more opening of 100 cm2; None where something has its name already."""
    name = f"opening in {enclosure}"[:LONGEST_NAME]
    if name in {path.name for path in build.air_paths}:
        return None
    more = AirPath(name, enclosure, ROOM, (Opening(OPENED, OPENING_LOSS),))
    return replace(build, air_paths=(*build.air_paths, more))


def _is_vent(path: AirPath) -> bool:
    """Whether a path is a hole, with or without a screen."""
    return all(isinstance(element, Opening | Screen) for element in path.stack)


def _breathes_without(build: Build, enclosure: str, vent: AirPath) -> bool:
    """Whether air can still enter an enclosure and leave it again by two other paths."""
    others = [one for one in build.air_paths if one != vent and enclosure in (one.source, one.target)]
    return len(others) > 1
