"""What a layout needs more of than the present one: fans, depth, current at the start, money, other screws."""

from __future__ import annotations

from dataclasses import dataclass

from quietcool.decide.variants import Variant
from quietcool.entry.build import Radiator
from quietcool.solve.fit import stack_fits


@dataclass(frozen=True)
class Added:
    """What a layout costs besides, against the present one."""

    fans: int
    depth: float | None  # of the stack; None where a sheet does not say [m]
    start_current: float | None  # [A]
    price: float | None
    screws: tuple[float, ...] = ()  # lengths of those that hold the fans now, where they change [m]
    present_screws: tuple[float, ...] = ()  # of the present layout, where they change [m]


def added_by(variant: Variant, present: Variant) -> Added:
    """What a layout needs more of than the present one, by the sheets of its parts; see `Added`."""
    new, old = _needs(variant), _needs(present)
    cores = [_core_of(variant), _core_of(present)]
    if cores[0] != cores[1]:  # what both have in common need not be known
        new, old = (
            (fans, _plus(depth, core.depth), current, _plus(price, core.price))
            for (fans, depth, current, price), core in zip((new, old), cores, strict=True)
        )
    depth, current, price = (None if a is None or b is None else a - b for a, b in zip(new[1:], old[1:], strict=True))
    screws, before = _screws(variant), _screws(present)
    changed = screws != before
    return Added(new[0] - old[0], depth, current, price, screws if changed else (), before if changed else ())


def _core_of(variant: Variant) -> Radiator:
    core = variant.build.air_paths[variant.path].core
    assert core is not None  # variants are of radiators
    return core.radiator


def _plus(one: float | None, other: float | None) -> float | None:
    return None if one is None or other is None else one + other


def _screws(variant: Variant) -> tuple[float, ...]:
    """Lengths of the screws of a path's fans, those that are known, each once [m]."""
    name = variant.build.air_paths[variant.path].name
    fit = next(one for one in stack_fits(variant.build) if one.path == name)
    return tuple(sorted({screws.length for screws in fit.screws if screws.length is not None}))


def _needs(variant: Variant) -> tuple[int, float | None, float | None, float | None]:
    """Fans of the path, depth of their rows, start current and price; None where a sheet does not say."""
    fans = {group.name: group.fan for group in variant.build.fan_groups}
    rows = [(fans[row.group], row.count) for row in variant.rows]

    def total(values: list[float | None]) -> float | None:
        known = [value for value in values if value is not None]
        return sum(known) if len(known) == len(values) else None

    depth = total([fan.depth for fan, _ in rows])
    current = [(fan.electric.start_current, count) for fan, count in rows]
    price = [(fan.price, count) for fan, count in rows]
    return (
        sum(count for _, count in rows),
        depth,
        total([None if value is None else value * count for value, count in current]),
        total([None if value is None else value * count for value, count in price]),
    )
