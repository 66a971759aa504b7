from __future__ import annotations

import pytest

from quietcool.errors import Infeasible, InputError, Mistake, NotConverged, QuietcoolError, RefutedBound


def mistake(line: int | None, column: int | None = 1, file: str = "a.toml") -> Mistake:
    return Mistake(file, line, column, "room.temp_c", "a number", "nothing", "add it")


def test_mistakes_are_sorted_by_place_and_each_is_one_sentence() -> None:
    error = InputError([mistake(9), mistake(2, 7), mistake(2, 3), mistake(1, file="b.toml"), mistake(None, None)])

    assert str(error).splitlines() == [
        "a.toml: room.temp_c needs a number; found nothing; add it.",
        "a.toml:2:3: room.temp_c needs a number; found nothing; add it.",
        "a.toml:2:7: room.temp_c needs a number; found nothing; add it.",
        "a.toml:9:1: room.temp_c needs a number; found nothing; add it.",
        "b.toml:1:1: room.temp_c needs a number; found nothing; add it.",
    ]


@pytest.mark.parametrize(
    ("kind", "code"), [(QuietcoolError, 1), (InputError, 2), (Infeasible, 3), (RefutedBound, 3), (NotConverged, 4)]
)
def test_every_error_is_of_the_family_and_knows_its_exit_code(kind: type[QuietcoolError], code: int) -> None:
    assert issubclass(kind, QuietcoolError)
    assert kind.exit_code == code
