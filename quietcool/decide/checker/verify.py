"""Does a certificate prove its claim? Reads its lines with suspicion, then has every state's tree walked."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import numpy as np

from quietcool.decide.checker.case import Case
from quietcool.decide.checker.tree import Recorded, check_tree
from quietcool.entry.build import Build, State
from quietcool.errors import InputError, Mistake
from quietcool.solve.noise import position_limits
from quietcool.solve.operating_point import OperatingPoint, solve_operating_point
from quietcool.units import clean

LARGEST = 512 * 1024 * 1024  # of a file [bytes]
LONGEST_LINE = 4 * 1024 * 1024
KIND, FORMAT = "quietcool certificate", 1
SAME_LEVEL = 1e-6  # [dB]
SAME_SPEED = 1e-6  # [rpm]
PROVEN_GAP = 0.1  # [dB]
MOST_LEVEL = 200.0  # [dB(A)]
FARTHEST_CLAIM = 60.0  # of a claim from the unit of its energies: beyond it rounding could prove anything [dB]
MOST_PRICE = 1e15  # likewise [any]
MOST_TOLD = 20  # open boxes named one by one

Claim = Literal["no setting is quieter than lower_bound_dba", "no setting keeps the limits", "nothing"]
NO_QUIETER, NONE_KEEPS, NOTHING = Claim.__args__  # type: ignore[attr-defined]


class _GarbledError(ValueError):
    """A line does not say what a certificate says."""


@dataclass(frozen=True)
class Verdict:
    """What came of a certificate."""

    proven: bool  # every claim holds
    claims: tuple[str, ...]  # one sentence each
    objections: tuple[str, ...]  # why it does not hold, one sentence each
    boxes: int


@dataclass
class _Search:
    """One state's search as the certificate tells it."""

    state: str
    claim: str
    unit: float
    lower_bound: float
    trims: tuple[tuple[int, tuple[float, ...]], ...]
    cuts: dict[int, tuple[int, tuple[float, ...], tuple[int, ...]]] = field(default_factory=dict)
    prices: dict[int, tuple[tuple[float, ...], ...]] = field(default_factory=dict)
    boxes: set[int] = field(default_factory=set)


@dataclass
class _Told:
    """A whole certificate."""

    header: dict[str, Any]
    settings: list[dict[str, Any]]
    searches: dict[str, _Search]


def verify_certificate(
    file: Path, build: Build, tell: Callable[[str, int], None] = lambda state, count: None
) -> Verdict:
    """Check a certificate against a build.

    Parameters
    ----------
    file : Path
        The certificate.
    build : Build
        The rig it is said to be for.
    tell : callable
        Told state and number of boxes now and then.

    Returns
    -------
    Verdict

    Raises
    ------
    InputError
        If the file cannot be read or is no certificate at all.
    """
    lines = _lines(file)
    try:
        told = _understood(lines)
    except _GarbledError as error:
        return Verdict(False, (), (str(error),), 0)
    objections = list(_other_inputs(told.header, build))
    claims: list[str] = []
    if not objections:
        claims, objections = _checked(told, build, tell)
    return Verdict(
        not objections, tuple(claims), tuple(objections), sum(len(search.boxes) for search in told.searches.values())
    )


def _lines(file: Path) -> list[str]:
    """Lines of a file that at least begins like a certificate."""

    def refused(found: str) -> InputError:
        return InputError(
            [Mistake(str(file), None, None, "", f"a certificate of at most {LARGEST >> 20} MB", clean(found, 200),
                     "write one with `quietcool quietest --certificate`")]
        )  # fmt: skip

    try:
        if file.stat().st_size > LARGEST:
            raise refused("a larger file")
        lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
        header = json.loads(lines[0]) if lines and len(lines[0]) < LONGEST_LINE else None
    except OSError as error:
        raise refused(error.strerror or "nothing that can be read") from error
    except (ValueError, RecursionError) as error:
        raise refused("something else") from error
    if not isinstance(header, dict) or header.get("kind") != KIND or header.get("format") != FORMAT:
        raise refused("something else, or another format")
    return lines


def _understood(lines: list[str]) -> _Told:
    """Read every line; the last one must be the hash of all before."""
    if json_of(lines[-1], len(lines)) != {"sha256": hashlib.sha256("".join(lines[:-1]).encode()).hexdigest()}:
        raise _GarbledError("the lines are not those that were written: their SHA-256 is another one")
    told = _Told(json_of(lines[0], 1), [], {})
    search: _Search | None = None
    for number, line in enumerate(lines[1:-1], start=2):
        record = json_of(line, number)
        try:
            if "setting" in record:
                told.settings.append(_setting(record["setting"]))
            elif "search" in record:
                search = _search(record["search"])
                told.searches[search.state] = search
            elif search is not None:
                _add_box(search, record)
            else:
                raise _GarbledError("a box before any search")
        except (KeyError, TypeError, ValueError, OverflowError) as error:
            why = clean(str(error), 200)
            raise _GarbledError(f"line {number} does not say what a certificate says ({why})") from error
    return told


def json_of(line: str, number: int) -> dict[str, Any]:
    """One line as a JSON object without NaN or infinities."""

    def refuse(token: str) -> float:
        raise ValueError(token)

    try:
        found = json.loads(line, parse_constant=refuse) if len(line) < LONGEST_LINE else None
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict):
        raise _GarbledError(f"line {number} is no JSON object")
    return found


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError("not a finite number")
    return float(value)


def _whole(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 2**62:
        raise ValueError("not a whole number")
    return value


def _setting(record: dict[str, Any]) -> dict[str, Any]:
    return {
        "states": [str(state) for state in record["states"]],
        "status": str(record["status"]),
        "claim": str(record["claim"]),
        "speeds": {str(name): _number(speed) for name, speed in record["speeds_rpm"].items()},
        "level": _number(record["level_dba"]) if "level_dba" in record else math.nan,
        "lower_bound": _bound(record),
    }


def _bound(record: dict[str, Any]) -> float:
    """The bound that a claim comes to: infinite where no setting keeps the limits."""
    if record["claim"] == NO_QUIETER:
        return _number(record["lower_bound_dba"])
    if record["claim"] == NONE_KEEPS:
        return math.inf
    if record["claim"] == NOTHING:
        return -math.inf
    raise ValueError("an unknown claim")


def _search(record: dict[str, Any]) -> _Search:
    trims = tuple((_whole(coordinate), tuple(map(_number, values))) for coordinate, values in record["trims"])
    return _Search(str(record["state"]), str(record["claim"]), _number(record["unit_dba"]), _bound(record), trims)


def _add_box(search: _Search, record: dict[str, Any]) -> None:
    number = _whole(record["box"])
    if number in search.boxes:
        raise ValueError("a box twice")
    search.boxes.add(number)
    if "cut" in record:
        coordinate, values, children = record["cut"]
        search.cuts[number] = (_whole(coordinate), tuple(map(_number, values)), tuple(map(_whole, children)))
        if len(children) != len(values) + 1:
            raise ValueError("a cut without all its pieces")
    if "prices" in record:
        price, flows, conductances = record["prices"]
        search.prices[number] = tuple(tuple(map(_number, part)) for part in (price, flows, conductances))
        if any(abs(value) > MOST_PRICE for part in search.prices[number] for value in part):
            raise ValueError("prices beyond all sense")


def _other_inputs(header: Mapping[str, Any], build: Build) -> Iterator[str]:
    """Say which inputs are not those the certificate was made from."""
    was, now = header.get("inputs"), dict(build.inputs)
    if not isinstance(was, dict) or was.keys() != now.keys():
        yield "the certificate was made from other files than this build's"
        return
    for name in sorted(now):
        if was[name] != now[name]:
            yield f"{clean(name)} is not the file that the certificate was made from: its SHA-256 is another one"


def _checked(told: _Told, build: Build, tell: Callable[[str, int], None]) -> tuple[list[str], list[str]]:
    """Check every setting and every search."""
    claims: list[str] = []
    objections: list[str] = [] if told.settings else ["the certificate claims nothing"]
    names = [position.name for position in build.positions]
    position = told.header.get("position")
    if position not in names:
        return [], [f"the build has no position {clean(str(position))}"]
    for setting in told.settings:
        claims.append(_sentence(setting))
        objections += _wrong_setting(setting, build, names.index(position))
        searched = [told.searches[s].lower_bound for s in setting["states"] if s in told.searches]
        if max(searched, default=-math.inf) < setting["lower_bound"]:
            objections.append(f"no search of {', '.join(setting['states'])} claims what its setting claims")
    known = {state.name: state for state in build.states}
    objections += [f"the build has no state {clean(name)}" for name in told.searches.keys() - known.keys()]
    if not objections:  # the trees take the time, and would change nothing any more
        for name, search in told.searches.items():
            if search.claim != NOTHING:
                objections += _open_boxes(search, build, known[name], names.index(position), tell)
    return claims, objections


def _sentence(setting: dict[str, Any]) -> str:
    states = ", ".join(clean(state) for state in setting["states"])
    if setting["claim"] == NOTHING:
        return f"{states}: {setting['level']:.3f} dB(A), without a bound"
    if setting["claim"] == NONE_KEEPS:
        return f"{states}: no setting keeps the limits"
    return f"{states}: {setting['level']:.3f} dB(A); no setting is quieter than {setting['lower_bound']:.3f} dB(A)"


def _wrong_setting(setting: dict[str, Any], build: Build, position: int) -> Iterator[str]:
    """What is wrong with a setting: speeds that cannot be set, a level it does not have, limits it does not keep."""
    known = {state.name: state for state in build.states}
    states, named = setting["states"], ", ".join(clean(state) for state in setting["states"])
    if not states or any(state not in known for state in states):
        yield f"the build has no such states: {named}"
        return
    if setting["speeds"].keys() != set(build.group_names):
        yield f"{named}: the speeds are not those of the build's groups"
        return
    speeds = []
    for name, speed_range in zip(build.group_names, build.speed_ranges, strict=True):
        nearest = min(speed_range.admissible(), key=lambda speed: abs(speed * 60.0 - setting["speeds"][name]))
        speeds.append(nearest)
        if abs(nearest * 60.0 - setting["speeds"][name]) > SAME_SPEED:
            yield f"{named}: {clean(name)} cannot be set to {setting['speeds'][name]:g} rpm"
    if math.isnan(setting["level"]):
        if setting["status"] != "infeasible" or setting["claim"] == NO_QUIETER:
            yield f"{named}: a setting without a level"
        return
    points = {state: solve_operating_point(build, known[state], np.array(speeds)) for state in states}
    level = max(float(point.level[position]) for point in points.values())
    if not abs(level - setting["level"]) <= SAME_LEVEL:
        yield f"{named}: the setting comes to {level:.6f} dB(A), not to {setting['level']:.6f}"
    for state, point in points.items():
        yield from (f"{clean(state)}: {what}" for what in _broken(build, known[state], point))
    if setting["status"] == "proven" and not level - setting["lower_bound"] <= PROVEN_GAP:
        yield f"{named}: called proven with a gap of {level - setting['lower_bound']:.3f} dB"


def _broken(build: Build, state: State, point: OperatingPoint) -> Iterator[str]:
    """Limits that a solved setting does not keep."""
    if not point.converged:
        yield "the setting did not converge"
    sensed = [(source.name, one.name, one.limit) for source in build.sources for one in source.points]
    kept = [(f"{source} {name}", float(temp), limit) for (source, name, limit), temp in
            zip(sensed, point.point_temp, strict=True)]  # fmt: skip
    kept.append(("coolant", float(point.coolant_temp_max), state.limits.coolant))
    for name, temp in zip(build.enclosures, point.enclosure_temp, strict=True):
        kept.append((f"{name} air", float(temp), state.limits.enclosure_air.get(name)))
    for place, level, most in zip(build.positions, point.level, position_limits(build, state), strict=True):
        kept.append((place.name, float(level), float(most)))
    for name, value, limit in kept:
        if limit is not None and not value <= limit:
            yield f"{clean(name)} is over its limit by {value - limit:.4g}"
    if not float(point.coolant_flow) >= build.loop.min_flow:
        yield "too little coolant flows"


def _open_boxes(
    search: _Search, build: Build, state: State, position: int, tell: Callable[[str, int], None]
) -> Iterator[str]:
    """What a search leaves open: boxes that are missing, told twice, or could hold a quieter setting."""
    born = [child for _, _, children in search.cuts.values() for child in children]
    if len(set(born)) < len(born) or 0 in born:
        yield f"{search.state}: a box is the piece of two others"
        return
    missing = {0, *born} - search.boxes
    if missing:
        yield f"{search.state}: {len(missing)} boxes are missing, box {min(missing)} first"
        return
    away = 0.0 if search.lower_bound == math.inf else abs(search.lower_bound - search.unit)
    if not abs(search.unit) <= MOST_LEVEL or not away <= FARTHEST_CLAIM:
        yield f"{search.state}: {search.lower_bound:g} dB(A) cannot be checked in units of {search.unit:g} dB(A)"
        return
    case = Case(build, state, position, search.unit)
    n, balances, paths = len(case.enclosures), len(case.ring.balances), len(case.paths)
    shapes = (2 * n + balances, paths, paths)
    coordinates = 2 * n + len(case.ring.nodes)
    cut = {coordinate for coordinate, _ in search.trims} | {coordinate for coordinate, _, _ in search.cuts.values()}
    if any(tuple(map(len, prices)) != shapes for prices in search.prices.values()) or max(cut, default=0) > coordinates:
        yield f"{search.state}: prices or cuts do not fit the build"
        return
    goal = float(10.0 ** np.float64((search.lower_bound - search.unit) / 10.0))
    recorded = Recorded(search.trims, search.cuts, search.prices)  # type: ignore[arg-type]
    count = 0
    for sentence in check_tree(case, recorded, goal, lambda number: tell(search.state, number)):
        count += 1
        if count <= MOST_TOLD:
            yield f"{search.state}: {sentence}"
    if count > MOST_TOLD:
        yield f"{search.state}: {count - MOST_TOLD} more boxes are open"
