"""Writes files whole or not at all: what `guards` is for reading. No other module of the package writes a file."""

from __future__ import annotations

import os
import stat
import tempfile
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO

from quietcool.entry.build import Build
from quietcool.errors import InputError, Mistake
from quietcool.units import clean


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file at once: whoever looks sees the old one or the new one, never half of it.

    Raises
    ------
    InputError
        If the place cannot be written to, or holds something that is no file: a device is not replaced by one.
    """
    body = content.encode() if isinstance(content, str) else content
    part: Path | None = None
    try:
        _refuse_what_is_no_file(path)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".part")
        part = Path(name)
        with _opened(handle) as file:
            file.write(body)
            file.flush()
            os.fsync(file.fileno())
        mask = os.umask(0)
        os.umask(mask)
        part.chmod(0o666 & ~mask)  # as any file of the user: temporary ones are private
        part.replace(path)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        raise _unwritable(path, error) from None
    finally:
        if part is not None:
            with suppress(OSError):
                part.unlink(missing_ok=True)


def made_folder(path: Path) -> Path:
    """Return a folder that is there, made if need be; InputError if it cannot be."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        raise _unwritable(path, error) from None
    return path


def refuse_places(file: Path, folders: Iterable[Path], build_file: Path, build: Build) -> None:
    """Raise InputError where a file and folders beside it can never be written."""
    refuse_place(file, build_file, build)
    for folder in folders:
        refuse_folder(folder)


def refuse_place(path: Path, build_file: Path, build: Build) -> None:
    """Raise InputError where a file can never be written, before hours are spent on what it shall hold.

    That is where it would be over one that was read, where there is no folder, and where nothing but a file is.
    """
    try:
        folder, place = build_file.resolve().parent, path.resolve()
        if place in {build_file.resolve(), *((folder / name).resolve() for name in build.inputs)}:
            required, advice = "a file that is not part of the build", "write another name"
            raise InputError([Mistake(_shown(path), None, None, "", required, "one that was read", advice)])
        _refuse_what_is_no_file(path)
        if not path.parent.is_dir():
            raise FileNotFoundError(2, "no such folder")
        if not os.access(path.parent, os.W_OK):
            raise PermissionError(13, "a folder that may not be written to")
    except (OSError, RuntimeError, ValueError) as error:  # RuntimeError: links in a circle
        raise _unwritable(path, error) from None


def refuse_folder(path: Path) -> None:
    """Raise InputError where a folder can never be made or written into."""
    try:
        there = next(place for place in (path, *path.absolute().parents) if place.exists())
        if not there.is_dir():
            raise NotADirectoryError(20, "a file where a folder is needed")
        if not os.access(there, os.W_OK):
            raise PermissionError(13, "a folder that may not be written to")
    except (OSError, ValueError) as error:
        raise _unwritable(path, error) from None


def _opened(handle: int) -> BinaryIO:
    """Open a file by its number, which is given back where that fails."""
    try:
        return os.fdopen(handle, "wb")
    except OSError:
        os.close(handle)
        raise


def _refuse_what_is_no_file(path: Path) -> None:
    """Raise OSError where something is that is no file."""
    if not path.name:
        raise IsADirectoryError(21, "a folder")
    if path.exists() and not stat.S_ISREG(path.stat().st_mode):
        raise OSError(22, "a folder" if path.is_dir() else "something that is no regular file")


def _unwritable(path: Path, error: Exception) -> InputError:
    found = clean(getattr(error, "strerror", None) or "a path that no file can have", 120)
    return InputError([Mistake(_shown(path), None, None, "", "a place that can be written to", found, "write another")])


def _shown(path: Path) -> str:
    return clean(str(path), 400)
