"""Settings that every test shares."""

from __future__ import annotations

import os
from typing import Any

import pytest
from hypothesis import settings

from quietcool import cli
from tests.saying import Said

# The width of whoever runs the tests is not the width they test.
os.environ.pop("COLUMNS", None)

# A busy machine is slow at times, which is no fault of the code: no time limit per example.
# The same examples on every run, so that a red run can be repeated.
settings.register_profile("quietcool", deadline=None, derandomize=True)
settings.load_profile("quietcool")


@pytest.fixture
def say(capsys: pytest.CaptureFixture[str]) -> Any:
    """Run words and return exit code, stdout and stderr."""

    def run(*words: str) -> Said:
        capsys.readouterr()
        code = cli.run(words)
        return Said(code, *capsys.readouterr())

    return run
