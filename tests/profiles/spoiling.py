"""Spoils files, bodies and words at random: the same generator, the same spoiling."""

from __future__ import annotations

import re
from collections.abc import Callable
from copy import deepcopy
from random import Random
from typing import Any

FRAGMENTS = [
    "[", "]", "{", "}", "=", ".", ",", '"', "'", '"""', "'''", "\n", "#", "\\", "\0", "\x1b[2J", "\u2028", "é", "-",
    "0", "1e400", "nan", "inf", "-inf", "true", "[[enclosure]]\n", "[loop]\n", "[[state]]\n", "[[fan_group]]\n",
    '"pump"', '"room"', "{ parallel = [[]] }", "[[0, 1]]", "1979-05-27", "07:32:00", "0xff", "1_000", "name = 3\n",
    "name", "note = []\n", "points = [[1]]\n", '"12 CFM"', '"4.2 B"', "\ufeff", "\r\n", "\u202e",
    "a.b.c.d.e.f.g.h.i.j = 1\n",
    "format = 2\n", "parts = ['..']\n", "\U0001f600",
]  # fmt: skip
VALUES = [
    '""', '"x"', "0", "-1", "1", "1e300", "1e-300", "-0.0", "nan", "inf", "true", "[]", "{}", "[[]]", "[{}]",
    "{ a = [1, {}] }", '["a", 1]', "07:32:00", "9223372036854775807", '"room"', '"pump"', '[["pump"]]',
    "[{ parallel = 3 }]", '"1e400 m"', '"3 furlong"', '"\\u0000"', "[[0, 1], [1, 0]]", "[1, 2, 3, 4, 5, 6, 7, 8]",
    '"20 degC"', '"-400 degC"', "1000000", "0.5", "[0.1, 0.9]",
]  # fmt: skip
FACTORS = [-1.0, 0.0, 1e-12, 1e-6, 1e-3, 0.1, 0.5, 1.1, 2.0, 10.0, 1e3, 1e6, 1e12]
NUMBER = re.compile(r"(?<![\w.\"])-?\d+(?:\.\d+)?(?![\w\"])")
MOST_BYTES = 300_000  # a little over what is read


def spoiled_text(rng: Random, text: str) -> str:
    """Cut, put, replace, repeat or move a few pieces; syntax mostly breaks."""
    for _ in range(rng.randint(1, 4)):
        start = rng.randint(0, len(text))
        end = min(len(text), start + rng.randint(0, 40))
        piece = (
            rng.choice(FRAGMENTS) if rng.random() < 0.8 else "".join(chr(rng.randrange(1, 0xD800)) for _ in range(4))
        )
        kind = rng.choice(["cut", "put", "replace", "repeat", "move"])
        if kind == "cut":
            text = text[:start] + text[end:]
        elif kind == "put":
            text = text[:start] + piece + text[start:]
        elif kind == "replace":
            text = text[:start] + piece + text[end:]
        elif kind == "repeat":
            times = rng.choice([1, 2, 50, 5000]) if rng.random() < 0.2 else 1
            text = text[:end] + text[start:end] * times + text[end:]
        else:
            there = rng.randint(0, len(text))
            text = text[:there] + text[start:end] + text[there:]
    return text[:MOST_BYTES]


def spoiled_lines(rng: Random, text: str) -> str:
    """Lines that are missing, twice, elsewhere, or whose key is another's; syntax often stays right."""
    lines = text.split("\n")
    for _ in range(rng.randint(1, 3)):
        row = rng.randrange(len(lines))
        kind = rng.choice(["drop", "twice", "swap", "key", "block"])
        if kind == "drop" and len(lines) > 1:
            del lines[row]
        elif kind == "twice":
            lines.insert(row, lines[row])
        elif kind == "swap":
            other = rng.randrange(len(lines))
            lines[row], lines[other] = lines[other], lines[row]
        elif kind == "key":
            key, equals, rest = lines[row].partition("=")
            there = rng.choice(lines).partition("=")[0]
            lines[row] = f"{there if rng.random() < 0.5 else key[:-2] + 'x '}{equals}{rest}"
        else:
            end = min(len(lines), row + rng.randint(1, 12))
            lines[end:end] = lines[row:end] * rng.choice([1, 1, 1, 30])
    return "\n".join(lines)[:MOST_BYTES]


def wrong_values(rng: Random, text: str) -> str:
    """One to three values that are another TOML value: syntax stays right, sense does not."""
    lines = text.split("\n")
    rows = [i for i, line in enumerate(lines) if "=" in line and not line.rstrip().endswith(("[", "{"))]
    for row in rng.sample(rows, min(len(rows), rng.choice([1, 1, 2, 3]))):
        lines[row] = f"{lines[row].split('=')[0]}= {rng.choice(VALUES)}"
    return "\n".join(lines)


def other_numbers(rng: Random, text: str) -> str:
    """One to three numbers times a factor: often accepted, then it must be solved."""
    places = list(NUMBER.finditer(text))
    for place in sorted(rng.sample(places, min(len(places), rng.randint(1, 3))), key=lambda p: -p.start()):
        value = float(place[0]) * rng.choice(FACTORS)
        said = str(int(value)) if value == int(value) and abs(value) < 1e15 and "." not in place[0] else repr(value)
        text = text[: place.start()] + said + text[place.end() :]
    return text


SPOILERS: list[Callable[[Random, str], str]] = [spoiled_text, spoiled_lines, wrong_values, other_numbers]


def spoiled_body(rng: Random, body: dict[str, Any], names: list[str]) -> Any:
    """A JSON body with other keys, kinds and values; a third stays as it is but for one number."""
    wrong: list[Any] = [
        None, True, "", "x", 0, -1, 1e308, 30_000, 30_001, [], {}, [[]], {"a": {}}, "\0", "é" * 65, names, 2**70, 0.1,
        *names,
    ]  # fmt: skip
    made: Any = {key: dict(value) if isinstance(value, dict) else value for key, value in body.items()}
    for _ in range(rng.randint(1, 3)):
        inner = [value for value in made.values() if isinstance(value, dict)]
        table = rng.choice(inner) if inner and rng.random() < 0.5 else made
        kind = rng.choice(["value", "number", "drop", "add"])
        keys = list(table)
        if kind == "add" or not keys:
            table[rng.choice([*names, "", "x", "\0", "é" * 65, "a" * 3000])] = deepcopy(rng.choice(wrong))
        elif kind == "drop":
            del table[rng.choice(keys)]
        elif kind == "number":
            table[rng.choice(keys)] = rng.choice([0.0, 600, 1000.0, 3000, 25.0, 22.5])
        else:
            table[rng.choice(keys)] = deepcopy(rng.choice(wrong))
    return made if rng.random() < 0.97 else rng.choice([*wrong, [made], {"a": [made] * 200}])
