"""Small drawings as SVG: an element tree, so that no text can become markup, and colours by the names of `look.py`."""

from __future__ import annotations

from xml.etree import ElementTree

from quietcool.show.look import FONT, INKS
from quietcool.units import clean

SPACE = "http://www.w3.org/2000/svg"
CHARACTER = 0.56  # mean width of a character, in parts of the text size
LONGEST_NAME = 64


def paint(name: str) -> str:
    """Return a colour that follows the ground: the page's variable, else the colour on light ground."""
    return f"var(--{name},{INKS[name][0]})"


class Drawing:
    """An SVG of given size in its own units; it grows to the width it is given."""

    def __init__(self, width: float, height: float, title: str) -> None:
        self.width, self.height = width, height
        self.root = ElementTree.Element(
            "svg",
            {
                "xmlns": SPACE,
                "viewBox": f"0 0 {_text(width)} {_text(height)}",
                "role": "img",
                "aria-label": clean(title, 2000),
                "font-family": FONT,
                "class": "drawing",
            },
        )

    def path(self, steps: str, colour: str, *, width: float = 0.0, fill: str = "none", **more: str) -> None:
        """Draw a path."""
        shape = {"d": steps, "fill": fill if fill == "none" else paint(fill)}
        if width > 0.0:
            shape |= {"stroke": paint(colour), "stroke-width": _text(width)}
        ElementTree.SubElement(self.root, "path", shape | _attributes(more))

    def box(self, x: float, y: float, width: float, height: float, fill: str, edge: str = "", **more: str) -> None:
        """Draw a rectangle."""
        shape = {"x": _text(x), "y": _text(y), "width": _text(width), "height": _text(height)}
        shape["fill"] = fill if fill == "none" else paint(fill)
        if edge:
            shape |= {"stroke": paint(edge), "stroke-width": "1.2"}
        ElementTree.SubElement(self.root, "rect", shape | _attributes(more))

    def text(
        self, x: float, y: float, said: str, *, size: float = 11.0, colour: str = "ink", anchor: str = "start",
        bold: bool = False, halo: bool = False, longest: int = LONGEST_NAME, turn: float = 0.0,
    ) -> None:  # fmt: skip
        """Write one line; `halo` keeps it legible over lines."""
        shape = {"x": _text(x), "y": _text(y), "font-size": _text(size), "fill": paint(colour), "text-anchor": anchor}
        if bold:
            shape["font-weight"] = "600"
        if halo:
            shape |= {
                "stroke": paint("paper"), "stroke-width": "3", "paint-order": "stroke", "stroke-linejoin": "round"
            }  # fmt: skip
        if turn:
            shape["transform"] = f"rotate({_text(turn)} {_text(x)} {_text(y)})"
        ElementTree.SubElement(self.root, "text", shape).text = clean(said, longest)

    def svg(self) -> str:
        """Return the drawing."""
        return ElementTree.tostring(self.root, encoding="unicode")


def fitting(said: str, width: float, size: float = 11.0) -> str:
    """Return a text cut to a width, by the mean width of its characters.

    >>> fitting("bottom intake", 40.0)
    'botto…'
    """
    most = max(int(width / (CHARACTER * size)), 2)
    return said if len(said) <= most else f"{said[: most - 1].rstrip()}…"


def _attributes(more: dict[str, str]) -> dict[str, str]:
    return {name.replace("_", "-"): value for name, value in more.items()}


def _text(value: float) -> str:
    return f"{round(value, 2):g}"
