"""The package starts fast, carries its demos, and its settings explain themselves."""

from __future__ import annotations

import importlib.util
import re
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest
from hatchling.builders.wheel import WheelBuilder

import quietcool

ROOT = Path(__file__).parents[1]
SETTINGS = tomllib.loads((ROOT / "pyproject.toml").read_text())
SLOW_TO_LOAD = {"numpy", "scipy", "pandas", "cvxpy", "plotly"}


def loaded_by(*words: str) -> set[str]:
    """Top-level packages that a fresh interpreter imports when it runs these words."""
    run = subprocess.run(
        [sys.executable, "-X", "importtime", *words], cwd=ROOT, capture_output=True, text=True, check=True, timeout=60
    )
    lines = (line.rpartition("|")[2].strip() for line in run.stderr.splitlines() if line.startswith("import time:"))
    return {line.split(".")[0] for line in lines}


def test_the_import_listing_sees_a_slow_package() -> None:
    assert "numpy" in loaded_by("-c", "import numpy")


def test_importing_the_package_loads_nothing_slow() -> None:
    seen = loaded_by("-c", "import quietcool")
    assert "quietcool" in seen
    assert not seen & SLOW_TO_LOAD


@pytest.mark.skipif(importlib.util.find_spec("quietcool.cli") is None, reason="the command line is not written yet")
def test_help_loads_nothing_slow() -> None:
    seen = loaded_by("-m", "quietcool", "--help")
    assert "quietcool" in seen
    assert not seen & SLOW_TO_LOAD


def test_versions_have_floors_and_no_ceilings() -> None:
    project = SETTINGS["project"]
    extras = project["optional-dependencies"]
    lines = [*project["dependencies"], *extras["test"], *extras["dev"], *extras["benchmark"], *extras["mutation"]]
    assert project["requires-python"] == ">=3.11"
    floors = re.compile(r"[\w-]+ >= [\d.]+|quietcool\[(test|cluster)\]")
    assert [line for line in lines if not floors.fullmatch(line)] == []


def test_every_lint_exception_has_its_reason() -> None:
    text = (ROOT / "pyproject.toml").read_text()
    lint = text[text.index("ignore = [") : text.index("[tool.ruff.lint.flake8-tidy-imports]")]
    exceptions = [line for line in lint.splitlines() if re.match(r'\s*"[^"]+"(,| =)', line)]
    assert len(exceptions) > 5
    assert [line for line in exceptions if "#" not in line] == []


@pytest.mark.slow
def test_a_wheel_carries_the_demos(tmp_path: Path) -> None:
    """The demos must be reachable from an installed package too, so the wheel has every file of them."""
    (built,) = WheelBuilder(str(ROOT)).build(directory=str(tmp_path), versions=["standard"])
    with zipfile.ZipFile(built) as archive:
        names = set(archive.namelist())
        archive.extractall(tmp_path / "site")
    ours = {f"quietcool/{file.relative_to(ROOT)}" for file in (ROOT / "data_demo").rglob("*.toml")}
    assert ours
    assert ours <= names
    assert "quietcool/py.typed" in names
    code = "from quietcool.entry.demos import demo_names, demo_path; print([str(demo_path(n)) for n in demo_names()])"
    found = subprocess.run(
        [sys.executable, "-P", "-c", f"import sys; sys.path.insert(0, {str(tmp_path / 'site')!r}); {code}"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert found.count(str(tmp_path / "site")) == 2


def test_the_version_is_written_once() -> None:
    assert SETTINGS["project"]["dynamic"] == ["version"]
    assert re.fullmatch(r"\d+\.\d+\.\d+", quietcool.__version__)
