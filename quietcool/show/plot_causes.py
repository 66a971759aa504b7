"""What drives the error of a result, the largest cause first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from quietcool.show.console import number
from quietcool.show.look import Picture, Trace, axis, ink, layout, listed, note

if TYPE_CHECKING:
    from quietcool.decide.uncertainty import Ranking

MOST_CAUSES = 8
LEAST_SHARE = 0.005  # of the variance: smaller causes are left out of the figure


def error_causes(ranking: Ranking) -> Picture:
    """Draw what drives the error of one result.

    Parameters
    ----------
    ranking : Ranking
        From `rank_causes`.

    Returns
    -------
    Picture
    """
    return causes_of_error(ranking.result, [(cause.name, cause.total) for cause in ranking.causes])


def causes_of_error(result: str, shares: Sequence[tuple[str, float]]) -> Picture:
    """Draw what drives the error of one result.

    Parameters
    ----------
    result : str
        What is uncertain: "coolant".
    shares : sequence of (str, float)
        Inputs with the shares of the variance that they explain. [-]

    Returns
    -------
    Picture
    """
    ranked = sorted(((n, s) for n, s in shares if s >= LEAST_SHARE), key=lambda one: -one[1])[:MOST_CAUSES]
    names, parts = [name for name, _ in ranked], [100.0 * share for _, share in ranked]
    bars: Trace = {
        "type": "bar", "orientation": "h", "x": parts, "y": list(range(len(names))), "hoverinfo": "x",
        "marker": {"color": [ink("rust")] + [ink("blue")] * (len(names) - 1)}, "width": 0.5,
    }  # fmt: skip
    made = layout(
        axis("share of the variance, %", range=[0.0, 1.2 * max(parts, default=100.0)]), listed(names),
        height=70 + 34 * max(len(names), 1),
        annotations=[
            note(part, n, number(part, 0) + " %", xanchor="left", xshift=5) for n, part in enumerate(parts)
        ],
    )  # fmt: skip
    title = f"Nothing that is uncertain moves the {result}"
    if ranked:
        title = f"Measure first: {names[0]}, {number(parts[0], 0)} % of the error of the {result}"
    told = ", ".join(f"{name} {number(part, 0)} %" for name, part in zip(names, parts, strict=True))
    words = f"Shares of the variance of the {result} by what could be measured: {told or 'none'}."
    rows = tuple((name, number(100.0 * share, 1)) for name, share in sorted(shares, key=lambda one: -one[1]))
    return Picture(
        f"causes-{result.replace(' ', '-')}", title, words, ("what could be measured", ">share of variance, %"), rows,
        {"data": [bars], "layout": made},
    )  # fmt: skip
