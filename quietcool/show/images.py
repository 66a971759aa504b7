"""Pictures as files: SVG and PNG through plotly's kaleido and a Chromium on the machine, both optional."""

from __future__ import annotations

import base64
import importlib.util
import re
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from quietcool.entry.writing import made_folder, write_whole
from quietcool.errors import InputError, Mistake
from quietcool.show.look import FONT, TITLE_WIDTH, Picture, ink, label, title_of, wrapped

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
    drawn = drawn_as_files(pictures)
    written = []
    for name, body in drawn.items():
        write_whole(folder / name, body)
        written.append(folder / name)
    return written


def drawn_as_files(pictures: Sequence[Picture]) -> dict[str, bytes]:
    """Return every picture as the bytes of an SVG and of a PNG, by file name; one browser draws them all."""
    import plotly.io

    found: dict[str, bytes] = {}
    with tempfile.TemporaryDirectory() as place:
        figures, files, scales = [], [], []
        for picture in pictures:
            figure = picture.plotly() if picture.figure is not None else framed(picture)
            for kind, scale in (("svg", 1.0), ("png", SCALE)):
                if kind == "png" or picture.drawing is None:
                    figures.append(figure)
                    files.append(Path(place) / f"{picture.name}.{kind}")
                    scales.append(scale)
        heights = [round(figure.layout.height) for figure in figures]
        try:
            plotly.io.write_images(figures, files, scale=scales, width=WIDTH, height=heights)
            made = {file.name: file.read_bytes() for file in files}
        except Exception as error:  # the library raises its own, and those of a browser that does not start
            advice = "install chromium, or leave --images out; the report itself does not need it"
            told = f"{type(error).__name__}: {(str(error).strip().splitlines() or ['no reason given'])[0]}"
            raise InputError([Mistake("--images", None, None, "", "a Chromium that starts", told, advice)]) from None
    for picture in pictures:
        drawing = f"{picture.name}.svg", f"{picture.name}.png"
        found[drawing[0]] = made[drawing[0]] if picture.drawing is None else standalone(picture.drawing).encode()
        found[drawing[1]] = made[drawing[1]]
    return found


def standalone(drawing: str) -> str:
    """Return a drawing with the colours of light ground, and that ground, instead of the page's variables."""
    start, mark, rest = VARIABLE.sub(r"\1", drawing).partition(">")
    return f'{start}{mark}<rect width="100%" height="100%" fill="{ink("paper")}"/>{rest}'


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
        title=title_of(wrapped(label(picture.title), TITLE_WIDTH), tall + HEAD + 20),
        font={"family": FONT, "color": ink("ink")},
        paper_bgcolor=ink("paper"),
        height=tall + HEAD + 20,
        margin={"l": 20, "r": 20, "t": HEAD, "b": 20},
        xaxis={"visible": False},
        yaxis={"visible": False},
        template="none",
    )
    return figure
