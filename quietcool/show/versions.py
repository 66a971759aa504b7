"""Versions of what computes an answer. Loads nothing heavy: `quietcool --version` comes here too."""

from __future__ import annotations

import platform
import sys

LIBRARIES = ("numpy", "scipy")


def own_version() -> str:
    """Return the version of quietcool, from the package itself: it is loaded before any of its modules.

    To import it from here would go up the floor plan, and an installed copy may be another one than the one that runs.
    """
    return str(vars(sys.modules["quietcool"])["__version__"])


def made_by() -> dict[str, str]:
    """Return what computed an answer, so that it can be computed again."""
    return {"quietcool": own_version(), "python": platform.python_version()} | {
        name: _installed(name) for name in LIBRARIES
    }


def _installed(name: str) -> str:
    # Not at the top: it reads mail headers, which is a fifth of what `--help` loads.
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version(name)
    except PackageNotFoundError:  # a library that came without its papers
        return "unknown"
