"""Pictures as files, where what draws them is there; a sentence where it is not."""

from __future__ import annotations

import importlib.util
import os
import shutil
import struct
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

from quietcool.errors import InputError
from quietcool.show import images, plots
from tests.show.solved_rigs import solved


def test_without_the_extra_a_sentence_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(InputError, match=r'pip install "quietcool\[images\]"'):
        images.write_images([plots.air_map(*solved())], tmp_path)


def test_a_drawing_alone_has_its_colours() -> None:
    text = images.standalone(plots.heat_flow(*solved()).drawing or "")
    assert "var(" not in text
    assert text.startswith("<svg")


NO_BROWSER = importlib.util.find_spec("kaleido") is None or shutil.which("chromium") is None


@pytest.mark.slow
@pytest.mark.skipif(NO_BROWSER, reason="no kaleido or no chromium")
def test_figures_and_drawings_become_png_and_svg(tmp_path: Path) -> None:
    """PNG specification (W3C 2003), section 5: signature, then at bytes 16 to 24 width and height."""
    build, state, point = solved()
    drawing, figure = plots.air_map(build, state, point), plots.coolant_ring(build, state, point)
    written = images.write_images([drawing, figure], tmp_path)
    assert [path.name for path in written] == ["air-map.svg", "air-map.png", "coolant-ring.svg", "coolant-ring.png"]
    for path in written[1::2]:
        body = path.read_bytes()
        assert body.startswith(b"\x89PNG\r\n\x1a\n")
        width, height = struct.unpack(">II", body[16:24])
        assert width == images.SCALE * images.WIDTH
        assert height > 400
    for path in written[::2]:
        root = ElementTree.fromstring(path.read_text(encoding="utf-8"))
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
    title = ElementTree.fromstring(written[2].read_text(encoding="utf-8")).itertext()
    assert "The coolant is" in "".join(title)


@pytest.mark.slow
@pytest.mark.skipif(importlib.util.find_spec("kaleido") is None, reason="no kaleido")
def test_without_a_browser_a_sentence_says_so(tmp_path: Path) -> None:
    """In a process of its own, which finds no browser: its PATH is empty and the variable points nowhere."""
    place = tmp_path / "pictures"
    asked = "from pathlib import Path; from quietcool.show import images, plots\n"
    asked += "from tests.show.solved_rigs import solved\n"
    run = f"{asked}images.write_images([plots.coolant_ring(*solved())], Path({str(place)!r}))"
    nowhere = {**os.environ, "PATH": str(tmp_path), "BROWSER_PATH": str(tmp_path / "none")}
    ended = subprocess.run(
        [sys.executable, "-c", run], env=nowhere, capture_output=True, text=True, check=False, timeout=120
    )  # fmt: skip
    assert ended.returncode != 0
    assert "a Chromium that starts" in ended.stderr
    assert "install chromium, or leave --images out" in ended.stderr
