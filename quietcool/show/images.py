"""Pictures as files: SVG and PNG through plotly's kaleido and a Chromium on the machine, both optional."""

from __future__ import annotations

import base64
import importlib.util
import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from quietcool.errors import InputError, Mistake
from quietcool.show.files import made_folder, write_whole
from quietcool.show.look import FONT, Picture, ink, label, wrapped

if TYPE_CHECKING:
    import plotly.graph_objects as go

WIDTH = 900  # of a picture [px]
HEAD = 64  # over a drawing, for its title [px]
SCALE = 2.0  # pixels of a PNG for each of the picture
VARIABLE = re.compile(r"var\(--[a-z]+,(#[0-9a-f]{6})\)")


def write_images(pictures: Sequence[Picture], folder: Path) -> list[Path]:
    """Write every picture as SVG and as PNG.

    Raises
    ------
    InputError
        If what draws them is not installed.
    """
    if importlib.util.find_spec("kaleido") is None:
        advice = 'install it with pip install "quietcool[images]"; the report itself does not need it'
        raise InputError([Mistake("--images", None, None, "", "the images extra", "no kaleido", advice)])
    made_folder(folder)
    written = []
    for picture in pictures:
        for kind in ("svg", "png"):
            path = folder / f"{picture.name}.{kind}"
            write_whole(path, drawn_as(picture, kind))
            written.append(path)
    return written


def drawn_as(picture: Picture, kind: str) -> bytes:
    """Return a picture as the bytes of an SVG or PNG, with its title."""
    if kind == "svg" and picture.drawing is not None:
        return standalone(picture.drawing).encode()
    figure = picture.plotly() if picture.figure is not None else framed(picture)
    try:
        made: bytes = figure.to_image(format=kind, width=WIDTH, scale=SCALE if kind == "png" else 1.0)
    except Exception as error:  # the library raises its own, and those of a browser that does not start
        advice = "install chromium, or leave --images out; the report itself does not need it"
        found = f"{type(error).__name__}: {str(error).splitlines()[0] if str(error) else 'no reason given'}"
        raise InputError([Mistake("--images", None, None, "", "a Chromium that starts", found, advice)]) from None
    return made


def standalone(drawing: str) -> str:
    """Return a drawing with the colours of light ground instead of the page's variables."""
    return VARIABLE.sub(r"\1", drawing)


def framed(picture: Picture) -> go.Figure:
    """Return a drawing as the background of an empty figure, under its title."""
    import plotly.graph_objects as graph

    text = standalone(picture.drawing or "")
    size = re.search(r'viewBox="0 0 ([0-9.]+) ([0-9.]+)"', text)
    if size is None:
        raise ValueError(f"{picture.name} has no size")
    width, height = (float(number) for number in size.groups())
    shown = WIDTH - 40
    tall = shown * height / width
    source = "data:image/svg+xml;base64," + base64.b64encode(text.encode()).decode()
    figure = graph.Figure()
    figure.add_layout_image(
        source=source, xref="paper", yref="paper", x=0, y=1, sizex=1, sizey=1, sizing="contain", layer="below"
    )
    figure.update_layout(
        title={"text": "<br>".join(wrapped(label(picture.title), 64)), "x": 0.02, "font": {"size": 16}},
        font={"family": FONT, "color": ink("ink")},
        paper_bgcolor=ink("paper"),
        height=tall + HEAD + 20,
        margin={"l": 20, "r": 20, "t": HEAD, "b": 20},
        xaxis={"visible": False},
        yaxis={"visible": False},
        template="none",
    )
    return figure
