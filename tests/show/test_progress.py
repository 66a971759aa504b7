"""Progress: nothing in the first second, one line on a terminal, few lines in a log."""

from __future__ import annotations

import io
import math

from quietcool.decide.quietest import Progress
from quietcool.show.progress import ProgressLine, words


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


class Closed(io.StringIO):
    def write(self, text: str) -> int:
        raise BrokenPipeError


def run(stream: io.StringIO, times: list[float]) -> str:
    clock = iter([0.0, *times])
    with ProgressLine(stream, lambda: next(clock)) as line:
        for _ in times:
            line(Progress("searching render", 0.5, 31.25, -math.inf))
    return stream.getvalue()


def test_what_takes_no_second_says_nothing() -> None:
    assert run(Terminal(), [0.1, 0.5, 0.9]) == ""
    assert run(io.StringIO(), [0.99]) == ""


def test_a_log_gets_a_line_now_and_then() -> None:
    text = run(io.StringIO(), [1.5, 2.0, 5.0, 11.0, 11.6, 12.0])
    assert text == "2 s: searching render, 50%, best 31.25 dB(A)\n12 s: searching render, 50%, best 31.25 dB(A)\n"


def test_a_terminal_has_one_line_that_is_wiped() -> None:
    text = run(Terminal(), [1.5, 1.6, 3.0])
    assert text.count("searching") == 2
    assert "\n" not in text
    assert text.endswith("\r\x1b[K")


def test_nobody_listening_is_no_failure() -> None:
    assert run(Closed(), [2.0, 20.0]) == ""


def test_unknown_numbers_are_left_out_and_names_are_clean() -> None:
    assert words(Progress("proving \x1b[2J", math.nan, math.inf, 22.456)) == "proving \\x1b[2J, none below 22.46"
