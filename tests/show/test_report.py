"""The report: one file, the same bytes for the same inputs, names as text, and what its sheet promises holds."""

from __future__ import annotations

import base64
import hashlib
import json
import math
import os
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

import quietcool
from quietcool.decide.limits import margins
from quietcool.entry.demos import demo_path
from quietcool.show import handover
from quietcool.show.dossier import warmest_room
from quietcool.show.pages import LIBRARY, asset, json_script
from quietcool.show.report import leading_groups, report_html, report_sections
from quietcool.show.report_files import write_report
from quietcool.solve.operating_point import solve_operating_point
from tests.show.reports import gathered, hostile_report, small_dossier, small_report
from tests.show.solved_rigs import HOSTILE, check_picture, demo, small_answer

LARGEST = 2_500_000  # [bytes]


class Outline(HTMLParser):
    """Elements, texts of scripts and attributes of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.scripts: list[tuple[dict[str, str | None], str]] = []
        self.handlers: list[str] = []
        self.addresses: list[str] = []
        self._script: dict[str, str | None] | None = None
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.handlers += [name for name, _ in attrs if name.startswith("on")]
        self.addresses += [value or "" for name, value in attrs if name in ("src", "href", "action", "data")]
        if tag == "script":
            self._script = dict(attrs)

    def handle_data(self, data: str) -> None:
        if self._script is not None:
            self.scripts.append((self._script, data))
            self._script = None


def test_the_library_is_the_one_that_plotly_writes_for() -> None:
    import plotly.offline

    banner = re.search(r"plotly\.js \(cartesian - minified\) v([\d.]+)", asset(LIBRARY)[:200])
    assert banner is not None
    assert banner[1] == plotly.offline.get_plotlyjs_version()
    assert "MIT License" in asset("plotly-cartesian.LICENSE.txt")


@pytest.mark.slow
def test_one_file_below_its_size_that_points_nowhere() -> None:
    page = small_report()
    assert len(page.encode()) < LARGEST
    outline = Outline(page)
    assert all(address.startswith("#") for address in outline.addresses)
    assert not {"link", "iframe", "object", "embed", "base", "form"} & set(outline.tags)


@pytest.mark.slow
def test_the_same_inputs_give_the_same_bytes() -> None:
    again = gathered(demo("sample_room"))
    assert report_html(again, report_sections(again)) == small_report()


@pytest.mark.slow
def test_the_bytes_do_not_depend_on_where_and_how_it_runs(tmp_path: Path) -> None:
    """Two processes with other hash seeds, threads, folders, time zones and languages write one and the same file.

    Without time for proofs: what a proof reaches in a given time is the machine's affair.
    """
    made = []
    for name, changes in (
        ("one", {"PYTHONHASHSEED": "1", "TZ": "Asia/Tokyo", "LC_ALL": "C"}),
        ("another", {"PYTHONHASHSEED": "77", "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "TZ": "UTC"}),
    ):
        folder = tmp_path / name
        shutil.copytree(demo_path("sample_room").parent, folder)
        asked = ["report", "build.toml", "-o", "report.html", "--state", "idle", "--seconds", "0"]
        environment = {**os.environ, "PYTHONPATH": str(Path(quietcool.__file__).parents[1]), **changes}
        subprocess.run(
            [sys.executable, "-m", "quietcool", *asked], cwd=folder, env=environment, check=True, capture_output=True,
            timeout=600,
        )  # fmt: skip
        made.append((folder / "report.html").read_bytes())
    assert made[0] == made[1]


@pytest.mark.slow
def test_only_the_two_scripts_of_the_policy_may_run() -> None:
    """W3C, "Content Security Policy Level 3": a hash source is the base64 of the digest of the script's text."""
    outline = Outline(small_report())
    running = [text for attributes, text in outline.scripts if attributes.get("type") != "application/json"]
    assert len(running) == 2
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', small_report())
    assert policy is not None
    for text in running:
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"sha256-{digest}" in policy[1]
    assert "default-src &#39;none&#39;" in policy[1]
    assert "unsafe-inline" not in policy[1].split("style-src")[0]


@pytest.mark.slow
def test_markup_in_names_is_text() -> None:
    page = hostile_report()
    clean, outline = Outline(small_report()), Outline(page)
    assert outline.tags.count("script") == clean.tags.count("script")
    assert "img" not in outline.tags
    assert outline.handlers == []
    assert HOSTILE not in page
    assert "&lt;script&gt;alert(1)" in page


@pytest.mark.slow
def test_every_figure_has_words_and_numbers() -> None:
    sections = report_sections(small_dossier())
    shown = [picture for section in sections for picture in section.pictures]
    assert len(shown) >= 9
    for picture in shown:
        check_picture(picture)
    page = small_report()
    assert page.count("<summary>Numbers of this figure</summary>") == len(shown)
    assert page.count('role="img"') == len(shown)
    assert all(section.answers for section in sections)


@pytest.mark.slow
def test_the_sheet_s_warmest_room_is_where_a_limit_breaks() -> None:
    """Solve again a little below and a little above the room that the sheet names."""
    dossier = small_dossier()
    build = dossier.build
    for setting in dossier.answer.settings:
        (name,) = setting.states
        warmest = dossier.warmest_room[name]
        assert warmest is not None
        state = build.state(name)
        for over, kept in ((0.0, True), (0.3, warmest >= 318.0)):
            room = replace(state, room_temp=warmest + over)
            point = solve_operating_point(build, room, setting.speeds)
            assert bool(np.all(margins(build, room, point) >= 0.0)) == kept, (name, over)


def test_a_setting_that_breaks_a_limit_stands_no_room() -> None:
    build = demo("sample_room")
    slow = small_answer(build).settings[2]
    assert warmest_room(build, "bounce", replace(slow, speeds=np.array([400.0, 0.0, 1600.0]) / 60.0)) is None


@pytest.mark.slow
def test_the_channel_table_holds_the_settings() -> None:
    sheet = handover.channel_table(small_dossier())
    held = [("1", "front", "560"), ("2", "bottom", "stop"), ("-", "pump", "1800")]
    assert [row[:3] for row in sheet.rows[:3]] == held


@pytest.mark.slow
def test_the_parts_list_counts_every_part() -> None:
    counts = {row[1]: row[2] for row in handover.parts_list(demo("booth_wall")).rows}
    assert counts["fan-a-120x25"] == "6"
    assert counts["fan-b-120x30"] == "4"
    assert counts["mesh-filter"] == "2"
    assert counts["plate-large-die"] == "2"


@pytest.mark.slow
def test_tables_are_written_beside_the_report(tmp_path: Path) -> None:
    written = write_report(small_dossier(), tmp_path / "report.html", tmp_path / "tables")
    assert written[0].read_text() == small_report()
    assert len(written) > 15
    assert all(path.suffix == ".csv" for path in written[1:])
    channels = (tmp_path / "tables" / "01-channels.csv").read_text().splitlines()
    assert channels[1].startswith("1,front,560")


def test_no_text_ends_a_script_element() -> None:
    text = json_script({"a": "</script><!--\u2028&"})
    assert not set("<>&\u2028") & set(text)
    assert json.loads(text) == {"a": "</script><!--\u2028&"}


def test_the_plane_shows_the_two_loudest_groups_fans_first() -> None:
    build = demo("booth_wall")
    assert leading_groups(build, [20.0, 25.0, 10.0, 40.0]) == ("bottom", "side")
    assert leading_groups(build, [20.0, -math.inf, -math.inf, 10.0]) == ("side", "pump")  # others stand still
