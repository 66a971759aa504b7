"""Options that several verbs take. Nothing slow is imported before a shell asks for completion."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import typer

from quietcool.errors import QuietcoolError


def complete_state(context: typer.Context, incomplete: str) -> Iterator[str]:
    """Offer the states of the build file that stands on the line already."""
    from quietcool.entry.buildfile import read_build

    file = context.params.get("build") or next(iter(context.args), None)  # a line that is not finished is half parsed
    try:
        states = read_build(str(file)).states
    except QuietcoolError:
        return
    yield from (state.name for state in states if state.name.startswith(incomplete))


BuildFile = Annotated[str, typer.Argument(metavar="BUILD", help="Build file (TOML).", show_default=False)]
AsJson = Annotated[bool, typer.Option("--json", help="Answer in JSON, see `quietcool schema`.")]
States = Annotated[
    list[str] | None,
    typer.Option("--state", metavar="STATE", help="State of work; may be given again. All if not given.",
                 autocompletion=complete_state),
]  # fmt: skip
Speeds = Annotated[
    list[str] | None,
    typer.Option("--speed", metavar="GROUP=RPM", help="Speed of a fan group or of the pump; may be given again. "
                 "The present speed of the build file if not given."),
]  # fmt: skip
At = Annotated[
    str | None, typer.Option("--at", metavar="POSITION", help="Where it is heard; the first if not given.")
]  # fmt: skip
Seconds = Annotated[float, typer.Option("--seconds", metavar="N", help="Time for the whole answer.")]
Draws = Annotated[
    int,
    typer.Option("--draws", metavar="N", help="Draws of the tolerances, for 90 % intervals; 0 for none."),
]  # fmt: skip
Seed = Annotated[int, typer.Option("--seed", metavar="K", help="The same seed gives the same draws.")]
