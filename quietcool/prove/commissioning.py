"""From a dry loop to a running rig: the steps in the one order that is safe.

Manuals of the parts come first. The order, the times and the cautions are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from quietcool.entry.mistakes import nearest
from quietcool.errors import InputError, Mistake
from quietcool.units import shown


@dataclass(frozen=True)
class Step:
    """One step, and what must not be forgotten while it is done."""

    name: str
    time: str
    task: str
    caution: str


STEPS = (
    Step(
        "dry fit",
        "as long as it takes",
        "Assemble dry: drain at the lowest spot, fill port at the highest, every screw checked against its thread.",
        "Unplug the rig. A screw that is too long pierces a tube of the radiator.",
    ),
    Step(
        "air test",
        "10 min to settle, 15 to 30 min of watching",
        "Close the loop, pump up slowly by hand, let it settle, read gauge, temperature and barometer twice.",
        "Never above the weakest part's rating, no unregulated compressor, goggles on: compressed air stores energy.",
    ),
    Step(
        "fill",
        "15 to 30 min",
        "Let the air out, then fill from the reservoir, which stands above the pump's inlet; paper under every joint.",
        "No air test on a filled loop. Never fill over a live power supply: coolant conducts when it is dirty.",
    ),
    Step(
        "bleed",
        "1 h, then days until the last bubble is out",
        "Power the pump alone in short pulses, tilt the rig, top up; note the flow until it rests.",
        "Only the pump is powered. It must not run dry for more than a few seconds.",
    ),
    Step(
        "wet test",
        "2 to 24 h",
        "Let the pump alone run, dry paper under every joint, look again after the first hour and at the end.",
        "Only the pump is powered; never bridge a power supply while other parts hang on it.",
    ),
    Step(
        "power up",
        "1 h",
        "Switch off, dry, connect everything, start, and watch coolant, flow and the fans of every output.",
        "Stop at the first drop. Mains work follows the local code and belongs to a licensed electrician.",
    ),
    Step(
        "look again",
        "after 1 day and after 1 week",
        "Top up, look at every joint, note coolant, room, speeds and watts of one steady state to compare with later.",
        "Do not open the loop hot: above 45 degC tube softens and fittings loosen.",
    ),
)


def checked_steps(done: Sequence[str]) -> tuple[str, ...]:
    """Return the steps that are done, in their order; InputError where one was done before an earlier one.

    >>> checked_steps(["air test", "dry fit"])
    ('dry fit', 'air test')
    """
    names = [step.name for step in STEPS]
    mistakes = [
        Mistake("--done", None, None, "", "a step of the list", shown(name), nearest(name, names, "").rstrip("?"))
        for name in done
        if name not in names
    ]
    finished = [name for name in names if name in done]
    first_open = next((i for i, name in enumerate(names) if name not in done), len(names))
    for name in finished:
        if names.index(name) > first_open:
            required = f'"{names[first_open]}" before "{name}"'
            advice = f'do "{names[first_open]}" first; the order keeps coolant off live parts'
            mistakes.append(Mistake("--done", None, None, "", required, "it is not done", advice))
    if mistakes:
        raise InputError(mistakes)
    return tuple(finished)


def next_step(done: Sequence[str]) -> Step | None:
    """Return what comes next; None when everything is done.

    >>> next_step(["dry fit"]).name
    'air test'
    """
    finished = checked_steps(done)
    return STEPS[len(finished)] if len(finished) < len(STEPS) else None


def refuse_air_on_coolant(done: Sequence[str]) -> None:
    """Refuse an air test of a loop that has been filled."""
    if "fill" in done:
        required, found = "a dry loop: no air test on a filled one", '"fill" done'
        raise InputError([Mistake("--leak-start", None, None, "", required, found, "drain and dry the loop first")])
