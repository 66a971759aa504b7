"""Reads files that may be hostile: nothing here hangs, fills the memory or leaves a folder tree.

The standard TOML reader takes seconds and gigabytes for one dotted key of 20,000 parts, and its recursion
follows nested brackets. So size, dots and brackets are counted first, in one pass.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from quietcool.entry.mistakes import Complaint
from quietcool.units import clean

LARGEST_FILE = 256_000  # bytes
LARGEST_SUM = 4_000_000  # bytes of all part sheets of a build together
MOST_DOTS = 8  # in one key or header
DEEPEST_BRACKETS = 16


@dataclass
class Document:
    """A file that was read, or why it could not be."""

    shown_as: str  # the path for messages
    text: str = ""
    tree: dict[str, Any] | None = None  # None where the file could not be read
    sha256: str = ""
    size: int = 0
    complaints: list[Complaint] = field(default_factory=list)

    def refuse(self, required: str, found: str, advice: str, at: int | None = None) -> None:
        """Note why the file cannot be read, with the place where this shows."""
        line = column = None
        if at is not None:
            line = self.text.count("\n", 0, at) + 1
            column = at - self.text.rfind("\n", 0, at)
        self.complaints.append(Complaint((), required, found, advice, line=line, column=column))


class PrintedFloat(float):
    """A float that remembers its digits as they stand in the file."""

    text: str

    def __new__(cls, text: str) -> PrintedFloat:
        """Read the digits."""
        number = super().__new__(cls, text)
        number.text = text
        return number


def read_document(path: Path, shown_as: str) -> Document:
    """Return the document in a file; its complaints say why there is none."""
    document = Document(shown_as)
    content = _content(path, document)
    if content is None:
        return document
    document.size = len(content)
    document.sha256 = hashlib.sha256(content).hexdigest()
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        advice = "save the file as UTF-8"
        document.complaints.append(
            Complaint((), "UTF-8 text", f"the byte 0x{content[error.start]:02x}", advice, line=line)
        )
        return document
    document.text = text.replace("\r\n", "\n")
    if not _is_bomb(document):
        _parse(document)
    return document


def _content(path: Path, document: Document) -> bytes | None:
    """Return the bytes of a regular file of bounded size; a pipe is never waited for."""
    required = f"a TOML file of at most {LARGEST_FILE // 1000} kB"
    try:
        with os.fdopen(os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC), "rb") as stream:
            if not stat.S_ISREG(os.fstat(stream.fileno()).st_mode):
                document.refuse(required, "something that is no regular file", "give the path of a TOML file")
                return None
            content = stream.read(LARGEST_FILE + 1)
    except IsADirectoryError:
        document.refuse(required, "a folder", "give the path of the file itself")
        return None
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        reason = getattr(error, "strerror", None) or "a path that no file can have"
        document.refuse(required, reason.lower(), "check the path and the permissions")
        return None
    if len(content) > LARGEST_FILE:
        document.refuse(required, f"more than {LARGEST_FILE} bytes", "keep only what describes the rig")
        return None
    return content


# One token of TOML as far as dots and brackets go. Strings and comments are swallowed whole (possessively, so that
# this is linear in the file); a lone quote begins a string that never ends, where the reader stops too.
_TOKEN = re.compile(
    r'''
      (?P<skip> \#[^\n]*+
        | """(?:[^"\\]|\\.|"{1,2}(?!"))*+"{3,5}
        | \'\'\'(?:[^']|'{1,2}(?!'))*+'{3,5}
        | "(?!"")(?:[^"\\\n]|\\[^\n])*+"
        | '(?!\'\')[^'\n]*+'
        | [^\[\]{}.,=\n"'\#]++ )
    | (?P<open> [\[{] ) | (?P<close> [\]}] ) | (?P<dot> \. ) | (?P<end> [,=\n] ) | (?P<lone> ["'] )
    ''',
    re.VERBOSE | re.DOTALL,
)


def _is_bomb(document: Document) -> bool:
    """Tell whether keys have too many dots or brackets nest too deep, and complain."""
    dots = depth = 0
    for token in _TOKEN.finditer(document.text):
        kind = token.lastgroup
        if kind == "dot":
            dots += 1
            if dots > MOST_DOTS:
                required = f"keys and headers with at most {MOST_DOTS} dots"
                document.refuse(required, f"more than {MOST_DOTS}", "take dots out of this key", token.start())
                return True
        elif kind == "open":
            dots, depth = 0, depth + 1
            if depth > DEEPEST_BRACKETS:
                required = f"brackets nested at most {DEEPEST_BRACKETS} deep"
                document.refuse(required, f"more than {DEEPEST_BRACKETS}", "close brackets before here", token.start())
                return True
        elif kind == "close":
            dots, depth = 0, max(depth - 1, 0)
        elif kind == "end":
            dots = 0
        elif kind == "lone":
            break
    return False


_WHERE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)\Z")

_DIGITS = re.compile(r"[0-9_]{4000}")


def _parse(document: Document) -> None:
    required = "valid TOML"
    try:
        document.tree = tomllib.loads(document.text, parse_float=PrintedFloat)
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        where = _WHERE.search(message)
        line, column = (int(where[1]), int(where[2])) if where and where[1] else (document.text.count("\n") + 1, None)
        found = clean(_WHERE.sub("", message), 120)
        advice = 'correct this line: key = value, texts in "quotes", each key and table once'
        document.complaints.append(Complaint((), required, found, advice, line=line, column=column))
    except ValueError:  # an integer of thousands of digits
        digits = _DIGITS.search(document.text)
        found = "a number of thousands of digits"
        document.refuse(required, found, "write fewer digits", digits.start() if digits else None)


def inside(path: Path, folder: Path) -> Path | None:
    """Return the place that a path leads to, links followed, if it lies in the tree of `folder`; else None.

    Raises OSError where there is nothing at the path.
    """
    try:
        resolved = path.resolve(strict=True)
    except (RuntimeError, ValueError) as error:  # links in a circle; a NUL in the path
        raise OSError(f"no such place: {error}") from None
    return resolved if resolved.is_relative_to(folder) else None
