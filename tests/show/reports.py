"""A report of the small demo, made once for all tests of reports."""

from __future__ import annotations

import functools

from quietcool.entry.build import Build
from quietcool.show import dossier
from quietcool.show.dossier import Dossier, gather
from quietcool.show.report import report_html, report_sections
from tests.show.solved_rigs import demo, hostile, small_answer


@functools.cache
def small_dossier() -> Dossier:
    return gathered(demo("sample_room"))


@functools.cache
def small_report() -> str:
    return report_html(small_dossier(), report_sections(small_dossier()))


@functools.cache
def hostile_report() -> str:
    found = gathered(hostile(demo("sample_room")))
    return report_html(found, report_sections(found))


def gathered(build: Build) -> Dossier:
    """A dossier with a curve of few points: how many there are changes nothing about a report."""
    before = dossier.CURVE_POINTS
    dossier.CURVE_POINTS = 3
    try:
        return gather(build, small_answer(build))
    finally:
        dossier.CURVE_POINTS = before
