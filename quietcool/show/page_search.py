"""Searches that the live page asks for: each in a process of its own, so that it can be ended."""

from __future__ import annotations

import contextlib
import itertools
import math
import multiprocessing
import signal
import threading
import time
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Any

from quietcool.decide.quietest import Progress, find_quietest
from quietcool.entry.build import Build, State
from quietcool.show import wording
from quietcool.show.page_models import Search
from quietcool.show.progress import words
from quietcool.units import in_unit

AT_ONCE = 2  # searches that may run together
KEPT = 32  # finished ones that are remembered
PACE = 0.1  # between two words of progress [s]


class TooMany(RuntimeError):
    """As many searches as may run together are running."""


@dataclass
class _Running:
    process: Any
    answers: Connection
    groups: tuple[str, ...]
    started: float = field(default_factory=time.monotonic)
    last: Search | None = None


class Searches:
    """Every search of one page; safe to use from several threads."""

    def __init__(self) -> None:
        self._running: dict[str, _Running] = {}
        self._names = itertools.count(1)
        self._lock = threading.Lock()

    def start(self, build: Build, state: State, seconds: float) -> str:
        """Start a search and return its name; TooMany if enough are running."""
        with self._lock:
            active = [name for name in self._running if self._look(name).status == "running"]
            if len(active) >= AT_ONCE:
                raise TooMany(f"{len(active)} searches are running already; stop one or wait")
            context = multiprocessing.get_context("spawn")
            here, there = context.Pipe(duplex=False)
            process = context.Process(target=_search, args=(there, build, state, seconds), daemon=True)
            process.start()
            there.close()
            name = str(next(self._names))
            self._running[name] = _Running(process, here, build.group_names)
            for old in list(self._running)[:-KEPT]:
                self._end(old, "cancelled", "Forgotten.")
                del self._running[old]
            return name

    def look(self, name: str) -> Search | None:
        """Return how far a search is; None if there is none of that name."""
        with self._lock:
            return self._look(name) if name in self._running else None

    def cancel(self, name: str) -> Search | None:
        """End a search; one that is done stays as it is."""
        with self._lock:
            if name not in self._running:
                return None
            if self._look(name).status == "running":
                self._end(name, "cancelled", "Stopped.")
            return self._look(name)

    def close(self) -> None:
        """End every search."""
        with self._lock:
            for name in self._running:
                self._end(name, "cancelled", "Stopped.")

    def _look(self, name: str) -> Search:
        running = self._running[name]
        taken = time.monotonic() - running.started
        if running.last is not None and running.last.status != "running":
            return running.last
        try:
            while running.answers.poll():
                said = running.answers.recv()
                running.last = Search(seconds=taken, **said)
        except (EOFError, OSError):
            if running.last is None or running.last.status == "running":
                running.last = Search(status="failed", words="The search ended without an answer.", seconds=taken)
        if running.last is None:
            return Search(status="running", words="starting", seconds=taken)
        return running.last.model_copy(update={"seconds": taken}) if running.last.status == "running" else running.last

    def _end(self, name: str, status: Any, said: str) -> None:
        running = self._running[name]
        if running.last is None or running.last.status == "running":
            running.last = Search(status=status, words=said, seconds=time.monotonic() - running.started)
        running.process.terminate()
        running.process.join(timeout=2.0)
        with contextlib.suppress(OSError):
            running.answers.close()


def _search(answers: Connection, build: Build, state: State, seconds: float) -> None:
    """Search in this process and tell the page's; ends quietly when nobody listens any more."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the page, which ends this
    last = 0.0

    def tell(progress: Progress) -> None:
        nonlocal last
        if time.monotonic() - last >= PACE:
            last = time.monotonic()
            answers.send({"status": "running", "words": words(progress)})

    with contextlib.suppress(BrokenPipeError):
        try:
            answers.send(_found(build, state, seconds, tell))
        except BrokenPipeError:
            raise
        except Exception as error:
            answers.send({"status": "failed", "words": f"The search failed ({type(error).__name__}: {error})."})


def _found(build: Build, state: State, seconds: float, tell: Any) -> dict[str, Any]:
    from dataclasses import replace

    alone = replace(build, states=(state,))
    answer = find_quietest(alone, seconds=seconds, progress=tell)
    setting = answer.settings[0]
    said = wording.setting_sentence(alone, setting, answer.position, named=False)
    speeds = [in_unit(speed, "rpm") for speed in setting.speeds.tolist()]
    status = "infeasible" if setting.status == "infeasible" or math.isnan(setting.level) else "found"
    return {"status": status, "words": said, "speeds_rpm": dict(zip(build.group_names, speeds, strict=True))}
