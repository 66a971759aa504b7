"""Sense of the tables of the workshop: outputs that exist and mean one thing.

Each check takes what is valid and yields complaints.
"""

from __future__ import annotations

from collections.abc import Iterator

from quietcool.entry.mistakes import Complaint
from quietcool.entry.view import View
from quietcool.entry.workshop_tables import ControllerTable
from quietcool.units import shown


def check_workshop(view: View) -> Iterator[Complaint]:
    """Yield everything about the controller that makes no sense."""
    controller = view.single("controller", ControllerTable)
    if controller is None:
        return
    seen: set[str] = set()
    for i, channel in enumerate(controller.channel):
        if channel.name in seen:
            found, advice = f"{shown(channel.name)} again", "rename one of them"
            yield Complaint(("controller", "channel", i, "name"), "a name of its own among the outputs", found, advice)
        seen.add(channel.name)
    if controller.channels is not None and len(seen) > controller.channels:
        found, advice = f"{controller.channels}, and {len(seen)} of them listed", "correct the number or the list"
        yield Complaint(("controller", "channels"), "a number that covers the outputs listed", found, advice)
