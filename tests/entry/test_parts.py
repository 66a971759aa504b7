"""Folders of part sheets that cannot be read as what they should be."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from quietcool.entry import parts
from quietcool.entry.buildfile import read_build
from quietcool.errors import InputError, Mistake
from tests.entry import small_rig


def only_mistake(file: Path) -> Mistake:
    """Return the one mistake: a part that an unread folder may hold is not called unknown beside it."""
    with pytest.raises(InputError) as caught:
        read_build(file)
    (only,) = caught.value.mistakes
    return only


def test_a_folder_of_everything_is_not_read_to_its_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = small_rig.write(tmp_path)
    count = len(list((tmp_path / "parts").iterdir()))
    monkeypatch.setattr(parts, "MOST_ENTRIES", count)
    assert read_build(file)  # as many as it may hold
    (tmp_path / "parts" / "holiday.txt").write_text("")
    only = only_mistake(file)
    assert (only.place, only.required) == ("parts[1]", "a folder of part sheets")
    assert (only.found, only.advice) == (f"more than {count} files", "name a smaller one")


def test_a_folder_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = small_rig.write(tmp_path)

    def denied(folder: Path) -> None:  # as the system does; a test that runs as root is denied nothing
        raise PermissionError(13, os.strerror(13), str(folder))

    monkeypatch.setattr(os, "scandir", denied)
    only = only_mistake(file)
    assert (only.place, only.required) == ("parts[1]", "a folder that can be read")
    assert (only.found, only.advice) == ("permission denied", "check its permissions")
