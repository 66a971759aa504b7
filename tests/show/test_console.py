"""Text stands as it is written: no markup, no control characters, 80 columns in a pipe."""

from __future__ import annotations

import pytest

from quietcool.show.console import listing, margin, number, rendered, rpm, table

HOSTILE = "[bold red]x[/] [link=file:///]y[/link] :smile: \x1b[2J\x07\u202e"


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (None, 1, "-"),
        (float("nan"), 1, "-"),
        (float("-inf"), 1, "-"),
        (-0.04, 1, "0.0"),
        (-0.06, 1, "-0.1"),
        (41.26, 1, "41.3"),
    ],
)
def test_numbers(value: float | None, digits: int, text: str) -> None:
    assert number(value, digits) == text


@pytest.mark.parametrize(
    ("value", "text"), [(0.0, "0.0"), (-0.0004, "-0.0004"), (0.03, "0.03"), (-1.26, "-1.3"), (None, "-")]
)
def test_a_broken_limit_never_reads_as_zero(value: float | None, text: str) -> None:
    assert margin(value) == text


def test_speeds_have_no_trailing_zero() -> None:
    assert [rpm(1100.0), rpm(0.0), rpm(1102.5), rpm(20_000.0)] == ["1100", "0", "1102.5", "20000"]


def test_names_are_neither_markup_nor_control() -> None:
    text = rendered(
        [HOSTILE, table(HOSTILE, [HOSTILE, ">" + HOSTILE], [[HOSTILE, HOSTILE]]), listing(HOSTILE, [HOSTILE])]
    )
    first = text.splitlines()[0]
    assert first.startswith("[bold red]x[/] [link=file:///]y[/link] :smile: \\x1b[2J\\x07\\u202e")
    assert not {character for character in text if not character.isprintable()} - {"\n"}
    assert text.count("bold") == 1 + 5 + 2  # sentence; title, headings and cells; title and line


def test_a_wide_table_survives_80_columns_without_losing_a_digit() -> None:
    long = "W" * 64
    rows = [[long, long, "1234.5", "-1234.5", "20000", "0.001"]] * 2
    text = rendered([table("Many", ["first", "second", ">a, m3/h", ">b, degC", ">c, rpm", ">d, L/min"], rows)])
    assert max(len(line) for line in text.splitlines()) <= 80
    assert "\u2026" not in text
    assert text.count("W") == 2 * 2 * 64
    for digits in ("1234.5", "-1234.5", "20000", "0.001"):
        assert digits in text


def test_a_sentence_stays_on_one_line() -> None:
    sentence = "word " * 60 + "end"
    assert rendered([sentence]) == sentence + "\n"
