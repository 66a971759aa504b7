"""Pictures as files, where what draws them is there; a sentence where it is not."""

from __future__ import annotations

import importlib.util
import shutil
from pathlib import Path

import pytest

from quietcool.errors import InputError
from quietcool.show import images, plots
from tests.show.solved_rigs import solved


def test_without_the_extra_a_sentence_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(InputError, match=r'pip install "quietcool\[images\]"'):
        images.write_images([plots.air_map(*solved())], tmp_path)


def test_a_drawing_alone_has_its_colours() -> None:
    text = images.drawn_as(plots.heat_flow(*solved()), "svg").decode()
    assert "var(" not in text
    assert text.startswith("<svg")


@pytest.mark.slow
@pytest.mark.skipif(
    importlib.util.find_spec("kaleido") is None or shutil.which("chromium") is None, reason="no kaleido or no chromium"
)
def test_figures_and_drawings_become_png(tmp_path: Path) -> None:
    written = images.write_images([plots.air_map(*solved())], tmp_path)
    assert [path.name for path in written] == ["air-map.svg", "air-map.png"]
    assert written[1].read_bytes().startswith(b"\x89PNG\r\n\x1a\n")  # PNG specification (W3C 2003), signature
