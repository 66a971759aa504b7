"""Real processes that are interrupted, or that have nowhere to write: one sentence, a documented code, no half file."""

from __future__ import annotations

import ctypes
import os
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from quietcool.entry.demos import demo_path

ROOT = Path(__file__).parents[2]
SEAT, BOOTH = str(demo_path("sample_room")), str(demo_path("booth_wall"))
CATALOGUE = str(demo_path("sample_room").with_name("catalogue.toml"))
# Python ends by the signal itself where it came inside `eval`; a shell calls both 130.
INTERRUPTED = {130, -signal.SIGINT}
PR_CAPBSET_DROP, CAP_DAC_OVERRIDE = 24, 1  # of <linux/prctl.h>, <linux/capability.h>
pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="signals, limits and devices of Linux")


def started(*words: str, **how: Any) -> subprocess.Popen[str]:
    options: dict[str, Any] = {"stdout": subprocess.PIPE, "preexec_fn": _listening} | how
    words = (sys.executable, "-m", "quietcool", *words)
    return subprocess.Popen(words, cwd=ROOT, text=True, stderr=subprocess.PIPE, **options)


def _listening() -> None:
    """A shell's background jobs are started deaf to Ctrl-C, and so are the tests in one, and what they start."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def ended(run: subprocess.Popen[str]) -> tuple[int, str, str]:
    """Exit code, stdout, and the last line of stderr, after what progress wrote over itself."""
    try:
        out, complaint = run.communicate(timeout=90)
    finally:
        run.kill()
    assert "Traceback" not in complaint
    said = [line for line in complaint.replace("\r", "\n").splitlines() if line.strip()]
    return run.returncode, out or "", said[-1] if said else ""


# --- interruptions ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_an_interrupted_search_leaves_no_half_file(number: signal.Signals, tmp_path: Path) -> None:
    file = tmp_path / "proof.jsonl"
    file.write_text("old")
    run = started("quietest", BOOTH, "--seconds", "60", "--draws", "0", "--certificate", str(file))
    assert run.stderr is not None
    assert run.stderr.readline()  # the search is under way
    time.sleep(0.3)
    run.send_signal(number)
    code, _, complaint = ended(run)
    assert code in INTERRUPTED
    assert complaint == "quietcool: interrupted."
    assert [place.name for place in tmp_path.iterdir()] == ["proof.jsonl"]
    assert file.read_text() == "old" or file.read_text().startswith("{")


VERBS = [
    ("check", BOOTH), ("solve", BOOTH, "--draws", "300000"), ("sound", BOOTH), ("quietest", BOOTH), ("tradeoff", BOOTH),
    ("layouts", BOOTH), ("levers", BOOTH), ("scenarios", BOOTH), ("choose", SEAT, CATALOGUE), ("demo",), ("page", SEAT),
    ("choose", SEAT, CATALOGUE, "--workers", "2"), ("quietest", SEAT, "--confidence", "0.9"), ("schema", "solve"),
    ("report", SEAT, "-o", "OUT/report.html", "--csv", "OUT/tables", "--seconds", "20"),
]  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("delay", [0.1, 0.25, 0.6, 1.5, 4.0])
@pytest.mark.parametrize("words", VERBS, ids=[" ".join(words[:1] + words[3:4]) for words in VERBS])
def test_any_verb_may_be_interrupted_at_any_time(words: tuple[str, ...], delay: float, tmp_path: Path) -> None:
    places = [word.replace("OUT", str(tmp_path)) for word in words]
    run = started(*places)
    time.sleep(delay)
    run.send_signal(signal.SIGTERM if delay in (0.25, 1.5) else signal.SIGINT)
    code, _, complaint = ended(run)
    early = code == -signal.SIGTERM or (
        code == -signal.SIGINT and not complaint
    )  # before the first line of the package
    assert code in INTERRUPTED | {0, 3} or early
    assert complaint == "quietcool: interrupted." or code in (0, 3) or early
    assert not list(tmp_path.rglob(".*"))


# --- nowhere to write ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", [("check", SEAT), ("check", SEAT, "--json"), ("--help",)])
def test_a_full_device_is_one_sentence(words: tuple[str, ...]) -> None:
    with Path("/dev/full").open("w") as full:
        code, _, complaint = ended(started(*words, stdout=full))
    assert code == 2
    assert complaint == (
        "quietcool: needs a place for its answer; found No space left on device; make room, or write elsewhere."
    )


@pytest.mark.parametrize("closed", ["<&- >&-", "2>&-", ">&- 2>&-"])
def test_closed_streams_are_no_failure(closed: str) -> None:
    run = subprocess.run(
        ["sh", "-c", f'exec "$0" -m quietcool check "$1" {closed}', sys.executable, SEAT],
        cwd=ROOT, capture_output=True, text=True, timeout=90, check=False,
    )  # fmt: skip
    assert (run.returncode, run.stderr) == (0, "")


def test_a_file_that_outgrows_its_limit_leaves_the_old_one(tmp_path: Path) -> None:
    """A limit on the size of files fails a write half done, as a full disk does."""
    file = tmp_path / "proof.jsonl"
    file.write_text("old")

    def limited() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (500, 500))

    words = ("quietest", SEAT, "--state", "idle", "--seconds", "1", "--draws", "0", "--certificate", str(file))
    code, out, complaint = ended(started(*words, preexec_fn=limited, env=os.environ | {"PYTHONDONTWRITEBYTECODE": "1"}))
    assert code == 2
    assert complaint.endswith("proof.jsonl: needs a place that can be written to; found File too large; write another.")
    assert out.startswith("idle: ")  # the answer is not lost
    assert file.read_text() == "old"
    assert list(tmp_path.iterdir()) == [file]


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 32 kB, where the system lets us have one."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = shutil.which("mount")
    if (
        mount is None
        or subprocess.run(
            [mount, "-t", "tmpfs", "-o", "size=32k", "tmpfs", str(place)], capture_output=True, check=False
        ).returncode
    ):
        pytest.skip("no disk may be mounted here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


@pytest.mark.slow
def test_a_full_disk_leaves_the_old_report(small_disk: Path) -> None:
    report = small_disk / "report.html"
    report.write_text("old")
    code, _, complaint = ended(started("report", SEAT, "-o", str(report), "--state", "idle", "--seconds", "0"))
    assert code == 2
    assert "found No space left on device" in complaint
    assert report.read_text() == "old"
    assert list(small_disk.iterdir()) == [report]


def powerless() -> None:
    """Take from the next program what lets a superuser write anywhere."""
    ctypes.CDLL(None).prctl(PR_CAPBSET_DROP, CAP_DAC_OVERRIDE, 0, 0, 0)


def test_a_folder_that_may_not_be_written_to_is_refused_before_the_search(tmp_path: Path) -> None:
    locked = tmp_path / "locked"
    locked.mkdir()
    locked.chmod(0o555)
    start = time.monotonic()
    words = ("quietest", BOOTH, "--certificate", str(locked / "proof.jsonl"))
    code, out, complaint = ended(started(*words, preexec_fn=powerless))
    assert (code, out) == (2, "")
    assert complaint.endswith("found a folder that may not be written to; write another.")
    assert time.monotonic() - start < 45.0  # of the 60 that a search may take
    assert not list(locked.iterdir())
