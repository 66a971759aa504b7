"""Where jobs are done: here, on several processes of this machine, or on a cluster that stands already.

The answers are the same everywhere: a job knows nothing of the others, and they come back in their order.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Protocol, TypeVar

from quietcool.errors import InputError, Mistake

Job = TypeVar("Job")
Answer = TypeVar("Answer")

PATIENCE = "15s"  # for a cluster to answer


class Workers(Protocol):
    """Does jobs of one kind and gives the answers in their order."""

    def map(self, function: Callable[[Job], Answer], jobs: Sequence[Job]) -> list[Answer]:
        """Answer of every job."""

    def __enter__(self) -> Workers:
        """Begin."""

    def __exit__(self, *error: object) -> None:
        """Let go of processes and connections."""


class Here:
    """One job after the other, in this process."""

    def map(self, function: Callable[[Job], Answer], jobs: Sequence[Job]) -> list[Answer]:
        """Answer of every job."""
        return [function(job) for job in jobs]

    def __enter__(self) -> Here:
        """Begin."""
        return self

    def __exit__(self, *_: object) -> None:
        """There is nothing to let go of."""


class Processes:
    """Several processes of this machine, by joblib."""

    def __init__(self, count: int) -> None:
        import joblib

        self._parallel: Any = joblib.Parallel(n_jobs=count)

    def map(self, function: Callable[[Job], Answer], jobs: Sequence[Job]) -> list[Answer]:
        """Answer of every job."""
        import joblib

        return list(self._parallel(joblib.delayed(function)(job) for job in jobs))

    def __enter__(self) -> Processes:
        """Start the processes."""
        self._parallel.__enter__()
        return self

    def __exit__(self, *error: object) -> None:
        """End the processes."""
        self._parallel.__exit__(*error)


class Cluster:
    """A Dask cluster that stands already, found by the address of its scheduler."""

    def __init__(self, address: str) -> None:
        try:
            from distributed import Client
        except ImportError:
            required = "the packages of the extra cluster"
            advice = "install them: pip install 'quietcool[cluster]'"
            raise InputError([Mistake("--scheduler", None, None, "", required, "none", advice)]) from None
        try:
            connect: Any = Client  # it has no types
            self._client = connect(address, timeout=PATIENCE)
        except (OSError, ValueError) as error:
            advice = "start the scheduler, or write the address that it prints"
            required = "the address of a running Dask scheduler, such as tcp://10.0.0.5:8786"
            found = f"{address} ({type(error).__name__})"
            raise InputError([Mistake("--scheduler", None, None, "", required, found, advice)]) from None

    def map(self, function: Callable[[Job], Answer], jobs: Sequence[Job]) -> list[Answer]:
        """Answer of every job."""
        return list(self._client.gather(self._client.map(function, jobs, pure=False)))

    def __enter__(self) -> Cluster:
        """Begin."""
        return self

    def __exit__(self, *_: object) -> None:
        """Leave the cluster as it was."""
        self._client.close()
