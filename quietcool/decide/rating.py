"""A bound for the least NC or NR: the octave that decides the rating is bounded, and with it the rating."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

import numpy as np

from quietcool.decide.bound.log import SearchLog
from quietcool.decide.bound.search import Proof, prove
from quietcool.decide.incumbent import Incumbent, best_of, grid_speeds
from quietcool.decide.question import Question
from quietcool.physics import criteria
from quietcool.solve.operating_point import solve_operating_point
from quietcool.solve.spectra import rig_spectrum


def prove_rating(
    question: Question,
    best: Incumbent,
    seconds: float,
    report: Callable[[float, float], None] = lambda level, bound: None,
    logs: dict[str, SearchLog] | None = None,
) -> Proof:
    """Bound the rating of every setting of a question from below.

    A rating is the greatest over the octaves, so that what bounds one of them bounds it. Taken is the octave that
    decides the rating of the best setting known; where all sources have one spectrum, that octave decides every
    setting's rating and the bound is as tight as that of a level.

    Parameters
    ----------
    question : Question
        What was asked; its quantity is "nc" or "nr".
    best : Incumbent
        Best setting known.
    seconds : float
        Time for the search. [s]
    report : callable
        Told the rating and its bound now and then. [-]
    logs : dict, optional
        Filled with the log of each state's search where a level is asked for; a rating has no certificate.

    Returns
    -------
    Proof
        Its bound is a rating.
    """
    if question.quantity == "dba":
        return prove(question, best, seconds, report, logs)
    criterion, band = question.quantity, deciding_band(question, best)
    of_band = replace(question, band=band)

    def index(level: float) -> float:
        return level if np.isinf(level) else float(criteria.index_of_band(level, band, criterion))

    start = best_of(of_band, best.steps[None])
    proof = prove(of_band, start, seconds, lambda level, bound: report(index(level), index(bound)))
    found = best_of(question, proof.best.steps[None])
    quieter = found.worst_margin >= 0.0 and (best.worst_margin < 0.0 or found.level < best.level)
    return proof._replace(lower_bound=index(proof.lower_bound), best=found if quieter else best)


def deciding_band(question: Question, best: Incumbent) -> int:
    """Octave that decides the rating of a setting in its worst state, 0 for 31.5 Hz."""
    speeds = grid_speeds(question, best.steps[None])[0]
    criterion: Literal["nc", "nr"] = "nc" if question.quantity == "nc" else "nr"
    ratings = []
    for state in question.states:
        point = solve_operating_point(question.build, state, speeds)
        octaves = rig_spectrum(question.build, point.speeds, point.load_share, state)[question.position]
        rating, frequency = criteria.tangency_index(octaves, criterion)
        ratings.append((float(rating), float(frequency)))
    _, deciding = max(ratings, key=lambda pair: -np.inf if np.isnan(pair[0]) else pair[0])
    return int(np.argmin(np.abs(criteria.BANDS - (1000.0 if np.isnan(deciding) else deciding))))
