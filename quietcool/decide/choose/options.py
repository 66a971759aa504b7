"""What may be bought for each place of a rig, and the rules that a combination must keep; nothing is solved here."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from quietcool.entry.build import AirPath, Build, Core, Fan, FanGroup, FanRow, Radiator, SpeedRange, StackElement
from quietcool.entry.catalogue_records import Catalogue, Place, Side
from quietcool.errors import InputError, Mistake
from quietcool.solve.fit import stack_fits
from quietcool.solve.wiring import Output, outputs

SIZE_SLACK = 5e-3  # between the size of a fan and the section of a radiator that it covers [m]
ROUNDING = 1e-9  # of money and currents


@dataclass(frozen=True)
class Option:
    """One radiator with its fans in one place."""

    place: int
    radiator: Radiator
    fan: Fan
    layout: Side

    @property
    def fan_count(self) -> int:
        """Fans of all rows."""
        return (2 if self.layout == "push-pull" else 1) * self.radiator.fan_sections

    @property
    def price(self) -> float:
        """Radiator and fans; what has no price costs nothing [as the sheets]."""
        return (self.radiator.price or 0.0) + self.fan_count * (self.fan.price or 0.0)

    @property
    def name(self) -> str:
        """As people say it."""
        return f"{self.radiator.name}, {self.fan_count} x {self.fan.name}, {self.layout}"


Options = tuple[tuple[Option, ...], ...]  # by place


def options_of(build: Build, catalogue: Catalogue) -> Options:
    """Options of every place that fit it: sections, depth, length, screws and the outputs of the controller.

    Parameters
    ----------
    build : Build
        The rig.
    catalogue : Catalogue
        Places and what may be bought for them.

    Returns
    -------
    tuple of tuple of Option
        By place, the cheapest first.

    Raises
    ------
    InputError
        If nothing fits in a place, or a budget meets parts without a price; all of these at once.
    """
    found, mistakes = [], []
    for number, place in enumerate(catalogue.places):
        every = [Option(number, r, f, s) for r in place.radiators for f in place.fans for s in place.layouts]
        fitting = [one for one in every if fits(build, place, catalogue, one)]
        if not fitting:
            mistakes.append(
                Mistake(
                    catalogue.file, None, None, f"place[{place.path}]",
                    "radiator, fans and layout that fit its sections, its space and its output",
                    f"none among {len(every)} combinations", "widen its lists, or its space in the build file",
                )
            )  # fmt: skip
        found.append(tuple(sorted(fitting, key=lambda one: (one.price, one.name))))
    mistakes += _unpriced(catalogue, tuple(found))
    if mistakes:
        raise InputError(mistakes)
    return tuple(found)


def _covers(option: Option) -> bool:
    """Whether the fans are as wide as the sections of the radiator."""
    return abs(option.radiator.face_length / option.radiator.fan_sections - option.fan.size) <= SIZE_SLACK


def fits(build: Build, place: Place, catalogue: Catalogue, option: Option) -> bool:
    """Whether fans cover the sections, stack and screws have their room, and the output bears these fans alone."""
    if not _covers(option):
        return False
    rig = with_options(build, catalogue, [option])
    fit = next(one for one in stack_fits(rig) if one.path == place.path)
    group = group_of(build, place)
    return fit.kept and not any(
        _overloaded(output, {group}) for output in outputs(rig) if group in {draw.group for draw in output.draws}
    )


def _overloaded(output: Output, groups: set[str]) -> bool:
    """Whether some groups alone draw more than their output may give; an unknown current overloads nothing."""
    drawn = sum(draw.running or 0.0 for draw in output.draws if draw.group in groups)
    return output.limit is not None and drawn > output.limit + ROUNDING


def _unpriced(catalogue: Catalogue, options: Options) -> list[Mistake]:
    parts = [part for column in options for one in column for part in (one.radiator, one.fan)]
    names = sorted({part.name for part in parts if part.price is None})
    if catalogue.budget is None or not names:
        return []
    found = f"sheets without price: {', '.join(names)}"
    return [Mistake(catalogue.file, None, None, "budget", "the price of every part", found, "add price to them")]


def kept_rules(build: Build, catalogue: Catalogue, options: Options) -> NDArray[np.bool_]:
    """Which combinations keep the rules, an axis for each place: budget, fan models, shared outputs.

    The same as `keeps_rules` of every single combination.
    """
    kept = _within_budget(catalogue, options) & _few_models(catalogue, options)
    shared = _shared_outputs(build, catalogue)
    if not shared:
        return kept
    for place in np.argwhere(kept):
        chosen = [column[i] for column, i in zip(options, place, strict=True)]
        kept[tuple(place)] = _outputs_bear(build, catalogue, chosen)
    return kept


def keeps_rules(build: Build, catalogue: Catalogue, chosen: Sequence[Option]) -> bool:
    """Whether one combination keeps budget, number of fan models and the limits of the outputs."""
    price = sum(option.price for option in chosen)
    if catalogue.budget is not None and price > catalogue.budget + ROUNDING:
        return False
    models = {option.fan.name for option in chosen}
    return len(models) <= catalogue.most_fan_models and _outputs_bear(build, catalogue, chosen)


def _within_budget(catalogue: Catalogue, options: Options) -> NDArray[np.bool_]:
    price = np.zeros((1,) * len(options))
    for axis, column in enumerate(options):
        price = price + np.array([one.price for one in column]).reshape(_along(axis, len(options)))
    return np.asarray(price <= (np.inf if catalogue.budget is None else catalogue.budget + ROUNDING))


def _few_models(catalogue: Catalogue, options: Options) -> NDArray[np.bool_]:
    models = sorted({one.fan.name for column in options for one in column})
    count = np.zeros((1,) * len(options), dtype=np.intp)
    for model in models:
        used = np.zeros((1,) * len(options), dtype=np.bool_)
        for axis, column in enumerate(options):
            drives = np.array([one.fan.name == model for one in column])
            used = used | drives.reshape(_along(axis, len(options)))
        count = count + used
    return np.asarray(count <= catalogue.most_fan_models)


def _along(axis: int, count: int) -> tuple[int, ...]:
    return tuple(-1 if i == axis else 1 for i in range(count))


def _shared_outputs(build: Build, catalogue: Catalogue) -> bool:
    """Whether an output drives the fans of a place and something else: then a combination decides, not an option."""
    chosen = {group_of(build, place) for place in catalogue.places}
    return any(len(output.draws) > 1 and chosen & {d.group for d in output.draws} for output in outputs(build))


def _outputs_bear(build: Build, catalogue: Catalogue, chosen: Sequence[Option]) -> bool:
    groups = {group_of(build, place) for place in catalogue.places}
    rig = with_options(build, catalogue, chosen)
    return not any(
        _overloaded(output, {draw.group for draw in output.draws})
        for output in outputs(rig)
        if groups & {draw.group for draw in output.draws}
    )


def path_of(build: Build, place: Place) -> AirPath:
    """Return the air path of a place."""
    return next(path for path in build.air_paths if path.name == place.path)


def group_of(build: Build, place: Place) -> str:
    """Return the fan group of a place; the file was checked for one that drives nothing else."""
    return path_of(build, place).fan_rows[0].group


def with_options(build: Build, catalogue: Catalogue, chosen: Sequence[Option]) -> Build:
    """Return the rig with the chosen parts in their places."""
    for option in chosen:
        place = catalogue.places[option.place]
        path, name = path_of(build, place), group_of(build, place)
        other = replace(path, stack=tuple(_filled(path, option, name)))
        paths = tuple(other if one.name == path.name else one for one in build.air_paths)
        groups = tuple(_driven(one, option.fan) if one.name == name else one for one in build.fan_groups)
        build = replace(build, air_paths=paths, fan_groups=groups)
    return build


def _filled(path: AirPath, option: Option, group: str) -> Iterator[StackElement]:
    """Stack of a path with another core and other rows directly before and behind it; the rest stays."""
    row = FanRow(group, option.radiator.fan_sections, path.fan_rows[0].gap)
    for element in path.stack:
        if isinstance(element, Core):
            if option.layout != "pull":
                yield row
            yield replace(element, radiator=option.radiator)
            if option.layout != "push":
                yield row
        elif not isinstance(element, FanRow):
            yield element


def _driven(group: FanGroup, fan: Fan) -> FanGroup:
    """Group with another fan: its own range where the fan stays, else no faster than the speed of the sheet."""
    if fan == group.fan:
        return group
    own = group.speeds
    highest = max(min(own.highest, fan.curve.speed), own.lowest)
    return replace(group, fan=fan, speeds=SpeedRange(own.lowest, highest, own.step, own.avoid, own.may_stop, None))
