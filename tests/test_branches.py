"""The verdict on branches that no test takes: worked by hand on small reports, and an empty run is no success."""

from __future__ import annotations

from typing import Any

import pytest

from tests.profiles.branches import WHOLE, complaints, shares, untaken


def module(lines: int, branches: int, lines_taken: int, branches_taken: int, **missing: Any) -> dict[str, Any]:
    summary = {
        "num_statements": lines, "num_branches": branches,
        "covered_lines": lines_taken, "covered_branches": branches_taken,
    }  # fmt: skip
    return {"summary": summary, "missing_lines": [], "missing_branches": []} | missing


def report(**files: dict[str, Any]) -> dict[str, Any]:
    whole = {f"{folder}/one.py": module(8, 2, 8, 2) for folder in WHOLE}
    named = {f"quietcool/{name.replace('__', '/')}.py": found for name, found in files.items()}
    return {"meta": {"branch_coverage": True}, "files": whole | named}


def test_shares_by_hand() -> None:
    # 10 and 10 of 10, 12 of 20, 10 of 10: 42 of 50 overall.
    found = shares(report(solve__two=module(16, 4, 10, 2)))
    assert found["quietcool/solve"] == pytest.approx(100.0 * 22 / 30)
    assert found["overall"] == pytest.approx(100.0 * 42 / 50)
    assert found["quietcool/physics"] == 100.0


def test_everything_taken_is_enough_and_a_little_less_elsewhere_too() -> None:
    assert list(complaints(0, report())) == []
    assert list(complaints(0, report(show__page=module(60, 10, 58, 7)))) == []  # 95 of 100 overall
    (only,) = complaints(0, report(show__page=module(60, 10, 58, 6)))
    assert only == "94.00 % overall where 95 % are asked for"


def test_one_branch_of_a_folder_that_must_be_whole_is_told_with_its_place() -> None:
    short = report(entry__two=module(90, 80, 90, 79, missing_branches=[[7, 9]]), show__page=module(9, 9, 0, 0))
    assert list(untaken(short)) == ["quietcool/entry/two.py: 7->9"]
    assert next(complaints(0, short)).startswith("99.44 % of quietcool/entry")


@pytest.mark.parametrize(
    ("code", "found"),
    [
        (1, report()),  # a test fails
        (5, report()),  # no test was found
        (0, {}),  # no report was written
        (0, {"meta": {"branch_coverage": False}, "files": report()["files"]}),
        (0, {"meta": {"branch_coverage": True}, "files": {}}),
    ],
)
def test_what_did_not_run_is_not_enough(code: int, found: dict[str, Any]) -> None:
    assert list(complaints(code, found))
