"""Writing files: whole or not at all, never over what was read, and tables that a spreadsheet cannot mistake."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path

from quietcool.entry.build import Build
from quietcool.errors import InputError, Mistake
from quietcool.show.tradeoff_answer import csv_text

NUMBER = re.compile(r"[-+]?[0-9.]+([eE][-+]?[0-9]+)?")


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file at once: whoever looks sees the old one or the new one, never half of it.

    Raises
    ------
    InputError
        If the place cannot be written to.
    """
    body = content.encode() if isinstance(content, str) else content
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".part")
    except OSError as error:
        raise _unwritable(path, error) from None
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(body)
            file.flush()
            os.fsync(file.fileno())
        mask = os.umask(0)
        os.umask(mask)
        part.chmod(0o666 & ~mask)  # as any file of the user: temporary ones are private
        part.replace(path)
    except OSError as error:
        raise _unwritable(path, error) from None
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def made_folder(path: Path) -> Path:
    """Return a folder that is there, made if need be; InputError if it cannot be."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _unwritable(path, error) from None
    return path


def refuse_inputs(path: Path, build_file: Path, build: Build) -> None:
    """Raise InputError where a file to be written is one that was read."""
    folder = build_file.resolve().parent
    if path.resolve() in {build_file.resolve(), *((folder / name).resolve() for name in build.inputs)}:
        required, advice = "a file that is not part of the build", "write another name"
        raise InputError([Mistake(str(path), None, None, "", required, "one that was read", advice)])


def table_csv(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    r"""Return a table as comma-separated values; a text that a spreadsheet would take for a formula gets a quote.

    >>> table_csv(("group", ">level, dB(A)"), [("=1+1", "-3.2")])
    'group,"level, dB(A)"\n\'=1+1,-3.2\n'
    """
    return csv_text([heading.lstrip(">") for heading in columns], [[_cell(cell) for cell in row] for row in rows])


def _cell(cell: str) -> str:
    if cell == "-" or NUMBER.fullmatch(cell):
        return "" if cell == "-" else cell
    return f"'{cell}" if cell[:1] in ("=", "+", "-", "@", "\t", "\r") else cell


def _unwritable(path: Path, error: OSError) -> InputError:
    found = error.strerror or type(error).__name__
    return InputError([Mistake(str(path), None, None, "", "a place that can be written to", found, "write another")])
