"""Drawings are trees: whatever a text holds, it is a text."""

from __future__ import annotations

from xml.etree import ElementTree

from quietcool.show.drawing import SPACE, Drawing, fitting
from tests.show.solved_rigs import HOSTILE


def test_a_text_stays_a_text() -> None:
    drawing = Drawing(100.0, 50.0, HOSTILE)
    drawing.text(1.0, 2.0, HOSTILE, longest=200)
    root = ElementTree.fromstring(drawing.svg())
    (text,) = root
    assert text.tag == f"{{{SPACE}}}text"
    assert text.text == HOSTILE
    assert root.get("aria-label") == HOSTILE


def test_control_characters_do_not_break_the_tree() -> None:
    drawing = Drawing(100.0, 50.0, "a\x00b")
    drawing.text(1.0, 2.0, "\x1b[2J\x00")
    ElementTree.fromstring(drawing.svg())


def test_a_text_that_fits_stays_whole() -> None:
    assert fitting("pump", 40.0, 11.0) == "pump"
    assert fitting("a very long name", 40.0, 11.0).endswith("…")
