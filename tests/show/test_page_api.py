"""The page's program against its own published description: schemathesis makes requests, good and bad."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, settings

from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.show import page
from tests.show.no_searches import NoSearches


def described() -> Any:
    folder = Path(tempfile.mkdtemp()) / "rig"
    shutil.copytree(demo_path("sample_room").parent, folder)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(page, "Searches", NoSearches)
        app = page.create_page(read_build(folder / "build.toml"), folder / "build.toml")
    return schemathesis.openapi.from_asgi("/openapi.json", app, headers={"host": "127.0.0.1"})


schema = described()


@pytest.mark.slow
@schema.parametrize()
@settings(max_examples=15, suppress_health_check=list(HealthCheck), deadline=None, derandomize=True)
def test_the_program_keeps_to_its_description(case: Any) -> None:
    case.call_and_validate(headers={"Host": "127.0.0.1"})
