"""What is said of a choice: only what is known."""

from __future__ import annotations

from dataclasses import replace

import jsonschema
import numpy as np
import pytest

from quietcool.decide.choose.options import options_of, with_options
from quietcool.decide.choose.search import Choice, Solved
from quietcool.decide.quietest import find_quietest
from quietcool.show.choice import choice_answer, choice_sentences, choice_tables, choice_verdict, lost_words
from quietcool.show.console import rendered
from quietcool.show.schemas import schema_of
from tests.decide.choose.catalogues import ROOM, catalogue_for, coarse

RIG = coarse(ROOM, 100.0)
SHELF = catalogue_for(RIG, ("front intake", "bottom intake"), 1, 2, seed=1)
OPTIONS = options_of(RIG, SHELF)


def solved(number: int, level: float) -> Solved:
    chosen = (OPTIONS[0][number], OPTIONS[1][0])
    return Solved((number, 0), chosen, level - 0.4, level, 0.1, np.array([10.0, 0.0, 30.0]))


def choice(**changes: object) -> Choice:
    best = solved(0, 20.0)
    rig = with_options(RIG, SHELF, best.options)
    base = Choice("bounce", "seat", best, rig, None, (solved(1, 20.25), solved(3, 20.001)), 20.4, 19.6, np.inf,
                  (4, 4), 16, 15, 3, False)  # fmt: skip
    return replace(base, **changes)  # type: ignore[arg-type]


def test_a_choice_with_its_proof() -> None:
    said = choice_sentences(SHELF, choice())
    assert said[0].startswith("bounce: buy for the front intake front intake radiator 0, 3 x")
    assert "20.0 dB(A) at the seat" in said[0]
    assert said[1] == (
        "Of 15 combinations that fit and keep the rules, 3 were solved at the quietest setting found for each; "
        "the bound proves that none of the others is quieter."
    )


def test_no_more_is_claimed_than_is_known() -> None:
    late = choice_sentences(SHELF, choice(next_bound=18.97))[1]
    assert late.endswith("found for each, then time was over: of the others none is quieter than 18.9.")
    assert "proves" not in late
    cut = choice_sentences(SHELF, choice(next_bound=18.97, interrupted=True))[1]
    assert "the answer was interrupted" in cut
    nothing = choice(best=None, build=None, runners_up=(), next_bound=60.0)
    assert "nothing to buy was found that keeps the limits" in choice_sentences(SHELF, nothing)[0]
    assert len(choice_sentences(SHELF, nothing)) == 1  # a floor below what is allowed proves nothing
    assert (choice_verdict(nothing), choice_verdict(choice())) == (3, 0)


def test_where_nothing_can_be_bought_the_proof_of_it_is_told() -> None:
    nothing = choice(best=None, build=None, runners_up=(), next_bound=np.inf, floor=np.inf, level_limit=22.0)
    whatever = "The bound proves that none of them keeps the limits, whatever its speeds."
    assert choice_sentences(SHELF, nothing)[1:] == [whatever]
    no_limit = replace(nothing, level_limit=np.inf)  # the bounds look no higher than 60 dB(A)
    assert choice_sentences(SHELF, no_limit)[1].endswith("keeps the limits below 60.0 dB(A).")
    assert len(choice_sentences(SHELF, replace(nothing, floor=21.9))) == 1
    assert whatever not in choice_sentences(SHELF, choice(floor=np.inf, level_limit=22.0))  # something was found


def test_why_a_runner_up_lost() -> None:
    found = choice()
    best = found.best
    assert best is not None
    dearer = solved(1, 20.25)
    more = dearer.price - best.price
    assert lost_words(found, dearer).startswith("0.25 dB louder")
    assert f"{abs(more):.0f} {'dearer' if more > 0 else 'cheaper'}" in lost_words(found, dearer) or more == 0
    assert lost_words(found, best) == "bought"
    assert lost_words(found, solved(0, 20.001)._replace(combination=(9, 9))) == "as quiet and as dear"


def test_tables_and_json() -> None:
    text = rendered(choice_tables(SHELF, choice()))
    assert text.count("front intake:") == 3
    found = choice(proof=find_quietest(RIG, ["bounce"], seconds=0.0))
    answer = choice_answer(RIG, SHELF, found)
    jsonschema.validate(answer, schema_of("choose"))
    assert answer["unsolved_proven_no_quieter"] is True
    assert answer["nothing_kept_below_dba"] is None
    assert answer["best"]["places"]["front intake"]["fans"] == 3
    jsonschema.validate(
        choice_answer(RIG, SHELF, choice(best=None, build=None, next_bound=np.inf)), schema_of("choose")
    )


@pytest.mark.parametrize("subject", ["choose", "catalogue"])
def test_schemas_are_schemas(subject: str) -> None:
    jsonschema.Draft202012Validator.check_schema(schema_of(subject))
