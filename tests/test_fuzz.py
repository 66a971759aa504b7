"""Spoiled files, bodies and words by the thousand, in processes that the system holds to their limits."""

from __future__ import annotations

import random

import pytest

from tests.profiles import fuzz, spoiling

SHARES = 4  # so that two workers of pytest share them


@pytest.mark.parametrize("share", range(SHARES))
def test_nothing_but_answers_and_sentences(share: int) -> None:
    cases = 20_000 // SHARES
    tally = fuzz.run(cases, first=share * cases)
    assert tally.faults == []
    assert sum(tally.ends.values()) == cases
    kinds = {kind for kind, _ in tally.ends}
    assert kinds == {kind.__name__ for _, kind in fuzz.KINDS}
    for kind in ("build_file", "sheet_alone", "catalogue"):
        assert tally.ends[kind, "accepted"] > 0, kind  # else what lies behind the door is never reached
        assert tally.ends[kind, "refused"] > 0, kind
    assert tally.ends["build_file", "solved"] > 0
    assert tally.ends["words", "exit 0"] > 0
    assert tally.ends["body", "200"] > 0


def test_a_case_that_misbehaves_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """The profile itself: an exception is a fault with its case, and the run goes on."""

    def failing(rng: random.Random, place: fuzz.Place) -> str:
        if rng.random() < 0.5:
            raise ZeroDivisionError("on purpose")
        return "fine"

    monkeypatch.setattr(fuzz, "KINDS", [(1.0, failing)])
    monkeypatch.setattr(fuzz, "_place", object())
    tally = fuzz.some_cases(0, 0, 40)
    assert 5 < len(tally.faults) < 35
    assert tally.ends["failing", "fine"] == 40 - len(tally.faults)
    assert "ZeroDivisionError: on purpose" in tally.faults[0]
    assert "faults in 40 cases" in fuzz.told(tally)


def test_the_same_number_is_the_same_case() -> None:
    text = "a = 1\nb = [2, 3]\n" * 20
    for spoil in spoiling.SPOILERS:
        first, again, other = (spoil(random.Random(seed), text) for seed in ("0 7", "0 7", "0 8"))
        assert first == again
        assert first != other or spoil is spoiling.other_numbers
