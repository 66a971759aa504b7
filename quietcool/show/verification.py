"""What came of a certificate, in sentences and in JSON."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from quietcool.decide.checker.verify import Verdict
from quietcool.decide.quietest import Progress
from quietcool.show.json_answers import FORMAT, Answer, envelope
from quietcool.show.schema_words import COUNT, FLAG, TEXT, Schema, list_of, record, said

if TYPE_CHECKING:
    from quietcool.entry.build import Build
    from quietcool.show.console import Part


def verify_sentences(verdict: Verdict) -> list[Part]:
    """Return the verdict first, then what is claimed, then every objection."""
    head = (
        f"Proven: all {verdict.boxes} boxes cover every setting and none holds a quieter one."
        if verdict.proven
        else "Refuted: the certificate does not prove what it claims."
    )
    return [head, *(f"Claim: {claim}." for claim in verdict.claims), *(f"{why}." for why in verdict.objections)]


def verify_answer(build: Build, verdict: Verdict) -> Answer:
    """Return the answer of `verify`."""
    return {
        "format": FORMAT,
        "proven": verdict.proven,
        "claims": list(verdict.claims),
        "objections": list(verdict.objections),
        "boxes": verdict.boxes,
        **envelope(build),
    }


def verify_schema(head: Mapping[str, Schema], ending: Mapping[str, Schema]) -> Schema:
    """Return the body of the schema of `verify`; `head` holds `format`, `ending` versions and inputs."""
    return record(
        {
            **head,
            "proven": said(FLAG, "every claim holds"),
            "claims": said(list_of(TEXT), "one sentence each"),
            "objections": said(list_of(TEXT), "why it does not hold, one sentence each"),
            "boxes": said(COUNT, "of all searches"),
            **ending,
        }
    )


def telling(tell: Callable[[Progress], None]) -> Callable[[str, int], None]:
    """Return what the checker tells its boxes to."""
    return lambda state, boxes: tell(Progress(f"checking {state}, box {boxes}", math.nan, math.inf, -math.inf))
