"""Versions are those of what runs."""

from __future__ import annotations

import platform

import numpy
import pytest
import scipy

import quietcool
from quietcool.show import versions


def test_versions_are_those_of_the_modules_that_run() -> None:
    assert versions.made_by() == {
        "quietcool": quietcool.__version__,
        "python": platform.python_version(),
        "numpy": numpy.__version__,
        "scipy": scipy.__version__,
    }


def test_a_library_without_papers_is_unknown(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(versions, "LIBRARIES", ("no such library",))
    assert versions.made_by()["no such library"] == "unknown"
