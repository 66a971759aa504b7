"""The same command gives the same bytes: whatever hash seed, threads, folder, language or time zone."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from quietcool.entry.demos import demo_path

ROOT = Path(__file__).parents[1]
SEAT = str(demo_path("sample_room"))
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
PLAIN = {"PYTHONHASHSEED": "0", "LC_ALL": "C.UTF-8", "TZ": "UTC"} | dict.fromkeys(THREADS, "1")
OTHERS = {
    "hash seed": {"PYTHONHASHSEED": "4211"},
    "threads": dict.fromkeys(THREADS, "4"),
    "language and time zone": {"LC_ALL": "tr_TR.UTF-8", "LANG": "de_DE.UTF-8", "TZ": "Asia/Kathmandu"},
    "all of them": {"PYTHONHASHSEED": "99", "TZ": "America/St_Johns"} | dict.fromkeys(THREADS, "3"),
}
QUICK = [("check", SEAT), ("solve", SEAT, "--json"), ("sound", SEAT, "--state", "bounce")]
LONG = [
    ("quietest", SEAT, "--json"), ("quietest", SEAT, "--one-setting"), ("levers", SEAT, "--state", "bounce"),
    ("scenarios", SEAT, "--state", "bounce"), ("tradeoff", SEAT, "--state", "bounce", "--points", "3"),
    ("shop", SEAT, "--json"), ("layouts", SEAT, "--state", "bounce", "--path", "bottom intake"),
]  # fmt: skip


def printed(words: tuple[str, ...], other: dict[str, str], folder: Path) -> bytes:
    """Bytes that a fresh process prints in a folder."""
    run = subprocess.run(
        [sys.executable, "-m", "quietcool", *words],
        cwd=folder, env=os.environ | PLAIN | {"PYTHONPATH": str(ROOT)} | other, capture_output=True, timeout=600,
        check=False,
    )  # fmt: skip
    assert run.returncode in (0, 3), run.stderr.decode()
    assert len(run.stdout) > 100
    return run.stdout


@pytest.mark.parametrize("words", QUICK, ids=[words[0] for words in QUICK])
def test_the_same_command_gives_the_same_bytes(words: tuple[str, ...], tmp_path: Path) -> None:
    assert printed(words, {}, ROOT) == printed(words, OTHERS["all of them"], tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("words", QUICK + LONG, ids=[" ".join(words[:1] + words[2:]) for words in QUICK + LONG])
def test_the_same_command_gives_the_same_bytes_in_every_way(words: tuple[str, ...], tmp_path: Path) -> None:
    plain = printed(words, {}, ROOT)
    for name, other in OTHERS.items():
        assert printed(words, other, tmp_path) == plain, name
