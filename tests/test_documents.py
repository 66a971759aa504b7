"""README.md and DEVELOPERS.md say what is true of the files beside them."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path
from xml.etree import ElementTree

import pytest

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text()
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text()
SHELL_BLOCK = re.compile(r"^```sh\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def shell_lines(document: str) -> list[str]:
    """Every line of the document's shell blocks."""
    return [line for block in SHELL_BLOCK.findall(document) for line in block.splitlines() if line]


def test_the_readme_has_two_one_line_commands() -> None:
    job, tests = shell_lines(README)
    assert job.endswith("quietcool demo")
    assert "pytest" in tests
    assert all(line.startswith("python3.11 -m venv ") for line in (job, tests))


def test_continuous_integration_runs_the_readme_s_test_command() -> None:
    lines = [line for line in (ROOT / ".ci" / "run").read_text().splitlines() if line and not line.startswith("#")]
    assert lines[-1] == shell_lines(README)[1]


def test_the_job_stands_at_the_top_of_the_readme() -> None:
    title, paragraph = README.split("\n\n")[:2]
    assert title == "# quietcool"
    assert 200 < len(paragraph) < 900


def test_files_named_in_the_documents_exist() -> None:
    named = re.findall(r"`((?:quietcool|tests|data_demo|reports|\.ci)/[\w./-]*)`", README + DEVELOPERS)
    assert named
    assert [name for name in named if not (ROOT / name).exists()] == []


def test_the_lock_has_hashes_and_no_addresses() -> None:
    lock = (ROOT / ".ci" / "requirements-dev.txt").read_text()
    requirements = re.split(r"\n(?=\S)", lock.strip())
    assert len(requirements) > 30
    assert [line.split()[0] for line in requirements if "--hash=sha256:" not in line] == []
    assert "://" not in lock
    assert "-index" not in lock


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md"])
def test_documents_name_no_machine(document: str) -> None:
    assert not re.search(r"(?<![\w.])/(work|root|home|tmp|opt)/", (ROOT / document).read_text())


def test_top_level_holds_only_what_the_plan_names() -> None:
    try:
        listed = subprocess.run(
            ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
        ).stdout.splitlines()
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("not a git checkout")
    top = {name.split("/")[0] for name in listed}
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "quietcool", "data_demo", "tests", "reports", "LICENSE"}
    assert {name for name in top if name not in allowed and not name.startswith(".")} == set()


def test_the_readme_shows_pictures_that_say_the_answer() -> None:
    """Three at least, from the reports in this repository, each with words for who does not see it."""
    shown = re.findall(r"!\[([^\]]*)\]\(([^)]*)\)", README)
    assert len(shown) >= 3
    for words, place in shown:
        assert len(words) > 40
        assert words.endswith(".")
        drawn = ElementTree.fromstring((ROOT / place).read_text(encoding="utf-8"))
        assert drawn.tag == "{http://www.w3.org/2000/svg}svg"
        told = " ".join(drawn.itertext()) + drawn.get("aria-label", "")
        for value in re.findall(r"\d+\.\d", words):
            assert value in told, (place, value)
