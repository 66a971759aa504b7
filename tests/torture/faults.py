"""A disk that fails once: every step by which a file comes about is counted, and the step of a number fails.

What is counted lies below one folder: opening for writing, each write (which fails half done), flush, close, fsync,
change of rights, rename and replace, making a folder. Whoever writes by another way is not seen here; a test holds the
package to one module that writes.
"""

from __future__ import annotations

import builtins
import io
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

WRITABLE = os.O_WRONLY | os.O_RDWR | os.O_CREAT


class Disk:
    """Counts the steps of writing below a folder and fails the one with a number, from 1; none for 0."""

    def __init__(self, folder: Path, failing: int = 0, error: OSError | None = None) -> None:
        self.folder = folder.resolve()
        self.failing = failing
        self.error = error or OSError(28, "No space left on device")
        self.steps: list[str] = []
        self.handles: set[int] = set()

    def step(self, name: str) -> bool:
        """Count a step; tell whether it is the one that fails."""
        self.steps.append(name)
        return len(self.steps) == self.failing

    def holds(self, place: Any) -> bool:
        """Whether a path lies below the folder, or a number is a file of it."""
        if isinstance(place, int):
            return place in self.handles
        return Path(os.path.abspath(os.fsdecode(place))).is_relative_to(self.folder)  # noqa: PTH100 - links stay


class Failing:
    """A file of a disk: what is not named here is the real file's."""

    def __init__(self, disk: Disk, file: Any) -> None:
        self._disk, self._file = disk, file

    def write(self, body: Any) -> int:
        if self._disk.step("write"):
            self._file.write(body[: len(body) // 2])  # a full disk takes what fits
            self._file.flush()
            raise self._disk.error
        return int(self._file.write(body))

    def flush(self) -> None:
        if self._disk.step("flush"):
            raise self._disk.error
        self._file.flush()

    def close(self) -> None:
        failing = not self._file.closed and self._disk.step("close")
        self._file.close()  # the number is given back even where closing fails
        if failing:
            raise self._disk.error

    def __getattr__(self, name: str) -> Any:
        return getattr(self._file, name)

    def __enter__(self) -> Failing:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


@contextmanager
def failing_disk(folder: Path, failing: int = 0, error: OSError | None = None) -> Iterator[Disk]:
    """Let a step of writing below the folder fail; with 0 steps are only counted."""
    disk = Disk(folder, failing, error)
    with pytest.MonkeyPatch.context() as patch:
        for module, name in ((os, "fsync"), (os, "chmod"), (os, "rename"), (os, "replace"), (os, "mkdir")):
            patch.setattr(module, name, _watched(disk, name, getattr(module, name)))
        patch.setattr(os, "open", _opening(disk, os.open))
        for module in (io, builtins):
            patch.setattr(module, "open", _wrapping(disk, open))
        yield disk


def _watched(disk: Disk, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
    def act(place: Any, *more: Any, **named: Any) -> Any:
        there_already = name == "mkdir" and Path(place).exists()  # asking for it is no step
        if disk.holds(place) and not there_already and disk.step(name):
            raise disk.error
        return real(place, *more, **named)

    return act


def _opening(disk: Disk, real: Callable[..., int]) -> Callable[..., int]:
    def opened(place: Any, flags: int, *more: Any, **named: Any) -> int:
        watched = bool(flags & WRITABLE) and disk.holds(place)
        if watched and disk.step("os.open"):
            raise disk.error
        handle = real(place, flags, *more, **named)
        (disk.handles.add if watched else disk.handles.discard)(handle)  # numbers come again
        return handle

    return opened


def _wrapping(disk: Disk, real: Callable[..., Any]) -> Callable[..., Any]:
    def opened(place: Any, mode: str = "r", *more: Any, **named: Any) -> Any:
        if not set(mode) & set("wax+") or not disk.holds(place):
            return real(place, mode, *more, **named)
        if disk.step("open"):
            raise disk.error
        file = real(place, mode, *more, **named)
        disk.handles.add(file.fileno())
        return Failing(disk, file)

    return opened
