"""Each step of writing fails once in turn: old file or new one is whole, nothing stays behind, one sentence is said."""

from __future__ import annotations

import errno
import importlib.util
import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

import quietcool.decide.quietest
from quietcool import cli
from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.show import images, report_files
from quietcool.show.page_save import NotSaved, save_setting
from quietcool.show.report import Section, report_sections
from quietcool.verbs import showing
from tests.show.invented_answers import searcher
from tests.show.reports import small_dossier, small_report
from tests.show.solved_rigs import demo, small_answer
from tests.torture.faults import failing_disk

ERRORS = [
    OSError(errno.ENOSPC, "No space left on device"),
    OSError(errno.EIO, "Input/output error"),
    PermissionError(errno.EACCES, "Permission denied"),
]
OLD_FILES = ("report.html", "proof.jsonl", "pictures/one.svg", "pictures/one.png", "new/tables/01-channels.csv")
WRONG = 2  # the exit code of a place that cannot be written to


@dataclass(frozen=True)
class Outcome:
    """How a verb ended: exit code and complaint."""

    code: int
    complaint: str


Verb = Callable[[Path, Any], Outcome]


def by_command_line(*words: str) -> Verb:
    """A verb by its words; BUILD and OUT/ stand for the build file and a folder to write to."""

    def said(folder: Path, capsys: Any) -> Outcome:
        capsys.readouterr()
        places = [w.replace("BUILD", str(folder / "build.toml")).replace("OUT", str(folder / "out")) for w in words]
        code = cli.run(places)
        return Outcome(code, capsys.readouterr().err)

    return said


def saved_by_the_page(folder: Path, capsys: Any) -> Outcome:
    """What the page does where a setting is saved: a copy of the build file and a channel table."""
    file = folder / "build.toml"
    build = read_build(file)
    try:
        save_setting(build, file, dict.fromkeys(build.group_names, 1000.0) | {"pump": 3000.0})
    except NotSaved as error:
        return Outcome(WRONG, f"{error}\n")
    return Outcome(0, "")


VERBS: dict[str, Verb] = {
    "report": by_command_line("report", "BUILD", "-o", "OUT/report.html"),
    "tables": by_command_line("report", "BUILD", "-o", "OUT/report.html", "--csv", "OUT/new/tables"),
    "pictures": by_command_line("report", "BUILD", "-o", "OUT/report.html", "--images", "OUT/pictures", "--json"),
    "certificate": by_command_line("quietest", "BUILD", "--draws", "0", "--certificate", "OUT/proof.jsonl"),
    "page": saved_by_the_page,
}


@pytest.fixture
def answered(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every answer is there at once: only the writing is looked at."""
    dossier, text = small_dossier(), small_report()
    sections = shortened(report_sections(dossier))
    real = importlib.util.find_spec
    monkeypatch.setattr(showing, "found_dossier", lambda *_: dossier)
    monkeypatch.setattr(report_files, "report_sections", lambda _: sections)
    monkeypatch.setattr(report_files, "report_html", lambda *_: text)
    monkeypatch.setattr(images, "drawn_as_files", lambda _: {"one.svg": b"<svg/>", "one.png": b"\x89PNG"})
    monkeypatch.setattr(importlib.util, "find_spec", lambda n, *m: object() if n == "kaleido" else real(n, *m))
    monkeypatch.setattr(quietcool.decide.quietest, "find_quietest", searcher(small_answer(demo("sample_room"))))


def shortened(sections: tuple[Section, ...] | list[Section]) -> list[Section]:
    """One section with tables: all are written by one loop."""
    return [section for section in sections if section.tables][:1]


def laid_out(folder: Path, old: bool) -> Path:
    """A rig with a folder to write to, with old files under the names that will be written, or with none."""
    shutil.copytree(demo_path("sample_room").parent, folder)
    (folder / "out").mkdir()
    if old:
        for name in OLD_FILES:
            (folder / "out" / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / "out" / name).write_text(f"the old {name}")
    return folder


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def open_files() -> int:
    return len(list(Path("/proc/self/fd").iterdir())) if Path("/proc/self/fd").exists() else 0


def torture(verb: Verb, place: Path, old: bool, errors: Callable[[int], list[OSError]], capsys: Any) -> int:
    """Fail every step in turn; return how many there are."""
    calm = laid_out(place / "calm", old)
    before = contents(calm)
    with failing_disk(calm) as disk:
        assert verb(calm, capsys).code == 0
    after, steps = contents(calm), disk.steps
    assert after != before
    assert {"os.open", "write", "flush", "fsync", "close", "replace"} <= set(steps)
    for number in range(1, len(steps) + 1):
        for error in errors(number):
            folder = laid_out(place / "torn", old)
            handles = open_files()
            with failing_disk(folder, number, error) as torn:
                outcome = verb(folder, capsys)
            where = f"step {number} of {len(steps)}, {steps[number - 1]}, {error}"
            assert len(torn.steps) >= number, where
            assert outcome.code == WRONG, (where, outcome)
            assert outcome.complaint.count("\n") == 1, (where, outcome)
            assert str(error.strerror) in outcome.complaint, (where, outcome)
            found = contents(folder)
            assert set(before) <= set(found) <= set(after), where
            for name, body in found.items():
                assert body in (before.get(name), after.get(name)), (where, name)
            assert open_files() == handles, where
            shutil.rmtree(folder)
    return len(steps)


@pytest.mark.usefixtures("answered")
@pytest.mark.parametrize(
    ("name", "old"), [*((name, True) for name in VERBS), ("report", False), ("pictures", False), ("certificate", False)]
)
def test_every_step_fails_once(name: str, old: bool, tmp_path: Path, capsys: Any) -> None:
    steps = torture(VERBS[name], tmp_path, old, lambda number: [ERRORS[number % len(ERRORS)]], capsys)
    assert steps >= 8


@pytest.mark.slow
@pytest.mark.usefixtures("answered")
@pytest.mark.parametrize("name", VERBS)
def test_every_step_fails_in_every_way(name: str, tmp_path: Path, capsys: Any) -> None:
    torture(VERBS[name], tmp_path, True, lambda _: ERRORS, capsys)


def test_the_disk_that_fails_sees_every_way_of_writing(tmp_path: Path) -> None:
    """The harness itself: a clumsy writer leaves half a file, and the harness shows it."""
    place = tmp_path / "file"

    def clumsy() -> None:
        place.write_text("whole")

    with failing_disk(tmp_path) as disk:
        clumsy()
    assert disk.steps == ["open", "write", "close"]
    with failing_disk(tmp_path, 2), pytest.raises(OSError, match="No space"):
        clumsy()
    assert place.read_text() == "wh"
    with failing_disk(tmp_path) as disk:
        handle = os.open(place, os.O_WRONLY)
        os.fsync(handle)
        os.close(handle)
        place.chmod(0o600)
        place.rename(tmp_path / "other")
        (tmp_path / "folder").mkdir()
        (tmp_path / "other").read_text()
    assert disk.steps == ["os.open", "fsync", "chmod", "rename", "mkdir"]
