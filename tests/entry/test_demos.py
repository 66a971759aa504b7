"""Where the demos lie."""

from __future__ import annotations

import pytest

from quietcool.entry.demos import demo_names, demo_path


def test_every_demo_has_its_build_file() -> None:
    assert demo_names() == ("booth_wall", "sample_room")
    assert all(demo_path(name).is_file() for name in demo_names())


def test_a_demo_that_there_is_not_names_those_that_there_are() -> None:
    with pytest.raises(KeyError, match="no demo is called 'booth'; there are booth_wall, sample_room"):
        demo_path("booth")
