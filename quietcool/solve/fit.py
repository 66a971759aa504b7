"""Does a stack fit its place, and which screws hold it.

Part drawings come first: gaskets, washers and rubber corners change depths and screw lengths.
"""

from __future__ import annotations

from dataclasses import dataclass

from quietcool.entry.build import AirPath, Build, Core, FanRow, Opening, Radiator, Screen, StackElement

CLEARANCE = 0.005  # to keep free in depth where a place does not say so (common practice, no source) [m]
THREAD_ENGAGEMENT = 0.005  # of a screw: a 25 mm fan takes 30 mm, a 30 mm fan 35 mm (common practice, no source) [m]
SCREWS_PER_FAN = 4
SLACK = 1e-9  # of lengths, so that a stack of exactly the depth of its place fits [m]


@dataclass(frozen=True)
class Screws:
    """Screws that hold one fan row to the radiator beside it."""

    path: str
    group: str
    radiator: str
    fan_depth: float | None  # None where the sheet gives none [m]
    count: int
    length: float | None  # under the head; None without a fan depth [m]
    thread: str | None
    engagement: float  # in the radiator's thread [m]
    thread_depth: float | None  # usable; None where the sheet does not say [m]

    @property
    def margin(self) -> float | None:
        """Usable thread less engagement, negative where the screw meets a tube [m]."""
        return None if self.thread_depth is None else self.thread_depth - self.engagement

    @property
    def longest(self) -> float | None:
        """Longest screw that stays clear of the tubes [m]."""
        return None if self.length is None or self.margin is None else self.length + self.margin


@dataclass(frozen=True)
class Fit:
    """One stack in its place."""

    path: str
    layout: str
    depth: float  # of everything whose depth is known, clearance included [m]
    unknown: tuple[str, ...]  # what has no depth on its sheet and is left out
    space: float | None  # depth that the place leaves [m]
    length: float | None  # of the radiator with its end tanks [m]
    space_length: float | None  # that the place leaves [m]
    screws: tuple[Screws, ...]

    @property
    def margin(self) -> float | None:
        """Space less depth, positive when it fits [m]."""
        return None if self.space is None else self.space - self.depth

    @property
    def length_margin(self) -> float | None:
        """Space less length, positive when it fits [m]."""
        if self.space_length is None or self.length is None:
            return None
        return self.space_length - self.length

    @property
    def kept(self) -> bool:
        """Whether nothing known is too deep, too long or meets a tube."""
        margins = (self.margin, self.length_margin, *(screws.margin for screws in self.screws))
        return all(margin is None or margin >= -SLACK for margin in margins)


def stack_depth(depths: tuple[float, ...], gaps: tuple[float, ...] = (), clearance: float = CLEARANCE) -> float:
    """Depth that a stack takes in a case.

    d = sum of depths + sum of gaps + clearance

    Parameters
    ----------
    depths : tuple of float
        Of radiator, fans and filters. [m]
    gaps : tuple of float
        Between a fan row and its core. [m]
    clearance : float
        To keep free. [m]

    Returns
    -------
    float
        Depth. [m]

    References
    ----------
    .. [1] Common practice, no source (5 mm to keep free).

    Examples
    --------
    >>> round(1000 * stack_depth((0.045, 0.025, 0.025)), 6)
    100.0
    """
    return sum(depths) + sum(gaps) + clearance


def screw_length(fan_depth: float, between: float = 0.0, engagement: float = THREAD_ENGAGEMENT) -> float:
    """Length under the head of the screws that hold a fan to a radiator.

    l = fan depth + what lies between fan and radiator + engagement

    Parameters
    ----------
    fan_depth : float
        Depth of the fan's frame. [m]
    between : float
        Gap, gasket or filter frame between fan and radiator. [m]
    engagement : float
        Part of the screw in the thread. [m]

    Returns
    -------
    float
        Length. [m]

    References
    ----------
    .. [1] Common practice, no source: a 25 mm fan takes a 30 mm screw, a 30 mm fan a 35 mm screw.

    Examples
    --------
    >>> round(1000 * screw_length(0.025), 6), round(1000 * screw_length(0.030), 6)
    (30.0, 35.0)
    """
    return fan_depth + between + engagement


def stack_fits(build: Build) -> tuple[Fit, ...]:
    """Return every stack with fans, a radiator or a stated space, in the order of the air paths."""
    paths = (path for path in build.air_paths if path.fan_rows or path.core or path.space.depth is not None)
    return tuple(_fit(build, path) for path in paths)


def _fit(build: Build, path: AirPath) -> Fit:
    solid = [element for element in path.stack if not isinstance(element, Opening)]
    depths = [(_name(element), _depth(build, element)) for element in solid]
    clearance = CLEARANCE if path.space.clearance is None else path.space.clearance
    gaps = tuple(row.gap for row in path.fan_rows)
    core = path.core
    return Fit(
        path=path.name,
        layout=path.layout,
        depth=stack_depth(tuple(depth for _, depth in depths if depth is not None), gaps, clearance),
        unknown=tuple(dict.fromkeys(name for name, depth in depths if depth is None)),
        space=path.space.depth,
        length=None if core is None else core.radiator.frame.length,
        space_length=path.space.length,
        screws=() if core is None else tuple(_screws(build, path, core)),
    )


def _name(element: StackElement) -> str:
    if isinstance(element, Core):
        return element.radiator.name
    return element.resistance.name if isinstance(element, Screen) else f"fans {getattr(element, 'group', '')}"


def _depth(build: Build, element: StackElement) -> float | None:
    if isinstance(element, Core):
        return element.radiator.depth
    if isinstance(element, Screen):
        return element.resistance.depth
    groups = {group.name: group for group in build.fan_groups}
    return groups[element.group].fan.depth if isinstance(element, FanRow) else 0.0


def _screws(build: Build, path: AirPath, core: Core) -> list[Screws]:
    """Screws of the fan row nearest to the core on either side; rows behind it hang on that row."""
    at = path.stack.index(core)
    found = []
    for side in (path.stack[:at][::-1], path.stack[at + 1 :]):
        between = 0.0
        for element in side:
            if isinstance(element, FanRow):
                found.append(_row_screws(build, path, element, core.radiator, between + element.gap))
                break
            between += _depth(build, element) or 0.0
    return found


def _row_screws(build: Build, path: AirPath, row: FanRow, radiator: Radiator, between: float) -> Screws:
    depth = _depth(build, row)
    return Screws(
        path=path.name,
        group=row.group,
        radiator=radiator.name,
        fan_depth=depth,
        count=SCREWS_PER_FAN * row.count,
        length=None if depth is None else screw_length(depth, between),
        thread=radiator.frame.thread,
        engagement=THREAD_ENGAGEMENT,
        thread_depth=radiator.frame.thread_depth,
    )
