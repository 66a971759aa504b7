"""Even draws of many inputs, and how much of a result's variance each of them explains: nothing but numbers here."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats: TypeAlias = NDArray[np.float64]

SMALLEST_SCORE = 1e-12  # so that a normal quantile stays finite
SILENCE = 1e300  # stands for the level of nothing while quantiles are taken


def latin_hypercube(draws: int, inputs: int, seed: int) -> Floats:
    """Latin hypercube of draws: every input has exactly one draw in each of `draws` equal parts of 0 to 1.

    u_ij = (pi_j(i) + v_ij) / draws,  pi_j a random order, v_ij even in 0 to 1

    Parameters
    ----------
    draws : int
        Number of draws. [-]
    inputs : int
        Number of inputs. [-]
    seed : int
        The same seed gives the same draws; so do the first inputs of a longer list. [-]

    Returns
    -------
    ndarray, (draws, inputs)
        Scores inside 0 to 1. [-]

    References
    ----------
    .. [1] M. D. McKay, R. J. Beckman & W. J. Conover, "A comparison of three methods for selecting values of input
       variables in the analysis of output from a computer code", Technometrics 21 (1979), 239-245.

    Examples
    --------
    >>> sorted((4 * latin_hypercube(4, 2, seed=1)[:, 1]).astype(int).tolist())
    [0, 1, 2, 3]
    """
    # Drawn here and not by scipy.stats, which takes longer to load than a thousand draws take to solve. A stream of
    # its own for every input: builds that differ by some inputs share the draws of the others.
    columns = []
    for stream in np.random.SeedSequence(seed).spawn(inputs):
        random = np.random.default_rng(stream)
        columns.append((random.permutation(draws) + random.random(draws)) / draws)
    scores = np.stack(columns, axis=-1) if columns else np.zeros((draws, 0))
    return np.clip(scores, SMALLEST_SCORE, 1.0 - SMALLEST_SCORE)


class IndexDesign(NamedTuple):
    """Scores that variance shares are estimated from, stacked: A, B, and A with one set of inputs from B each."""

    scores: Floats  # ((sets + 2) * base, inputs)
    base: int
    sets: int


def index_design(base: int, inputs: int, sets: Sequence[Sequence[int]], seed: int) -> IndexDesign:
    """Design for first-order and total variance shares of sets of inputs.

    Parameters
    ----------
    base : int
        Number of draws of A and of B. [-]
    inputs : int
        Number of inputs. [-]
    sets : sequence of sequences of int
        Which inputs make up each set; they rank together. [-]
    seed : int
        [-]

    Returns
    -------
    IndexDesign
        A and B are Latin hypercubes of one draw. Sobol points, which the reference takes, are less even than these
        where inputs are many and draws few: with 512 points in 108 dimensions late pairs of dimensions correlate.

    References
    ----------
    .. [1] A. Saltelli et al., "Variance based sensitivity analysis of model output. Design and estimator for the total
       sensitivity index", Computer Physics Communications 181 (2010), 259-270, section 3.
    """
    both = latin_hypercube(base, 2 * inputs, seed)
    a, b = both[:, :inputs], both[:, inputs:]
    mixed = []
    for members in sets:
        swapped = a.copy()
        swapped[:, list(members)] = b[:, list(members)]
        mixed.append(swapped)
    return IndexDesign(np.concatenate([a, b, *mixed]), base, len(sets))


class Shares(NamedTuple):
    """Shares of a result's variance; sets along the first axis, the result's own axes behind."""

    first: Floats  # explained by a set alone, (sets, ...) [-]
    total: Floats  # gone if the set were known, interactions included, (sets, ...) [-]


def variance_shares(design: IndexDesign, results: ArrayLike) -> Shares:
    """First-order and total shares of variance from the results at a design.

    S_i = mean(f_B (f_ABi - f_A)) / V,   T_i = mean((f_A - f_ABi)^2) / (2 V),   f less its mean

    Parameters
    ----------
    design : IndexDesign
        What was solved.
    results : array_like, ((sets + 2) * base, ...)
        In the order of the design; cases with a NaN drop out with their partners. [any]

    Returns
    -------
    Shares
        0 where nothing varies. Estimates: first-order shares may come out slightly negative. [-]

    References
    ----------
    .. [1] Saltelli et al. (2010), as above, table 2, (b) and (f): the estimators of Saltelli 2010 and of Jansen 1999.
    """
    found = np.asarray(results, float)
    parts = found.reshape(design.sets + 2, design.base, *found.shape[1:])
    usable = np.all(np.isfinite(parts.reshape(design.sets + 2, design.base, -1)), axis=(0, 2))
    parts = parts[:, usable]
    parts = parts - parts[:2].mean(axis=(0, 1))
    f_a, f_b, f_ab = parts[0], parts[1], parts[2:]
    variance = parts[:2].reshape(-1, *parts.shape[2:]).var(axis=0)
    scale = np.where(variance > 0.0, variance, np.inf)
    first = np.mean(f_b * (f_ab - f_a), axis=1) / scale
    total = 0.5 * np.mean((f_a - f_ab) ** 2, axis=1) / scale
    return Shares(first, total)


def central_interval(values: ArrayLike, confidence: float = 0.9) -> tuple[Floats, Floats]:
    """Ends of the central interval of draws along the first axis, as many above as below.

    Parameters
    ----------
    values : array_like, (draws, ...)
        NaN where a draw has no answer; those do not count. [any]
    confidence : float
        Share of the draws inside. [-]

    Returns
    -------
    tuple of ndarray, (...)
        Lower and upper end; NaN where no draw has an answer. [as the values]

    Examples
    --------
    >>> low, high = central_interval(np.arange(101.0))
    >>> float(low), float(high)
    (5.0, 95.0)
    """
    ends = 0.5 * (1.0 - confidence), 0.5 * (1.0 + confidence)
    drawn = np.asarray(values, float)
    drawn = np.where(np.isneginf(drawn), -SILENCE, drawn)  # a level of nothing has no distance to any other
    answered = ~np.isnan(drawn)
    if not np.all(answered):
        some = np.any(answered, axis=0)
        low, high = np.nanquantile(np.where(some, drawn, 0.0), ends, axis=0)  # a column of NaN alone would warn
        low, high = np.where(some, low, np.nan), np.where(some, high, np.nan)
    else:
        low, high = np.quantile(drawn, ends, axis=0)
    return np.where(low < -0.5 * SILENCE, -np.inf, low), np.where(high < -0.5 * SILENCE, -np.inf, high)
