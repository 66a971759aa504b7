"""A copy of a build file with other present speeds and layouts: its text with a few places changed, read as a check."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from quietcool.entry.build import PUMP, Build
from quietcool.entry.buildfile import read_build
from quietcool.entry.writing import write_whole
from quietcool.errors import QuietcoolError
from quietcool.show.console import rpm
from quietcool.show.files import table_csv
from quietcool.units import in_unit, si_value

if TYPE_CHECKING:
    from tree_sitter import Node

MOST_COPIES = 999


class NotSaved(RuntimeError):
    """Why a copy was not written, in a sentence."""


def save_setting(
    build: Build, build_file: Path, speeds_rpm: Mapping[str, float], changed: Build | None = None
) -> tuple[Path, Path]:
    """Write a copy of the build file with these present speeds, and a channel table, both beside it.

    Parameters
    ----------
    build : Build
        What the file said when it was read.
    build_file : Path
        Its place.
    speeds_rpm : mapping of str to float
        By group.
    changed : Build, optional
        The build with the layouts that the copy shall have; those of the file if not given.

    Returns
    -------
    tuple of Path
        The copy and the table. Nothing that exists is overwritten.

    Raises
    ------
    NotSaved
        If the file has changed since, is written in a way that cannot be edited safely, or cannot be written to.
    """
    content = _unchanged(build, build_file)
    wanted = build if changed is None else changed
    text = with_layouts(with_speeds(content.decode(), speeds_rpm), build, wanted)
    copy, table = _free_names(build_file)
    try:
        write_whole(copy, text)
        _checked(copy, wanted, speeds_rpm)
        write_whole(table, channels_csv(build, speeds_rpm))
    except (QuietcoolError, NotSaved) as error:
        copy.unlink(missing_ok=True)
        raise NotSaved(f"The setting was not saved: {error}") from None
    return copy, table


def channels_csv(build: Build, speeds_rpm: Mapping[str, float]) -> str:
    """Return the channel table: channel, group, speed, and the bands that its controller must not rest in."""
    channels = {group.name: group.channel or "" for group in build.fan_groups}
    rows = []
    for name, ranges in zip(build.group_names, build.speed_ranges, strict=True):
        bands = "; ".join(f"{rpm(in_unit(a, 'rpm'))} to {rpm(in_unit(b, 'rpm'))}" for a, b in ranges.avoid)
        rows.append((channels.get(name, ""), name, rpm(speeds_rpm[name]), bands))
    return table_csv(("channel", "group", "speed_rpm", "never between, rpm"), rows)


def with_speeds(text: str, speeds_rpm: Mapping[str, float]) -> str:
    """Return the text of a build file with present speeds set; everything else stays as it was written."""
    source = text.encode()
    changes = list(_changes(source, speeds_rpm))
    if len(changes) != len(speeds_rpm):
        raise NotSaved(
            "This build file writes its groups in a way that cannot be edited safely: set the speeds by hand."
        )
    for start, end, said in sorted(changes, reverse=True):
        source = source[:start] + said.encode() + source[end:]
    return source.decode()


def _changes(source: bytes, speeds_rpm: Mapping[str, float]) -> Iterator[tuple[int, int, str]]:
    """Yield start, end and new text of every change."""
    for table in _tables(source):
        header = _header(table)
        pairs = {_text(key): value for key, value in _pairs(table)}
        if table.type == "table_array_element" and header == "fan_group" and "name" in pairs:
            name = _text(pairs["name"]).strip("\"'")
            key = "rpm"
        elif table.type == "table" and header == "loop":
            name, key = PUMP, "pump_rpm"
        else:
            continue
        if name not in speeds_rpm:
            continue
        value = rpm(speeds_rpm[name])
        if key in pairs:
            yield pairs[key].start_byte, pairs[key].end_byte, value
        else:
            first = next(key for key, _ in _pairs(table))
            yield first.start_byte, first.start_byte, f"{key} = {value}\n"


def with_layouts(text: str, build: Build, changed: Build) -> str:
    """Return the text of a build file with the elements of stacks in the order that the changed build has them in.

    An element is moved as it was written; a second fan row is written as the first.
    """
    source = text.encode()
    moved = {
        old.name: [next(n for n, one in enumerate(old.stack) if one is element) for element in new.stack]
        for old, new in zip(build.air_paths, changed.air_paths, strict=True)
        if old.stack != new.stack
    }
    changes = []
    for table in _tables(source):
        pairs = {_text(key): value for key, value in _pairs(table)}
        name = _text(pairs["name"]).strip("\"'") if "name" in pairs else ""
        if _header(table) == "air_path" and name in moved and "stack" in pairs:
            changes.append(_reordered(pairs["stack"], moved.pop(name)))
    if moved:
        raise NotSaved(f"The setting was not saved: the stack of {next(iter(moved))} must be changed by hand.")
    for start, end, new in sorted(changes, reverse=True):
        source = source[:start] + new + source[end:]
    return source.decode()


def _reordered(stack: Node, order: list[int]) -> tuple[int, int, bytes]:
    """Where the elements of a stack are written, and what is to stand there."""
    elements = [child for child in stack.named_children if child.type != "comment"]
    if stack.type != "array" or len(elements) != len(stack.named_children) or max(order) >= len(elements):
        raise NotSaved("The setting was not saved: remarks stand inside a stack; change its order by hand.")
    source = stack.text or b""
    pieces = [source[e.start_byte - stack.start_byte : e.end_byte - stack.start_byte] for e in elements]
    between = b", "
    if len(elements) > 1:
        between = source[elements[0].end_byte - stack.start_byte : elements[1].start_byte - stack.start_byte]
    return elements[0].start_byte, elements[-1].end_byte, between.join(pieces[n] for n in order)


def _tables(source: bytes) -> list[Node]:
    """Every table of a build file, in its order."""
    from tree_sitter import Language, Parser
    from tree_sitter_toml import language

    return Parser(Language(language())).parse(source).root_node.children


def _pairs(table: Node) -> Iterator[tuple[Node, Node]]:
    """Key and value of every line of a table; a remark behind a value belongs to neither."""
    for pair in table.children:
        if pair.type == "pair":
            key, value = [child for child in pair.named_children if child.type != "comment"][:2]
            yield key, value


def _header(table: Node) -> str:
    return next((_text(child) for child in table.children if child.type in ("bare_key", "quoted_key")), "").strip("\"'")


def _text(node: Node) -> str:
    return (node.text or b"").decode()


def _unchanged(build: Build, build_file: Path) -> bytes:
    try:
        content = build_file.read_bytes()
    except OSError as error:
        raise NotSaved(f"The setting was not saved: the build file cannot be read ({error.strerror}).") from None
    if hashlib.sha256(content).hexdigest() != build.inputs.get(build_file.resolve().name):
        raise NotSaved("The setting was not saved: the build file has changed since the page was started.")
    return content


def _free_names(build_file: Path) -> tuple[Path, Path]:
    for n in range(1, MOST_COPIES + 1):
        copy = build_file.with_name(f"{build_file.stem}-setting-{n}.toml")
        table = build_file.with_name(f"{build_file.stem}-setting-{n}-channels.csv")
        if not copy.exists() and not table.exists():
            return copy, table
    raise NotSaved("The setting was not saved: there are too many copies beside the build file already.")


def _checked(copy: Path, build: Build, speeds_rpm: Mapping[str, float]) -> None:
    """Read the copy and hold it to what it shall say."""
    read = read_build(copy)
    said: dict[str, Any] = dict(zip(read.group_names, (r.present for r in read.speed_ranges), strict=True))
    wanted = {name: si_value(speed, "rpm") for name, speed in speeds_rpm.items()}
    same = [(a.name, a.stack) for a in read.air_paths] == [(b.name, b.stack) for b in build.air_paths]
    if said != wanted or not same or read.states != build.states:
        raise NotSaved("the copy does not say what it should; set the speeds by hand")
